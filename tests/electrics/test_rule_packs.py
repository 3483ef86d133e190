"""Least wire size, pins for a current, wires that count as loaded; and ampacity of thin-wall cable."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.electrics.wire import (
    RULE_PACKS,
    WireRules,
    ampacity_a,
    bundle_factor,
    choose_wire,
    counted_wires,
    pins_needed,
    segments_ampacity_a,
)

THIN_WALL = {0.5: 11, 1.0: 16.5, 2.5: 29, 6.0: 50, 10.0: 70}  # sheet values after ISO 6722-B, neutral of maker


@pytest.mark.parametrize(("area", "amps"), THIN_WALL.items())
def test_thin_wall_cable_never_above_its_sheet(area, amps):
    """0.5/1/2.5/6/10 mm2 of 105 deg C alone in 30 deg C air carry at most 11/16.5/29/50/70 A, below the boat table."""
    assert ampacity_a(area, 105) == ampacity_a(area, 105, cable="thin_wall") == pytest.approx(amps)
    assert ampacity_a(area, 105, cable="boat") > amps


@given(st.floats(0.3, 120), st.floats(60, 200), st.floats(-40, 55), st.integers(1, 60))
def test_thin_wall_is_never_above_the_boat_table(area, insulation, ambient, loaded):
    """Whatever size, class, ambient and bundle; and a thicker wire never carries less."""
    thin = ampacity_a(area, insulation, ambient, loaded, "thin_wall")
    assert 0 < thin <= ampacity_a(area, insulation, ambient, loaded, "boat")
    assert thin <= ampacity_a(area * 1.1, insulation, ambient, loaded, "thin_wall") + 1e-9


def test_45_wires_in_a_bundle(published):
    """NEC 310.15(B)(3)(a): 35 % for more than 40 conductors; thin-wall cable is never above it from 21 on."""
    rows = published("nec_bundle_adjustment")
    assert bundle_factor(45, "thin_wall") <= 0.35
    for row in rows:
        if int(row["conductors_min"]) >= 31:
            assert bundle_factor(int(row["conductors_min"]), "thin_wall") <= float(row["percent"]) / 100
    assert bundle_factor(45) == bundle_factor(45, "thin_wall") and bundle_factor(45, "boat") == 0.4


def test_ampacity_segment_by_segment():
    """The full bundle is in the cool, the heat is where the wire is alone: neither counts with the other."""
    segments = [(30.0, 30), (85.0, 1)]
    least = segments_ampacity_a(2.5, 105, segments)
    assert least == min(ampacity_a(2.5, 105, 30, 30), ampacity_a(2.5, 105, 85, 1))
    assert least > ampacity_a(2.5, 105, 85, 30)
    with pytest.raises(ValueError):
        segments_ampacity_a(2.5, 105, [])


def test_another_cable_is_refused():
    """A cable nobody knows has no ampacity."""
    with pytest.raises(ValueError):
        ampacity_a(2.5, 105, cable="welding")


@pytest.mark.parametrize(
    ("pack", "sizes", "least"),
    [
        ("boat", "metric", "1 mm2"),
        ("boat", "awg", "16 AWG"),
        ("general", "metric", "0.5 mm2"),
        ("general", "awg", "22 AWG"),
    ],
)
def test_least_wire_of_a_rule_pack(pack, sizes, least):
    """33 CFR 183.425 (d) and (e): 16 AWG; ISO 10133, 7.7: 1 mm2. A road vehicle has no least size."""
    assert choose_wire(0.5, 0.3, [(0.3, 1, 3)], WireRules(sizes, pack=pack)).size.name == least
    assert RULE_PACKS[pack].source


def test_pins_for_a_current():
    """One wire a pin unless the catalogue says what a pin bears; then as few as bear it, and none where all do not."""
    assert pins_needed(5_000, None, 3) == 3
    assert [pins_needed(ma, 13_000, 3) for ma in (1, 13_000, 13_001, 39_000, 39_001)] == [1, 1, 2, 3, None]
    with pytest.raises(ValueError):
        pins_needed(1, 0, 1)


def test_lightly_loaded_wires_do_not_count():
    """Of 30 wires that carry 20 A alone, 27 carry 1 A: three count; all at 10 A all count."""
    assert counted_wires([1] * 27 + [10] * 3, [20] * 30, bundle_factor) == 3
    assert counted_wires([10] * 30, [20] * 30, bundle_factor) == 30
    assert counted_wires([0], [20], bundle_factor) == 1


@given(st.lists(st.floats(0, 20), min_size=1, max_size=40))
def test_every_wire_left_out_is_light_in_the_bundle_that_is_counted(currents):
    """The rule holds at the end: exactly the wires above 30 % of their capacity in the counted bundle are counted."""
    count = counted_wires(currents, [20] * len(currents), bundle_factor)
    heavy = sum(current > 0.3 * 20 * bundle_factor(count) for current in currents)
    assert count == max(1, heavy)
