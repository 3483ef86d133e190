"""The program of one choice by hand."""

from dataclasses import replace

import pytest

from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.circuits.draws import at_once_ma, feed_currents_ma, for_at_once_ma
from pdm_alloc.domain.vehicle import Load
from pdm_alloc.program.lightest import keep_within_feeds, lightest, wire_costs
from pdm_alloc.program.partition import task_of
from pdm_alloc.program.solver import Clock, Program
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.studies.mounting_bounds import least_cost
from pdm_alloc.verify.check import violations
from tests.wiring import small

LEFT = Load("left", "l", 8_000, kind="heater", inrush_ma=8_000, place="left", max_drop_pct=10.0)
RIGHT = Load("right", "r", 6_000, kind="heater", inrush_ma=6_000, place="right", max_drop_pct=10.0)
UNITS = (small.unit(1, "left", "a"), small.unit(1, "right", "b"))


def task(units=UNITS):
    return task_of(small.forked(LEFT, RIGHT), units, CircuitBook(3))


def test_rows_of_the_feeds():
    """Feeds for 8 A and 20 A bear 10 A and 25 A at once: only the first can be too little for 14 A, in one row."""
    program, made = Program(), task()
    keep_within_feeds(program, made, (8_000, 20_000))
    on_a = {v: c for v, c in enumerate(made.columns) if made.classes[c.channel_class].unit == 0}
    wanted = {v: 8_000 if c.command == "l" else 6_000 for v, c in on_a.items()}
    assert program.rows == [(wanted, -float("inf"), 10_000)]


def test_every_load_goes_to_the_unit_beside_it():
    """Each has 0.3 m of wire at its own place; the other way round it were 4.5 m each."""
    vehicle = small.forked(LEFT, RIGHT)
    found = lightest(vehicle, UNITS, (14_000, 14_000), Clock(60), CircuitBook(3))
    assert found.outcome == "proven best" and found.bound_dg == found.wire_dg
    assert {(unit, items[0][0]) for unit, _, _, _, items in found.circuits} == {(0, "left"), (1, "right")}
    costs = wire_costs(task())
    assert found.wire_dg == sum(sorted(costs.values())[:2])


def test_a_feed_too_weak_sends_a_load_the_long_way():
    """With two channels each and a feed that bears 7 A at the left, both loads go to the right, and weigh more."""
    units = (small.unit(2, "left", "a"), small.unit(2, "right", "b"))
    vehicle = small.forked(LEFT, RIGHT)
    free = lightest(vehicle, units, (14_000, 14_000), Clock(60), CircuitBook(3))
    bound = lightest(vehicle, units, (5_600, 14_000), Clock(60), CircuitBook(3))
    assert {unit for unit, *_ in bound.circuits} == {1} and bound.wire_dg > free.wire_dg
    assert lightest(vehicle, units, (4_000, 4_000), Clock(60), CircuitBook(3)).outcome == "not enough"


def test_without_time_to_list_circuits_there_is_an_answer_all_the_same():
    """The greedy allocation keeps every limit and says what its wires weigh; a feed that does not bear it ends it."""
    vehicle, units = small.forked(LEFT, RIGHT), (small.unit(2, "left", "a"), small.unit(2, "right", "b"))
    found = lightest(vehicle, units, (14_000, 14_000), Clock(60), CircuitBook(3), lists=False)
    best = lightest(vehicle, units, (14_000, 14_000), Clock(60), CircuitBook(3))
    assert found.outcome == "best so far" and found.bound_dg == 0 and found.wire_dg >= best.wire_dg > 0
    circuits = [PlacedCircuit(units[u].label, names, use, c, items) for u, use, names, c, items in found.circuits]
    assert violations(vehicle, units, circuits) == []
    costs = {(units[unit].place, load): dg for (unit, load), dg in _alone(vehicle, units).items()}
    assert found.wire_dg == sum(costs[units[u].place, items[0][0]] for u, _, _, _, items in found.circuits)
    assert (
        lightest(vehicle, units, (4_000, 4_000), Clock(60), CircuitBook(3), lists=False).outcome == "no answer in time"
    )


