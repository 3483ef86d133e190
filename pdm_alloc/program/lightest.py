"""The lightest wiring of a given place, and returns assigned to ground points."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pdm_alloc.circuits.columns import CircuitBook, Counts, OutOfTime
from pdm_alloc.circuits.wiring import at_once_ma, draws_ma
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.program.handout import Handed, hand_out
from pdm_alloc.program.partition import partition
from pdm_alloc.program.solver import BEST_SO_FAR, PROVEN_BEST, STOPPED_EMPTY, Clock, Program, Solution, solve_program
from pdm_alloc.program.stages import minimise, objectives
from pdm_alloc.program.task import Task, task_of

__all__ = [
    "PASSED_OVER",
    "Lightest",
    "Point",
    "Return",
    "assign_returns",
    "keep_within_feeds",
    "lightest",
    "wire_costs",
]

PASSED_OVER = "passed over"
_ROUNDING = 1e-6


@dataclass(frozen=True)
class Lightest:
    """How the search for the lightest wires ended; masses in tenths of a gram.

    Parameters
    ----------
    outcome : str
        One of the five words, or ``passed over``: it cannot be as light as was asked for.
    circuits : tuple
        As `hand_out` gives them.
    wire_dg, bound_dg : int
        Mass of the wires; below which it cannot be on these units.
    """

    outcome: str
    circuits: tuple[Handed, ...] = ()
    wire_dg: int = 0
    bound_dg: int = 0


def lightest(
    vehicle: Vehicle,
    units: Sequence[Unit],
    feeds_ma: Sequence[int],
    clock: Clock,
    book: CircuitBook,
    cutoff_dg: int | None = None,
    settle: bool = False,
) -> Lightest:
    """Allocate the loads so that their wires are as light as can be.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : sequence of Unit
        What is fitted, and where.
    feeds_ma : sequence of int
        What each unit's feed carries, as `feed_currents_ma` gives it, mA.
    clock : Clock
        When to stop.
    book : CircuitBook
        Circuits of this vehicle known so far.
    cutoff_dg : int, optional
        Heavier wires are of no interest, tenths of a gram.
    settle : bool
        Put the circuits found on the channels of their unit that make the headroom most even.

    Returns
    -------
    Lightest
        Its circuits have not been through the independent check.

    Raises
    ------
    ValueError
        A unit's ambient is outside its module's derating table.
    """
    try:
        task = task_of(vehicle, units, book, late=clock.is_over)
        program, cost = partition(task, late=clock.is_over), wire_costs(task)
    except OutOfTime:
        return Lightest(STOPPED_EMPTY)
    keep_within_feeds(program, task, feeds_ma)
    relaxed = solve_program(program, cost, clock, whole=False)
    if relaxed.outcome != PROVEN_BEST:
        return Lightest(relaxed.outcome)
    bound = math.ceil(relaxed.objective - _ROUNDING)
    if cutoff_dg is not None and bound > cutoff_dg:
        return Lightest(PASSED_OVER, bound_dg=bound)
    solution = minimise(program, [cost], clock)[0]
    if not solution:
        return Lightest(solution.outcome, bound_dg=bound)
    values = _evened(task, program, cost, solution, clock) if settle else solution.values
    return _answer(task, values, solution, cost, bound)


def _evened(
    task: Task, program: Program, cost: dict[int, float], solution: Solution, clock: Clock
) -> tuple[float, ...]:
    """The same circuits on the same units, none heavier, on the channels that even out the headroom."""
    chosen = {_circuit(task, v) for v in range(len(task.columns)) if round(solution.values[v])}
    among = [v for v in range(len(program.most)) if v >= len(task.columns) or _circuit(task, v) in chosen]
    small, numbers = program.narrowed(among)
    small.row({new: cost.get(old, 0) for new, old in enumerate(numbers)}, most=solution.objective)
    wanted = [c for name, c in objectives(task, "isolate") if name == "even headroom"]
    costs = [{new: c[old] for new, old in enumerate(numbers) if c.get(old)} for c in wanted]
    solutions = [s for s in minimise(small, costs, clock) if s]
    if not solutions:
        return solution.values
    values = dict(zip(numbers, solutions[-1].values, strict=True))
    return tuple(values.get(v, 0.0) for v in range(len(program.most)))


def _circuit(task: Task, v: int) -> tuple[str, Counts, int]:
    column = task.columns[v]
    return column.command, column.counts, task.classes[column.channel_class].unit


def _answer(task: Task, values: Sequence[float], solution: Solution, cost: dict[int, float], bound: int) -> Lightest:
    times = tuple(round(v) for v in values[: len(task.columns)])
    wire = round(sum(c * times[v] for v, c in cost.items()))
    circuits = tuple(hand_out(task, times))
    if solution.outcome == PROVEN_BEST:
        return Lightest(PROVEN_BEST, circuits, wire, wire)
    return Lightest(BEST_SO_FAR, circuits, wire, max(bound, round(solution.bound)))


def wire_costs(task: Task) -> dict[int, float]:
    """Mass of each column's wire by number, tenths of a gram, zeros left out."""
    costs = {v: round(column.fit.mass_mg / 100) for v, column in enumerate(task.columns)}
    return {v: float(c) for v, c in costs.items() if c}


