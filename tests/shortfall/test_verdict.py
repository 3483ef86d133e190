"""Three verdicts, and the chain from a load's row to its channels."""

import re
from dataclasses import replace
from fractions import Fraction

import pytest

import pdm_alloc as pa
from pdm_alloc.cli import main
from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import Channel
from pdm_alloc.domain.vehicle import PPM, State
from pdm_alloc.files.tables.read_catalogue import fitted
from tests.shortfall.conftest import LOAD, module_of, named, vehicle_of


def explained(vehicle, unit):
    with pytest.raises(pa.NotEnough) as refused:
        pa.allocate(vehicle, unit)
    return pa.explain(refused.value, sets=0)


def guessed(ma, pct):
    return replace(LOAD, name="compressor", running_ma=ma, inrush_ma=ma, tolerance_pct=Fraction(pct))


def test_a_guess_alone_that_is_not_kept_is_enough_if():
    """16 A fit, 18.4 A do not: the load, the guess, both currents and what to do are said."""
    own = tuple(replace(c, continuous_ma=22_625, peak_ma=90_000) for c in module_of(2).module.channels)
    study = explained(vehicle_of(guessed(16_000, 15)), module_of(2, own=own))
    assert study.verdict == "enough if" and study.outcome == "not enough"
    words = (
        "compressor: 18.4 A if the 15 % guess is at its top, the channel takes 18.1 A; at 16 A it is fine: measure it"
    )
    assert study.conditions == (words,)
    assert study.sentence() == f"m is enough if: {words}"
    assert pa.verify(study.allocation_if).empty
    assert study.growth.parts, "what would be enough is said all the same"


def with_said(vehicle, condition):
    """The vehicle with the currents of a sentence in its table, as known exactly."""
    said, measured = re.search(r"; at (.*) (?:it is|they are) fine: measure (.*)", condition).groups()
    names = re.split(", | and ", measured)
    names = [condition.split(": ")[0]] if names == ["it"] else names
    amps = {
        name: re.search(rf"{name} ([\d.]+) A" if len(names) > 1 else r"([\d.]+) A", said).group(1) for name in names
    }
    loads = (
        replace(x, running_ma=round(float(amps[x.name]) * 1000), tolerance_pct=Fraction(0)) if x.name in amps else x
        for x in vehicle.loads
    )
    return replace(vehicle, loads=tuple(loads))


@pytest.mark.parametrize(
    ("volts", "exponent", "numbers"), [(14.4, 1.0, (1,)), (9.6, -1.0, (1,)), (12.0, 1.0, (2,)), (14.4, 1.0, (1, 2))]
)
def test_the_current_that_is_said_to_be_fine_is_enough_in_the_table(volts, exponent, numbers):
    """Drawn at another voltage than the table's, by two items, by two loads: what is said is typed in and solved."""
    loads = [
        replace(guessed(2_000, 15), name=f"load {n}", command="c", count=count, volt_exponent=exponent)
        for n, count in enumerate(numbers)
    ]
    vehicle = vehicle_of(*loads, states=(State("running", volts, {"c": PPM}),))
    drawn_ma = sum(numbers) * round(2_000 * (volts / 12) ** exponent)
    (channel,) = module_of(1).module.channels
    unit = module_of(1, own=(replace(channel, continuous_ma=round(drawn_ma * 1.07 / 0.8)),))
    study = explained(vehicle, unit)
    assert study.verdict == "enough if" and len(study.conditions) == 1
    typed = with_said(vehicle, study.conditions[0])
    assert all(load.running_ma == 2_000 for load in typed.loads)
    assert pa.verify(pa.allocate(typed, unit)).empty


def amps_of(module, **more):
    return replace(module, module=replace(module.module, **more))


def channels(number, **changes):
    return tuple(replace(c, **changes) for c in module_of(number).module.channels)


