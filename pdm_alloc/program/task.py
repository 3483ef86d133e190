"""Everything one program needs: item types, channel classes, columns; merged over banks and identical units."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from pdm_alloc.circuits.classes import Capacity, ChannelClass, Rating, channel_classes
from pdm_alloc.circuits.columns import CircuitBook, Counts, Fit, OutOfTime
from pdm_alloc.circuits.items import ItemType, held_channels, item_types, locked_channels
from pdm_alloc.circuits.wiring import Wiring
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Vehicle

__all__ = [
    "Column",
    "Merged",
    "Task",
    "circuit_on",
    "columns_of",
    "empty_task",
    "is_allowed",
    "key_of",
    "merge",
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
