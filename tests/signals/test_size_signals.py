import json
import random
import re
from dataclasses import replace
from itertools import combinations_with_replacement, product
from pathlib import Path

import pytest

import pdm_alloc as pa
from pdm_alloc.circuits.items import inputs_wanted
from pdm_alloc.cli import main
from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import Box, Catalogue, Channel, Keypad, Module, Signal, SignalPin, fitted
from pdm_alloc.domain.vehicle import Command, Input, Load, Place, Route, State, Vehicle
from pdm_alloc.panel.answers import Answers, Others, Question
from pdm_alloc.panel.verdicts import others
from pdm_alloc.program.solver import STOPPED_EMPTY
from pdm_alloc.studies import signal_places
from pdm_alloc.studies.mounting import search_places
from pdm_alloc.studies.mounting_search import judge_choice
from pdm_alloc.studies.signal_places import choose_together, with_bus
from pdm_alloc.studies.signal_sizing import ModuleOption, has_signals, size_signals

DATA = Path(__file__).resolve().parents[2] / "data"

LOADS = "load,command,running_a,kind\nlamp,lights,2,led\n"
MODULES = "module,total_a,total_peak_a,price,mass_g\nM,60,300,500,400\n"
CHANNELS = "module,channel,continuous_a,peak_a,peak_ms\nM,1,10,60,50\nM,2,10,60,50\n"
SIGNALS = "signal,kind,count\nbutton,switch_to_ground,3\n"
UNITS = "box,price,mass_g\nsmall,100,50\nlarge,300,90\n"
PINS = "box,pin,functions\n" + "".join(
    f"{box},{n},switch_to_ground\n" for box, count in (("small", 2), ("large", 5)) for n in range(1, count + 1)
)


@pytest.fixture
def tables(tmp_path):
    """A vehicle with one lamp and three buttons; one module and two control units of two and five pins."""

    def write(**changed):
        files = {
            "car/loads": LOADS,
            "car/signals": SIGNALS,
            "catalogue/modules": MODULES,
            "catalogue/channels": CHANNELS,
            "catalogue/control_units": UNITS,
            "catalogue/signal_pins": PINS,
        }
        for name, text in (files | {k.replace("__", "/"): v for k, v in changed.items()}).items():
            if text is not None:
                file = tmp_path / f"{name}.csv"
                file.parent.mkdir(exist_ok=True)
                file.write_text(text)
        return str(tmp_path / "car")

    return write


def _size(capsys, path, *more):
    code = main(["size", path, *more])
    return code, capsys.readouterr().out


def test_power_and_signals_are_answered_in_one_table(tables, capsys):
    """Two pins are not enough for three buttons and one pin is short; five are, with two to spare."""
    code, out = _size(capsys, tables())
    assert code == 0
    rows = [line.split() for line in out.splitlines()]
    assert ["signals", "small", "not", "enough"] in [row[:4] for row in rows]
    assert ["signals", "large", "enough", "proven", "best", "3", "5", "2"] in [row[:8] for row in rows]
    assert ["power", "M", "enough"] in [row[:3] for row in rows]
    assert "large is the smallest control unit that is enough, with 2 pins to spare." in out
    assert "small is not enough for the signals. Short: 1 switch_to_ground pin of small (for button)." in out


def test_the_lowest_price_may_be_two_small_boxes(tables, capsys):
    """Two of the small unit at 100 beat the large one at 300."""
    _, out = _size(capsys, tables())
    assert "the lowest price: M, small, small (700)" in out


def test_signals_that_no_unit_takes_make_the_verdict_not_enough(tables, capsys):
    """The module is enough, the control units are not: the command ends with 1, not 0, and JSON says which."""
    path = tables(car__signals=SIGNALS.replace(",3", ",16"))
    code, out = _size(capsys, path)
    assert code == 1
    assert "No single control unit is enough for the signals, nor are up to 3 boxes together." in out
    code, out = _size(capsys, path, "--json")
    answer = json.loads(out)
    assert (code, answer["smallest"], answer["signals"]["outcome"]) == (1, "M", "not enough")
    assert answer["signals"]["shortfalls"]["large"] == [
        {"box": "large", "function": "switch_to_ground", "short": 11, "unit": "pins"}
    ]