_FAN = replace(LOAD, name="fan", command="fan", inrush_ma=38_000, inrush_ms=60.0, tolerance_pct=Fraction(10))
_TWO = [replace(guessed(6_000, 10), name=f"load {n}", command=f"command {n}") for n in range(2)]
_ONE_OF_TWO = [replace(guessed(2_000, pct), name=f"load {pct}", command="c") for pct in (5, 20)]
_BANK = {"own": channels(2, bank="b"), "bank_ma": {"b": 14_500}}
_GUESSES = {
    "trip": (
        [guessed(6_000, 10)],
        module_of(1, own=channels(1, continuous_ma=8_200)),
        "compressor: a trip setting of 8.3 A is asked for if the 10 % guess of compressor is at its top of 6.6 A "
        "at 12 V, the rating allows 8.2 A; at the table's 6 A at 12 V it is fine: measure it",
    ),
    "peak": (
        [_FAN],
        module_of(1),
        "fan: 41.8 A at switch-on if the 10 % guess of fan is at its top of 4.4 A with a peak of 41.8 A at 12 V, "
        "the channel trips at 40 A; at the table's 4 A with a peak of 38 A at 12 V it is fine: measure it",
    ),
    "energy": ([_FAN], module_of(1, own=channels(1, peak_ma=44_000, peak_ms=8.3)), "A² ms of inrush above"),
    "bank": (
        _TWO,
        module_of(2, **_BANK),
        "bank b of m: 13.2 A at once in all on at 12 V, usable are 13.05 A (command 0, command 1 on) if the 10 % guess "
        "of load 0 is at its top of 6.6 A at 12 V; at the table's 6 A at 12 V it is fine: measure load 0",
    ),
    "whole module": (_TWO, amps_of(module_of(2), total_ma=14_500), "m: 13.2 A at once in all on at 12 V"),
    "whole module peak": (
        [replace(_FAN, name=f"fan {n}", inrush_ma=20_000, command="fan", share=False) for n in range(2)],
        amps_of(module_of(2), total_peak_ma=41_000),
        "m: 44 A when fan changes in all on at 12 V, the module bears 41 A if the 10 % guess of fan 0 is at its top of "
        "4.4 A with a peak of 22 A and the 10 % guess of fan 1 is at its top of 4.4 A with a peak of 22 A at 12 V; "
        "at the table's fan 0 4 A with a peak of 20 A and fan 1 4 A with a peak of 20 A at 12 V they are fine: "
        "measure fan 0 and fan 1",
    ),
    "one of two": (_ONE_OF_TWO, module_of(1, own=channels(1, continuous_ma=5_500)), "measure load 20"),
}


@pytest.mark.parametrize("limit", _GUESSES)
def test_every_limit_names_the_guess_and_the_current_at_which_it_is_fine(limit):
    """Trip setting, inrush, bank, whole module: what is said is typed in, solved and recounted; not before."""
    loads, unit, words = _GUESSES[limit]
    vehicle = vehicle_of(*loads)
    if limit == "trip":
        vehicle = replace(vehicle, settings=replace(vehicle.settings, headroom_pct=Fraction(0)))
    study = explained(vehicle, unit)
    assert study.verdict == "enough if" and len(study.conditions) == 1
    assert words in study.conditions[0]
    assert pa.verify(pa.allocate(with_said(vehicle, study.conditions[0]), unit)).empty


def test_a_guess_above_a_rating_is_said_beside_the_headroom():
    """9.5 A, at most 10.5 A, on a channel of 10 A that should keep a fifth: both have to be given."""
    own = channels(1, continuous_ma=12_000)
    study = explained(wanted(30, guessed(9_000, 15)), module_of(1, own=own))
    assert [c.split("; at")[0] for c in study.conditions] == [
        "compressor: 10.35 A on a channel that takes 8.4 A with the headroom wanted",
        "compressor: a trip setting of 13 A is asked for if the 15 % guess of compressor is at its top of 10.35 A "
        "at 12 V, the rating allows 12 A",
    ]


def test_guesses_of_which_nothing_has_to_be_known_stay_guesses():
    """Two guesses, one channel each: only the one that is too large for its channel is to be measured."""
    loads = (replace(guessed(7_500, 10), command="b"), replace(guessed(5_000, 10), name="other", command="a"))
    study = explained(vehicle_of(*loads), module_of(2))
    assert len(study.conditions) == 1 and "other" not in study.conditions[0]
    kept = {load.name: load.tolerance_pct for load in study.allocation_if.vehicle.loads}
    assert kept == {"compressor": 0, "other": 10}