def _alone(vehicle, units):
    """Mass of the wire of each load by unit, tenths of a gram."""
    made = task_of(vehicle, units, CircuitBook(3))
    names = {c: types[0].items[0][0] for c, types in made.types.items()}
    return {
        (made.classes[c.channel_class].unit, names[c.command]): wire_costs(made)[v] for v, c in enumerate(made.columns)
    }


def test_what_cannot_be_light_enough_is_passed_over():
    """A cutoff at the optimum lets it through; a tenth of a gram less does not, and the bound says why."""
    vehicle = small.forked(LEFT, RIGHT)
    best = lightest(vehicle, UNITS, (14_000, 14_000), Clock(60), CircuitBook(3)).wire_dg
    asked = [lightest(vehicle, UNITS, (14_000,) * 2, Clock(60), CircuitBook(3), best - less) for less in (0, 1)]
    assert [a.outcome for a in asked] == ["proven best", "passed over"] and asked[1].bound_dg == best
    assert lightest(vehicle, UNITS, (14_000,) * 2, Clock(0), CircuitBook(3)).outcome == "no answer in time"


def test_even_headroom_changes_channels_and_nothing_else():
    """Two strengths of channel, wires equally heavy: the small load settles on the weak channel."""
    unit = small.unit(2, "left")
    weak = replace(unit.module.channels[0], continuous_ma=12_000)
    unit = replace(unit, module=replace(unit.module, channels=(weak, unit.module.channels[1])))
    loads = (replace(LEFT, running_ma=12_000), replace(RIGHT, running_ma=500, inrush_ma=500))
    vehicle = small.forked(*loads)
    plain, settled = (
        lightest(vehicle, (unit,), (99_000,), Clock(60), CircuitBook(3), settle=settle) for settle in (False, True)
    )
    assert plain.wire_dg == settled.wire_dg
    assert {c[2]: c[4][0][0] for c in settled.circuits} == {("1",): "right", ("2",): "left"}


def test_feed_currents():
    """A single unit bears everything at once; two share by their ratings where these are ample, else each bears all."""
    vehicle = small.forked(LEFT, RIGHT)
    units = [replace(u, module=replace(u.module, total_ma=ma)) for u, ma in zip(UNITS, (9_000, 5_000), strict=True)]
    assert feed_currents_ma(vehicle, units, 14_000) == (9_000, 5_000)
    assert feed_currents_ma(vehicle, units[:1], 14_000) == (11_200,)
    assert feed_currents_ma(vehicle, units, 20_000) == (16_000, 16_000)
    assert feed_currents_ma(vehicle, units, 4_000) == (4_000, 4_000)
    assert (at_once_ma(8_000), for_at_once_ma(10_000), for_at_once_ma(10_001)) == (10_000, 8_000, 8_001)


def test_least_cost_by_hand():
    """Three items of a and one of b: two together for 3 and one with b for 4 beat any other partition."""
    costs = {((0, 1),): 3, ((0, 2),): 3, ((1, 1),): 3, ((0, 1), (1, 1)): 4}
    assert least_cost([3, 1], costs) == 7
    assert least_cost([0, 0], costs) == 0
    assert least_cost([1, 2], {((0, 1),): 3}) == float("inf")


def test_least_cost_of_thousands_of_like_items():
    """Ten thousand items in circuits of three at 2 or one at 1: 3,333 circuits of three and one alone."""
    assert least_cost([10_000], {((0, 1),): 1, ((0, 3),): 2}) == 2 * 3333 + 1


def test_least_cost_of_very_many_is_still_a_bound():
    """Beyond 50,000 subsets every item is charged its cheapest share: 16 types of which two share for 5."""
    costs = {((n, 1),): 4 for n in range(16)} | {((n, 1), (n + 1, 1)): 5 for n in range(15)}
    assert least_cost([1] * 16, costs) == pytest.approx(16 * 2.5)
    assert least_cost([1] * 14, {c: k for c, k in costs.items() if c[-1][0] < 14}) == 35