def test_power_that_is_not_enough_is_not_healed_by_signals(tables, capsys):
    """A lamp of 20 A on channels of 10 A ends with 1, whatever the control units are."""
    code, out = _size(capsys, tables(car__loads=LOADS.replace(",2,", ",20,")))
    assert code == 1 and "large is the smallest control unit" in out


def test_a_vehicle_without_signals_shows_none(tables, capsys, tmp_path):
    """Nothing of the signal side is printed, and nothing stands in the JSON."""
    path = tables()
    (tmp_path / "car" / "signals.csv").unlink()
    code, out = _size(capsys, path)
    assert code == 0 and "control unit" not in out and "side" not in out
    assert "signals" not in json.loads(_size(capsys, path, "--json")[1])


def test_without_control_units_it_is_said_that_signals_are_not_judged(tables, capsys, tmp_path):
    """Silence would be taken for an answer."""
    path = tables()
    (tmp_path / "catalogue" / "control_units.csv").unlink()
    (tmp_path / "catalogue" / "signal_pins.csv").unlink()
    code, out = _size(capsys, path)
    assert code == 0 and "Signals are not judged" in out


def test_why_lists_every_remedy_and_each_has_been_verified(tables, capsys):
    """A keypad takes the one button that has no pin."""
    keypads = "keypad,keys,price,mass_g\npad,4,20,30\n"
    _, out = _size(capsys, tables(catalogue__keypads=keypads), "--why")
    assert "or: button (1 of 3) to keys of one pad on the bus" in out


@pytest.mark.parametrize("name", ["rally_coupe", "expedition_truck"])
def test_the_story_of_the_demo_is_told(name):
    """The small control unit is enough with three pins to spare, and what the large one would leave empty."""
    vehicle, catalogue = pa.read_vehicle(DATA / name), pa.read_catalogue(DATA / "catalogue")
    study = size_signals(vehicle, catalogue)
    assert study.smallest == "control-40"
    assert "with 3 pins to spare. control-76 would leave 39 of its 76 pins empty." in study.summary()
    assert list(study.verdicts["spare"]) == [3, 39]


def _units(price=None):
    pins = tuple(SignalPin(str(n), "", frozenset(("switch_to_ground",))) for n in range(2))
    return (Box("unit", pins, price=price),)


def _vehicle(**more):
    vehicle = pa.read_vehicle(DATA / "rally_coupe")
    return replace(vehicle, signals=(), inputs=(), **more) if "signals" not in more else replace(vehicle, **more)


def test_without_prices_the_fewest_boxes_are_chosen():
    """Four buttons on units of two pins: two of them, and no price is made up."""
    vehicle = _vehicle(signals=(Signal("b", "switch_to_ground", 4),), inputs=())
    catalogue = replace(pa.read_catalogue(DATA / "catalogue"), boxes=_units(), keypads=())
    study = size_signals(vehicle, catalogue)
    assert (study.smallest, study.outcome, study.by) == (None, "enough", "count")
    assert "fewest boxes: unit, unit." in study.summary()


def test_a_stopped_study_claims_nothing():
    """Neither enough nor not enough where nothing was tried."""
    vehicle = _vehicle(signals=(Signal("b", "switch_to_ground", 4),), inputs=())
    study = size_signals(vehicle, pa.read_catalogue(DATA / "catalogue"), stop=lambda: True)
    assert (study.outcome, study.smallest) == (STOPPED_EMPTY, None)