def wanted(headroom_pct, *loads):
    vehicle = vehicle_of(*loads)
    return replace(vehicle, settings=replace(vehicle.settings, headroom_pct=Fraction(headroom_pct)))


def test_a_margin_that_is_not_kept_is_enough_if():
    """7.5 A on a channel of 10 A: within the rating and its trip setting, not within 30 % headroom."""
    study = explained(wanted(30, replace(LOAD, running_ma=7_500, inrush_ma=7_500)), module_of(2))
    assert study.verdict == "enough if"
    assert study.conditions == ("a: 7.5 A on a channel that takes 7 A with the headroom wanted",)


def test_a_rating_that_is_not_kept_is_not_enough():
    """11 A on a channel of 10 A; 9 A, which leaves no trip setting a quarter above; and too few channels."""
    single = [replace(LOAD, running_ma=ma, inrush_ma=ma) for ma in (11_000, 9_000)]
    for vehicle in (*map(vehicle_of, single), vehicle_of(*named(3))):
        study = explained(vehicle, module_of(2))
        assert (study.verdict, study.conditions, study.allocation_if) == ("not enough", (), None)


def test_size_shows_the_verdict_first():
    """Beside the module's name: enough, enough if, not enough; only the first counts as enough."""
    tight = wanted(30, replace(LOAD, running_ma=7_500, inrush_ma=7_500))
    own = tuple(replace(c, continuous_ma=8_000) for c in module_of(3).module.channels)
    modules = (module_of(2).module, replace(module_of(3, own=own).module, name="weak"))
    table = pa.size(tight, pa.Catalogue("c", modules)).verdicts
    assert list(table.columns[:2]) == ["module", "verdict"]
    assert dict(zip(table["module"], table["verdict"], strict=True)) == {"m": "enough if", "weak": "not enough"}


def test_the_chain_of_a_load_is_told_step_by_step():
    """From the table to the channels that bear it."""
    weak = replace(module_of(1).module.channels[0], name="w", continuous_ma=5_000)
    unit = module_of(2, own=(*module_of(2).module.channels, weak))
    vehicle = vehicle_of(guessed(4_000, 10))
    steps = dict(pa.why(vehicle, "compressor", unit).steps)
    assert steps["table"] == "4 A at 12 V, kind heater"
    assert steps["voltage"] == "4 A at the 12 V, where it draws most (exponent 1)"
    assert steps["tolerance"] == "4.4 A at the top of 10 %"
    assert steps["headroom"] == "5.5 A of derated rating, 20 % headroom"
    assert (
        steps["trip setting of m"] == "5.5 A: 1.25 times the current; one margin with the headroom, the larger counts"
    )
    assert steps["channels of m"] == "1, 2"
    told = pa.why(pa.allocate(vehicle, unit), "compressor")
    assert told.steps[-1][0] == "it is on" and told.steps[-1][1].endswith(" of m")
    assert list(told.table.columns) == ["step", "value"]
    with pytest.raises(pa.UnknownName):
        pa.why(vehicle, "compresor", unit)


def test_the_chain_names_state_voltage_and_cold_copper():
    """A computer draws 6 x 12 / 8 A in cranking; a coil 2 x 14.4 / 12 A on the road, x 254.5 / 209.5 at -25 °C."""
    on = {LOAD.command: PPM}
    states = (State("cranking", 8.0, on, supply_top_v=12.0), State("road", 13.6, on, supply_top_v=14.4))
    computer = replace(guessed(6_000, 0), kind="electronics", volt_exponent=-1)
    vehicle = replace(vehicle_of(computer), states=states, states_given=True)
    voltage = dict(pa.why(vehicle, "compressor", module_of(1)).steps)["voltage"]
    assert voltage == "9 A at the 8 V of cranking, where it draws most (exponent -1)"
    coil = replace(guessed(2_000, 0), kind="coil")
    cold = replace(vehicle, loads=(coil,), settings=Settings(lowest_ambient_c=-25.0))
    voltage = dict(pa.why(cold, "compressor", module_of(1)).steps)["voltage"]
    assert voltage == "2.916 A at the 14.4 V of road, where it draws most (exponent 1, copper at -25 °C)"


