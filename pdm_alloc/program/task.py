"""Everything one program needs: item types, channel classes and the columns, worked out once."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from pdm_alloc.circuits.capacity import Capacity
from pdm_alloc.circuits.classes import ChannelClass, channel_classes
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.circuits.fit import Counts, Fit
from pdm_alloc.circuits.items import ItemType, item_types, locked_channels
from pdm_alloc.circuits.limits import running_in_state_ma
from pdm_alloc.module import Unit
from pdm_alloc.vehicle import Vehicle

__all__ = ["Column", "Task", "task_of"]


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
    """

    vehicle: Vehicle
    units: tuple[Unit, ...]
    types: dict[str, tuple[ItemType, ...]]
    classes: tuple[ChannelClass, ...]
    capacities: tuple[Capacity, ...]
    columns: tuple[Column, ...]

    def all_types(self) -> list[ItemType]:
        """Item types of all commands, canonical order."""
        return [t for types in self.types.values() for t in types]

    def channels(self) -> int:
        """Channels of all units."""
        return sum(len(u.module.channels) for u in self.units)


def task_of(
    vehicle: Vehicle,
    units: Sequence[Unit],
    book: CircuitBook,
    apart: Mapping[tuple[int, str], str] | None = None,
    late: Callable[[], bool] | None = None,
) -> Task:
    """Columns of a vehicle on units.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : sequence of Unit
        What is fitted.
    book : CircuitBook
        Circuits of this vehicle known so far.
    apart : mapping of (int, str) to str, optional
        Label by unit number and channel: channels with different labels are told apart.
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
    types = item_types(vehicle, units)
    held = {place for places in locked_channels(vehicle, units).values() for place in places}
    classes, capacities = channel_classes(vehicle, units, held, apart)
    slack = _peak_slack(vehicle, units, types)
    wiring = book.wiring(vehicle)
    columns = []
    for command, own in types.items():
        for number, channel_class in enumerate(classes):
            for counts, fit in book.circuits(own, channel_class.rating, wiring, late).items():
                if _allowed(own, counts, channel_class, slack):
                    columns.append(Column(command, counts, number, fit, _most(own, counts, channel_class)))
    return Task(vehicle, tuple(units), types, classes, capacities, tuple(columns))


def _most(types, counts, channel_class):
    return min(len(channel_class.slots), *(types[n].count // k for n, k in counts))


def _allowed(types, counts, channel_class: ChannelClass, slack) -> bool:
    """Locks, joined commands, and on a single unit the whole-module peak, then a matter of the circuit alone."""
    if types[0].together and counts != tuple((n, t.count) for n, t in enumerate(types)):
        return False
    if not all(_where_locked(types[n], channel_class) for n, _ in counts):
        return False
    excess = sum(types[n].excess_ma * k for n, k in counts)
    return slack is None or excess <= slack.get(types[counts[0][0]].command, excess)


def _where_locked(t: ItemType, channel_class: ChannelClass) -> bool:
    if not t.locked:
        return True
    channels = dict(t.locked).get(channel_class.unit, ())
    return any(name in channels for slot in channel_class.slots for name in slot)


def _peak_slack(vehicle: Vehicle, units, types):
    """Inrush excess the whole module still bears when a command switches on, mA; None for several units."""
    if len(units) != 1:
        return None
    every = [t for own in types.values() for t in own]
    slack: dict[str, int] = {}
    for number, state in enumerate(vehicle.states):
        left = units[0].module.total_peak_ma - running_in_state_ma(every, number)
        for command in types:
            if state.is_on(command):
                slack[command] = min(left, slack.get(command, left))
    return slack
