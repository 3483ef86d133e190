"""Every remedy the tool says, done by hand: the tables are edited as the sentence says, read and solved again."""

import csv
import random
import re
import shutil
from collections import Counter
from pathlib import Path

import pytest

import pdm_alloc as pa
from pdm_alloc.domain.module import Unit
from pdm_alloc.studies.signal_places import signals_beside
from pdm_alloc.studies.signal_sizing import size_signals

DATA = Path(__file__).resolve().parents[2] / "data"

COLUMNS = ("signal", "kind", "count", "place", "importance", "needs", "current_a", "fed_by")

LADDER = re.compile(
    r"(?P<keys>.+?) on one analog pin through a resistor ladder \(each through its own resistor of [\d., ]+ ohm, 1 %, "
    r"in this order, with (?P<own>a pull-up in the pin of )?(?P<ohm>[\d.]+) ohm(?: to the 5 V|, to be checked): [^)]*\)"
)
KEYPAD = re.compile(
    r"(?:^|, )(?P<keys>(?:(?! to keys of ).)+) to keys of one (?P<pad>[\w-]+)"
    r"(?: at (?P<place>[^,]+?))?(?=,| on the bus)"
)
RELAY = re.compile(r"(?P<loads>.+) through a relay each, its coil \((?P<ma>\d+) mA\) on a low-side pin")
EXPANDER = re.compile(r"(?P<sensors>.+) to one (?P<box>[\w-]+) on the bus")
CONNECTION = "; and list the bus connection (kind bus)"


def _read(folder, table):
    file = folder / f"{table}.csv"
    return list(csv.DictReader(file.open(encoding="utf-8"))) if file.exists() else []


