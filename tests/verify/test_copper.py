"""Ampacity, resistance, ways and bundles: the recount against the other side's arithmetic, to the last digit."""

import math
from dataclasses import replace
from itertools import product

import pytest

from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.vehicle import Place, Route, Vehicle
from pdm_alloc.electrics import protection, wire
from pdm_alloc.electrics.wire import ampacity_a
from pdm_alloc.electrics.wire_tables import AMPACITY_A
from pdm_alloc.harness.paths import lengths_of
from pdm_alloc.verify import copper
from tests.verify import case

AREAS = (0.35, 0.5, 0.75, 1.5, 2.5, 4.0, 8.0, 10.0, 16.0, 50.0, 120.0)
CLASSES = (60.0, 70.0, 75.0, 85.0, 90.0, 105.0, 115.0, 125.0, 200.0)


@pytest.mark.parametrize(("area", "insulation_c"), list(product(AREAS, CLASSES)))
def test_a_conductor_alone_carries_what_the_other_side_says(area, insulation_c):
    """Sizes below, between and above the rows of both tables; classes on and between its columns; any ambient."""
    for ambient_c in (-20.0, 30.0, insulation_c - 5.0):
        expected = ampacity_a(area, insulation_c, ambient_c)
        assert copper.alone_a(area, insulation_c, ambient_c) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(("insulation_c", "column"), [(60.0, 0), (75.0, 1), (90.0, 3), (105.0, 4), (200.0, 6)])
def test_rows_of_the_boat_table_are_met(insulation_c, column):
    """33 CFR 183.425 Table 5: on a row and a class the value printed there."""
    for number, amps in AMPACITY_A.items():
        assert copper._table_a(copper._awg_mm2(number), insulation_c) == pytest.approx(amps[column], rel=1e-12)


@pytest.mark.parametrize(
    ("wires", "factor"),
    [(1, 1), (2, 1), (3, 0.7), (4, 0.6), (6, 0.6), (7, 0.5), (24, 0.5), (25, 0.4), (40, 0.4), (41, 0.35)],
)
def test_factor_of_a_bundle_changes_at_its_number(wires, factor):
    """One wire more is what changes it (notes to the table; NEC 310.15(B)(3)(a) from 41)."""
    alone, beside = (copper.conductors("metric", 105.0, 30.0, ((30.0, n),)) for n in (1, wires))
    assert beside[4].ampacity_a / alone[4].ampacity_a == pytest.approx(factor, rel=1e-12)


@pytest.mark.parametrize("system", ["metric", "awg"])
def test_sizes_have_the_resistance_the_other_side_says(system):
    """Every size from thin to thick, cold, half loaded and at its class."""
    sizes, known = wire.wire_sizes(system), copper.conductors(system, 105.0, 40.0, ((40.0, 1),))
    assert [c.area_mm2 for c in known] == pytest.approx([size.area_mm2 for size in sizes], rel=1e-12)
    for size, conductor in zip(sizes, known, strict=True):
        for load, warm_c in ((0.0, 40.0), (0.25, 72.5), (1.0, 105.0)):
            expected = wire.resistance_ohm_per_m(size, warm_c)
            assert conductor.ohm_per_m(load) == pytest.approx(expected, rel=1e-12)


def test_the_worst_part_of_a_way_decides():
    """Seven wires at 30 deg C take half of 29 A; one alone at 90 deg C takes less, root of a fifth."""
    size = copper.of_area(copper.conductors("metric", 105.0, 90.0, ((30.0, 7), (90.0, 1))), 2.5)
    assert size.ampacity_a == pytest.approx(29 * math.sqrt(15 / 75), rel=1e-12)
    size = copper.of_area(copper.conductors("metric", 105.0, 80.0, ((30.0, 7), (80.0, 1))), 2.5)
    assert size.ampacity_a == pytest.approx(29 / 2, rel=1e-12)


def test_no_size_where_the_ambient_is_at_the_class():
    """A wire as hot as its insulation may be carries nothing; one a degree cooler does."""
    assert copper.conductors("metric", 105.0, 105.0, ((105.0, 1),)) == ()
    assert copper.conductors("metric", 105.0, 104.0, ((104.0, 1),))[0].ampacity_a > 0


@pytest.mark.parametrize(("area", "found"), [(2.5, 2.5), (2.5009, 2.5), (2.4991, 2.5), (2.502, None), (2.498, None)])
def test_a_size_is_told_by_its_rounded_area(area, found):
    """Tables round to a thousandth of a mm2; what is further off is no size."""
    size = copper.of_area(copper.conductors("metric", 105.0, 30.0, ((30.0, 1),)), area)
    assert (size and size.area_mm2) == found


@pytest.mark.parametrize("insulation_c", [60.0, 105.0, 106.0, 150.0])
def test_time_to_damage_agrees(insulation_c):
    """Up to 105 deg C insulation survives 160 deg C for 5 s, above that 250."""
    limit_c = protection.short_time_c(insulation_c)
    expected = protection.damage_ms(80.0, 1.5, insulation_c, limit_c)
    assert copper.damage_ms(80.0, 1.5, insulation_c) == pytest.approx(expected, rel=1e-12)


SQUARE = (Place("a", 0, 0), Place("b", 3, 0), Place("c", 3, 4), Place("d", 0, 4), Place("e"), Place("f", 9, 9))


def laid(*routes):
    return Vehicle("v", (), (), (), Settings(), places=SQUARE, routes=tuple(Route(*route) for route in routes))


