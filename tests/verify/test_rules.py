"""Each rule is broken alone, and the recount finds that rule and no other, with the values worked out by hand."""

import math
from dataclasses import replace
from types import SimpleNamespace

import pytest

from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Load
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.verify.assignment import Recount
from pdm_alloc.verify.check import RULES, violations
from pdm_alloc.verify.wires import _parallels, asked_of, wire_exists
from tests.verify import case
from tests.verify.broken_limits import LIMITS, OFF
from tests.verify.broken_wires import WIRES
from tests.verify.broken_wiring import WIRING
from tests.verify.case import UNIT, VEHICLE, wired
from tests.wiring import small

BROKEN = WIRING + LIMITS + WIRES


@pytest.mark.parametrize(("rule", "value", "limit", "where", "broken"), BROKEN)
def test_finds_exactly_what_was_broken(rule, value, limit, where, broken):
    """One finding, of that rule, on that channel, with value and limit as worked out by hand."""
    found = violations(broken.vehicle, broken.units, broken.circuits)
    assert [finding.rule for finding in found] == [rule], [str(finding) for finding in found]
    if value is not None:
        assert (found[0].value, found[0].limit) == pytest.approx((value, limit), rel=1e-12)
    assert found[0].channel == where
    assert found[0].message


def test_nothing_wrong_with_the_case_itself():
    """What is broken above is whole before."""
    assert violations(VEHICLE, (UNIT,), wired()) == []


def test_every_rule_has_a_case():
    """A rule nobody breaks here could be empty and nobody would know."""
    silent = {rule.__name__ for rule in RULES}
    for case_of in BROKEN:
        inputs = case_of.values[4]
        recount = Recount(inputs.vehicle, inputs.units, inputs.circuits)
        silent -= {rule.__name__ for rule in RULES if any(True for _ in rule(recount))}
    assert not silent


def test_several_rows_let_a_locked_load_be_on_several_channels():
    """Rows for both channels of the markers are kept by the case as it is."""
    rows = [("marker", "compact", "1"), ("marker", "compact", "2")]
    assert violations(case.locked(*rows), (UNIT,), wired()) == []


def test_a_lock_on_one_channel_is_not_met_by_two_paralleled():
    """The heater is on 5+6: a row that names both is kept in either order, one that names 5 or 6 alone is not."""
    for name in ("5+6", "6+5"):
        assert violations(case.locked(("heater", "compact", name)), (UNIT,), wired()) == []
    for name in ("5", "6"):
        findings = violations(case.locked(("heater", "compact", name)), (UNIT,), wired())
        assert [(f.rule, f.channel) for f in findings] == [("locked", name), ("locked", "5+6")]
    marker = violations(case.locked(("marker", "compact", "1+2")), (UNIT,), wired())
    assert {f.rule for f in marker} == {"locked"}


def test_locks_of_other_modules_do_not_count():
    """A row that names a module which is not fitted says nothing about this one."""
    assert violations(case.locked(("marker", "large", "3")), (UNIT,), wired()) == []


def test_a_lock_names_a_unit_or_its_module():
    """With two units of one module a row means the unit of that label, or else the first."""
    two = (Unit("front", case.MODULE), Unit("rear", case.MODULE))
    front = tuple(replace(c, unit="front") for c in wired())
    assert violations(case.locked(("engine ECU", "compact", "9")), two, front) == []
    assert [f.rule for f in violations(case.locked(("engine ECU", "rear", "9")), two, front)] == ["locked", "locked"]


def test_two_units_with_one_label_are_refused():
    """A label that means two units could not be checked."""
    with pytest.raises(ValueError, match=r"unit labels must be unique, got \['compact', 'compact'\]"):
        violations(VEHICLE, (UNIT, UNIT), ())


def test_loads_that_may_not_be_off_together_are_not_added_up():
    """Of pump and radio one at a time is off: 60.7 kA2 ms within 61.0, though both together would bring 62.5."""
    assert violations(OFF, case.channels("3", continuous_ma=12_000, peak_ms=17.4), wired()) == []


def kept(vehicle=VEHICLE, units=(UNIT,), circuits=None):
    return violations(vehicle, units, wired() if circuits is None else circuits) == []


def test_limits_that_are_just_kept():
    """9.0 and 16.0 V of a module from 9 to 16 V; both ends of its derating; the very number of inputs."""
    assert kept(case.at_volts(9.0)) and kept(case.at_volts(16.0))
    strong = {"total_ma": 160000, "bank_ma": {"A": 90000, "B": 90000}}
    channels = tuple(replace(c, continuous_ma=60000, peak_ma=360000) for c in case.MODULE.channels)
    for ambient_c in (0.0, 100.0):
        assert kept(case.at_place(ambient_c), case.units("bulkhead", channels=channels, **strong))
    assert kept(units=case.units(inputs=4))


@pytest.mark.parametrize("reader", ["keypad", "control_unit"])
def test_what_another_box_reads_takes_no_input(reader):
    """Of four switches and senders one is read elsewhere: three inputs are enough, two are not."""
    inputs = tuple(replace(x, read_by=reader) if x.name == "key" else x for x in VEHICLE.inputs)
    vehicle = replace(VEHICLE, inputs=inputs)
    assert kept(vehicle, case.units(inputs=3)) and not kept(vehicle, case.units(inputs=2))


def test_a_joined_command_on_one_channel_is_right():
    """Joined are the loads of the dimmer, all of them on channel 4."""
    assert kept(case.command("dimmer", together=True))


