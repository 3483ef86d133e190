"""Solve a vehicle on given units: the one path from a task to circuits on channels.

Classes are merged over banks and identical units, the objectives are minimised in order on them, and the
circuits are packed to banks and units. Where packing fails, the same program is solved again on the classes
before merging, with a row for every limit. A greedy allocation is there from the beginning.
"""

import math
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import product
from typing import NamedTuple

from pdm_alloc.circuits.columns import MOST_CIRCUITS, CircuitBook, OutOfTime
from pdm_alloc.domain.module import Unit, natural_key
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.program.greedy import greedy
from pdm_alloc.program.handout import MOVES, Handed, Keeping, NoSolution, Wired, hand_out, keeping, staying, wired_task
from pdm_alloc.program.optimum import (
    NOTHING_PROVED,
    Gap,
    Listing,
    Optimum,
    Relaxation,
    listed,
    optimise,
    optimise_priced,
)
from pdm_alloc.program.packing import Bins, pack, unbroken
from pdm_alloc.program.partition import Column, Merged, Task, circuit_on, key_of, merge, partition, unmerged
from pdm_alloc.program.pricing import Pricing
from pdm_alloc.program.solver import BEST_SO_FAR, FAILED, NOT_ENOUGH, PROVEN_BEST, STOPPED_EMPTY, Clock, Solution
from pdm_alloc.program.stages import objectives
from pdm_alloc.program.sums import Sums

__all__ = ["NamedCircuit", "Solved", "any_solved", "is_enough", "packed_circuits", "solve"]


_Named = Sequence[tuple[str, Mapping[int, float]]]
"""Objectives in order: name, and cost of each column by number."""

_MINIMISING = 0.9  # of the time, at most: what comes of it has to be packed yet
_LISTING = 0.5  # of the time, at most: commands that are not listed by then are priced
_STARTING = 0.5  # of the time, at most, for a solution to begin with where the greedy allocation has none


@dataclass(frozen=True)
class Solved:
    """Outcome of a solve, with circuits where there are any.

    Parameters
    ----------
    outcome : str
        One of the five words.
    circuits : tuple of Handed
        As `hand_out` gives them.
    gap : float
        Of the first objective that is not proved; 0 when all are.
    objectives : tuple of (str, float)
        Name and value of each objective that was reached.
    unproved : str
        The objective that the gap is of; every one before it is proved best.
    """

    outcome: str
    circuits: tuple[Handed, ...] = ()
    gap: float = 0.0
    objectives: tuple[tuple[str, float], ...] = ()
    unproved: str = ""


class NamedCircuit(NamedTuple):
    """A circuit by its loads, and a merged channel class that bears it."""

    command: str
    loads: tuple[tuple[str, int], ...]
    number: int


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
        if wired:
            return _kept(vehicle, units, strategy, clock, book, wired)
        return _solved(vehicle, units, strategy, clock, book)
    except NoSolution:
        return Solved(FAILED)


def is_enough(vehicle: Vehicle, units: Sequence[Unit], clock: Clock, book: CircuitBook) -> Solution:
    """Whether units are enough at all: quicker than `solve`, for any allocation will do.

    Returns
    -------
    Solution
        Best so far or proven best where they are, not enough where they are proved not to be; without values.
    """
    try:
        solved = any_solved(vehicle, units, clock, book)
    except NoSolution:
        return Solution(FAILED)
    return Solution(solved.outcome, (), solved.objectives[0][1] if solved.objectives else math.inf)


def any_solved(vehicle: Vehicle, units: Sequence[Unit], clock: Clock, book: CircuitBook) -> Solved:
    """Any allocation that keeps every limit, the first that comes; its outcome as that of `is_enough`."""
    return _solved(vehicle, units, "spare", clock, book, stages=1)


def packed_circuits(
    vehicle: Vehicle, units: Sequence[Unit], circuits: Sequence[NamedCircuit], clock: Clock, book: CircuitBook
) -> Solved:
    """Circuits of another program's solution packed to banks; no answer in time where these do not keep every limit."""
    merged = merge(vehicle, units)
    bins = Bins(merged, Sums(vehicle, units, merged.fine.types))
    columns = [column for circuit in circuits if (column := _as_column(merged.task, circuit, book)) is not None]
    columns.sort(key=lambda c: (-c.fit.running_ma, natural_key(c.command), c.counts))  # not as the solver has them
    is_whole = sum(k for c in columns for _, k in c.counts) == sum(t.count for t in merged.task.all_types())
    packing = unbroken(partial(pack, bins, columns, clock), bins, clock) if is_whole else None
    return Solved(STOPPED_EMPTY) if packing is None else _answer(merged, "spare", packing, NOTHING_PROVED)