def test_keys_of_a_keypad_need_keypads_but_no_pins_and_no_input_of_the_module():
    """Five keys are two keypads of four at the least price, and the module is not asked for five inputs."""
    keys = tuple(Input(f"k{n}", "switch", "dash", read_by="keypad") for n in range(5))
    vehicle = _vehicle(signals=(), inputs=keys)
    assert has_signals(vehicle)
    catalogue = replace(
        pa.read_catalogue(DATA / "catalogue"), boxes=_units(10.0), keypads=(Keypad("pad", 4, price=5.0),)
    )
    study = size_signals(vehicle, catalogue, [ModuleOption("M", (), 100.0, 1.0)])
    assert "the lowest price: M, pad, pad (110)" in study.summary()
    assert inputs_wanted(vehicle) == 0
    assert inputs_wanted(replace(vehicle, inputs=tuple(replace(k, read_by=None) for k in keys))) == 5


def test_a_key_of_a_keypad_may_be_a_message_on_the_bus(tables, capsys):
    """A key listed as bus input with the reader keypad is counted as a key; a wire to a module is still refused."""
    rows = "".join(f"k{n},bus,keypad\n" for n in range(5))
    keypads = "keypad,keys,price,mass_g\npad,4,20,30\n"
    path = tables(car__inputs="input,kind,read_by\n" + rows, catalogue__keypads=keypads)
    code, out = _size(capsys, path)
    assert code == 0 and "M, small, small, pad, pad (740)" in out
    tables(car__inputs="input,kind,read_by\nk,bus,module\n")
    assert main(["size", path]) == 2
    assert "a message on the bus" in capsys.readouterr().err


def test_the_readme_takes_a_new_user_from_blank_tables_to_both_sides_of_the_binder(tmp_path, capsys):
    """The README's van, word for word but for where it is written: power, signals, bus and grounds in one binder."""
    text = (DATA.parent / "README.md").read_text()
    part = text[text.index("## Signals and the bus") : text.index("### Papers for the bench")]
    folders = {name: str(tmp_path / name) for name in ("my_van", "binder")} | {
        "data/catalogue": str(DATA / "catalogue")
    }
    names = iter(re.findall(r"`(\w+\.csv)`", part))
    for kind, block in re.findall(r"```(sh|csv)\n(.*?)```", part, re.DOTALL):
        if kind == "csv":
            (tmp_path / "my_van" / next(names)).write_text(block)
        for line in block.splitlines() if kind == "sh" else ():
            words = line.split("#")[0].split()
            if words[0] == "rm":
                [(tmp_path / word).unlink() for word in words[1:]]
            else:
                assert main([folders.get(word, word) for word in words[1:]]) == 0, capsys.readouterr().err
    said = capsys.readouterr().out
    assert "Wires of the signal side are lightest with control-40 at bulkhead" in said and "trunk 1.3 m" in said
    files = {file.name for file in (tmp_path / "binder").rglob("*")}
    assert {"my_van.pdf", "pin_map.csv", "signal_pin_map.csv", "signal_commissioning.csv", "bus_limits.csv"} <= files
    back = pa.export.read_allocation(tmp_path / "binder")
    assert back.signals and {"G1", "G2", "G3"} <= set(back.ground_plan["ground"])
    assert set(back.signals.nodes) == {"compact-31", "control-40", "keypad-4 K1"}


def test_the_panel_has_every_control_unit_beside_the_modules(tables):
    """After the modules it says which control unit is enough, pins to spare and what is short; else nothing of it."""
    vehicle, catalogue = pa.read_vehicle(tables()), pa.read_catalogue(Path(tables()).parent / "catalogue")
    question = Question(vehicle, catalogue["M"], catalogue)
    *_, last = Answers()(question, lambda: False)
    text = re.sub("<[^>]*>", " ", others(catalogue, last))
    assert "large is the smallest control unit that is enough, with 2 pins to spare." in text
    assert "small  ✗ not enough. Short: 1 switch_to_ground pin" in text and "large  ✓ enough, 2 pins to spare" in text
    plain = replace(question, vehicle=replace(vehicle, signals=()))
    assert "control unit" not in others(catalogue, Others({"M": next(Answers()(plain, lambda: False)).result}))
    assert not any(isinstance(part, Others) and part.signals for part in Answers()(plain, lambda: False))


