"""What an allocation writes about its wires and settings is checked row by row."""

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings

import pdm_alloc as pa
from pdm_alloc.domain.vehicle import Load
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.verify.check import violations
from tests.strategies import cases, examples
from tests.wiring import small

QUIET = {"deadline": None, "derandomize": True, "suppress_health_check": list(HealthCheck)}
LOADS = tuple(
    Load(f"m{n}", "run", 5_000, kind="motor", inrush_ma=20_000, inrush_ms=300.0, place="right", volt_exponent=1.0)
    for n in range(3)
)


def allocation():
    """Three motors on three channels of a unit at the source, every circuit of its own."""
    unit = small.unit(number=3, place="source", max_wire_mm2=6.0)
    return pa.allocate(small.forked(*LOADS), unit, strategy="isolate")


@settings(max_examples=examples(60, 600), **QUIET)
@given(cases(most_loads=5, most_items=6, wires=True))
def test_whatever_is_allocated_is_written_rightly(case):
    """Random vehicles with places, bundles, pairs and bridges: no row of any table is found wrong."""
    try:
        found = pa.allocate(*case)
    except pa.NotEnough:
        return
    assert violations(found.vehicle, found.units, found.circuits) == []
    wrong = pa.verify(found)
    assert wrong.empty, wrong.to_dict("records")


def test_nothing_wrong_before_it_is_broken():
    """What is altered below is right as it is; each wire, of 2.5 mm2 for the drop, is light beside the two others."""
    found = allocation()
    assert pa.verify(found).empty
    assert set(found.wires.bundle_wires) == {1} and set(found.wires["size"]) == {"2.5 mm2"}


@pytest.mark.parametrize(
    ("table", "column", "value", "rules"),
    [
        ("settings", "trip_a", 6.25, {"setting"}),
        ("settings", "trip_a", 5.9, {"setting"}),
        ("settings", "trip_a", 31.0, {"setting"}),
        ("settings", "window_ms", 10.0, {"window"}),
        ("wires", "ampacity_a", 99.0, {"ampacity"}),
        ("wires", "area_mm2", 0.5, {"drop"}),
        ("wires", "area_mm2", 1.0, {"drop"}),
        ("wires", "area_mm2", 1.1, {"wire"}),
        ("wires", "area_mm2", 10.0, {"terminal"}),
        ("wires", "parallel", 2, {"terminal"}),
        ("wires", "trip_a", 7.0, {"setting"}),
        ("wires", "trip_a", None, {"wire list"}),
    ],
)
def test_every_wrong_number_is_found(table, column, value, rules):
    """One number of one row is altered, and the rule it breaks says so for that channel."""
    found = allocation()
    broken = getattr(found, table).copy()
    broken[column] = broken[column].astype(float)
    broken.loc[0, column] = value
    found.__dict__[table] = broken
    wrong = pa.verify(found)
    assert set(wrong.rule) >= rules and set(wrong.rule) <= rules | {"bundle", "ampacity", "voltage"}
    assert wrong.channel[0] == "1" and (wrong.message != "").all()


def test_a_missing_row_is_found():
    """A circuit nobody has written down cannot be wired."""
    found = allocation()
    found.__dict__["wires"] = found.wires.iloc[1:]
    wrong = pa.verify(found)
    assert wrong.rule.tolist() == ["wire list"] and wrong.channel.tolist() == ["1"]


def on_two(use, **channel):
    """A heater of 30 A on two paralleled channels, or a motor of 12 A on a bridge, as allocated."""
    unit = small.unit(number=2, place="source", **{use: "x"}, **channel)
    needs = frozenset({"reversing"}) if use == "bridge" else frozenset()
    running = 12_000 if use == "bridge" else 30_000
    loads = [Load("heavy", "run", running, inrush_ma=running, place="left", needs=needs, max_drop_pct=20.0)]
    return pa.allocate(small.forked(*loads), unit, strategy="spare")


def rules_after(allocation, column, value):
    """Rules that are broken once one number of the first row of wires is altered."""
    assert pa.verify(allocation).empty
    broken = allocation.wires.copy()
    broken[column] = broken[column].astype(float)
    broken.loc[0, column] = value
    allocation.__dict__["wires"] = broken
    return set(pa.verify(allocation).rule)


@pytest.mark.parametrize(("number", "is_wrong"), [(2, False), (3, True), (4, False), (5, True)])
def test_a_pair_has_as_many_conductors_on_either_channel(number, is_wrong):
    """An odd number of conductors cannot be shared out evenly, even where no terminal limits them."""
    assert ("terminal" in rules_after(on_two("pair"), "parallel", number)) == is_wrong


def test_as_many_pins_are_wired_as_bear_the_setting():
    """60 % of 30 A, a quarter more, is a setting of 22.5 A a channel: one pin of 22.5 A, two of 1 mA less."""
    one, two = (on_two("pair", pins=("a", "b"), contact_ma=ma) for ma in (22_500, 22_499))
    assert (one.wires.parallel.tolist(), two.wires.parallel.tolist()) == ([2], [4])
    assert pa.verify(one).empty and pa.verify(two).empty
    assert "contact" in rules_after(two, "parallel", 2) and "contact" not in rules_after(one, "parallel", 2)


def test_the_return_of_a_bridge_lies_in_the_bundle_too():
    """Out and back are two loaded wires, whatever else there is."""
    allocation = on_two("bridge")
    assert set(allocation.wires.bundle_wires) == {2}
    assert rules_after(allocation, "bundle_wires", 1) == {"bundle"}


def too_thin(load):
    """Rules that 0.5 mm2 breaks on a circuit of one load that may lose half its voltage."""
    vehicle = small.forked(replace(load, max_drop_pct=50.0))
    found = pa.allocate(vehicle, small.unit(number=1, place="source"))
    assert pa.verify(found).empty
    broken = found.wires.copy()
    broken.loc[0, ["area_mm2", "ampacity_a"]] = 0.5
    found.__dict__["wires"] = broken
    return set(pa.verify(found).rule) - {"voltage"}  # behind a thinner wire the loads have less of that too


def test_a_wire_that_carries_too_little_is_found():
    """12 A are set to 15 A, and 0.5 mm2 carries 12.1 A."""
    assert too_thin(Load("heater", "run", 12_000, inrush_ma=12_000, place="left")) == {"ampacity"}


def test_a_stuck_motor_is_recounted():
    """Stuck at 20 A for a window of 11 s a motor takes sqrt(400 x 11 / 7646) = 0.76 mm2."""
    assert too_thin(replace(LOADS[0], inrush_ms=9_000.0)) == {"stall"}


def test_without_tables_only_the_circuits_are_checked():
    """Anything with a vehicle, units and circuits can be verified."""

    class Bare:
        def __init__(self, found: Allocation):
            self.vehicle, self.units, self.circuits = found.vehicle, found.units, found.circuits

    assert pa.verify(Bare(allocation())).empty