@pytest.mark.parametrize(
    "routes",
    [
        [("a", "b"), ("b", "c"), ("a", "d"), ("d", "c")],  # both ways to c are 7 m: by b, first by name
        [("a", "b"), ("b", "c"), ("a", "d"), ("d", "c", 2.9)],
        [("a", "b"), ("b", "c"), ("a", "c"), ("a", "c", 4.9), ("a", "c", 6.0)],  # the shortest of several
        [("b", "a", 1.0), ("b", "c", 2.0), ("c", "d", 0.5), ("d", "a", 3.4), ("a", "c", 3.0)],
        [("a", "b"), ("e", "b"), ("c", "f")],  # no length is known to e, no way leads to f
    ],
)
def test_ways_are_those_of_the_harness(routes):
    """The same places passed, the same length, and none where there is none."""
    vehicle = laid(*routes)
    ways, tree = copper.Ways(vehicle, "a"), lengths_of(vehicle).tree("a")
    for place in "abcdef":
        edges = ways.edges(place)
        known = tree.joined_m([place]) if place in tree else None
        assert (None if edges is None else pytest.approx(sum(m for _, _, m in edges))) == known


def test_of_ways_equally_long_the_name_decides():
    """7 m by b and 7 m by d: b; and by a name with a number, 2 before 10."""
    assert ("b", "c", 4.0) in copper.Ways(laid(("a", "b"), ("b", "c"), ("a", "d"), ("d", "c")), "a").edges("c")
    places = tuple(Place(name) for name in ("a", "w10", "w2", "z"))
    routes = tuple(Route(*ends, 1.0) for ends in (("a", "w10"), ("a", "w2"), ("w10", "z"), ("w2", "z")))
    vehicle = Vehicle("v", (), (), (), Settings(), places=places, routes=routes)
    assert copper.Ways(vehicle, "a").edges("z") == {("a", "w2", 1.0), ("w2", "z", 1.0)}


TRUNK, BRANCH, HOME = frozenset("ab"), frozenset("bc"), frozenset("a")


def strand(key, each_a, *ways, number=1, states=("on",)):
    """A circuit in some parts of the way, in each of which it may carry 10 A alone."""
    return key, number, each_a, dict.fromkeys(ways, 10.0), list(states)


@pytest.mark.parametrize(
    ("laid", "counts"),
    [
        ([strand(1, 9, TRUNK)], {1: {TRUNK: 1}}),
        ([strand(1, 9, TRUNK, number=2), strand(2, 9, TRUNK)], {1: {TRUNK: 3}, 2: {TRUNK: 3}}),
        # three loaded: 30 % of 10 A at 0.7 is 2.1 A, above which a wire counts for the others
        (
            [strand(n, 9, TRUNK) for n in (1, 2)] + [strand(3, 2.1, TRUNK)],
            {1: {TRUNK: 2}, 2: {TRUNK: 2}, 3: {TRUNK: 3}},
        ),
        ([strand(n, 9, TRUNK) for n in (1, 2)] + [strand(3, 2.101, TRUNK)], {n: {TRUNK: 3} for n in (1, 2, 3)}),
        # one light wire of two: two alone have no factor, so 3 A is light and 3.001 A is not
        ([strand(1, 9, TRUNK), strand(2, 3.0, TRUNK)], {1: {TRUNK: 1}, 2: {TRUNK: 2}}),
        ([strand(1, 9, TRUNK), strand(2, 3.001, TRUNK)], {1: {TRUNK: 2}, 2: {TRUNK: 2}}),
        # once one is out the bundle bears more, and the next is light too: 2.5 A of 3 A, above 2.1 A
        (
            [strand(1, 9, TRUNK), strand(2, 2.5, TRUNK), strand(3, 1, TRUNK)],
            {1: {TRUNK: 1}, 2: {TRUNK: 2}, 3: {TRUNK: 2}},
        ),
        # apart in time, or in place, they do not count for each other; at the module's own place neither
        (
            [strand(1, 9, TRUNK, states=("day",)), strand(2, 9, TRUNK, states=("night",))],
            {1: {TRUNK: 1}, 2: {TRUNK: 1}},
        ),
        (
            [strand(1, 9, TRUNK, states=("day", "night")), strand(2, 9, TRUNK, states=("night",))],
            {1: {TRUNK: 2}, 2: {TRUNK: 2}},
        ),
        ([strand(1, 9, TRUNK, BRANCH), strand(2, 9, BRANCH)], {1: {TRUNK: 1, BRANCH: 2}, 2: {BRANCH: 2}}),
        ([strand(1, 9, HOME, number=2), strand(2, 9, HOME)], {1: {HOME: 2}, 2: {HOME: 1}}),
    ],
)
def test_loaded_wires_in_each_part(laid, counts):
    """Its own conductors and those of every circuit that is loaded there while it is on."""
    assert copper.beside(laid) == counts


def test_places_without_coordinates_have_no_distance():
    """A route without a length between places of which one has no coordinates is no way, whichever is missing."""
    here, there = Place("a", 0.0, 0.0), Place("b", 3.0, 4.0)
    for at, column in product((0, 1), ("x_m", "y_m")):
        places = [here, there]
        places[at] = replace(places[at], **{column: None})
        vehicle = replace(case.VEHICLE, places=tuple(places), routes=(Route("a", "b"),))
        assert copper.Ways(vehicle, "a").edges("b") is None
    vehicle = replace(case.VEHICLE, places=(here, there), routes=(Route("a", "b"),))
    assert copper.Ways(vehicle, "a").edges("b") == {("a", "b", 5.0)}
