"""Set partitioning: the task with its columns, and the program, every item in exactly one circuit."""

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any, NamedTuple

from pdm_alloc.circuits.classes import Capacity, ChannelClass, Rating, channel_classes
from pdm_alloc.circuits.columns import CircuitBook, Counts, Fit, OutOfTime
from pdm_alloc.circuits.draws import Wiring
from pdm_alloc.circuits.items import ItemType, held_channels, item_types, locked_channels
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.program.solver import Clock, Program
from pdm_alloc.program.sums import Cut, Limit, Sums, item_ma

__all__ = [
    "Column",
    "LateRows",
    "Merged",
    "Raised",
    "Task",
    "add_sum",
    "circuit_on",
    "columns_of",
    "empty_task",
    "is_allowed",
    "key_of",
    "loadings_of",
    "merge",
    "partition",
    "portions_on",
    "task_of",
    "unmerged",
]

Place = tuple[int, str]

"""Unit number and channel."""


@dataclass(frozen=True, slots=True)
class Column:
    """A circuit on a channel class.

    Parameters
    ----------
    command : str
        What switches it.
    counts : tuple of (int, int)
        Number of the item type within the command, and how many.
    channel_class : int
        Number of the class.
    fit : Fit
        What the physics says.
    most : int
        How often it can be chosen.
    """

    command: str
    counts: Counts
    channel_class: int
    fit: Fit
    most: int


Key = tuple[str, Counts, int]


def key_of(column: Column) -> Key:
    """Identity of a column in a task."""
    return column.command, column.counts, column.channel_class