def test_a_channel_is_no_pair_with_itself_nor_with_two_more():
    """5+5 and 5+6+7 are no pairs, whatever their labels."""
    heater = case.CIRCUITS["heater"]
    for names in (("5", "5"), ("5", "6", "7"), ("5",)):
        circuits = wired(heater=replace(heater, channels=names), window=None)
        assert "together" in {f.rule for f in violations(VEHICLE, (UNIT,), circuits)}
    tripled = case.units(channels=tuple(replace(c, pair="p") for c in case.MODULE.channels))
    circuits = wired(heater=replace(heater, channels=("5", "6", "10")))
    assert "together" in {f.rule for f in violations(VEHICLE, tripled, circuits)}
    ring = replace(heater, use="ring")
    assert "together" in {f.rule for f in violations(VEHICLE, (UNIT,), wired(heater=ring))}


def test_a_lock_on_a_channel_whose_name_has_a_plus():
    """A row that names the channel 9+ means that one, not 9."""
    channels = tuple(replace(c, name="9+1") if c.name == "9" else c for c in case.MODULE.channels)
    ecu = replace(case.CIRCUITS["ecu"], channels=("9+1",))
    vehicle = case.locked(("engine ECU", "compact", "9+1"))
    assert kept(vehicle, case.units(channels=channels), wired(ecu=ecu))


def test_a_lock_names_every_place_it_allows():
    """The finding lists the channels that the rows name, in their order."""
    rows = [("radio", "compact", "1"), ("radio", "compact", "2")]
    (finding,) = [f for f in violations(case.locked(*rows), (UNIT,), wired()) if f.channel == "3"]
    assert finding.message == (
        "radio is on channel 3 of compact and locked to channel 1 of compact, channel 2 of compact"
    )


SIZES = tuple(SimpleNamespace(ampacity_a=a, area_mm2=mm2) for a, mm2 in ((50.0, 5.0), (100.0, 10.0), (200.0, 30.0)))


def circuit_of(use, amps=8.0, **channel):
    """A heater on the first channel, or the first two, of a module whose terminals are not known; its recount."""
    heater = Load("heater", "heat", round(1000 * amps), kind="heater", inrush_ma=round(1000 * amps))
    rated = {"continuous_ma": 2_000_000, "peak_ma": 4_000_000} | ({"pair": "p"} if use == "pair" else {}) | channel
    names = ("1", "2") if use == "pair" else ("1",)
    circuit = PlacedCircuit("box", names, use, "heat", (("heater", 1),))
    recount = Recount(small.vehicle(heater), (small.unit(**rated),), [circuit])
    return recount, recount.wired[0]


@pytest.mark.parametrize(
    ("use", "pins", "trip_a", "stall_mm2", "terminal_mm2", "known", "numbers"),
    [
        ("single", 1, 401, 0, math.inf, SIZES, [1, 2, 3]),
        ("single", 1, 400, 0, math.inf, SIZES, [1, 2]),
        ("single", 1, 400.2, 0, math.inf, SIZES, [1, 2, 3]),
        ("single", 1, 1, 91, math.inf, SIZES, [1, 2, 3, 4]),
        ("single", 1, 401, 91, 50.0, SIZES, [1]),
        ("single", 3, 401, 0, 50.0, SIZES, [3]),
        ("single", 1, 401, 0, math.inf, (), [1]),
        ("pair", 1, 401, 0, math.inf, SIZES, [2, 4]),
        ("pair", 1, 801, 0, math.inf, SIZES, [2, 4, 6]),
    ],
)
def test_conductors_side_by_side_that_are_tried(use, pins, trip_a, stall_mm2, terminal_mm2, known, numbers):
    """One for each pin, or as many as setting and stuck motor take of the thickest where nobody states a terminal."""
    _, circuit = circuit_of(use, pins=tuple("abc"[:pins]))
    asked = SimpleNamespace(trip_ma=1000 * trip_a, stall_mm2=stall_mm2)
    assert list(_parallels(circuit, asked, terminal_mm2, known)) == numbers


def test_a_current_beyond_every_single_size_has_a_wire_where_no_terminal_is_stated():
    """800 A are set to 1,000 A, more than 300 mm2 carries: two side by side do; a terminal of 300 mm2 takes but one."""
    recount, _ = circuit_of("single", 800.0)
    assert list(wire_exists(recount)) == []
    recount, _ = circuit_of("single", 800.0, max_wire_mm2=300.0)
    (finding,) = wire_exists(recount)
    assert finding.value == 1000 and finding.limit < 1000 and finding.unit == "A"


def test_a_wire_serves_up_to_exactly_what_it_carries():
    """Setting, stuck motor and drop: just kept, and missed by half a thousandth, which no rounding hides."""
    recount, circuit = circuit_of("single")
    asked = asked_of(recount, circuit, {})
    asked.stall_mm2 = 5.0
    assert asked.trip_ma == 10_000
    lost = {"drop": 3.0}
    asked.drops_pct = lambda parallel, conductor: {"heater": (lost["drop"], 3.0)}
    just = SimpleNamespace(ampacity_a=10.0, area_mm2=5.0)
    assert asked.served_by(1, just)
    assert not asked.served_by(1, SimpleNamespace(ampacity_a=9.995, area_mm2=5.0))
    assert not asked.served_by(1, SimpleNamespace(ampacity_a=10.0, area_mm2=4.9975))
    lost["drop"] = 3.0015
    assert not asked.served_by(1, just)


def test_the_wires_of_the_channel_with_the_larger_share_carry_most():
    """60 % of 8 A flow through the two wires of one of two paralleled channels: 2.4 A each of four, 4.8 A of two."""
    recount, circuit = circuit_of("pair")
    asked = asked_of(recount, circuit, {})
    assert (asked.each_a(2), asked.each_a(4)) == pytest.approx((4.8, 2.4))
    recount, circuit = circuit_of("single")
    assert asked_of(recount, circuit, {}).each_a(2) == pytest.approx(4.0)
