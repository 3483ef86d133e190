"""The program of a shortfall: the cheapest channels and bank amperes that, added to the units, are enough."""

import math
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial

from pdm_alloc.circuits.classes import Rating
from pdm_alloc.circuits.columns import CircuitBook, Counts, Fit, OutOfTime, TooManyCircuits
from pdm_alloc.circuits.draws import Wiring
from pdm_alloc.circuits.items import ItemType
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.program.greedy import a_few, filled, partly
from pdm_alloc.program.growth_task import (
    Added,
    Flow,
    Growth,
    GrowthTask,
    Limits,
    NewKind,
    as_asked,
    read_growth,
    suits,
    with_kinds,
)
from pdm_alloc.program.optimum import is_listable
from pdm_alloc.program.packing import Bins, pack, spread, unbroken
from pdm_alloc.program.partition import Column, Task, columns_of, is_allowed, merge, partition
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
from pdm_alloc.program.stages import AT_ONCE, minimise
from pdm_alloc.program.sums import Sums

__all__ = ["LIMITLESS_MA", "Added", "Growth", "NewKind", "cheapest_growth"]

LIMITLESS_MA = 10_000_000_000
"""A limit that no vehicle reaches, mA."""

# Processor time of each step at most, s.
_LISTING_S, _FIRST_S, _SECOND_S, _PACKING_S, _BANKS_S, _GREEDY_S = 3.5, 0.6, 0.2, 0.1, 0.5, 1.0
_STEPS_S = 0.15
_MOST_COLUMNS = 4_000  # above, other circuits than the cheapest are not looked at for the sake of banks
_FEW_COLUMNS = 600  # above, the fewest steps of banks take longer than there is time for
_WIDE = 1_000  # times as wide as they are, limits of banks let a heuristic fill all of them alike
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
    bare = replace(vehicle, settings=replace(vehicle.settings, spare_channels=0))
    merged = merge(bare, _limitless(units))
    task = with_kinds(merged.task, kinds)
    case = GrowthTask(merged, kinds, task, Sums(vehicle, merged.fine.units, merged.fine.types), vehicle)
    try:
        growth = _programmed(case, book, clock)
    except OutOfTime:
        growth = Growth(STOPPED_EMPTY)
    if growth.circuits or growth.outcome == NOT_ENOUGH or clock.is_over():
        return growth
    return _filled_up(case, book, clock.soon(_GREEDY_S))


def _programmed(case: GrowthTask, book: CircuitBook, clock: Clock) -> Growth:
    """The growth of least price, on banks that grow as little as time allows."""
    columns, is_listed = _columns(case, book, clock)
    case = replace(case, task=replace(case.task, columns=tuple(columns)))
    flow = Flow(case)
    new = {number: flow.on(number) for number in range(case.old, len(case.task.classes))}
    cost = {v: float(case.kinds[number - case.old].price) for number, variables in new.items() for v in variables}
    spare = _spare_row(flow, case)
    if spare is not None:
        cost[spare] = case.kinds[case.spare_kind].price
    solution, is_first = _solved(flow.program, cost, new, clock)
    if not solution.values:
        return Growth(solution.outcome if is_listed else STOPPED_EMPTY)
    outcome = BEST_SO_FAR if not is_listed or len(case.task.units) > 1 else solution.outcome
    spares = 0 if spare is None else round(solution.values[spare])
    is_cheapest = is_listed and is_first and solution.outcome == PROVEN_BEST
    growth = Growth(outcome, spares=spares, is_listed=is_listed, is_cheapest=is_cheapest)
    return _on_banks(case, flow.chosen(solution.values), growth, clock)


