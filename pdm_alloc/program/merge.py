"""Channel classes merged over banks and identical units: the relaxation that large vehicles are solved on.

What a circuit costs and whether a channel bears it depend on the rating alone, so channels of one
rating count as one class whichever unit and bank they are in. Limits of banks and units are left out
here: they are kept when the circuits are handed out. Whatever is proved on the merged classes is
therefore a bound for the vehicle as it is, and is met where the handing out succeeds.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

from pdm_alloc.circuits.capacity import Capacity
from pdm_alloc.circuits.classes import ChannelClass, channel_classes
from pdm_alloc.circuits.fit import Counts
from pdm_alloc.circuits.items import ItemType, item_types, locked_channels
from pdm_alloc.circuits.limits import running_in_state_ma
from pdm_alloc.module import Unit
from pdm_alloc.program.task import Task
from pdm_alloc.vehicle import Vehicle

__all__ = ["Merged", "merge"]


@dataclass(frozen=True)
class Merged:
    """A vehicle on units with like channel classes merged.

    Parameters
    ----------
    task : Task
        Without columns; its classes are the merged ones, its capacities theirs.
    classes : tuple of ChannelClass
        Classes before merging.
    capacities : tuple of Capacity
        Capacities before merging.
    members : tuple of tuple of int
        Numbers of the classes each merged class stands for.
    locked : frozenset of int
        Merged classes with a locked channel; they stand for one class each.
    """

    task: Task
    classes: tuple[ChannelClass, ...]
    capacities: tuple[Capacity, ...]
    members: tuple[tuple[int, ...], ...]
    locked: frozenset[int]

    def slots(self, merged: int) -> int:
        """Outputs of a merged class."""
        return len(self.task.classes[merged].slots)

    def has(self, merged: int, unit: int, channel: str) -> bool:
        """Whether a class has this locked channel."""
        own = self.task.classes[merged]
        return merged in self.locked and own.unit == unit and any(channel in slot for slot in own.slots)

    def is_locked(self, merged: int) -> bool:
        """Whether a class has a locked channel."""
        return merged in self.locked

    def may_hold(self, t: ItemType, merged: int) -> bool:
        """Whether the locks of a load let it onto a merged class."""
        places = ((unit, channel) for unit, channels in t.locked for channel in channels)
        return not t.locked or any(self.has(merged, unit, channel) for unit, channel in places)

    def bears_peak(self, command: str, counts: Counts, merged: int) -> bool:
        """Whether any unit of the class bears the circuit switching on, however little else is on it.

        On a single unit everything is on it, and the answer is exact.
        """
        types = self.task.types[command]
        excess = sum(types[n].excess_ma * k for n, k in counts)
        if not excess:
            return True
        peak = max(self.task.units[self.classes[m].unit].module.total_peak_ma for m in self.members[merged])
        return all(
            excess + self._running(types, counts, s) <= peak
            for s, state in enumerate(self.task.vehicle.states)
            if state.is_on(command)
        )

    def _running(self, types, counts, state: int) -> int:
        if len(self.task.units) > 1:
            return sum(types[n].state_ma[state] * k for n, k in counts)
        return running_in_state_ma(self.task.all_types(), state)


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
    held = {place for places in locked_channels(vehicle, units).values() for place in places}
    classes, capacities = channel_classes(vehicle, units, held)
    grouped: dict[tuple, list[int]] = defaultdict(list)
    for number, own in enumerate(classes):
        apart = number if _is_locked(own, held) else -1
        grouped[own.use, own.rating, apart].append(number)
    members = tuple(tuple(numbers) for numbers in grouped.values())
    locked = frozenset(m for m, (_, _, apart) in enumerate(grouped) if apart >= 0)
    merged = tuple(_merged_class(classes, numbers) for numbers in members)
    rows = _merged_capacities(classes, capacities, members)
    task = Task(vehicle, tuple(units), item_types(vehicle, units), merged, rows, ())
    return Merged(task, classes, capacities, members, locked)


def _is_locked(own: ChannelClass, held: set[tuple[int, str]]) -> bool:
    return any((own.unit, name) in held for slot in own.slots for name in slot)


def _merged_class(classes, numbers: tuple[int, ...]) -> ChannelClass:
    return replace(classes[numbers[0]], slots=tuple(slot for n in numbers for slot in classes[n].slots))


def _merged_capacities(classes, capacities, members) -> tuple[Capacity, ...]:
    """Sums of the capacities of like channels, each weight the least of its members'.

    A sum of rows holds where each row does; and with a lesser weight it holds all the more.
    """
    home = {n: m for m, numbers in enumerate(members) for n in numbers}
    alike: dict[frozenset, list[Capacity]] = defaultdict(list)
    for capacity in capacities:
        first = capacity.weights[0][0]
        numbers = [first] if classes[first].use == "single" else [n for n, _ in capacity.weights]
        alike[frozenset(home[n] for n in numbers)].append(capacity)
    return tuple(_sum(group, members) for group in alike.values())


def _sum(group: list[Capacity], members) -> Capacity:
    total: dict[int, int] = defaultdict(int)
    for capacity in group:
        for n, weight in capacity.weights:
            total[n] += weight
    least = ((m, min(total.get(n, 0) for n in numbers)) for m, numbers in enumerate(members))
    return Capacity(tuple((m, w) for m, w in least if w), sum(c.most for c in group))
