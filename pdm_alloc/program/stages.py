"""Objectives in order, each proved and then held."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from pdm_alloc.circuits.classes import ChannelClass
from pdm_alloc.domain.vehicle import PPM
from pdm_alloc.program.condition_rows import Unanswered
from pdm_alloc.program.partition import Task
from pdm_alloc.program.solver import (
    BEST_SO_FAR,
    NOT_ENOUGH,
    PROVEN_BEST,
    STOPPED_EMPTY,
    Clock,
    Program,
    Solution,
    keeps_rows,
    solve_program,
)

__all__ = [
    "AT_ONCE",
    "LARGEST",
    "STRATEGIES",
    "channels_used",
    "minimise",
    "objectives",
    "packed",
    "slack",
    "strength_of",
    "strength_used",
    "unevenness",
]

_EPSILON = 1e-6
_AUXILIARY = -1  # number of a variable that came with a row added later
LARGEST = 10_000_000  # a sum of costs beyond this would lose its last digit to the solver's tolerance
_FEW = 300  # variables that need no thinning
AT_ONCE = 1_500  # variables of a program that is solved sooner than it is thinned
_WIDER = 2  # times as many variables when too few were tried


def minimise(
    program: Program,
    costs: Sequence[Mapping[int, float]],
    clock: Clock,
    known: Sequence[float] | None = None,
    few: int | None = None,
) -> list[Solution]:
    """Minimise costs in order.

    Parameters
    ----------
    program : Program
        Variables and rows; not changed.
    costs : sequence of mapping
        Cost of each variable by number, whole numbers; earlier ones matter more.
    clock : Clock
        When to stop.
    known : sequence of float, optional
        Value of each variable in a solution in hand: where its cost is at the bound, nothing has to be looked for.
    few : int, optional
        A program of no more variables is solved at once, not thinned first; default: 300.

    Returns
    -------
    list of Solution
        One a cost, as far as it came: it ends with the first that is not proved.
    """
    narrow, numbers = program, list(range(len(program.most)))
    if program.late_rows:
        narrow = Program([*program.most], [*program.rows], [*program.whole])
    solutions: list[Solution] = []
    for cost in costs:
        here = {new: cost[old] for new, old in enumerate(numbers) if cost.get(old)}
        if solutions and not here:
            solutions.append(replace(solutions[-1], objective=0.0, bound=0.0))
            continue
        solution, keep = _unbroken(program, narrow, numbers, here, clock, known, _FEW if few is None else few)
        known = solution.values
        solutions.append(solution)
        if solution.outcome != PROVEN_BEST:
            break
        narrow, kept = _held(narrow, here, solution.objective, keep)
        numbers = [numbers[v] for v in kept]
    return solutions


def _unbroken(
    program: Program,
    narrow: Program,
    numbers: list[int],
    cost: Mapping[int, float],
    clock: Clock,
    known: Sequence[float] | None,
    few: int,
) -> tuple[Solution, list[int]]:
    """Minimise one cost with lazy constraints, until its solution violates none; as `_stage`, in the program's numbers.

    Every row holds for every allocation that keeps the limits, so the bound holds whenever it stops.
    """
    late = program.late_rows
    while True:
        solution, keep = _stage(narrow, cost, clock, _narrowed(known, numbers), few)
        wide = _widened(solution, numbers, len(program.most))
        try:
            if not wide.values or late is None or not late.add(narrow, numbers, wide.values, clock):
                return wide, keep
        except Unanswered:
            return Solution(STOPPED_EMPTY, bound=solution.bound), keep
        numbers += [_AUXILIARY] * (len(narrow.most) - len(numbers))
        if clock.is_over():
            return Solution(STOPPED_EMPTY, bound=solution.bound), keep


def _held(program: Program, cost: Mapping[int, float], value: float, keep: Sequence[int]) -> tuple[Program, list[int]]:
    """The program on the variables that reduced-cost fixing left, with this cost held at its optimum.

    From below too: what no solution undercuts need not be found again by the relaxation of the next cost.
    """
    with_cost = Program(program.most, [*program.rows, (dict(cost), value, value)], program.whole)
    return with_cost.narrowed(keep)


def _widened(solution: Solution, numbers: Sequence[int], size: int) -> Solution:
    if not solution:
        return solution
    values = [0.0] * size
    for number, value in zip(numbers, solution.values, strict=True):
        if number != _AUXILIARY:
            values[number] = value
    return replace(solution, values=tuple(values))


def _narrowed(values: Sequence[float] | None, numbers: Sequence[int]) -> list[float] | None:
    """Values restricted to the variables of a narrower program; None without values, or with auxiliary variables."""
    return [values[n] for n in numbers] if values and _AUXILIARY not in numbers else None


def _stage(
    program: Program, cost: Mapping[int, float], clock: Clock, known: Sequence[float] | None, few: int
) -> tuple[Solution, list[int]]:
    """Minimise one cost; also the variables that reduced-cost fixing leaves."""
    every = list(range(len(program.most)))
    if len(every) <= few:
        return solve_program(program, cost, clock), every
    relaxed = solve_program(program, cost, clock, whole=False)
    if relaxed.outcome != PROVEN_BEST:
        return replace(relaxed, values=()), every
    at_bound = (_at_bound(program, cost, relaxed, values) for values in (relaxed.values, known) if values)
    solution = next(filter(None, at_bound), None) or _thinned(program, cost, relaxed, clock)
    if solution.outcome != PROVEN_BEST:
        return solution, every
    return solution, _within(program, relaxed, solution.objective)


def _at_bound(program: Program, cost: Mapping[int, float], relaxed: Solution, near: Sequence[float]) -> Solution | None:
    """The values rounded, where they are integral, feasible and at the bound of the relaxation; else None."""
    pairs = list(zip(near, program.whole, strict=True))
    if any(whole and abs(value - round(value)) > _EPSILON for value, whole in pairs):
        return None
    values = tuple(round(v) if w else v for v, w in pairs)
    objective = sum(c * values[v] for v, c in cost.items())
    if objective > math.ceil(relaxed.objective - slack(relaxed.objective)) or not keeps_rows(
        program, values, of_sum=False
    ):
        return None
    return Solution(PROVEN_BEST, values, objective, objective)


def _within(program: Program, relaxed: Solution, objective: float) -> list[int]:
    """Reduced-cost fixing: variables that can be nonzero at no greater cost; auxiliary ones always."""
    largest = objective - relaxed.objective + slack(objective)
    return [v for v, cost in enumerate(relaxed.reduced) if cost <= largest or not program.whole[v]]


def _thinned(program: Program, cost: Mapping[int, float], relaxed: Solution, clock: Clock) -> Solution:
    """Solve on the variables of least reduced cost, twice as many until a solution comes; then on all that matter.

    A variable whose reduced cost is above the distance from the relaxation to a solution is in no better one.
    """
    bound = math.ceil(relaxed.objective - slack(relaxed.objective))
    near, ranked = _within(program, relaxed, bound), sorted(relaxed.reduced)
    first = _on(program, cost, near, clock)
    while first.outcome == NOT_ENOUGH and len(near) < len(program.most):
        wider = ranked[min(_WIDER * len(near), len(ranked) - 1)]
        near = _within(program, relaxed, max(bound, relaxed.objective + wider))
        first = _on(program, cost, near, clock)
    if not first or first.objective <= bound:
        return replace(first, outcome=PROVEN_BEST, bound=first.objective) if first else replace(first, bound=bound)
    reach = _within(program, relaxed, first.objective - 1)
    if len(reach) <= len(near) and first.outcome == PROVEN_BEST:
        return first
    better = Program(program.most, [*program.rows, (dict(cost), -math.inf, first.objective - 1)], program.whole)
    second = _on(better, cost, reach, clock)
    if second.outcome == NOT_ENOUGH:
        return replace(first, outcome=PROVEN_BEST, bound=first.objective)
    if second.outcome == PROVEN_BEST:
        return second
    best = second if second else first
    return replace(best, outcome=BEST_SO_FAR, bound=max(bound, second.bound))


def slack(objective: float) -> float:
    """Tolerance on an objective value of the solver."""
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
    stages: list[dict[int, float]] = []
    for cost in costs:
        if stages and (joined := _joined(stages[-1], cost, chosen)) is not None:
            stages[-1] = joined
        else:
            stages.append(dict(cost))
    return stages


def _joined(first: Mapping[int, float], second: Mapping[int, float], chosen: int) -> dict[int, float] | None:
    spread = 1 + chosen * max(map(abs, second.values()), default=0)
    if spread * (1 + chosen * max(map(abs, first.values()), default=0)) > LARGEST:
        return None
    return {v: spread * first.get(v, 0) + second.get(v, 0) for v in {**first, **second}}


STRATEGIES = ("isolate", "spare")


def objectives(task: Task, strategy: str) -> list[tuple[str, dict[int, float]]]:
    """Costs to minimise in order, whole numbers.

    Parameters
    ----------
    task : Task
        Columns.
    strategy : str
        ``isolate``: as many circuits as possible, on as few channels as that takes. ``spare``: as few
        channels as possible, then the weakest ones.

    Returns
    -------
    list of (str, dict)
        Name of the objective and the cost of each column by number, zeros left out.

    Raises
    ------
    ValueError
        The word is no strategy.
    """
    if strategy not in STRATEGIES:
        raise ValueError(f"strategy {strategy!r} is none of {', '.join(STRATEGIES)}")
    circuits = _costs(-1 for _ in task.columns)
    mass = _costs(round(c.fit.mass_mg / 1000) for c in task.columns)  # finer differences are below what a hand can cut
    uneven = _costs(unevenness(np.array([c.fit.use_ppm for c in task.columns])).astype(int).tolist())
    first = [("circuits", circuits), ("channels", channels_used(task))]
    if strategy == "spare":
        first = [("channels", channels_used(task)), ("strength", strength_used(task))]
    return [*first, ("harness mass", mass), ("even headroom", uneven)]


def channels_used(task: Task) -> dict[int, float]:
    """Channels each column takes up, by number."""
    return _by_class(task, [c.width for c in task.classes])


def strength_used(task: Task) -> dict[int, float]:
    """Derated rating each column takes up, A/10, by number."""
    return _by_class(task, [strength_of(c) for c in task.classes])


def _by_class(task: Task, values: Sequence[int]) -> dict[int, float]:
    return _costs(values[column.channel_class] for column in task.columns)


def _costs(values: Iterable[float]) -> dict[int, float]:
    return {v: cost for v, cost in enumerate(values) if cost}


def strength_of(channel_class: ChannelClass) -> int:
    """Derated rating taken from the channels that could have stayed free, A/10 rounded up."""
    return -(-channel_class.rating.rated_ma // 100)


def unevenness(use_ppm: float | np.ndarray) -> np.ndarray:
    """Square of the use, in thousandths: the sum is least when no channel is much fuller than it need be.

    Parameters
    ----------
    use_ppm : int or array of int
        Running over derated rating, parts per million.

    Returns
    -------
    float or array of float
        Whole numbers.
    """
    return np.rint(1000 * (use_ppm / PPM) ** 2)