def _filled_up(case: GrowthTask, book: CircuitBook, clock: Clock) -> Growth:
    """A growth by heuristic: what finds no channel within every limit is put on new ones."""
    wide = merge(case.merged.task.vehicle, tuple(map(_widened, case.merged.task.units)))
    bins = Bins(wide, Sums(case.vehicle, wide.fine.units, wide.fine.types))
    attempts: list[tuple[Sequence[Column], list[tuple[str, Counts]]]] = []

    def attempt() -> Sequence[Column]:
        attempts.append(partly(bins, book, clock, case.spares))
        return attempts[-1][0]

    unbroken(attempt, bins, clock)
    there, over = attempts[-1]
    left: dict[str, Counter[int]] = defaultdict(Counter)
    for command, counts in over:
        left[command].update(dict(counts))
    new = [column for command, items in left.items() for column in _on_new(case, command, items, book)]
    if sum(k for c in new for _, k in c.counts) < sum(k for items in left.values() for k in items.values()):
        return Growth(STOPPED_EMPTY)
    free = case.merged.fine.channels() - sum(case.merged.fine.classes[c.channel_class].width for c in there)
    growth = Growth(BEST_SO_FAR, spares=max(0, case.spares - free), is_listed=False)
    return read_growth(case, [*there, *case.new(new)], growth)


def _widened(unit: Unit) -> Unit:
    limits = {bank: ma * _WIDE for bank, ma in unit.module.bank_ma.items()}
    return replace(unit, module=replace(unit.module, bank_ma=limits))


def _on_new(case: GrowthTask, command: str, left: Counter[int], book: CircuitBook) -> Iterator[Column]:
    """Items of a command on new channels, each filled; the kind of the least price for what it takes."""
    types, wiring = case.task.types[command], book.wiring(case.vehicle)
    while any(left.values()):
        circuits = [
            (number, circuit)
            for number, kind in enumerate(case.kinds, case.old)
            if suits(kind, types)
            and (circuit := _circuit_of(types, left, case.task.classes[number].rating, book, wiring)) is not None
        ]
        if not circuits:
            return
        number, (counts, fit) = min(circuits, key=lambda at: case.kinds[at[0] - case.old].price / at[1][1].running_ma)
        yield Column(command, counts, number, fit, 1)
        left.subtract(dict(counts))


def _circuit_of(
    types: tuple[ItemType, ...], left: Counter[int], rating: Rating, book: CircuitBook, wiring: Wiring
) -> tuple[Counts, Fit] | None:
    free = {n: k for n, k in left.items() if k and not types[n].locked}
    if not types[0].together:
        return filled(types, free, rating, book, wiring)
    counts = tuple(sorted(free.items()))
    fit = book.one(types, counts, rating, wiring) if len(free) == len(types) else None
    return None if fit is None or fit.made is None else (counts, fit)


def _on_banks(case: GrowthTask, chosen: Sequence[Column], growth: Growth, clock: Clock) -> Growth:
    """A growth with its circuits on channels of banks, which grow where they have to, as little as time allows."""
    bins, new = Bins(case.merged, case.sums), case.new(chosen)
    soon = clock.soon(_PACKING_S)
    packed = unbroken(partial(pack, bins, case.there(chosen), soon), bins, soon)
    if packed is not None:
        return read_growth(case, [*packed, *new], growth)
    unproved = replace(growth, outcome=BEST_SO_FAR)
    bins.clear()  # combinations found since the last attempt count too
    loose = spread(bins, case.there(chosen))
    ways = [] if loose is None else [read_growth(case, [*loose, *new], unproved)]
    with suppress(OutOfTime):
        for way in _with_least_steps(case, chosen, growth, tuple(ways), clock.soon(_BANKS_S if ways else _GREEDY_S)):
            ways.append(way)
    return min(ways, key=lambda way: (case.grown(way), way.outcome != PROVEN_BEST), default=Growth(STOPPED_EMPTY))


def _with_least_steps(
    case: GrowthTask, chosen: Sequence[Column], growth: Growth, ways: Sequence[Growth], clock: Clock
) -> Iterator[Growth]:
    """Growths whose banks grow by fewer steps, as far as time allows; the circuits kept first, then any."""
    unproved = replace(growth, outcome=BEST_SO_FAR)
    bound, full = -math.inf, None
    if len(case.task.columns) <= _MOST_COLUMNS:
        full = _bank_program(case, case.task.columns, chosen, growth, clock)
        bound, hint = full.relaxed(case, clock)
        ways = [replace(way, hint=hint) for way in ways]
        unproved = replace(unproved, hint=hint)
    kept = [replace(c, most=n) for c, n in Counter(replace(c, most=1) for c in chosen).items()]
    few = _bank_program(case, kept, chosen, growth, clock)
    ways = [*ways, *_read(case, few, unproved, unproved, clock)]
    yield from ways
    at_bound = [replace(way, outcome=growth.outcome) for way in ways if case.grown(way) <= bound]
    yield from at_bound
    if not at_bound and (not ways or len(case.task.columns) <= _FEW_COLUMNS):
        yield from _of_all_circuits(case, full, chosen, growth, unproved, clock, not ways)