def test_the_chain_asks_for_what_the_trip_setting_asks():
    """8 A read 4 % too high take a setting of 10.5 A: a channel of 10 A keeps the headroom and does not bear it."""
    own = (*channels(1, continuous_ma=10_499), replace(*channels(1, continuous_ma=10_500), name="2"))
    unit = amps_of(module_of(2, own=own), trip_error_pct=Fraction(4), trip_step_ma=500)
    steps = dict(pa.why(vehicle_of(guessed(8_000, 0)), "compressor", unit).steps)
    assert steps["trip setting of m"].startswith("10.5 A: 1.25 times the current, its reading off by 4 %")
    assert steps["derating of m"].endswith("a channel of at least 10.5 A") and steps["channels of m"] == "2"


def test_the_command_line_tells_the_chain(capsys):
    """`allocate --why LOAD` prints it; a load that is not there is unusable input."""
    how = ["allocate", "data/rally_coupe", "--module", "middle-36", "--why"]
    name = pa.read_vehicle("data/rally_coupe").loads[0].name
    assert main([*how, name]) == 0
    assert "channels of middle-36" in capsys.readouterr().out
    assert main([*how, "no such load"]) == 2


def test_pairs_that_share_unlike_are_not_taken_for_alike():
    """Of two pairs of 16 A the one that shares evenly bears 25 A, the other does not: only one load finds a channel."""
    labels = [("p", 50), ("p", 50), ("q", 70), ("q", 70)]
    own = tuple(
        Channel(str(n), 16_000, 96_000, 50.0, pair=p, share_pct=Fraction(pct)) for n, (p, pct) in enumerate(labels)
    )
    big = [replace(LOAD, name=f"big {n}", command=f"big {n}", running_ma=25_000, inrush_ma=25_000) for n in range(2)]
    (circuit,) = pa.allocate(vehicle_of(big[0]), module_of(4, own=own)).circuits
    assert circuit.channels == ("0", "1")
    with pytest.raises(pa.NotEnough):
        pa.allocate(vehicle_of(*big), module_of(4, own=own))


@pytest.mark.parametrize(("peak_a", "is_enough"), [(20.0, True), (19.9, False)])
def test_the_peak_of_a_module_is_judged_at_the_voltage_of_the_state(peak_a, is_enough):
    """20 A of inrush at 12 V; the 15 V of a state that keeps the load off would make 25 A of it."""
    on = {"winch": PPM}
    states = (State("anchoring", 12.0, on), State("charging", 15.0, {"lamp": PPM}))
    winch = replace(LOAD, name="winch", command="winch", running_ma=4_000, inrush_ma=20_000, inrush_ms=50.0)
    lamp = replace(LOAD, name="lamp", command="lamp", running_ma=1_000, inrush_ma=1_000)
    vehicle = vehicle_of(winch, lamp, states=states)
    unit = module_of(2)
    unit = replace(unit, module=replace(unit.module, total_peak_ma=round(1000 * peak_a)))
    if is_enough:
        assert pa.verify(pa.allocate(vehicle, unit)).empty
    else:
        with pytest.raises(pa.NotEnough) as refused:
            pa.allocate(vehicle, unit)
        assert "0.1 A more peak in the state anchoring (20 A against 19.9 A" in str(refused.value)


def test_why_tells_the_wire_as_it_is_laid():
    """Alone among three wires a size smaller may do than in the bundle that it lies in."""
    vehicle, catalogue = pa.read_vehicle("data/rally_coupe"), pa.read_catalogue("data/catalogue")
    allocation = pa.allocate(vehicle, fitted(vehicle, catalogue, ["middle-42"], ["boot"]))
    for one in allocation.wired[:5]:
        told = dict(pa.why(allocation, one.circuit.loads[0]).steps)["its wire as laid"]
        assert f"{one.made.wire.size.name} among {one.bundle_wires} loaded wire" in told
    apart = pa.allocate(vehicle, catalogue["middle-42"])
    assert "its wire as laid" not in dict(pa.why(apart, vehicle.loads[0].name).steps)