PLACED = Vehicle(
    "placed",
    (Load("lamp", "light", 2000, kind="led", place="rear"), Load("horn", "sound", 6000, kind="coil", place="nose")),
    (Command("light"), Command("sound")),
    (State("all on", 12.0, {"light": 1_000_000, "sound": 1_000_000}),),
    Settings(lowest_ambient_c=20.0, battery_place="nose", spare_channels=0, time_limit_s=60.0),
    (Input("key", "switch", "rear", read_by="keypad"),),
    (Place("nose", mount=True), Place("cabin", mount=False), Place("rear", mount=True)),
    (Route("nose", "cabin", 1.5), Route("cabin", "rear", 2.5)),
)


@pytest.mark.once
@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("by", ["price", "mass"])
def test_modules_and_control_units_at_their_places_are_the_best_of_all_there_are(seed, by, monkeypatch):
    """Every module, every set of up to two units, every place of each, weighed one by one from the cut lists."""
    monkeypatch.setattr(signal_places, "MOST_UNITS", 2)
    rng = random.Random(seed)
    signals = [Signal(f"s{n}", "switch_to_ground", rng.randint(1, 3), rng.choice(("nose", "rear"))) for n in range(3)]
    vehicle = replace(PLACED, signals=tuple(signals))
    units = [_unit(f"u{n}", rng.randint(2, 6), rng.randint(50, 400), rng.randint(20, 120)) for n in range(2)]
    channels = [Channel(str(n), 20_000, 90_000, 100.0, connector="X", pins=(f"{n}",)) for n in (1, 2, 3)]
    modules = [_module(f"m{n}", channels, rng.randint(100, 300), rng.randint(50, 400)) for n in range(2)]
    pads = (Keypad("p", 4, price=40.0, mass_g=30.0), Keypad("q", 2, price=30.0, mass_g=50.0))
    catalogue = Catalogue("c", tuple(modules), boxes=tuple(units), keypads=pads)
    search = search_places(vehicle, catalogue, by, most=1)
    together = choose_together(search, catalogue)
    known = {n: judge_choice(search.job(search.choices[n], None)) for n in search.least}
    sides = {
        (boxes, at): pa.signals(vehicle, boxes, places=dict(zip([b.label for b in fitted(boxes)], at, strict=True)))
        for boxes in (c for size in range(3) for c in combinations_with_replacement(units, size))
        for at in product(("nose", "rear"), repeat=len(boxes))
    }
    enough = {key: side for key, side in sides.items() if side}
    best = min(_weighed(search.choices[n], known[n], side, by, pads) for n in known for side in enough.values())
    got = {"price": (together.price, together.mass_g), "mass": (together.mass_g, together.price)}[by]
    assert together.outcome == "proven best" and got == pytest.approx(best, abs=0.11)
    assert not together.side.allocation.findings


def _unit(name, pins, price, mass):
    each = tuple(SignalPin(str(n), "", frozenset(("switch_to_ground",))) for n in range(pins))
    return Box(name, each, price=price, mass_g=mass)


def _module(name, channels, price, mass):
    return Module(name, 60_000, 200_000, tuple(channels), mass_g=float(mass), price=float(price))


def _weighed(choice, judged, side, by, pads):
    """Price and mass of one choice, worked out from nothing but its parts."""
    pad = pads[by == "price"]
    side = with_bus(replace(side, units=choice.units, keypads={"rear": (pad,)}, bus=None))
    things = [*(box.box for box in side.boxes), pad]
    price = choice.price + sum(thing.price for thing in things)
    mass = choice.module_g + judged.harness_dg / 10 + sum(thing.mass_g for thing in things)
    mass += side.cut_list()["mass_g"].sum()
    return (price, mass) if by == "price" else (mass, price)