def _of_all_circuits(
    case: GrowthTask,
    full: "_BankProgram | None",
    chosen: Sequence[Column],
    growth: Growth,
    unproved: Growth,
    clock: Clock,
    is_last: bool,
) -> Iterator[Growth]:
    """Growths of any circuits; where nothing else is known and these fail, with more new channels than were chosen."""
    columns = case.task.columns
    full = full or _bank_program(case, columns, chosen, growth, clock)
    solved = list(_read(case, full, growth, unproved, clock))
    yield from solved
    if is_last and not solved:
        full = _bank_program(case, columns, chosen, growth, clock, uncapped=True)
        uncapped = replace(unproved, is_cheapest=False)
        yield from _read(case, full, uncapped, uncapped, clock)


def _read(case: GrowthTask, banks: "_BankProgram", least: Growth, other: Growth, clock: Clock) -> Iterator[Growth]:
    """The growth of a solution, as one that is least or another; nothing without a solution."""
    for columns, spares, is_least in banks.solved(clock):
        yield read_growth(case, columns, replace(least if is_least else other, spares=spares))


@dataclass(frozen=True)
class _BankProgram:
    """Circuits before merging, and the steps by which banks grow."""

    program: Program
    columns: tuple[Column, ...]
    costs: tuple[Mapping[int, float], ...]
    idle: int | None

    def relaxed(self, case: GrowthTask, clock: Clock) -> tuple[float, Limits | None]:
        """No fewer steps will do; and where fractions of circuits were allowed, what each bank would have to bear."""
        solution = solve_program(self.program, self.costs[-1], clock.soon(_SECOND_S), whole=False)
        if solution.outcome == NOT_ENOUGH:
            return math.inf, None
        if solution.outcome != PROVEN_BEST:
            return -math.inf, None
        steps = dict(zip(case.steps(), map(solution.values.__getitem__, sorted(self.costs[-1])), strict=True))
        return math.ceil(solution.objective - _OFF), tuple(case.with_steps(steps))

    def solved(self, clock: Clock) -> Iterator[tuple[list[Column], int, bool]]:
        """The chosen columns, spares to add, and whether the steps are proved least; nothing without a solution."""
        solution = minimise(self.program, self.costs, clock.soon(_STEPS_S), few=AT_ONCE)[-1]
        if solution.values:
            times = (round(value) for value in solution.values)
            columns = [replace(c, most=1) for c, n in zip(self.columns, times, strict=False) for _ in range(n)]
            spares = 0 if self.idle is None else round(solution.values[self.idle])
            yield columns, spares, solution.outcome == PROVEN_BEST


