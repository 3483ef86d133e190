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
    "what would do: insulation rated to 125 °C (insulation_c of the settings), "
    "or a way and a place of at most 100 °C"
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


BUNDLED = Settings(bundle_wires=20, wire_ambient_c=60.0)
WARMER = replace(LOAD, name="warmer", running_ma=12_000, inrush_ma=12_000, length_m=2.0, max_drop_pct=5.0)


def narrow(area_mm2):
    own = tuple(Channel(str(n), 40_000, 245_000, 30.0, max_wire_mm2=area_mm2) for n in range(2))
    return module_of(2, own=own)


def test_what_sets_a_wire_that_no_terminal_takes_and_what_would_do():
    """Said with the load; each remedy applied to the settings is enough, a wire more or 5 °C more is not."""
    unit = narrow(2.5)
    with pytest.raises(pa.NotEnough) as refused:
        pa.allocate(vehicle_of(WARMER, settings=BUNDLED), unit)
    assert pa.explain(refused.value).wires == (
        "warmer asks for 4 mm²: 15 A at 60 °C among 20 loaded wires; what would do: "
        "insulation rated to 150 °C (insulation_c of the settings), or at most 3 loaded wires in its bundle "
        "(bundle_wires of the settings), or a way and a place of at most 20 °C, "
        "or two circuits of 6 A each, where the load can be divided",
    )
    for changed, is_enough in (
        ({"insulation_c": 150.0}, True),
        ({"insulation_c": 125.0}, False),
        ({"bundle_wires": 3}, True),
        ({"bundle_wires": 4}, False),
    ):
        other = vehicle_of(WARMER, settings=replace(BUNDLED, **changed))
        assert ("2.5" in dict(pa.why(other, "warmer", unit).steps)["wire of m"]) == is_enough
        if is_enough:
            assert pa.verify(pa.allocate(other, unit, strategy="spare")).empty
        else:
            with pytest.raises(pa.NotEnough):
                pa.allocate(other, unit)


@pytest.mark.parametrize(
    ("load", "said"),
    [
        (replace(NEAR, length_m=12.0), "4 mm²: at most 3 % drop over 12 m; no terminal takes it"),
        (replace(WARMER, kind="motor", inrush_ma=150_000, inrush_ms=3000.0), "it must outlast a stalled motor"),
    ],
)
def test_the_chain_says_what_sets_the_wire(load, said):
    """Drop and a stalled motor as well as current."""
    assert said in dict(pa.why(vehicle_of(load), load.name, narrow(1.5)).steps)["wire of m"]
