"""Fewest moves: an allocation that leaves as many items as can be on the channels they are wired to.

A channel that is wired already is not like its neighbours any more, yet making every such channel a
class of its own would bring back all the symmetry that classes remove. Instead a circuit that leaves
items where they are gets a column of its own, pinned to that channel, beside the column that may go
anywhere in the class. Only channels that can be doubled are told apart, for there it matters which are left.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.module import Unit, natural_key
from pdm_alloc.program.handout import Handed, hand_out
from pdm_alloc.program.solver import Program
from pdm_alloc.program.task import Column, Task, task_of
from pdm_alloc.vehicle import Vehicle

__all__ = ["MOVES", "Keeping", "Wired", "keeping"]

MOVES = "wires moved or added"

Item = tuple[str, int]
Wired = tuple[str, tuple[str, ...], tuple[Item, ...]]
"""Label of a unit, channels, items on them."""
Spot = tuple[int, tuple[str, ...]]


@dataclass(frozen=True)
class Keeping:
    """A task in which what is wired can stay.

    Parameters
    ----------
    task : Task
        Its last columns are the pinned ones.
    wired : dict of (int, tuple of str) to tuple of (str, int)
        Items by unit number and channels, as they are now.
    pins : dict of int to (int, tuple of str)
        Unit number and channels of each pinned column.
    """

    task: Task
    wired: dict[Spot, tuple[Item, ...]]
    pins: dict[int, Spot]

    def cost(self) -> dict[int, float]:
        """Items that do not stay, by column: wires to be moved, and those to be added whatever is done."""
        costs = {v: _items(column) - self._staying(v, column) for v, column in enumerate(self.task.columns)}
        return {v: cost for v, cost in costs.items() if cost}

    def hold(self, program: Program) -> None:
        """Add the rows by which no two circuits are pinned to one channel."""
        by_spot: dict[Spot, dict[int, float]] = defaultdict(dict)
        for v, spot in self.pins.items():
            by_spot[spot][v] = 1
        for weights in by_spot.values():
            program.row(weights, most=1)

    def hand_out(self, values: tuple[int, ...]) -> list[Handed]:
        """As `pdm_alloc.program.handout.hand_out`, pinned circuits where they are pinned, items where they were."""
        return _dealt(self.task, hand_out(self._split(values), values), self.wired)

    def _staying(self, v: int, column: Column) -> int:
        own = self.task.classes[column.channel_class]
        spot = self.pins.get(v, (own.unit, own.slots[0]) if len(own.slots) == 1 else None)
        return 0 if spot is None else _stay(self.task, column, self.wired.get(spot, ()))

    def _split(self, values: tuple[int, ...]) -> Task:
        """The task with every channel that a chosen column is pinned to in a class of its own."""
        classes, columns = list(self.task.classes), list(self.task.columns)
        for v, (_, slot) in self.pins.items():
            if values[v]:
                number = columns[v].channel_class
                columns[v] = replace(columns[v], channel_class=len(classes))
                classes.append(replace(classes[number], slots=(slot,)))
                classes[number] = replace(classes[number], slots=tuple(s for s in classes[number].slots if s != slot))
        return replace(self.task, classes=tuple(classes), columns=tuple(columns))


def keeping(
    vehicle: Vehicle,
    units: Sequence[Unit],
    book: CircuitBook,
    wired: Iterable[Wired],
    late: Callable[[], bool] | None = None,
) -> Keeping:
    """A task in which what is wired can stay where it is.

    Parameters
    ----------
    vehicle : Vehicle
        As it is to be.
    units : sequence of Unit
        Fitted.
    book : CircuitBook
        Circuits of this vehicle known so far.
    wired : iterable of (str, tuple of str, tuple of (str, int))
        What is built. Units, channels and loads are found again by name; those that are no more count for nothing.
    late : callable, optional
        True stops the listing of circuits.

    Returns
    -------
    Keeping

    Raises
    ------
    TooManyCircuits
        A command has too many different loads to list its circuits, or there was no time for it.
    """
    spots = _spots(vehicle, units, wired)
    apart = {(unit, name): name for unit, channels in spots for name in channels if _doubles(units[unit], name)}
    task = task_of(_told_apart(vehicle, spots), units, book, apart, late)
    pinned = list(_pinned(task, spots))
    pins = {len(task.columns) + n: spot for n, (spot, _) in enumerate(pinned)}
    return Keeping(replace(task, columns=(*task.columns, *(column for _, column in pinned))), spots, pins)


def _spots(vehicle: Vehicle, units: Sequence[Unit], wired: Iterable[Wired]) -> dict[Spot, tuple[Item, ...]]:
    numbers = {unit.label: n for n, unit in enumerate(units)}
    channels = [{channel.name for channel in unit.module.channels} for unit in units]
    loads = {load.name for load in vehicle.loads}
    found = {}
    for label, names, items in wired:
        staying = tuple(item for item in items if item[0] in loads)
        if staying and label in numbers and channels[numbers[label]].issuperset(names):
            found[numbers[label], names] = staying
    return dict(sorted(found.items(), key=lambda pair: (pair[0][0], [natural_key(name) for name in pair[0][1]])))


def _doubles(unit: Unit, name: str) -> bool:
    channel = unit.module.channel(name)
    return bool(channel.pair or channel.bridge)


def _told_apart(vehicle: Vehicle, spots: dict[Spot, tuple[Item, ...]]) -> Vehicle:
    """Loads with fewer items than are wired must not count as others alike: it matters whose items go.

    A label that no other load has changes nothing but that.
    """
    wired = Counter(load for items in spots.values() for load, _ in items)
    loads = (
        replace(load, separate=f"\0{load.name}") if wired[load.name] > load.count and not load.separate else load
        for load in vehicle.loads
    )
    return replace(vehicle, loads=tuple(loads))


def _pinned(task: Task, spots: dict[Spot, tuple[Item, ...]]) -> Iterator[tuple[Spot, Column]]:
    """Circuits that leave something where it is, on channels that are not a class of their own."""
    of_class: dict[int, list[Column]] = defaultdict(list)
    for column in task.columns:
        of_class[column.channel_class].append(column)
    for (unit, channels), items in spots.items():
        for number, own in enumerate(task.classes):
            if own.unit == unit and len(own.slots) > 1 and channels in own.slots:
                for column in of_class[number]:
                    if _stay(task, column, items):
                        yield (unit, channels), replace(column, most=1)


def _stay(task: Task, column: Column, items: Iterable[Item]) -> int:
    """Items of a circuit that stay, if it is on the channel those items are wired to."""
    here = Counter(load for load, _ in items)
    types = task.types[column.command]
    return sum(min(k, sum(here[load] for load in {load for load, _ in types[n].items})) for n, k in column.counts)


def _items(column: Column) -> int:
    return sum(k for _, k in column.counts)


def _dealt(task: Task, handed: list[Handed], wired: dict[Spot, tuple[Item, ...]]) -> list[Handed]:
    """Items of a type dealt out anew: to every circuit first those that are there already."""
    left: dict[Item, int] = {}
    types = {item: n for n, t in enumerate(task.all_types()) for item in t.items}
    wanted = [Counter(types[item] for item in h.items) for h in handed]
    left = dict(sorted(types.items(), key=lambda pair: pair[1]))
    taken: list[list[Item]] = [[] for _ in handed]
    for circuit, need, mine in zip(handed, wanted, taken, strict=True):
        for item in wired.get((circuit.unit, circuit.channels), ()):
            _take(item, left, need, mine)
    for need, mine in zip(wanted, taken, strict=True):
        for item in [i for i, n in left.items() if need[n]]:
            _take(item, left, need, mine)
    return [h._replace(items=tuple(sorted(mine))) for h, mine in zip(handed, taken, strict=True)]


def _take(item: Item, left: dict[Item, int], need: Counter[int], mine: list[Item]) -> None:
    if item in left and need[left[item]]:
        need[left[item]] -= 1
        del left[item]
        mine.append(item)
