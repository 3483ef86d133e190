"""The program of a shortfall: the cheapest channels and bank amperes that, added to the units, are enough."""

import math
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

from pdm_alloc.circuits.columns import CircuitBook, Counts, OutOfTime, TooManyCircuits
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.program.greedy import a_few
from pdm_alloc.program.growth_task import CHANNEL_PRICE, Added, Growth, GrowthTask, NewKind, read_growth, with_kinds
from pdm_alloc.program.packing import Bins, pack, spread, unbroken
from pdm_alloc.program.partition import partition
from pdm_alloc.program.solver import (
    BEST_SO_FAR,
    NOT_ENOUGH,
    PROVEN_BEST,
    STOPPED_EMPTY,
    Clock,
    Program,
    Solution,
    solve_program,
)
from pdm_alloc.program.stages import minimise
from pdm_alloc.program.sums import Sums
from pdm_alloc.program.task import Column, Task, columns_of, merge

__all__ = ["LIMITLESS_MA", "Added", "Growth", "NewKind", "cheapest_growth"]

LIMITLESS_MA = 10_000_000_000
"""A limit that no vehicle reaches, mA."""

_FIRST_S, _SECOND_S, _PACKING_S = 1.2, 0.4, 0.4
_OFF = 1e-6  # by which floating point may be off


def _limitless(units: Sequence[Unit]) -> tuple[Unit, ...]:
    """The units without a limit of inputs; one alone also without limits of the whole of it, which are arithmetic."""
    modules = [replace(unit.module, inputs=None) for unit in units]
    if len(units) == 1:
        modules = [replace(module, total_ma=LIMITLESS_MA, total_peak_ma=LIMITLESS_MA) for module in modules]
    return tuple(replace(unit, module=module) for unit, module in zip(units, modules, strict=True))


def cheapest_growth(
    vehicle: Vehicle, units: Sequence[Unit], kinds: Sequence[NewKind], book: CircuitBook, clock: Clock
) -> Growth:
    """Minimise the price of new channels, then the steps by which banks grow.

    Inputs and supply range are left open, and on one unit its whole-module limits: they are arithmetic.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : sequence of Unit
        What is fitted.
    kinds : sequence of NewKind
        Channels that may be added, any number of each.
    book : CircuitBook
        Circuits of this vehicle known so far.
    clock : Clock
        When to stop.

    Returns
    -------
    Growth
        Not enough where some load is on no channel, new or not. Whatever time there was: with circuits, every limit
        that these are beyond is among `over`.

    Raises
    ------
    OutOfTime
        There was no time to list the circuits.
    """
    merged = merge(replace(vehicle, settings=replace(vehicle.settings, spare_channels=0)), _limitless(units))
    task = with_kinds(merged.task, kinds)
    unlisted: set[str] = set()
    columns = [
        c for command in task.types for c in _columns_of(merged.task, task, command, kinds, book, clock, unlisted)
    ]
    task = replace(task, columns=tuple(columns))
    case = GrowthTask(merged, kinds, task, Sums(vehicle, merged.fine.units, merged.fine.types), vehicle)
    program, old = partition(task, limits=False, late=clock.is_over), case.old
    cost: dict[int, float] = {
        v: kinds[c.channel_class - old].price for v, c in enumerate(task.columns) if c.channel_class >= old
    }
    spare = _spare_row(program, task, old, case.spares)
    if spare is not None:
        cost[spare] = min((k.price for k in kinds if k.use == "single"), default=CHANNEL_PRICE)
    solution = _solved(program, cost, _by_kind(task, old), clock)
    if not solution.values:
        return Growth(STOPPED_EMPTY if unlisted else solution.outcome)
    outcome = BEST_SO_FAR if unlisted or len(units) > 1 else solution.outcome
    spares = 0 if spare is None else round(solution.values[spare])
    growth = Growth(outcome, spares=spares, is_listed=not unlisted)
    return _on_banks(case, _chosen(task, solution), growth, clock)


def _on_banks(case: GrowthTask, chosen: Sequence[Column], growth: Growth, clock: Clock) -> Growth:
    """A growth with its circuits on channels of banks, which grow where they have to, as little as time allows."""
    bins, new = Bins(case.merged, case.sums), case.new(chosen)
    soon = clock.soon(_PACKING_S)
    packed = unbroken(partial(pack, bins, case.there(chosen), soon), bins, soon)
    if packed is not None:
        return read_growth(case, [*packed, *new], growth)
    unproved = replace(growth, outcome=BEST_SO_FAR)
    loose = spread(bins, case.there(chosen))
    ways = [] if loose is None else [read_growth(case, [*loose, *new], unproved)]
    kept = [replace(c, most=n) for c, n in Counter(replace(c, most=1) for c in chosen).items()]
    few = _bank_program(case, kept, chosen, growth, clock)
    ways += [read_growth(case, columns, unproved) for columns, _ in few.solved(clock)]
    full = _bank_program(case, case.task.columns, chosen, growth, clock)
    bound = full.bound(clock)
    for way in ways:
        if case.grown(way) <= bound:
            return replace(way, outcome=growth.outcome)
    ways += [read_growth(case, columns, growth if is_least else unproved) for columns, is_least in full.solved(clock)]
    if not ways:
        full = _bank_program(case, case.task.columns, chosen, growth, clock, uncapped=True)
        ways += [read_growth(case, columns, unproved) for columns, _ in full.solved(clock)]
    return min(ways, key=case.grown, default=Growth(STOPPED_EMPTY))