@dataclass(frozen=True)
class Task:
    """A vehicle on units, as columns.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : tuple of Unit
        What is fitted.
    types : dict of str to tuple of ItemType
        By command.
    classes : tuple of ChannelClass
        Of all units.
    capacities : tuple of Capacity
        How often classes can be used together.
    columns : tuple of Column
        Canonical order.
    locked : tuple of frozenset of (int, str)
        Unit number and name of the locked channels in each class, ``1+2`` of two used together: a row that
        names channel 1 is not met by them, nor the reverse.
    """

    vehicle: Vehicle
    units: tuple[Unit, ...]
    types: dict[str, tuple[ItemType, ...]]
    classes: tuple[ChannelClass, ...]
    capacities: tuple[Capacity, ...]
    columns: tuple[Column, ...] = ()
    locked: tuple[frozenset[Place], ...] = ()

    def all_types(self) -> list[ItemType]:
        """Item types of all commands, canonical order."""
        return [t for types in self.types.values() for t in types]

    def channels(self) -> int:
        """Channels of all units."""
        return sum(len(u.module.channels) for u in self.units)

    def may_hold(self, t: ItemType, number: int) -> bool:
        """Whether the locked rows of a load allow it on a class."""
        return not t.locked or any((unit, name) in self.locked[number] for unit, names in t.locked for name in names)

    def upper(self, command: str, counts: Counts, number: int) -> int:
        """How often a circuit can be chosen on a class."""
        types = self.types[command]
        return min(len(self.classes[number].slots), *(types[n].count // k for n, k in counts))


def task_of(
    vehicle: Vehicle,
    units: Sequence[Unit],
    book: CircuitBook,
    late: Callable[[], bool] | None = None,
) -> Task:
    """Task with every circuit listed on every channel class.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : sequence of Unit
        What is fitted.
    book : CircuitBook
        Circuits of this vehicle listed so far.
    late : callable, optional
        True stops the listing of circuits.

    Returns
    -------
    Task
        Its columns respect every rule of a channel; rows of banks and states come later.

    Raises
    ------
    TooManyCircuits
        A command has too many different loads to list its circuits, or there was no time for it.
    """
    task = empty_task(vehicle, units)
    columns = [c for command in task.types for c in columns_of(task, command, book, late)]
    return replace(task, columns=tuple(columns))


def empty_task(vehicle: Vehicle, units: Sequence[Unit], apart: Mapping[Place, str] | None = None) -> Task:
    """Task without columns: item types, channel classes and capacities."""
    types = item_types(vehicle, units)
    spots = {spot for spots in locked_channels(vehicle, units).values() for spot in spots}
    classes, capacities = channel_classes(vehicle, units, held_channels(vehicle, units), apart)
    locked = tuple(frozenset(spots & {(c.unit, "+".join(slot)) for slot in c.slots}) for c in classes)
    return Task(vehicle, tuple(units), types, classes, capacities, locked=locked)


def columns_of(task: Task, command: str, book: CircuitBook, late: Callable[[], bool] | None = None) -> Iterator[Column]:
    """Every circuit of a command on every class of a task.

    Parameters
    ----------
    task : Task
        Classes; its columns are not looked at.
    command : str
        Its name.
    book : CircuitBook
        Circuits of this vehicle listed so far.
    late : callable, optional
        True stops the listing.

    Yields
    ------
    Column
        Canonical order.

    Raises
    ------
    TooManyCircuits
        There are too many to list, or there was no time for it.
    """
    types, wiring = task.types[command], book.wiring(task.vehicle)
    for number, channel_class in enumerate(task.classes):
        if late and late():
            raise OutOfTime(command)
        for counts, fit in _circuits(types, channel_class.rating, book, wiring, late):
            if is_allowed(task, command, counts, number):
                yield Column(command, counts, number, fit, task.upper(command, counts, number))


def _circuits(
    types: tuple[ItemType, ...], rating: Rating, book: CircuitBook, wiring: Wiring, late: Callable[[], bool] | None
) -> Iterable[tuple[Counts, Fit]]:
    """Circuits of a command on a rating; one at most where all its items belong together."""
    if not types[0].together:
        return book.circuits(types, rating, wiring, late).items()
    counts = tuple((n, t.count) for n, t in enumerate(types))
    whole = book.one(types, counts, rating, wiring)
    return [(counts, whole)] if whole is not None and whole.made is not None else []


def circuit_on(task: Task, command: str, counts: Counts, number: int, book: CircuitBook) -> Column | None:
    """A circuit on a class as a column, chosen once; None where it is not allowed."""
    if not is_allowed(task, command, counts, number):
        return None
    fit = book.one(task.types[command], counts, task.classes[number].rating, book.wiring(task.vehicle))
    return Column(command, counts, number, fit, 1) if fit is not None and fit.made is not None else None


def is_allowed(task: Task, command: str, counts: Counts, number: int) -> bool:
    """Whether locked rows and joined commands allow a circuit on a class.

    Parameters
    ----------
    task : Task
        Classes.
    command : str
        Its name.
    counts : tuple of (int, int)
        Type number and how many of it.
    number : int
        Of the class.

    Returns
    -------
    bool
    """
    types = task.types[command]
    if types[0].together and counts != tuple((n, t.count) for n, t in enumerate(types)):
        return False
    return all(task.may_hold(types[n], number) for n, _ in counts)


@dataclass(frozen=True)
class Merged:
    """A vehicle on units with like channel classes merged.

    Parameters
    ----------
    task : Task
        Without columns; its classes are the merged ones, its capacities theirs.
    members : tuple of tuple of int
        Numbers of the classes each merged class stands for; one that has a locked channel stands for itself.
    fine : Task
        Without columns; classes and capacities before merging.
    """

    task: Task
    members: tuple[tuple[int, ...], ...]
    fine: Task

    @property
    def is_exact(self) -> bool:
        """Whether no two classes are merged: then the limits of banks and units can be rows at once."""
        return all(len(numbers) == 1 for numbers in self.members)

    def coarse(self, columns: Sequence[Column]) -> list[Column]:
        """Circuits before merging, on their merged classes."""
        home = {number: m for m, numbers in enumerate(self.members) for number in numbers}
        return [replace(c, channel_class=home[c.channel_class]) for c in columns]

    def unmerged(self, columns: Sequence[Column]) -> Iterator[Column]:
        """Each circuit on every class that its merged class stands for."""
        for c in columns:
            for number in self.members[c.channel_class]:
                yield replace(c, channel_class=number, most=self.fine.upper(c.command, c.counts, number))


def merge(vehicle: Vehicle, units: Sequence[Unit]) -> Merged:
    """Merge the channel classes of units.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : sequence of Unit
        What is fitted.

    Returns
    -------
    Merged

    Raises
    ------
    ValueError
        A unit's ambient is outside its module's derating table.
    """
    fine = empty_task(vehicle, units)
    grouped: dict[tuple[str, Rating, int], list[int]] = defaultdict(list)
    for number, channel_class in enumerate(fine.classes):
        grouped[channel_class.use, channel_class.rating, number if fine.locked[number] else -1].append(number)
    members = tuple(tuple(numbers) for numbers in grouped.values())
    classes = tuple(_merged_class(fine.classes, numbers) for numbers in members)
    capacities = _merged_capacities(fine.classes, fine.capacities, members)
    locked = tuple(fine.locked[numbers[0]] for numbers in members)
    coarse = replace(fine, classes=classes, capacities=capacities, locked=locked)
    return Merged(coarse, members, fine)


def unmerged(task: Task) -> Merged:
    """Every class of a task for itself."""
    return Merged(task, tuple((n,) for n in range(len(task.classes))), task)


def _merged_class(classes: Sequence[ChannelClass], numbers: tuple[int, ...]) -> ChannelClass:
    return replace(classes[numbers[0]], slots=tuple(slot for n in numbers for slot in classes[n].slots))


def _merged_capacities(
    classes: Sequence[ChannelClass], capacities: Sequence[Capacity], members: Sequence[Sequence[int]]
) -> tuple[Capacity, ...]:
    """Sums of the capacities of like channels, each weight the least of its members'.

    A sum of rows holds where each row does; and with a lesser weight it holds all the more.
    """
    home = {n: m for m, numbers in enumerate(members) for n in numbers}
    alike: dict[frozenset[int], list[Capacity]] = defaultdict(list)
    for capacity in capacities:
        first = capacity.weights[0][0]
        numbers = [first] if classes[first].use == "single" else [n for n, _ in capacity.weights]
        alike[frozenset(home[n] for n in numbers)].append(capacity)
    return tuple(_sum(group, members) for group in alike.values())


def _sum(group: Sequence[Capacity], members: Sequence[Sequence[int]]) -> Capacity:
    total: dict[int, int] = defaultdict(int)
    for capacity in group:
        for n, weight in capacity.weights:
            total[n] += weight
    least = ((m, min(total.get(n, 0) for n in numbers)) for m, numbers in enumerate(members))
    return Capacity(tuple((m, w) for m, w in least if w), sum(c.most for c in group))


_NONE: Mapping[Any, Any] = MappingProxyType({})
_MOST_STEPS = 1_000_000


class Raised(NamedTuple):
    """A limit that may grow: the variable of its steps, the usable limit without any and what a step adds, mA."""

    steps: int
    base_ma: float
    step_ma: float

    def usable_ma(self, steps: float) -> int:
        """The limit with so many steps, rounded down, mA."""
        return math.floor(self.base_ma + self.step_ma * round(steps) + _OFF)


_OFF = 1e-6  # by which floating point may be off

Item = tuple[str, int]
"""Command, and number of the item type within it."""


def partition(
    task: Task,
    grow: Mapping[tuple[int, str], tuple[float, float]] = _NONE,
    limits: bool = True,
    late: Callable[[], bool] | None = None,
    sums: Sums | None = None,
) -> Program:
    """Variables and rows of a task: one variable per column, in order.

    Parameters
    ----------
    task : Task
        Columns, classes and limits.
    grow : mapping of (int, str) to (float, float)
        Unit number and bank of limits that may grow: the usable limit before it is rounded, and by how much a step of
        the rating raises it, mA.
    limits : bool
        False: without the rows of banks and units, which classes merged over them cannot have.
    late : callable, optional
        True stops the building.
    sums : Sums, optional
        Combinations known so far; None: those of everything together.

    Returns
    -------
    Program
        Variable n counts how often column n is chosen; the variables after the columns are by how
        many steps each limit of `grow` grows, in order; later variables are auxiliary. `minimise` adds the
        combinations that its solutions break.

    Raises
    ------
    OutOfTime
        `late` said so.
    """
    program = Program(late=late)
    for column in task.columns:
        program.variable(column.most)
    grown: dict[tuple[int, str | None], Raised] = {
        place: Raised(program.variable(_MOST_STEPS), *values) for place, values in grow.items()
    }
    for add in (_every_item_once, _capacities, _spares, _locks):
        add(program, task)
    if limits:
        known = Sums(task.vehicle, task.units, task.types) if sums is None else sums
        _totals(program, task, known)
        _peaks(program, task, known)
        _banks(program, task, known, grown)
        program.late_rows = LateRows(task, known, grown)
    return program


def _every_item_once(program: Program, task: Task) -> None:
    weights: dict[tuple[str, int], dict[int, float]] = defaultdict(dict)
    for v, column in enumerate(task.columns):
        for n, k in column.counts:
            weights[column.command, n][v] = k
    for command, types in task.types.items():
        for n, t in enumerate(types):
            program.row(weights[command, n], t.count, t.count)


def _capacities(program: Program, task: Task) -> None:
    by_class = _by_class(task)
    for capacity in task.capacities:
        weights = {v: w for number, w in capacity.weights for v in by_class[number]}
        program.row(weights, most=capacity.most)


def _by_class(task: Task) -> dict[int, list[int]]:
    numbers: dict[int, list[int]] = defaultdict(list)
    for v, column in enumerate(task.columns):
        numbers[column.channel_class].append(v)
    return numbers


def _spares(program: Program, task: Task) -> None:
    wanted = task.vehicle.settings.spare_channels
    if wanted:
        widths = {v: task.classes[c.channel_class].width for v, c in enumerate(task.columns)}
        program.row(widths, most=task.channels() - wanted)


def _locks(program: Program, task: Task) -> None:
    """Every locked row has an item of its load on its channel."""
    for command, types in task.types.items():
        for n, t in enumerate(types):
            for unit, channels in t.locked:
                for channel in channels:
                    program.row(dict.fromkeys(_on_channel(task, command, n, unit, channel), 1), least=1)


def _on_channel(task: Task, command: str, n: int, unit: int, channel: str) -> Iterator[int]:
    """Columns with an item of a type on the class that has a locked channel."""
    for v, column in enumerate(task.columns):
        here = (unit, channel) in task.locked[column.channel_class]
        if here and column.command == command and any(m == n for m, _ in column.counts):
            yield v


def _banks(program: Program, task: Task, sums: Sums, grown: Mapping[tuple[int, str | None], Raised]) -> None:
    """Every bank under the combinations known to matter to it."""
    for cut, limit in _known(sums, "bank"):
        add_sum(program, task, cut, limit, enumerate(task.columns), grown)


def _totals(program: Program, task: Task, sums: Sums) -> None:
    """Every whole module, effective currents."""
    for cut, limit in _known(sums, "total"):
        add_sum(program, task, cut, limit, enumerate(task.columns))


def _peaks(program: Program, task: Task, sums: Sums) -> None:
    """Every whole module, what stays on and the inrush of what one input switches on."""
    for cut, limit in _known(sums, "peak"):
        add_sum(program, task, cut, limit, enumerate(task.columns))


def _known(sums: Sums, kind: str) -> Iterator[tuple[Cut, Limit]]:
    for cut, limits in sums.cuts.items():
        yield from ((cut, limit) for limit in sums.limits if limit in limits and limit.kind == kind)


def add_sum(
    program: Program,
    task: Task,
    cut: Cut,
    limit: Limit,
    columns: Iterable[tuple[int, Column]],
    grown: Mapping[tuple[int, str | None], Raised] = _NONE,
) -> None:
    """One combination within one limit, in portions of a milliamp; left out where everything together keeps it."""
    item = {
        (command, n): item_ma(t, cut, limit.settle_s)
        for command, types in task.types.items()
        for n, t in enumerate(types)
    }
    if _together(task, item) <= limit.most_ma:
        return
    weights: dict[int, float] = {}
    rises: dict[tuple[str, int], dict[int, float]] = defaultdict(dict)
    for v, column in columns:
        portions = portions_on(task, column, limit)
        for n, k in column.counts if portions else ():
            ma, rise = item[column.command, n]
            weights[v] = weights.get(v, 0) + portions * k * ma
            if rise:
                rises[column.command, n][v] = portions * k * rise
    weights.update(_robust(program, rises, task.vehicle.settings.tolerance_loads))
    more = None if limit.is_peak else grown.get((limit.unit, limit.bank))
    if more is None:
        program.row(weights, most=limit.whole * limit.most_ma)
    else:
        program.row(weights | {more.steps: -limit.whole * more.step_ma}, most=limit.whole * more.base_ma + _OFF)


def _together(task: Task, item: Mapping[tuple[str, int], tuple[int, int]]) -> int:
    counts = {(command, n): t.count for command, types in task.types.items() for n, t in enumerate(types)}
    rises = sorted((k * item[key][1] for key, k in counts.items()), reverse=True)
    return sum(k * item[key][0] for key, k in counts.items()) + sum(rises[: task.vehicle.settings.tolerance_loads])


def portions_on(task: Task, column: Column, limit: Limit) -> int:
    """Portions of a column's every milliamp that count against a limit."""
    channel_class = task.classes[column.channel_class]
    if channel_class.unit != limit.unit:
        return 0
    return limit.whole if limit.bank is None else dict(channel_class.bank_portions).get(limit.bank, 0)


def loadings_of(task: Task, sums: Sums, columns: Iterable[tuple[Column, int]]) -> dict[Limit, dict[Item, int]]:
    """What columns, each so many times, put on every limit."""
    loadings: dict[Limit, dict[Item, int]] = {limit: defaultdict(int) for limit in sums.limits}
    by_unit: dict[int, list[Limit]] = defaultdict(list)
    for limit in sums.limits:
        by_unit[limit.unit].append(limit)
    for column, times in columns:
        for limit in by_unit[task.classes[column.channel_class].unit]:
            portions = portions_on(task, column, limit)
            for n, k in column.counts if portions and times else ():
                loadings[limit][column.command, n] += portions * k * times
    return loadings


@dataclass
class LateRows:
    """Lazy constraints: rows of combinations, added once a solution violates them.

    Parameters
    ----------
    task : Task
        Its columns are the first variables of the program.
    sums : Sums
        Combinations known so far.
    grown : mapping of (int, str or None) to Raised
        Banks that may grow, by unit number and bank; without a bank the whole module.
    active : tuple of int or None
        Numbers, in the program of `task`, of the variables of the program asked about; None: it is that program.
    size : int
        Variables of the program of `task`, where `active` is given.
    """

    task: Task
    sums: Sums
    grown: Mapping[tuple[int, str | None], Raised]
    active: tuple[int, ...] | None = None
    size: int = 0

    def narrowed(self, active: Sequence[int], size: int) -> "LateRows":
        """The same for a program with some of the variables of this one's, which has `size`."""
        if self.active is not None:
            active, size = [self.active[v] if v < len(self.active) else -1 for v in active], self.size
        return replace(self, active=tuple(active), size=size)

    def add(self, program: Program, numbers: Sequence[int], values: Sequence[float], clock: Clock) -> bool:
        """Add a row for every limit a solution breaks.

        Parameters
        ----------
        program : Program
            Grows; auxiliary variables are put at its end.
        numbers : sequence of int
            Number of each of its variables in the program of `task`.
        values : sequence of float
            Of that program's variables.
        clock : Clock
            When to stop.

        Returns
        -------
        bool
            False: nothing is broken.
        """
        if self.active is not None:
            wide = dict(zip(self.active, values, strict=False))
            values = [wide.get(v, 0.0) for v in range(self.size)]
            numbers = [self.active[n] if 0 <= n < len(self.active) else -1 for n in numbers]
        chosen = ((column, round(values[v])) for v, column in enumerate(self.task.columns))
        loadings, broken = loadings_of(self.task, self.sums, chosen), False
        here = {number: new for new, number in enumerate(numbers)}
        columns = [(here[v], column) for v, column in enumerate(self.task.columns) if v in here]
        grown = {
            place: more._replace(steps=here[more.steps]) for place, more in self.grown.items() if more.steps in here
        }
        for limit in self.sums.limits:
            more = None if limit.is_peak else self.grown.get((limit.unit, limit.bank))
            raised = limit if more is None else replace(limit, most_ma=more.usable_ma(values[more.steps]))
            for worst in self.sums.broken_by(raised, loadings[limit], clock):
                broken = True
                self.sums.add(replace(worst, limit=limit))
                add_sum(program, self.task, worst.cut, limit, columns, grown)
        return broken


def _robust(program: Program, rises: Mapping[Item, Mapping[int, float]], at_once: int) -> dict[int, float]:
    """Terms that add the `at_once` largest rises to a sum, whichever they are.

    The largest sum of so many terms is the least of at_once * z + sum(p) with z + p >= rise for
    each, so a row that keeps the latter within the limit keeps the former.
    """
    if not rises or not at_once:
        return {}
    limit = 10**12
    z = program.variable(limit, whole=False)
    terms: dict[int, float] = {z: at_once}
    for rise in rises.values():
        p = program.variable(limit, whole=False)
        terms[p] = 1
        program.row({z: 1, p: 1, **{v: -w for v, w in rise.items()}}, least=0)
    return terms