def keep_within_feeds(program: Program, task: Task, feeds_ma: Sequence[int]) -> None:
    """Rows that keep what each unit's loads draw at once within what its feed bears, in every state.

    Parameters
    ----------
    program : Program
        Of the task; grows.
    task : Task
        Columns.
    feeds_ma : sequence of int
        What the feed of each unit carries, mA.
    """
    for state, every in enumerate(draws_ma(task.vehicle, task.all_types())):
        for number, limit in enumerate(map(at_once_ma, feeds_ma)):
            if every > limit:
                program.row(_drawn(task, number, state), most=limit)


def _drawn(task: Task, number: int, state: int) -> dict[int, float]:
    """What each column on a unit draws in a state, all duties taken as 1, mA."""
    numbers = (v for v, c in enumerate(task.columns) if task.classes[c.channel_class].unit == number)
    return {v: _running(task, v, state) for v in numbers}


def _running(task: Task, v: int, state: int) -> float:
    types = task.types[task.columns[v].command]
    return sum(types[n].state_ma[state] * k for n, k in task.columns[v].counts)


# Millimetres of wire that leaving one return without a point counts as: more than any vehicle has.
_UNASSIGNED_MM = 1_000_000


@dataclass(frozen=True, slots=True)
class Point:
    """Limits of a ground point: current, mA, and returns; None: not judged."""

    max_ma: int | None
    max_wires: int | None


@dataclass(frozen=True, slots=True)
class Return:
    """Identical returns.

    Parameters
    ----------
    count, wires : int
        How many there are; conductors each has.
    state_ma : tuple of int
        What one carries in each operating state, mA.
    way_mm : mapping of int to int
        Length of wire to each point it may go to, by number of the point, mm.
    """

    count: int
    wires: int
    state_ma: tuple[int, ...]
    way_mm: Mapping[int, int]


def assign_returns(
    returns: Sequence[Return], points: Sequence[Point], limit_s: float = 30.0
) -> dict[tuple[int, int], int]:
    """Assign returns to ground points: as many as can be, then with the least wire.

    Parameters
    ----------
    returns : sequence of Return
        What has to reach a point.
    points : sequence of Point
        Where it may.
    limit_s : float
        Time limit, s.

    Returns
    -------
    dict of (int, int) to int
        By number of return and point, how many of them go there; in every state no point carries more
        than it bears. What is missing from `count` found no room.
    """
    program = Program()
    taken = {(r, p): program.variable(one.count) for r, one in enumerate(returns) for p in sorted(one.way_mm)}
    left = [program.variable(one.count) for one in returns]
    for r, one in enumerate(returns):
        program.row({**{v: 1 for (a, _), v in taken.items() if a == r}, left[r]: 1}, one.count, one.count)
    for p, point in enumerate(points):
        _limit(program, returns, {r: v for (r, b), v in taken.items() if b == p}, point)
    cost = {v: _cost(returns[r], p, len(points)) for (r, p), v in taken.items()}
    cost |= {v: _UNASSIGNED_MM * (len(points) + 1) * returns[r].wires for r, v in enumerate(left)}
    solution = solve_program(program, cost, Clock(limit_s))
    return {key: round(solution.values[v]) for key, v in taken.items() if solution.values and solution.values[v] > 0.5}


def _cost(one: Return, point: int, points: int) -> int:
    """Wire first; of points equally near the first."""
    return one.way_mm[point] * one.wires * (points + 1) + point


def _limit(program: Program, returns: Sequence[Return], taken: Mapping[int, int], point: Point) -> None:
    """Sum of currents in every state, and number of returns, of one point."""
    if point.max_ma is not None:
        states = {
            tuple(returns[r].state_ma[n] for r in taken) for n in range(len(returns[0].state_ma) if returns else 0)
        }
        for row in sorted(states):
            program.row(dict(zip(taken.values(), row, strict=True)), most=point.max_ma)
    if point.max_wires is not None:
        program.row({v: returns[r].wires for r, v in taken.items()}, most=point.max_wires)
