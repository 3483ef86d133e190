"""The program of a shortfall: the cheapest channels and bank amperes that, added to the units, are enough."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

from pdm_alloc.circuits.classes import ChannelClass, rating_of
from pdm_alloc.circuits.columns import CircuitBook, Counts, Fit, OutOfTime, TooManyCircuits
from pdm_alloc.domain.module import Channel, Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.program.handout import Handed, in_columns
from pdm_alloc.program.packing import Bins, pack, unbroken
from pdm_alloc.program.partition import partition
from pdm_alloc.program.solver import BEST_SO_FAR, NOT_ENOUGH, PROVEN_BEST, STOPPED_EMPTY, Clock, Program, Solution
from pdm_alloc.program.stages import minimise
from pdm_alloc.program.sums import Sums
from pdm_alloc.program.task import Column, Merged, Task, columns_of, is_allowed, merge

__all__ = ["LIMITLESS_MA", "Added", "Growth", "NewKind", "cheapest_growth"]

LIMITLESS_MA = 10_000_000_000
"""A limit that no vehicle reaches, mA."""

# What a new channel costs, in whole numbers: so much, and 1 for each step of its rating.
_CHANNEL = 300
_PWM = 10
_STEP_MA = 100
_FIRST_S, _SECOND_S = 3.0, 1.5


@dataclass(frozen=True, slots=True)
class NewKind:
    """A kind of channel that may be added to a unit, outside its banks.

    Parameters
    ----------
    unit : int
        Number of the unit.
    channel : Channel
        Its ratings; its name and labels mean nothing.
    use : str
        ``single``, or ``bridge`` for two such channels that form a reversing pair.
    """

    unit: int
    channel: Channel
    use: str = "single"

    @property
    def width(self) -> int:
        """Channels it takes."""
        return 1 if self.use == "single" else 2

    @property
    def price(self) -> int:
        """Cost in the program, no unit: steps of rating beside a price for each channel."""
        own = self.channel
        strength = (own.continuous_ma + own.peak_ma // 100) // _STEP_MA + (_PWM if "pwm" in own.features else 0)
        return self.width * (_CHANNEL + strength) + (0 if own.max_wire_mm2 is None else round(own.max_wire_mm2))


@dataclass(frozen=True, slots=True)
class Added:
    """Channels of a kind by name, two for each reversing pair, and the loads on them."""

    kind: NewKind
    names: tuple[str, ...]
    loads: tuple[str, ...] = ()


@dataclass(frozen=True)
class Growth:
    """Result of the program.

    Parameters
    ----------
    outcome : str
        One of the five words; proven best: no cheaper growth is enough.
    added : tuple of Added
        Channels by kind.
    spares : int
        Channels to stay free that have to be added.
    bank_ma : mapping of (int, str) to int
        Unit number and bank, and by how much its usable limit must grow, mA.
    circuits : tuple of Handed
        The vehicle on the channels there are and the new ones.
    """

    outcome: str
    added: tuple[Added, ...] = ()
    spares: int = 0
    bank_ma: Mapping[tuple[int, str], int] = field(default_factory=dict)
    circuits: tuple[Handed, ...] = ()


def _limitless(unit: Unit) -> Unit:
    """The unit without limits of the whole of it."""
    module = replace(unit.module, total_ma=LIMITLESS_MA, total_peak_ma=LIMITLESS_MA, inputs=None)
    return replace(unit, module=module)


def cheapest_growth(
    vehicle: Vehicle, units: Sequence[Unit], kinds: Sequence[NewKind], book: CircuitBook, clock: Clock
) -> Growth:
    """Minimise the price of new channels, then the amperes by which banks grow.

    Whole-module limits, inputs and supply range are left open: on one unit they are arithmetic.

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
        Not enough where some load is on no channel, new or not.

    Raises
    ------
    OutOfTime
        There was no time to list the circuits.
    """
    opened = [_limitless(unit) for unit in units]
    merged = merge(replace(vehicle, settings=replace(vehicle.settings, spare_channels=0)), opened)
    task = _with_kinds(merged.task, kinds)
    unlisted: set[str] = set()
    columns = [
        c for command in task.types for c in _columns_of(merged.task, task, command, kinds, book, clock, unlisted)
    ]
    task = replace(task, columns=tuple(columns))
    program, old = partition(task, limits=False, late=clock.is_over), len(merged.task.classes)
    cost: dict[int, float] = {
        v: kinds[c.channel_class - old].price for v, c in enumerate(task.columns) if c.channel_class >= old
    }
    spare = _spare_row(program, task, old, vehicle.settings.spare_channels)
    if spare is not None:
        cost[spare] = min((k.price for k in kinds if k.use == "single"), default=_CHANNEL)
    solution = _solved(program, cost, _by_kind(task, old), clock)
    if not solution.values:
        return Growth(STOPPED_EMPTY if unlisted else solution.outcome)
    solution = replace(solution, outcome=BEST_SO_FAR) if unlisted else solution
    chosen = _chosen(task, solution)
    idle = 0 if spare is None else round(solution.values[spare])
    bins = Bins(merged, Sums(vehicle, opened, merged.fine.types))
    packed = unbroken(partial(pack, bins, [c for c in chosen if c.channel_class < old], clock), bins, clock)
    if packed is not None:
        fine = _with_kinds(merged.fine, kinds)
        shift = len(merged.fine.classes) - old
        new = [replace(c, channel_class=c.channel_class + shift) for c in chosen if c.channel_class >= old]
        times = Counter([*packed, *new])
        fine = replace(fine, columns=tuple(times))
        return _read(fine, kinds, tuple(times.values()), Growth(solution.outcome, spares=idle))
    return _with_banks(
        merged, task, kinds, chosen, Growth(solution.outcome, spares=idle), vehicle.settings.spare_channels, clock
    )


def _with_banks(
    merged: Merged, task: Task, kinds, chosen, growth: Growth, spares: int, clock: Clock, uncapped: bool = False
) -> Growth:
    """The least amperes by which banks grow beside the new channels, all circuits open again.

    Channels that are both one of a pair and one of a bridge may be counted twice where classes are merged: where the
    new channels do not do, as many as it takes are allowed (`uncapped`), the cheapest first.
    """
    old, shift = len(merged.task.classes), len(merged.fine.classes) - len(merged.task.classes)
    new = [replace(c, channel_class=c.channel_class + shift) for c in task.columns if c.channel_class >= old]
    columns = [*merged.unmerged([c for c in task.columns if c.channel_class < old]), *new]
    fine = replace(_with_kinds(merged.fine, kinds), columns=tuple(columns))
    banks = [(number, bank) for number, unit in enumerate(fine.units) for bank in unit.module.bank_ma]
    program = partition(fine, banks, late=clock.is_over)
    grown = range(len(columns), len(columns) + len(banks))
    counts = Counter(c.channel_class + shift for c in chosen if c.channel_class >= old)
    by_kind = _by_kind(fine, len(merged.fine.classes))
    for number, own in by_kind.items() if not uncapped else ():
        program.row(dict.fromkeys(own, 1), most=counts[number])
    if spares:
        widths = {v: fine.classes[c.channel_class].width for v, c in enumerate(columns[: len(columns) - len(new)])}
        program.row(widths, most=fine.channels() - spares + growth.spares)
    first = len(merged.fine.classes)
    prices = {v: kinds[number - first].price for number, own in by_kind.items() for v in own}
    costs = [*([prices] if uncapped else []), dict.fromkeys(grown, 1.0)]
    solution = minimise(program, costs, _within(clock, _SECOND_S))[-1]
    if solution.outcome == NOT_ENOUGH and not uncapped:
        return _with_banks(merged, task, kinds, chosen, growth, spares, clock, uncapped=True)
    if not solution.values:
        return Growth(solution.outcome)
    values = tuple(round(v) for v in solution.values)
    bank_ma = {bank: values[v] for v, bank in zip(grown, banks, strict=True) if values[v]}
    outcome = growth.outcome if solution.outcome == PROVEN_BEST else solution.outcome
    return _read(fine, kinds, values[: len(columns)], replace(growth, outcome=outcome, bank_ma=bank_ma))


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
    first = minimise(program, [cost], _within(clock, _FIRST_S))[0]
    if first.outcome == PROVEN_BEST or not first.values:
        return first
    for columns in new.values():
        program.row(dict.fromkeys(columns, 1), most=sum(round(first.values[v]) for v in columns))
    second = minimise(program, [cost], _within(clock, _SECOND_S))[0]
    return second if second.values else first


def _within(clock: Clock, limit_s: float) -> Clock:
    left_s = clock.left_s
    return clock.part(min(1.0, limit_s / left_s)) if left_s else clock


def _with_kinds(task: Task, kinds: Sequence[NewKind]) -> Task:
    """A task with a class for each new kind."""
    items = sum(t.count for t in task.all_types())
    new = tuple(_class_of(task.vehicle, task.units, n, kind, items) for n, kind in enumerate(kinds))
    return replace(task, classes=(*task.classes, *new), locked=(*task.locked, *(frozenset() for _ in new)))


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


def _class_of(vehicle, units, number: int, kind: NewKind, items: int) -> ChannelClass:
    rating = rating_of(vehicle, units[kind.unit], [kind.channel] * kind.width, kind.use)
    names = tuple(tuple(f" new {number + 1}-{n + 1}{side}" for side in "ab"[: kind.width]) for n in range(items))
    return ChannelClass(kind.unit, kind.use, rating, (), names)


def _columns(task: Task, command: str, book: CircuitBook, clock: Clock, unlisted: set[str]) -> Iterator[Column]:
    try:
        yield from list(columns_of(task, command, book, clock.is_over))
    except OutOfTime:
        raise
    except TooManyCircuits:
        unlisted.add(command)
        yield from _a_few(task, command, book)


def _a_few(task: Task, command: str, book: CircuitBook) -> Iterator[Column]:
    """Every item alone, and circuits filled one after the other with the largest items that still fit."""
    types, wiring = task.types[command], book.wiring(task.vehicle)
    for number, own in enumerate(task.classes):
        circuits: dict[Counts, Fit] = {}
        left = {n: t.count for n, t in enumerate(types)}
        while any(left.values()):
            filled = _filled(types, left, own.rating, book, wiring)
            if filled is None:
                break
            circuits[filled[0]] = filled[1]
            for n, k in filled[0]:
                left[n] -= k
        for n in range(len(types)):
            alone = book.one(types, ((n, 1),), own.rating, wiring)
            if alone is not None and alone.made is not None:
                circuits[(n, 1),] = alone
        for counts, fit in sorted(circuits.items(), key=lambda pair: pair[0]):
            if is_allowed(task, command, counts, number):
                yield Column(command, counts, number, fit, task.upper(command, counts, number))


def _filled(types, left: Mapping[int, int], rating, book: CircuitBook, wiring) -> tuple[Counts, Fit] | None:
    """A circuit of what is left, the first types (which draw most) first."""
    counts: dict[int, int] = {}
    best = None
    for n in sorted(left):
        for _ in range(left[n]):
            trial = tuple(sorted({**counts, n: counts.get(n, 0) + 1}.items()))
            fit = book.one(types, trial, rating, wiring)
            if fit is None or fit.made is None:
                break
            counts[n] = counts.get(n, 0) + 1
            best = (trial, fit)
    return best


def _spare_row(program: Program, task: Task, old: int, wanted: int) -> int | None:
    """Old channels that stay free, or are made up for by idle new ones: the variable counts those."""
    if not wanted:
        return None
    idle = program.variable(wanted)
    widths = {v: task.classes[c.channel_class].width for v, c in enumerate(task.columns) if c.channel_class < old}
    program.row({**widths, idle: -1}, most=task.channels() - wanted)
    return idle


def _read(task: Task, kinds, values: tuple[int, ...], growth: Growth) -> Growth:
    """A growth with its circuits, and the new channels by kind."""
    names: dict[int, list[str]] = defaultdict(list)
    loads: dict[int, dict[str, None]] = defaultdict(dict)
    handed = in_columns(task, values)
    first = len(task.classes) - len(kinds)
    for v, circuit in handed:
        at = task.columns[v].channel_class - first
        if at >= 0:
            names[at] += circuit.channels
            loads[at].update(dict.fromkeys(load for load, _ in circuit.items))
    added = tuple(Added(kinds[at], tuple(names[at]), tuple(loads[at])) for at in sorted(names))
    return replace(growth, added=added, circuits=tuple(circuit for _, circuit in handed))
