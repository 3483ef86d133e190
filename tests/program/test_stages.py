"""Costs minimised in order: the thinned solve gives what plain enumeration gives."""

import math
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pdm_alloc.program import solver, stages
from pdm_alloc.program.solver import NOT_ENOUGH, PROVEN_BEST, STOPPED_EMPTY, Clock, Program, Solution, solve_program
from pdm_alloc.program.stages import minimise, packed
from tests.strategies import examples


@st.composite
def programs(draw):
    """A handful of small whole numbers, a few rows, three costs."""
    size = draw(st.integers(1, 5))
    program = Program()
    for _ in range(size):
        program.variable(draw(st.integers(1, 2)))
    weights = st.lists(st.integers(-2, 3), min_size=size, max_size=size)
    for _ in range(draw(st.integers(0, 3))):
        row = dict(enumerate(draw(weights)))
        least = draw(st.integers(-2, 3))
        program.row(row, least, least + draw(st.integers(0, 4)))
    costs = [{v: float(c) for v, c in enumerate(draw(weights)) if c} for _ in range(3)]
    return program, costs


def every_solution(program):
    for values in product(*(range(most + 1) for most in program.most)):
        if all(a <= sum(w * values[v] for v, w in row.items()) <= b for row, a, b in program.rows):
            yield values


def value(cost, values):
    return sum(c * values[v] for v, c in cost.items())


@pytest.mark.once
@settings(max_examples=examples(150, 1500))
@given(programs(), st.booleans())
def test_ordered_optimum_equals_enumeration(case, thinned):
    """Each cost is least among the solutions that are best by the costs before it, thinned out or not."""
    program, costs = case
    few = stages._FEW
    stages._FEW = 0 if thinned else few
    try:
        solutions = minimise(program, costs, Clock(30))
    finally:
        stages._FEW = few
    every = list(every_solution(program))
    if not every:
        assert [s.outcome for s in solutions] == [NOT_ENOUGH]
        return
    best = min(every, key=lambda values: [value(c, values) for c in costs])
    assert [s.outcome for s in solutions] == [PROVEN_BEST] * 3
    found = [round(v) for v in solutions[-1].values]
    assert [value(c, found) for c in costs] == [value(c, best) for c in costs]


@settings(max_examples=examples(150, 1500))
@given(programs())
def test_packed_costs_order_solutions_as_the_costs_do(case):
    """Joining neighbours into one number never changes which solution is better."""
    program, costs = case
    joined = packed(costs, sum(program.most))
    every = list(every_solution(program))
    assert sorted(every, key=lambda v: [value(c, v) for c in joined]) == sorted(
        every, key=lambda v: [value(c, v) for c in costs]
    )


def test_large_costs_are_not_joined():
    """A joined number that the solver could not resolve to its last digit would be no proof."""
    assert len(packed([{0: 100_000.0}, {0: 100_000.0}], 10)) == 2


def test_no_time_gives_no_answer_in_time():
    """Without time there are no values to mistake for an answer."""
    program = Program()
    program.variable(3)
    solution = solve_program(program, {0: 1.0}, Clock(0))
    assert solution.outcome == STOPPED_EMPTY
    assert not solution


def test_asked_to_stop_gives_no_answer_in_time():
    """Whoever overtakes a running solve gets its clock to run out."""
    program = Program()
    program.variable(3)
    assert minimise(program, [{0: 1.0}], Clock(60, stop=lambda: True))[0].outcome == STOPPED_EMPTY


def test_impossible_has_no_values():
    """The solver leaves numbers in the variables of an impossible program: they must not come out."""
    program = Program()
    one = program.variable(1)
    program.row({one: 1}, least=2)
    solution = solve_program(program, {one: 1.0}, Clock(10))
    assert solution.outcome == NOT_ENOUGH
    assert solution.values == ()


def test_a_row_without_variables_that_cannot_hold_is_impossible():
    """An item that fits no channel at all leaves an empty row behind."""
    program = Program()
    program.variable(1)
    program.row({}, least=1, most=1)
    assert solve_program(program, {}, Clock(10)).outcome == NOT_ENOUGH


def test_a_stopped_solve_is_not_called_best():
    """A run cut by the clock is at most the best so far, with its gap; PuLP calls it optimal."""
    program = Program()
    import random

    dice = random.Random(7)
    items = [program.variable(1) for _ in range(90)]
    for _ in range(12):
        weights = {v: dice.randrange(50, 100) for v in items}
        total = sum(weights.values()) // 2
        program.row(weights, total, total)
    solution = solve_program(program, {v: float(dice.randrange(1, 99)) for v in items}, Clock(0.4))
    assert solution.outcome != PROVEN_BEST