def _write(folder, table, rows):
    names = list(dict.fromkeys(name for row in rows for name in row))
    with (folder / f"{table}.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, names)
        writer.writeheader()
        writer.writerows(rows)


def _named(text):
    """Names and how many of each: ``a, b (2 of 3), c (all 4)``."""
    parts = [re.fullmatch(r"(.+?)(?: \((?:all )?(\d+)(?: of \d+)?\))?", part) for part in text.split(", ")]
    named = Counter()
    for part in parts:
        named[part[1]] += int(part[2] or 1)
    return named


class _Bench:
    """The tables of a vehicle and a pencil."""

    def __init__(self, folder):
        self.folder = folder
        self.signals, self.inputs = _read(folder, "signals"), _read(folder, "inputs")
        self.boxes, self.ladders = [], 0

    def take(self, named):
        """Cross out so many of each; what they were."""
        taken = []
        for name, count in named.items():
            row = next((r for r in self.signals if r["signal"] == name), None)
            if row is None:
                read = next(r for r in self.inputs if r["input"] == name)
                self.inputs.remove(read)
                taken += [{"signal": name, "place": read.get("place", "")}] * count
                continue
            left = int(row.get("count") or 1) - count
            assert left >= 0
            taken += [dict(row)] * count
            row["count"] = str(left)
            self.signals = [r for r in self.signals if r is not row or left]
        return taken

    def ladder(self, told):
        place = {row["place"] for row in self.take(_named(told["keys"]))}
        assert len(place) == 1, "switches of one ladder are at one place"
        self.ladders += 1
        kind, needs = ("resistance", "sensor_ground") if told["own"] else ("voltage", "supply_5v sensor_ground")
        cells = (
            f"hand ladder {self.ladders}",
            kind,
            "1",
            place.pop(),
            "needed",
            needs,
            f"{5 / float(told['ohm'])}",
            "",
        )
        self.signals.append(dict(zip(COLUMNS, cells, strict=True)))

    def keypad(self, told):
        taken = self.take(_named(told["keys"]))
        assert {row["place"] for row in taken} == {told["place"] or ""}, "a keypad sits where its keys are"
        self.inputs += [
            {"input": f"{row['signal']} key {n}", "kind": "switch", "place": row["place"], "read_by": "keypad"}
            for n, row in enumerate(taken)
        ]

    def relay(self, told):
        for n, row in enumerate(self.take(_named(told["loads"]))):
            cells = (f"hand relay {n}", "low_side", "1", row["place"], "needed", "", f"{int(told['ma']) / 1000}", "")
            self.signals.append(dict(zip(COLUMNS, cells, strict=True)))

    def do(self, sentence):
        """What the sentence says, and nothing else; which kinds of remedy it was."""
        kinds = []
        if sentence.endswith(CONNECTION):
            sentence = sentence.removesuffix(CONNECTION)
            self.signals.append(dict(zip(COLUMNS, ("hand bus", "bus", "1", "", "needed", "", "", ""), strict=True)))
        for part in sentence.split("; "):
            if told := LADDER.fullmatch(part):
                kinds.append("ladder")
                self.ladder(told)
            elif told := RELAY.fullmatch(part):
                kinds.append("relay")
                self.relay(told)
            elif " to keys of one " in part:
                kinds.append("keypad")
                for told in KEYPAD.finditer(part):
                    self.keypad(told)
            else:
                told = EXPANDER.fullmatch(part)
                kinds.append("expander")
                self.boxes.append(told["box"])
        return kinds

    def save(self):
        _write(self.folder, "signals", self.signals)
        if self.inputs:
            _write(self.folder, "inputs", self.inputs)
        else:
            (self.folder / "inputs.csv").unlink(missing_ok=True)
        return self.folder


def _remedies(folder, catalogue):
    """Sentences of every control unit that is not enough, as ``size --why`` prints them, by its name."""
    study = size_signals(pa.read_vehicle(folder), catalogue, why=True)
    said, name = {}, ""
    for line in study.why(everything=True):
        name = line.split(" is not enough")[0] if not line.startswith("  or: ") else name
        said.setdefault(name, [])
        if line.startswith("  or: "):
            said[name].append(line.removeprefix("  or: "))
    return said


def _done_by_hand(folder, catalogue, tmp_path):
    """Each remedy done on a copy of the tables and solved again on the boxes it names: kinds, one per sentence done."""
    kinds = Counter()
    for unit, sentences in _remedies(folder, catalogue).items():
        for n, sentence in enumerate(sentences):
            bench = _Bench(Path(shutil.copytree(folder, tmp_path / f"{folder.name} {unit} {n}")))
            kinds.update(bench.do(sentence))
            vehicle = pa.read_vehicle(bench.save())
            boxes = [box for name in (unit, *bench.boxes) for box in catalogue.boxes if box.name == name]
            side = pa.signals(vehicle, boxes, keypads=catalogue.keypads)
            assert side, (unit, sentence, side.short)
            assert not side.allocation.findings
            assert {i.place for i in vehicle.inputs if i.read_by == "keypad"} == set(side.keypads), sentence
    return kinds


# Rows that make the small control unit of the demos short of one kind of pin each.
MORE = {
    "ladder and keypad": ["pit button,switch_to_ground,8,dash,comfort,,", "pit lamp key,switch_to_ground,2,engine,,,"],
    "expander": ["damper travel,voltage,6,engine,comfort,supply_5v sensor_ground,0.002"],
    "relay": ["bleed valve,low_side,2,engine,comfort,,3"],
}


def _demo(tmp_path, name, rows):
    folder = Path(shutil.copytree(DATA / name, tmp_path / name))
    told = [dict(zip(COLUMNS, f"{row},".split(","), strict=True)) for row in rows]
    _write(folder, "signals", [*_read(folder, "signals"), *told])
    return folder


@pytest.mark.once
@pytest.mark.parametrize("name", ["rally_coupe", "expedition_truck"])
def test_remedies_of_the_demos_done_by_hand_are_enough(name, tmp_path):
    """Both demos with too many buttons, sensors or valves: every sentence done, each kind of remedy among them."""
    catalogue = pa.read_catalogue(DATA / "catalogue")
    kinds = Counter()
    for n, rows in enumerate(MORE.values()):
        (tmp_path / str(n)).mkdir()
        folder = _demo(tmp_path / str(n), name, rows)
        kinds += _done_by_hand(folder, catalogue, tmp_path / str(n))
    assert set(kinds) == {"ladder", "keypad", "expander", "relay"}


CATALOGUE = {
    "modules": "module,total_a,total_peak_a,price,mass_g\nM,60,300,500,400\n",
    "channels": "module,channel,continuous_a,peak_a,peak_ms\nM,1,10,60,50\n",
    "keypads": "keypad,keys,price,mass_g\npad-3,3,60,50\npad-6,6,90,80\n",
}


def _random(seed, folder):
    """A vehicle of switches, sensors and valves and a control unit with too few pins of some kind, as tables."""
    rng = random.Random(seed)
    vehicle, catalogue = folder / "boat", folder / "catalogue"
    vehicle.mkdir(), catalogue.mkdir()
    for name, text in CATALOGUE.items():
        (catalogue / f"{name}.csv").write_text(text)
    (vehicle / "loads.csv").write_text("load,command,running_a,kind\nlamp,lights,2,led\n")
    (vehicle / "places.csv").write_text("place,x_m,y_m\nhelm,1,0\nbow,6,0\n")
    short = rng.choice(("switch_to_ground", "voltage", "low_side"))
    amounts = {"switch_to_ground": rng.randint(0, 9), "voltage": rng.randint(0, 6), "low_side": rng.randint(0, 3)}
    rows = []
    for kind, amount in amounts.items():
        while amount > 0:
            count = rng.randint(1, min(4, amount))
            amount -= count
            weight = rng.choice(("vital", "needed", "needed", "comfort"))
            needs = "supply_5v sensor_ground" if kind == "voltage" else ""
            amps = {"voltage": "0.01", "low_side": "2" if short == kind else "0.4"}.get(kind, "")
            cells = (f"{kind} {len(rows)}", kind, str(count), rng.choice(("helm", "bow", "")), weight, needs, amps, "")
            rows.append(dict(zip(COLUMNS, cells, strict=True)))
    if not rows or rng.random() < 0.3:
        rows.append(dict(zip(COLUMNS, ("net", "bus", "1", "helm", "vital", "", "", ""), strict=True)))
    _write(vehicle, "signals", rows)
    reads = rng.choice(("", "control_unit", "keypad"))
    _write(vehicle, "inputs", [{"input": "horn", "kind": "switch", "place": "helm", "read_by": reads}])
    room = {
        kind: max(0, n + (rng.randint(-3, -1) if kind == short != "low_side" else rng.randint(0, 2)))
        for kind, n in amounts.items()
    }
    words = {
        "switch_to_ground": "switch_to_ground,",
        "voltage": rng.choice(("voltage_input,", "voltage_input resistance_input,")),
        "low_side": "low_side,1",
    }
    pins = [f"unit,{kind}{n},A,{words[kind]}," for kind, n in room.items() for n in range(n)]
    pins += ["unit,5V,B,supply_5v,0.2,", "unit,G,B,sensor_ground,0.2,", "unit,H,B,bus,,b", "unit,L,B,bus,,b"]
    pins += [f"ear,{n},A,voltage_input switch_to_ground,," for n in range(4)]
    pins += ["ear,5V,A,supply_5v,0.1,", "ear,G,A,sensor_ground,0.1,"]
    (catalogue / "control_units.csv").write_text("box,expander,price,mass_g\nunit,no,300,300\near,yes,90,90\n")
    (catalogue / "signal_pins.csv").write_text("\n".join(["box,pin,connector,functions,max_a,pair", *pins, ""]))
    return vehicle, pa.read_catalogue(catalogue)


@pytest.mark.once
def test_remedies_of_random_vehicles_done_by_hand_are_enough(tmp_path):
    """Every sentence said of 16 random boats, done on their tables and solved again; each kind at least twice."""
    kinds = Counter()
    for seed in range(16):
        (tmp_path / str(seed)).mkdir()
        kinds += _done_by_hand(*_random(seed, tmp_path / str(seed)), tmp_path / str(seed))
    assert set(kinds) == {"ladder", "keypad", "expander", "relay"} and min(kinds.values()) >= 2


@pytest.mark.once
def test_an_expander_is_chosen_where_it_is_the_cheapest(tmp_path):
    """Six sensors more in the rally car: the small unit and an expander at 1,190 beside the large unit at 1,850.

    What `allocate` fits then is the same: the expander has a place, is a node of the bus, and reads nothing vital.
    """
    catalogue = pa.read_catalogue(DATA / "catalogue")
    vehicle = pa.read_vehicle(_demo(tmp_path, "rally_coupe", MORE["expander"]))
    study = size_signals(vehicle, catalogue)
    assert study.smallest == "control-76" and {box.name for box in study.choice.boxes} == {"control-40", "expander-12"}
    side = signals_beside(vehicle, catalogue, (Unit("middle-36", catalogue["middle-36"], "glove box"),))
    assert side and {box.label for box in side.boxes} == {"control-40", "expander-12"}
    assert all(box.place for box in side.boxes) and "expander-12" in side.bus.trunk.nodes
    weights = {signal.name: signal.importance for signal in side.signals_placed}
    read = {use.signal for use in side.allocation.uses if use.box == "expander-12"}
    assert read and "vital" not in {weights[name] for name in read}