def _as_column(task: Task, circuit: NamedCircuit, book: CircuitBook) -> Column | None:
    """A circuit as a column of a task; None where it is not allowed, or a load has items that are told apart."""
    types = task.types.get(circuit.command, ())
    homes = {name: n for n, t in enumerate(types) for name, _ in t.items}
    if any(sum(name in dict(t.items) for t in types) != 1 for name, _ in circuit.loads):
        return None
    counts: Counter[int] = Counter()
    for name, k in circuit.loads:
        counts[homes[name]] += k
    return circuit_on(task, circuit.command, tuple(sorted(counts.items())), circuit.number, book)


def _solved(
    vehicle: Vehicle,
    units: Sequence[Unit],
    strategy: str,
    clock: Clock,
    book: CircuitBook,
    stages: int | None = None,
    most: int | None = None,
) -> Solved:
    """Solve on merged classes; on the classes before merging where packing fails.

    Where nothing is found though circuits were priced, they are listed after all unless they are more than `most`.
    """
    merged = merge(vehicle, units)
    sums = Sums(vehicle, units, merged.fine.types)
    if len(units) == 1 and sums.missed():
        return Solved(NOT_ENOUGH)  # whichever channels they are on, these loads are together on this unit
    bins = Bins(merged, sums)
    start = unbroken(lambda: greedy(bins, book, clock, strategy == "isolate"), bins, clock)
    if start is not None and stages:
        return _answer(merged, strategy, start, NOTHING_PROVED)
    try:
        listing = listed(merged.task, book, clock.part(_LISTING), most, most)
        if listing.priced and most is not None:
            return Solved(STOPPED_EMPTY)
        whole = _relaxed(merged, listing, strategy, book, clock) if listing.priced else None
        known = None if start is None else merged.coarse(start)
        if whole is not None and known is None and (known := whole.start(clock.part(_STARTING))) is not None:
            start = unbroken(partial(pack, bins, known, clock), bins, clock)
        coarse = _coarse(bins, listing, whole, strategy, clock, known, stages)
    except OutOfTime:
        return Solved(STOPPED_EMPTY) if start is None else _answer(merged, strategy, start, NOTHING_PROVED)
    if coarse.outcome in (NOT_ENOUGH, FAILED):
        return Solved(coarse.outcome)
    answers = [] if start is None else [_answer(merged, strategy, start, coarse.gap(merged.coarse(start)))]
    packing = _packed(bins, coarse, clock)
    if packing is not None:
        answers.append(_answer(merged, strategy, packing, coarse.gap(merged.coarse(packing))))
    is_last = packing is not None and Counter(merged.coarse(packing)) == Counter(
        _chosen(coarse.task, coarse.values[-1])
    )
    if not is_last and not clock.is_over() and (coarse.is_priced or not merged.is_exact):
        fine = _fine(merged, strategy, coarse, clock, stages, sums)
        if fine.outcome == FAILED:
            return Solved(FAILED)
        if fine.outcome == NOT_ENOUGH and not coarse.is_priced:
            return Solved(NOT_ENOUGH)
        answers += _of_fine(merged, strategy, coarse, fine)
    if not answers and coarse.is_priced and not clock.is_over():
        return _solved(vehicle, units, strategy, clock, book, stages, MOST_CIRCUITS)
    return min(answers, key=_order) if answers else Solved(STOPPED_EMPTY)


def _order(solved: Solved) -> tuple[list[float], float]:
    return [value for _, value in solved.objectives], solved.gap


def _relaxed(merged: Merged, listing: Listing, strategy: str, book: CircuitBook, clock: Clock) -> Relaxation:
    """Relaxation and column generation of the commands that are priced, on merged classes."""
    task = replace(merged.task, columns=listing.columns)
    return Relaxation(Pricing(task, listing.priced, strategy, book, clock))


def _coarse(
    bins: Bins,
    listing: Listing,
    whole: Relaxation | None,
    strategy: str,
    clock: Clock,
    known: Sequence[Column] | None,
    stages: int | None,
) -> Optimum:
    """Objectives minimised on merged classes."""
    minimising = clock.part(_MINIMISING)
    rows = partial(partition, limits=bins.merged.is_exact, late=minimising.is_over, sums=bins.sums)
    if whole:
        return optimise_priced(whole, minimising, rows, known, stages)
    task = replace(bins.merged.task, columns=listing.columns)
    return optimise(task, rows(task), objectives(task, strategy), minimising, stages, known)


def _fine(merged: Merged, strategy: str, coarse: Optimum, clock: Clock, stages: int | None, sums: Sums) -> Optimum:
    """The same objectives on the classes before merging, a row for every combination that matters to a limit."""
    task = replace(merged.fine, columns=tuple(merged.unmerged(coarse.task.columns)))
    try:
        program = partition(task, late=clock.is_over, sums=sums)
    except OutOfTime:
        return Optimum(STOPPED_EMPTY, task)
    return optimise(task, program, objectives(task, strategy), clock, stages)


