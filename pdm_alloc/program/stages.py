"""Costs minimised one after the other, each proved and then held, with the variables thinned out on the way.

The relaxation in fractions is quick and its bound is nearly always met. A variable whose reduced cost
is more than the distance from that bound to a solution in hand cannot be in any better one, so most
variables drop out before a whole-number solve begins, and more drop out before the next cost.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from pdm_alloc.program.outcome import BEST_SO_FAR, NOT_ENOUGH, PROVEN_BEST
from pdm_alloc.program.solver import Clock, Program, Solution, solve_program

__all__ = ["minimise", "packed"]

_EPSILON = 1e-6
_LARGEST = 10_000_000  # a sum of costs beyond this would lose its last digit to the solver's tolerance
_FEW = 300  # variables that need no thinning
_WIDER = 2  # times as many variables when too few were tried


def minimise(program: Program, costs: Sequence[Mapping[int, float]], clock: Clock) -> list[Solution]:
    """Minimise costs in order.

    Parameters
    ----------
    program : Program
        Variables and rows; not changed.
    costs : sequence of mapping
        Cost of each variable by number, whole numbers; earlier ones matter more.
    clock : Clock
        When to stop.

    Returns
    -------
    list of Solution
        One a cost, as far as it came: it ends with the first that is not proved.
    """
    narrow, numbers = program, list(range(len(program.most)))
    solutions: list[Solution] = []
    for cost in costs:
        here = {new: cost[old] for new, old in enumerate(numbers) if cost.get(old)}
        if solutions and not here:
            solutions.append(replace(solutions[-1], objective=0.0, bound=0.0))
            continue
        solution, keep = _stage(narrow, here, clock)
        solutions.append(_widened(solution, numbers, len(program.most)))
        if solution.outcome != PROVEN_BEST:
            break
        narrow, kept = _held(narrow, here, solution.objective, keep)
        numbers = [numbers[v] for v in kept]
    return solutions


def _held(program: Program, cost, value: float, keep: Sequence[int]) -> tuple[Program, list[int]]:
    """The program narrowed to the variables that may still matter, this cost held at its best."""
    with_cost = Program(program.most, [*program.rows, (dict(cost), -math.inf, value)], program.whole)
    return with_cost.narrowed(keep)


def _widened(solution: Solution, numbers: Sequence[int], size: int) -> Solution:
    if not solution:
        return solution
    values = [0.0] * size
    for number, value in zip(numbers, solution.values, strict=True):
        values[number] = value
    return replace(solution, values=tuple(values))


def _stage(program: Program, cost: Mapping[int, float], clock: Clock) -> tuple[Solution, list[int]]:
    """Minimise one cost; also the variables that can be in any solution as good."""
    every = list(range(len(program.most)))
    if len(every) <= _FEW:
        return solve_program(program, cost, clock), every
    relaxed = solve_program(program, cost, clock, whole=False)
    if relaxed.outcome != PROVEN_BEST:
        return replace(relaxed, values=()), every
    solution = _rounded(program, cost, relaxed) or _thinned(program, cost, relaxed, clock)
    if solution.outcome != PROVEN_BEST:
        return solution, every
    return solution, _within(program, relaxed, solution.objective)


def _rounded(program: Program, cost: Mapping[int, float], relaxed: Solution) -> Solution | None:
    """The relaxation itself where it came out whole, and made exactly so keeps every row and costs no more."""
    pairs = zip(relaxed.values, program.whole, strict=True)
    if any(whole and abs(value - round(value)) > _EPSILON for value, whole in pairs):
        return None
    values = tuple(round(v) if w else v for v, w in zip(relaxed.values, program.whole, strict=True))
    objective = sum(c * values[v] for v, c in cost.items())
    if objective > math.ceil(relaxed.objective - _slack(relaxed.objective)) or not _keeps_rows(program, values):
        return None
    return Solution(PROVEN_BEST, values, objective, objective)


def _keeps_rows(program: Program, values: Sequence[float]) -> bool:
    sums = (sum(w * values[v] for v, w in weights.items()) for weights, _, _ in program.rows)
    return all(
        least - _EPSILON <= total <= most + _EPSILON for total, (_, least, most) in zip(sums, program.rows, strict=True)
    )


def _within(program: Program, relaxed: Solution, objective: float) -> list[int]:
    """Variables that may be above 0 in a solution that costs no more; auxiliary ones always."""
    most = objective - relaxed.objective + _slack(objective)
    return [v for v, cost in enumerate(relaxed.reduced) if cost <= most or not program.whole[v]]


def _thinned(program: Program, cost: Mapping[int, float], relaxed: Solution, clock: Clock) -> Solution:
    """First among the variables nearest to the relaxation; without proof, then among all that could be better."""
    bound = math.ceil(relaxed.objective - _slack(relaxed.objective))
    first, near = _nearest_solution(program, cost, relaxed, bound, clock)
    if not first or first.objective <= bound:
        return replace(first, outcome=PROVEN_BEST, bound=first.objective) if first else replace(first, bound=bound)
    reach = _within(program, relaxed, first.objective)
    if len(reach) <= len(near) and first.outcome == PROVEN_BEST:
        return first
    second = _on(program, cost, sorted({*reach, *near}), clock)
    if second.outcome == PROVEN_BEST:
        return second
    better = min((s for s in (first, second) if s), key=lambda s: s.objective)
    return replace(better, outcome=BEST_SO_FAR, bound=max(bound, second.bound))


def _nearest_solution(program: Program, cost, relaxed: Solution, bound: float, clock: Clock):
    """A solution among few variables, more of them until there is one; and the variables it took."""
    near = _within(program, relaxed, bound)
    ranked = sorted(relaxed.reduced)
    while True:
        found = _on(program, cost, near, clock)
        if found or found.outcome != NOT_ENOUGH or len(near) == len(program.most):
            return found, near
        wider = ranked[min(_WIDER * max(len(near), _FEW), len(ranked) - 1)]
        near = _within(program, relaxed, max(bound, relaxed.objective + wider))


def _slack(objective: float) -> float:
    """How far the solver's numbers may be off."""
    return _EPSILON + 1e-9 * abs(objective)


def _on(program: Program, cost: Mapping[int, float], active: Sequence[int], clock: Clock) -> Solution:
    small, numbers = program.narrowed(active)
    here = {new: cost[old] for new, old in enumerate(numbers) if cost.get(old)}
    return _widened(solve_program(small, here, clock), numbers, len(program.most))


def packed(costs: Sequence[Mapping[int, float]], chosen: int) -> list[dict[int, float]]:
    """Costs in order, neighbours joined into one where the numbers stay small: fewer solves, same order.

    Parameters
    ----------
    costs : sequence of mapping
        Whole numbers.
    chosen : int
        The most variables, counted as often as they are chosen, in any solution.

    Returns
    -------
    list of dict
        Minimised in order, they give what `costs` minimised in order would.
    """
    found: list[dict[int, float]] = []
    for cost in costs:
        if found and (joined := _joined(found[-1], cost, chosen)) is not None:
            found[-1] = joined
        else:
            found.append(dict(cost))
    return found


def _joined(first: Mapping[int, float], second: Mapping[int, float], chosen: int) -> dict[int, float] | None:
    spread = 1 + chosen * max(map(abs, second.values()), default=0)
    if spread * (1 + chosen * max(map(abs, first.values()), default=0)) > _LARGEST:
        return None
    return {v: spread * first.get(v, 0) + second.get(v, 0) for v in {**first, **second}}