@dataclass(frozen=True)
class _BankProgram:
    """Circuits before merging, and the steps by which banks grow."""

    program: Program
    columns: tuple[Column, ...]
    costs: tuple[Mapping[int, float], ...]

    def bound(self, clock: Clock) -> float:
        """No fewer steps will do."""
        relaxed = solve_program(self.program, self.costs[-1], clock.soon(_SECOND_S), whole=False)
        if relaxed.outcome == NOT_ENOUGH:
            return math.inf
        return math.ceil(relaxed.objective - _OFF) if relaxed.outcome == PROVEN_BEST else -math.inf

    def solved(self, clock: Clock) -> Iterator[tuple[list[Column], bool]]:
        """The chosen columns, and whether the steps are proved to be as few as will do; nothing without a solution."""
        solution = minimise(self.program, self.costs, clock.soon(_SECOND_S))[-1]
        if solution.values:
            times = (round(value) for value in solution.values)
            columns = [replace(c, most=1) for c, n in zip(self.columns, times, strict=False) for _ in range(n)]
            yield columns, solution.outcome == PROVEN_BEST


def _bank_program(
    case: GrowthTask, columns: Sequence[Column], chosen, growth: Growth, clock: Clock, uncapped: bool = False
) -> _BankProgram:
    """The least steps by which banks grow with these circuits, and no more new channels than were chosen.

    Channels that are both one of a pair and one of a bridge may be counted twice where classes are merged: where the
    new channels do not do, as many as it takes are allowed (`uncapped`), the cheapest first.
    """
    opened = [*case.merged.unmerged(case.there(columns)), *case.new(columns)]
    fine = replace(case.fine, columns=tuple(opened))
    steps = case.steps()
    program = partition(fine, steps, late=clock.is_over, sums=case.sums)
    grown = dict.fromkeys(range(len(opened), len(opened) + len(steps)), 1.0)
    first = len(case.merged.fine.classes)
    by_kind, counts = _by_kind(fine, first), Counter(c.channel_class for c in case.new(chosen))
    for number, own in by_kind.items() if not uncapped else ():
        program.row(dict.fromkeys(own, 1), most=counts[number])
    if case.spares:
        widths = {v: fine.classes[c.channel_class].width for v, c in enumerate(opened) if c.channel_class < first}
        program.row(widths, most=fine.channels() - case.spares + growth.spares)
    prices = {v: float(case.kinds[number - first].price) for number, own in by_kind.items() for v in own}
    return _BankProgram(program, tuple(opened), ((prices, grown) if uncapped else (grown,)))


def _chosen(task: Task, solution: Solution) -> list[Column]:
    """The chosen columns, each as often as it is chosen."""
    times = (round(value) for value in solution.values)
    return [replace(c, most=1) for c, n in zip(task.columns, times, strict=False) for _ in range(n)]


def _by_kind(task: Task, old: int) -> dict[int, list[int]]:
    """Columns of each new kind."""
    columns: dict[int, list[int]] = defaultdict(list)
    for v, column in enumerate(task.columns):
        if column.channel_class >= old:
            columns[column.channel_class].append(v)
    return columns


def _solved(program: Program, cost: Mapping[int, float], new: Mapping[int, list[int]], clock: Clock) -> Solution:
    """The cheapest solution; where that takes long, the cheapest that takes no more of anything than a good one.

    Of the latter no part can be less either, though a different mixture may be cheaper.
    """
    first = minimise(program, [cost], clock.soon(_FIRST_S))[0]
    if first.outcome == STOPPED_EMPTY:
        return minimise(program, [cost], clock)[0]
    if first.outcome == PROVEN_BEST or not first.values:
        return first
    for columns in new.values():
        program.row(dict.fromkeys(columns, 1), most=sum(round(first.values[v]) for v in columns))
    second = minimise(program, [cost], clock.soon(_SECOND_S))[0]
    return second if second.values else first


def _columns_of(
    old: Task, task: Task, command: str, kinds, book: CircuitBook, clock: Clock, unlisted: set[str]
) -> Iterator[Column]:
    yield from _columns(old, command, book, clock, unlisted)
    yield from _new_columns(task, command, len(old.classes), kinds, book, clock, unlisted)


def _new_columns(task: Task, command: str, old: int, kinds, book, clock: Clock, unlisted) -> Iterator[Column]:
    """Every circuit on the cheapest new kind that bears it: nothing else tells the new kinds of a unit apart."""
    known: set[tuple[int, Counts]] = set()
    types = task.types[command]
    for n in sorted(range(len(kinds)), key=lambda n: kinds[n].price):
        kind = kinds[n]
        if not _suits(kind, types):
            continue
        alone = replace(task, classes=(task.classes[old + n],), locked=(frozenset(),))
        for column in _columns(alone, command, book, clock, unlisted):
            if (kind.unit, column.counts) not in known:
                known.add((kind.unit, column.counts))
                yield replace(
                    column, channel_class=old + n, most=min(task.types[command][i].count // k for i, k in column.counts)
                )


def _suits(kind: NewKind, types) -> bool:
    """Whether a kind is no dearer than a command has a use for."""
    wants = [t for t in types if t.reversing == (kind.use == "bridge")]
    return bool(wants) and ("pwm" not in kind.channel.features or any(t.pwm for t in wants))


def _columns(task: Task, command: str, book: CircuitBook, clock: Clock, unlisted: set[str]) -> Iterator[Column]:
    try:
        yield from list(columns_of(task, command, book, clock.is_over))
    except OutOfTime:
        raise
    except TooManyCircuits:
        unlisted.add(command)
        yield from a_few(task, command, book)


def _spare_row(program: Program, task: Task, old: int, wanted: int) -> int | None:
    """Old channels that stay free, or are made up for by idle new ones: the variable counts those."""
    if not wanted:
        return None
    idle = program.variable(wanted)
    widths = {v: task.classes[c.channel_class].width for v, c in enumerate(task.columns) if c.channel_class < old}
    program.row({**widths, idle: -1}, most=task.channels() - wanted)
    return idle