@pytest.mark.parametrize(
    ("values", "objective", "kept"),
    [
        ((1.0, 0.0), 2_000_000.0, True),
        ((0.9999995, 0.0), 1_999_999.0, False),  # a whole step of the cost lost to what is nearly whole
        ((0.0, 0.9999999), 1.0, False),  # nearly whole keeps the row, whole does not
    ],
)
def test_nearly_whole_is_not_whole(values, objective, kept):
    """A relaxation is an answer only where it is one when every value is made whole."""
    program = Program([1, 1], [({0: 5.0, 1: 2_000_000.0}, -math.inf, 1_999_999.9)], [True, True])
    relaxed = Solution(PROVEN_BEST, values, objective, objective)
    solution = stages._at_bound(program, {0: 2_000_000.0, 1: 1.0}, relaxed, values)
    assert (solution is not None) == kept


@pytest.mark.parametrize("hint", [(1.0, 0.0), (1.0, 1.0), (0.0, 1.0), (0.0, 0.0), (2.0, -1.0)])
def test_a_solution_in_hand_changes_no_answer(hint, monkeypatch):
    """One at the bound is taken as it is; one that costs more, or is no solution at all, is not."""
    monkeypatch.setattr(stages, "_FEW", 0)
    program = Program([1, 1], [({0: 1.0, 1: 1.0}, 1.0, 2.0)], [True, True])
    solution = minimise(program, [{0: 3.0, 1: 2.0}], Clock(60), hint)[0]
    assert (solution.outcome, tuple(solution.values), solution.objective) == (PROVEN_BEST, (0.0, 1.0), 2.0)


def test_a_solution_in_hand_at_the_bound_is_not_looked_for(monkeypatch):
    """The relaxation takes halves, three of them, and says two: the solution in hand ends the stage."""
    monkeypatch.setattr(stages, "_FEW", 0)
    monkeypatch.setattr(stages, "_thinned", None)
    rows = [({0: 1.0, 1: 1.0}, 1.0, 2.0), ({1: 1.0, 2: 1.0}, 1.0, 2.0), ({0: 1.0, 2: 1.0}, 1.0, 2.0)]
    solution = minimise(Program([1] * 3, rows, [True] * 3), [{0: 1.0, 1: 1.0, 2: 1.0}], Clock(60), (0.0, 1.0, 1.0))[0]
    assert (solution.outcome, solution.objective, solution.values) == (PROVEN_BEST, 2.0, (0.0, 1.0, 1.0))


@settings(max_examples=examples(100, 1000))
@given(programs())
def test_costs_of_millions_keep_their_last_digit(case):
    """As when objectives are joined into one cost."""
    program, (first, second, _) = case
    cost = {v: 900_001 * first.get(v, 0.0) + second.get(v, 0.0) for v in {**first, **second}}
    found = minimise(program, [cost], Clock(60))[0]
    every = [value(cost, values) for values in every_solution(program)]
    assert (found.outcome == NOT_ENOUGH) == (not every)
    if every:
        assert (found.outcome, value(cost, found.values)) == (PROVEN_BEST, min(every))


def test_variables_that_may_be_fractions_are_not_rounded():
    """A row has room for 0.85 to 0.9 of a variable that need not be whole; rounded, it would break the row."""
    program = Program()
    item, part = program.variable(1), program.variable(10, whole=False)
    program.row({item: 1}, 1)
    program.row({part: 1, item: -0.85}, 0)
    program.row({part: 1, item: -0.9}, most=0)
    solution = solve_program(program, {item: 1}, Clock(60))
    assert solution.outcome == PROVEN_BEST
    assert solution.values[item] == 1
    assert 0.85 - 1e-6 <= solution.values[part] <= 0.9 + 1e-6


@pytest.mark.parametrize(("ends", "outcome"), [(True, STOPPED_EMPTY), (False, NOT_ENOUGH)])
def test_a_solve_that_was_stopped_refuses_nothing(monkeypatch, ends, outcome):
    """Stopped within a relaxation the solver may call a program impossible that is not: only its own end counts."""
    over = []
    clock = Clock(60, lambda: bool(over))

    def stopped(*_):
        over.extend([True] * ends)
        return Solution(NOT_ENOUGH)

    monkeypatch.setattr(solver, "_read", stopped)
    program = Program()
    program.row({program.variable(1): 1}, least=1)
    assert solve_program(program, {}, clock).outcome == outcome
