"""Solve a vehicle on given units."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pdm_alloc.circuits.columns import CircuitBook, TooManyCircuits
from pdm_alloc.module import Unit
from pdm_alloc.program.handout import Handed, NoSolution, hand_out
from pdm_alloc.program.large import solve_large
from pdm_alloc.program.moves import MOVES, Wired, keeping
from pdm_alloc.program.objectives import channels_used, objectives, strength_used
from pdm_alloc.program.outcome import BEST_SO_FAR, FAILED, NOT_ENOUGH, PROVEN_BEST
from pdm_alloc.program.partition import partition
from pdm_alloc.program.solver import Clock, Solution
from pdm_alloc.program.stages import minimise, packed
from pdm_alloc.program.task import task_of
from pdm_alloc.vehicle import Vehicle

__all__ = ["Solved", "is_enough", "solve"]


@dataclass(frozen=True)
class Solved:
    """How a solve ended, with the circuits where it found any.

    Parameters
    ----------
    outcome : str
        One of the five words.
    circuits : tuple
        As `hand_out` gives them.
    gap : float
        Of the first objective that is not proved; 0 when all are.
    objectives : tuple of (str, float)
        Name and value of each objective that was reached.
    """

    outcome: str
    circuits: tuple[Handed, ...] = ()
    gap: float = 0.0
    objectives: tuple[tuple[str, float], ...] = ()


def solve(
    vehicle: Vehicle,
    units: Sequence[Unit],
    strategy: str,
    clock: Clock,
    book: CircuitBook,
    wired: Sequence[Wired] = (),
) -> Solved:
    """Allocate loads to channels, best by all objectives in order.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : sequence of Unit
        What is fitted.
    strategy : str
        ``isolate`` or ``spare``.
    clock : Clock
        When to stop.
    book : CircuitBook
        Circuits of this vehicle known so far.
    wired : sequence of Wired
        What is built already: before all else, as little of it as can be is moved.

    Returns
    -------
    Solved
        With circuits only when the outcome is proven best or best so far.
    """
    try:
        return _solved(vehicle, units, strategy, clock, book, wired)
    except NoSolution:
        return Solved(FAILED)


def _solved(vehicle, units, strategy, clock, book, wired) -> Solved:
    """By way of merged classes where that is quicker, else in full."""
    large = None if wired else solve_large(vehicle, units, strategy, clock, book)
    if large is None:
        return _in_full(vehicle, units, strategy, clock, book, wired)
    merged = Solved(large.outcome, large.circuits, large.gap, large.objectives)
    if large.final or clock.is_over():  # listing every circuit takes seconds, and then there is no time to solve
        return merged
    try:
        return _better(merged, _in_full(vehicle, units, strategy, clock, book))
    except TooManyCircuits:
        if merged.circuits:
            return merged
        raise


def _better(merged: Solved, full: Solved) -> Solved:
    """The program in full where it proved something or found more, else what came by way of merged classes."""
    if full.outcome in (PROVEN_BEST, NOT_ENOUGH) or not merged.circuits:
        return full
    costs = [value for _, value in full.objectives[: len(merged.objectives)]]
    return full if full.circuits and costs < [value for _, value in merged.objectives] else merged


def _in_full(vehicle, units, strategy, clock, book, wired=()) -> Solved:
    """The program over every channel class as it is."""
    keep = keeping(vehicle, units, book, wired, clock.is_over) if wired else None
    task = keep.task if keep else task_of(vehicle, units, book, late=clock.is_over)
    named, program = objectives(task, strategy), partition(task)
    if keep:
        named.insert(0, (MOVES, keep.cost()))
        keep.hold(program)
    costs = packed([cost for _, cost in named if cost], task.channels())
    solutions = minimise(program, costs or [{}], clock)
    answer = _last_with_values(solutions)
    if answer is None:
        return Solved(solutions[0].outcome)
    values = tuple(round(v) for v in answer.values[: len(task.columns)])
    proved = len(solutions) >= len(costs) and solutions[-1].outcome == PROVEN_BEST
    return Solved(
        PROVEN_BEST if proved else BEST_SO_FAR,
        tuple(keep.hand_out(values) if keep else hand_out(task, values)),
        0.0 if proved else _open_gap(solutions),
        tuple((name, sum(c * values[v] for v, c in cost.items())) for name, cost in named),
    )


def is_enough(vehicle: Vehicle, units: Sequence[Unit], clock: Clock, book: CircuitBook) -> Solution:
    """Whether units are enough at all: quicker than `solve`, for any solution of the program will do."""
    large = solve_large(vehicle, units, "spare", clock, book, any_will_do=True)
    if large and (large.final or large.circuits):
        return Solution(large.outcome, (), large.objectives[0][1] if large.objectives else math.inf)
    task = task_of(vehicle, units, book, late=clock.is_over)
    cost = packed([channels_used(task), strength_used(task)], task.channels())[0]
    return minimise(partition(task), [cost], clock)[0]


def _last_with_values(solutions: list[Solution]) -> Solution | None:
    found = [s for s in solutions if s]
    return found[-1] if found else None


def _open_gap(solutions: list[Solution]) -> float:
    """Of the first objective left unproved; a later one that was never begun counts as wholly open."""
    last = solutions[-1]
    return last.gap if last else 1.0
