"""Bundles, loaded wires and segments by hand."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.electrics.wire import mass_g_per_m, outer_diameter_mm
from pdm_alloc.harness.paths import BUNDLE_SPREAD, Strand, beside, bundle_mm, loaded, parts_of, segments, shortest_tree
from tests.harness.test_tree import FORK, FORKED

TRUNK, BRANCH = ("joint", "source"), ("joint", "left")


def strand(*parts, conductors=1, area=1.0, on=("day",)):
    return Strand(frozenset(parts), conductors, area, frozenset(on))


def test_bundle_by_hand():
    """Two wires of 2.08 mm across make 1.2 x sqrt(2) x 2.08 = 3.5 mm; a single one is no bundle."""
    one = outer_diameter_mm(1.0)
    assert bundle_mm([]) == 0 and bundle_mm([1.0]) == one
    assert bundle_mm([1.0, 1.0]) == pytest.approx(1.2 * math.sqrt(2) * one)


@given(st.lists(st.sampled_from([0.5, 1.0, 2.5, 6.0, 25.0]), min_size=2, max_size=30))
def test_bundle_holds_its_wires(areas):
    """A bundle has room for the area of its wires, and grows with every wire."""
    across = bundle_mm(areas)
    assert across**2 == pytest.approx(BUNDLE_SPREAD**2 * sum(outer_diameter_mm(a) ** 2 for a in areas))
    assert bundle_mm([*areas, 0.5]) > across > max(map(outer_diameter_mm, areas))


def test_ways_to_two_places_are_a_trunk_and_branches():
    """The trunk is in it once."""
    tree = shortest_tree(FORK, FORKED, "source")
    assert parts_of(tree, ["left", "far"]) == {TRUNK, BRANCH, ("joint", "right"), ("far", "right")}
    assert parts_of(tree, ["source"]) == frozenset()


def test_loaded_wires_count_in_the_worst_state_only():
    """By day two wires and by night three conductors are loaded in the trunk, never all five."""
    strands = [
        strand(TRUNK, on=("day",)),
        strand(TRUNK, BRANCH, on=("day", "night")),
        strand(TRUNK, conductors=2, on=("night",)),
        strand(BRANCH, on=()),
    ]
    assert loaded(strands) == {TRUNK: 3, BRANCH: 1}
    # the first is on by day only; the last never is, so it is counted beside everything
    together = beside(strands, lambda one, part: 20.0)
    assert together == [{TRUNK: 2}, {TRUNK: 3, BRANCH: 1}, {TRUNK: 3}, {BRANCH: 2}]
    assert beside([strand(on=("day",), conductors=2)], lambda one, part: 20.0) == [{}]


def test_light_wires_do_not_count_for_the_others():
    """Seven wires of 20 A, halved by the bundle: 3.1 A counts, 3 A (30 % of 10 A) does not; among two 6 A is light."""
    heavy, light = (replace(strand(TRUNK), current_a=a) for a in (3.1, 3.0))
    assert beside([heavy] * 7, lambda one, part: 20.0) == [{TRUNK: 7}] * 7
    assert beside([light] * 7, lambda one, part: 20.0) == [{TRUNK: 1}] * 7
    strong = replace(strand(TRUNK), current_a=7.0)
    assert beside([strong, strong, *[light] * 5], lambda one, part: 20.0) == [{TRUNK: 2}] * 2 + [{TRUNK: 3}] * 5


def test_every_route_counts_its_own_wires_in_its_own_ambient():
    """The branch is hot and nearly empty: what is light in the trunk is heavy there."""
    trunk, through = (replace(strand(*parts), current_a=5.0) for parts in ((TRUNK,), (TRUNK, BRANCH)))
    together = beside([trunk, through], lambda one, part: {TRUNK: 20.0, BRANCH: 10.0}[part])
    assert together == [{TRUNK: 1}, {TRUNK: 1, BRANCH: 1}]


def test_segments_by_hand():
    """Mass of a route is length x slack x mass per metre of every conductor; an empty route has none."""
    strands = [strand(TRUNK, area=2.5, conductors=2), strand(TRUNK, BRANCH, area=1.0)]
    found = segments(strands, {TRUNK: 2.0, BRANCH: 1.0, ("far", "right"): 0.5}, 1.05, 105.0)
    trunk, branch, empty = found
    assert (trunk.circuits, trunk.wires, trunk.loaded_wires, trunk.start, trunk.end) == (2, 3, 3, *TRUNK)
    assert trunk.mass_g == pytest.approx(2.0 * 1.05 * (2 * mass_g_per_m(2.5) + mass_g_per_m(1.0)))
    assert trunk.bundle_mm == bundle_mm([2.5, 2.5, 1.0])
    assert (branch.wires, empty.wires, empty.bundle_mm, empty.mass_g, empty.loaded_wires) == (1, 0, 0, 0, 0)