def _of_fine(merged: Merged, strategy: str, coarse: Optimum, fine: Optimum) -> list[Solved]:
    """The best solution before merging; its gap is that of the better bound."""
    if not fine.values:
        return []
    columns = _chosen(fine.task, fine.values[-1])
    gaps = [coarse.gap(merged.coarse(columns))] + ([] if coarse.is_priced else [fine.gap(columns)])
    return [_answer(merged, strategy, columns, min(gaps))]


def _packed(bins: Bins, coarse: Optimum, clock: Clock) -> Sequence[Column] | None:
    """The best solution on merged classes that can be packed to banks and units."""
    for values in reversed(coarse.values):
        columns = _chosen(coarse.task, values)
        if bins.merged.is_exact and not coarse.is_priced:  # priced columns may break a combination found since
            return columns
        packing = unbroken(partial(pack, bins, columns, clock), bins, clock)
        if packing is not None:
            return packing
    return None


def _chosen(task: Task, values: Sequence[int]) -> tuple[Column, ...]:
    """The chosen columns, each as often as it is chosen."""
    return tuple(replace(c, most=1) for c, times in zip(task.columns, values, strict=True) for _ in range(times))


def _answer(merged: Merged, strategy: str, columns: Sequence[Column], gap: Gap) -> Solved:
    """Circuits on named channels, with the value of every objective."""
    times = Counter(columns)
    task = replace(merged.fine, columns=tuple(times))
    return _handed(task, tuple(times.values()), objectives(task, strategy), gap, hand_out)


def _handed(
    task: Task,
    values: tuple[int, ...],
    named: _Named,
    gap: Gap,
    hand: Callable[[Task, tuple[int, ...]], Sequence[Handed]],
) -> Solved:
    costs = tuple((name, sum(c * values[v] for v, c in cost.items())) for name, cost in named)
    return Solved(BEST_SO_FAR if gap.share else PROVEN_BEST, tuple(hand(task, values)), gap.share, costs, gap.unproved)


def _kept(
    vehicle: Vehicle, units: Sequence[Unit], strategy: str, clock: Clock, book: CircuitBook, wired: Sequence[Wired]
) -> Solved:
    """Before all else as few moves as can be: every wired channel is told apart, so that nothing is merged.

    Commands with too many circuits to list have the circuits that are wired, those of the greedy allocation, and
    every item alone.
    """
    task, spots = wired_task(vehicle, units, wired)
    listing, stay = listed(task, book, clock.part(_LISTING), on_one=math.inf), staying(task, spots, book)
    sums = Sums(vehicle, units, task.types)
    if len(units) == 1 and sums.missed():
        return Solved(NOT_ENOUGH)
    bins, held = Bins(unmerged(task), sums), (tuple(stay.values()), ())
    ways = (unbroken(partial(greedy, bins, book, clock, False, kept), bins, clock) for kept in held)
    start = next((columns for columns in ways if columns), None)
    known = {key_of(c): c for c in (*stay.values(), *(start or ()), *_alone(task, listing.priced, book))}
    there = set(map(key_of, listing.columns))
    more = (_often(task, c) for key, c in known.items() if key not in there)
    keep = keeping(replace(task, columns=(*listing.columns, *more)), spots)
    named = [(MOVES, keep.cost()), *objectives(keep.task, strategy)]
    optimum = _optimum_kept(keep, named, clock, bool(listing.priced), sums)
    solutions = [*optimum.values[-1:], *([] if start is None else [keep.values_of(start, stay)])]
    if not solutions:
        return Solved(optimum.outcome if not listing.priced else STOPPED_EMPTY)
    answers = [
        _handed(
            keep.task, values, named, optimum.gap_of(dict(enumerate(values))), lambda _, values: keep.hand_out(values)
        )
        for values in solutions
    ]
    return min(answers, key=_order)


def _optimum_kept(keep: Keeping, named: _Named, clock: Clock, is_priced: bool, sums: Sums) -> Optimum:
    """The optimum over the columns there are; where there may be more, moves are bounded by what has to be added."""
    try:
        program = partition(keep.task, late=clock.is_over, sums=sums)
    except OutOfTime:
        names, costs = tuple(name for name, _ in named), tuple(cost for _, cost in named)
        return Optimum(STOPPED_EMPTY, keep.task, names, costs, (keep.least_moves(),))
    keep.hold(program)
    optimum = optimise(keep.task, program, named, clock)
    return replace(optimum, bounds=(keep.least_moves(),)) if is_priced or not optimum.bounds else optimum


def _alone(task: Task, commands: Sequence[str], book: CircuitBook) -> Iterator[Column]:
    """Every item of some commands in a circuit of its own, on every class that bears it."""
    for command in commands:
        for n, number in product(range(len(task.types[command])), range(len(task.classes))):
            column = circuit_on(task, command, ((n, 1),), number, book)
            if column is not None:
                yield column


def _often(task: Task, column: Column) -> Column:
    return replace(column, most=task.upper(column.command, column.counts, column.channel_class))
