"""Channel classes merged over banks and identical units: a relaxation that is far smaller.

What a circuit costs and whether a channel bears it depend on the rating alone, so channels of one
rating count as one class whichever unit and bank they are in. Limits of banks and units are left out
here: they are kept when the circuits are handed out. Whatever is proved on the merged classes is
therefore a bound for the vehicle as it is, and is met where the handing out succeeds.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from pdm_alloc.circuits.capacity import Capacity
from pdm_alloc.circuits.classes import ChannelClass
from pdm_alloc.module import Unit
from pdm_alloc.program.task import Column, Task, empty_task
from pdm_alloc.vehicle import Vehicle

__all__ = ["Merged", "merge"]


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
    grouped: dict[tuple, list[int]] = defaultdict(list)
    for number, channel_class in enumerate(fine.classes):
        grouped[channel_class.use, channel_class.rating, number if fine.locked[number] else -1].append(number)
    members = tuple(tuple(numbers) for numbers in grouped.values())
    classes = tuple(_merged_class(fine.classes, numbers) for numbers in members)
    capacities = _merged_capacities(fine.classes, fine.capacities, members)
    locked = tuple(fine.locked[numbers[0]] for numbers in members)
    coarse = replace(fine, classes=classes, capacities=capacities, locked=locked)
    return Merged(coarse, members, fine)


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
