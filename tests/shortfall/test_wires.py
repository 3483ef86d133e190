"""Loads that no channel can feed are told by name, with why."""

from dataclasses import replace

import pytest

import pdm_alloc as pa
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.diagnose.shortfall import shortfall
from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import Channel
from pdm_alloc.program.growth_task import plain
from pdm_alloc.program.solver import Clock
from tests.shortfall.conftest import LOAD, module_of, named, vehicle_of
from tests.shortfall.test_growth import check

FAR = replace(LOAD, name="mast light", length_m=800.0, max_drop_pct=1.0)
NEAR = replace(LOAD, name="anchor light", length_m=8.0, max_drop_pct=3.0)


def study(vehicle, unit):
    return shortfall(vehicle, (unit,), Clock(60), CircuitBook(vehicle.settings.tolerance_loads))


HOT = Settings(wire_ambient_c=110.0, insulation_c=105.0)
TOO_HOT = (
    "anchor light has no wire: its wire passes 110 °C, and its insulation is rated to 105 °C; "
    "insulation rated to 125 °C has a wire (insulation_c of the settings); "
    "a way and a place of at most 100 °C have one"
)


@pytest.mark.parametrize(
    ("loads", "settings", "said"),
    [
        ([NEAR, FAR], Settings(), ["mast light has no wire: no wire size keeps the drop within 1 % over 800 m"]),
        ([NEAR], HOT, [TOO_HOT]),
        ([NEAR], Settings(), []),
    ],
)
def test_said_by_name(loads, settings, said):
    narrow = module_of(1, own=tuple(replace(c, max_wire_mm2=1.0) for c in module_of(1).module.channels))
    shorts = [s for s in study(vehicle_of(*loads, settings=settings), narrow).shorts if s.kind == "wire"]
    assert [s.sentence for s in shorts] == said
    assert all((s.have, s.need) == (0, 1) for s in shorts)


def test_a_load_that_a_thicker_wire_cures_is_not_told_so():
    """Only what nothing cures."""
    vehicle = vehicle_of(*named(2), replace(LOAD, length_m=20.0, max_drop_pct=3.0))
    narrow = module_of(6, own=tuple(replace(c, max_wire_mm2=1.0) for c in module_of(6).module.channels))
    shorts = study(vehicle, narrow).shorts
    assert shorts and all(s.kind != "wire" for s in shorts)


def test_the_insulation_that_is_said_to_do_has_a_wire():
    """The sentence on heat, applied to the settings: the same load is enough."""
    cooler = vehicle_of(NEAR, settings=replace(HOT, insulation_c=125.0))
    assert pa.verify(pa.allocate(cooler, module_of(1), strategy="spare")).empty


def pinned(*pins):
    """Channels of 28 A with so many pins each, of which one bears 16 A."""
    own = tuple(
        Channel(str(n), 28_000, 245_000, 30.0, pins=tuple(f"p{n}{k}" for k in range(number)), contact_ma=16_000)
        for n, number in enumerate(pins)
    )
    return module_of(len(own), own=own)


HOT_PLACE = Settings(wire_ambient_c=60.0)  # 6 mm2 of the class 105 °C carries 50 A * sqrt(45 / 75) = 38.7 A there


def amps_of(*numbers):
    return [
        replace(LOAD, name=f"fan {n}", command=f"fan {n}", running_ma=ma, inrush_ma=ma) for n, ma in enumerate(numbers)
    ]


@pytest.mark.parametrize(
    ("pins", "loads", "said"),
    [
        ((3,), (18_000, 18_000), "1 more channel of 28 A"),
        ((3,), (29_000,), "1 channel of 36.3 A in place of a weaker one"),
        ((1,), (18_000,), "1 channel of 28 A with 2 pins of 16 A in place of a weaker one"),
        ((1,), (60_000,), "1 channel of 75 A with 5 pins of 16 A in place of a weaker one"),
    ],
)
def test_a_channel_to_add_has_the_pins_its_current_takes(pins, loads, said):
    """Contacts of 16 A are no reason to say that a load of more has no wire: further pins are counted in."""
    vehicle = vehicle_of(*amps_of(*loads), settings=replace(HOT_PLACE, headroom_pct=vehicle_of().settings.headroom_pct))
    unit = pinned(*pins)
    growth = study(vehicle, unit)
    assert growth.sentence.startswith(said)
    check(vehicle, (unit,))


def test_ratings_keep_the_number_of_pins():
    """Labels of pins are no rating, how many there are is."""
    (channel,) = pinned(3).module.channels
    assert plain(channel).pins == ("", "", "")


def test_a_cooler_way_is_the_hottest_that_has_a_wire():
    """At the ambient that is named the load has a wire, 5 °C above it none: on the channels named, by allocation."""
    unit = module_of(1)
    for ambient, is_enough in ((100.0, True), (105.0, False)):
        vehicle = vehicle_of(NEAR, settings=replace(HOT, wire_ambient_c=ambient))
        assert (shortfall(vehicle, (unit,), Clock(60), CircuitBook(3)).lost == ()) == is_enough