def _bank_program(
    case: GrowthTask,
    columns: Sequence[Column],
    chosen: Sequence[Column],
    growth: Growth,
    clock: Clock,
    uncapped: bool = False,
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
    idle = program.variable(case.spares) if case.spares else None
    if idle is not None:
        widths = {v: fine.classes[c.channel_class].width for v, c in enumerate(opened) if c.channel_class < first}
        program.row({**widths, idle: -1}, most=fine.channels() - case.spares)
    spare = first + case.spare_kind
    for number in sorted({*by_kind, spare}) if not uncapped else ():
        also = {idle: 1} if number == spare and idle is not None else {}
        program.row(dict.fromkeys(by_kind[number], 1) | also, most=counts[number] + (growth.spares if also else 0))
    prices = {v: float(case.kinds[number - first].price) for number, own in by_kind.items() for v in own}
    if idle is not None:
        prices[idle] = float(case.kinds[case.spare_kind].price)
    return _BankProgram(program, tuple(opened), ((prices, grown) if uncapped else (grown,)), idle)


def _by_kind(task: Task, old: int) -> dict[int, list[int]]:
    """Columns of each new kind."""
    columns: dict[int, list[int]] = defaultdict(list)
    for v, column in enumerate(task.columns):
        if column.channel_class >= old:
            columns[column.channel_class].append(v)
    return columns


def _solved(
    program: Program, cost: Mapping[int, float], new: Mapping[int, list[int]], clock: Clock
) -> tuple[Solution, bool]:
    """The cheapest solution, and True; where that takes long, the cheapest that takes no more of anything than it.

    Of the latter no part can be less either, though a different mixture may be cheaper: False.
    """
    first = minimise(program, [cost], clock.soon(_FIRST_S), few=AT_ONCE)[0]
    if first.outcome == PROVEN_BEST or not first.values:
        return first, True
    for columns in new.values():
        program.row(dict.fromkeys(columns, 1), most=sum(round(first.values[v]) for v in columns))
    second = minimise(program, [cost], clock.soon(_SECOND_S), few=AT_ONCE)[0]
    return (second, False) if second.values else (first, True)


def _columns(case: GrowthTask, book: CircuitBook, clock: Clock) -> tuple[list[Column], bool]:
    """Circuits on channels there are and on new ones; whether they are all that can matter."""
    columns: list[Column] = []
    soon, is_listed = clock.soon(_LISTING_S), True
    for command in case.task.types:
        if clock.is_over():
            raise OutOfTime(command)
        try:
            if not is_listable(case.merged.task, command):
                raise TooManyCircuits(command)
            columns += [*_old_columns(case, command, book, soon), *_new_columns(case, command, book, clock)]
        except TooManyCircuits:
            is_listed = False
            columns += a_few(case.task, command, book, clock)
    return columns, is_listed


def _old_columns(case: GrowthTask, command: str, book: CircuitBook, clock: Clock) -> Iterator[Column]:
    """Every circuit on the channels there are; on two that are paralleled only what neither of them bears alone."""
    types, wiring = case.task.types[command], book.wiring(case.vehicle)
    if types[0].together:
        yield from columns_of(case.merged.task, command, book, clock.is_over)
        return
    borne: dict[int, Mapping[Counts, Fit]] = {}
    for number in sorted(range(case.old), key=lambda n: case.task.classes[n].width):
        if clock.is_over():
            raise OutOfTime(command)
        rating = as_asked(case.task.classes[number].rating, types)
        alone = [set(borne[single]) for single in case.singles.get(number, ())]
        sure = set[Counts]().union(*alone[:1]).intersection(*alone[1:])
        borne[number] = book.circuits(types, rating, wiring, clock.is_over, (), sure)
        for counts, fit in borne[number].items():
            if counts not in sure and is_allowed(case.task, command, counts, number):
                yield Column(command, counts, number, fit, case.task.upper(command, counts, number))


def _new_columns(case: GrowthTask, command: str, book: CircuitBook, clock: Clock) -> Iterator[Column]:
    """Every circuit on the cheapest new kind that bears it: nothing else tells the new kinds of a unit apart."""
    known: dict[int, set[Counts]] = defaultdict(set)
    types, wiring = case.task.types[command], book.wiring(case.vehicle)
    for n in sorted(range(len(case.kinds)), key=lambda n: case.kinds[n].price):
        kind, number = case.kinds[n], case.old + n
        if not suits(kind, types):
            continue
        rating, borne = as_asked(case.task.classes[number].rating, types), known[kind.unit]
        if types[0].together:
            counts = tuple((n, t.count) for n, t in enumerate(types))
            fit = book.one(types, counts, rating, wiring)
            circuits = {counts: fit} if fit is not None and fit.made is not None and counts not in borne else {}
        else:
            circuits = book.circuits(types, rating, wiring, clock.is_over, (), borne)
        for counts, fit in [(counts, fit) for counts, fit in circuits.items() if counts not in borne]:
            borne.add(counts)
            if is_allowed(case.task, command, counts, number):
                yield Column(command, counts, number, fit, min(types[i].count // k for i, k in counts))


def _spare_row(flow: Flow, case: GrowthTask) -> int | None:
    """Old channels that stay free, or are made up for by idle new ones: the variable counts those."""
    if not case.spares:
        return None
    idle = flow.program.variable(case.spares)
    widths = {v: case.task.classes[number].width for number in range(case.old) for v in flow.on(number)}
    flow.program.row({**widths, idle: -1}, most=case.task.channels() - case.spares)
    return idle
