"""Trying an altered module on the vehicle."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from pdm_alloc.allocation.arithmetic import arithmetic_shorts
from pdm_alloc.allocation.not_enough import Short
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.circuits.items import ItemType, item_types
from pdm_alloc.module import Channel, Unit
from pdm_alloc.program.handout import Handed, in_columns
from pdm_alloc.program.outcome import PROVEN_BEST
from pdm_alloc.program.partition import partition
from pdm_alloc.program.solve import is_enough
from pdm_alloc.program.solver import Clock
from pdm_alloc.program.stages import minimise
from pdm_alloc.program.task import Column, Task, task_of
from pdm_alloc.vehicle import Vehicle

__all__ = ["Growth", "Trial", "with_channels", "with_module"]


@dataclass(frozen=True)
class Growth:
    """The least by which one kind of limit must grow.

    Parameters
    ----------
    short : Short
        By how much, in words and numbers.
    grow : callable
        Gives a unit with that growth.
    """

    short: Short
    grow: Callable[[Unit], Unit]

    @property
    def share(self) -> float:
        """Growth over what there is, no unit: to compare kinds with different units."""
        return abs(self.short.need - self.short.have) / max(abs(self.short.have), 1.0)


@dataclass(frozen=True)
class Trial:
    """A vehicle, what is known of its circuits, and the clock."""

    vehicle: Vehicle
    book: CircuitBook
    clock: Clock

    def types(self) -> list[ItemType]:
        """Item types of the whole vehicle."""
        return [t for own in item_types(self.vehicle).values() for t in own]

    def enough(self, unit: Unit) -> bool:
        """Whether a unit is proved enough; False also where the clock ran out."""
        if arithmetic_shorts(self.vehicle, [unit]):
            return False
        return bool(is_enough(self.vehicle, [unit], self.clock, self.book))

    def cheapest(
        self, unit: Unit, apart: Mapping[str, str], cost: Callable[[Task, Column], int]
    ) -> tuple[int, list[Handed]] | None:
        """Least total of a cost of columns, and the circuits of a solution that cost anything.

        Parameters
        ----------
        unit : Unit
            What is fitted.
        apart : mapping of str to str
            Label by channel: channels with different labels are told apart.
        cost : callable
            Cost of a column, a whole number.

        Returns
        -------
        tuple of (int, list) or None
            None where the unit is not enough or nothing was proved in time.
        """
        task = task_of(self.vehicle, [unit], self.book, {(0, name): label for name, label in apart.items()})
        costs = {v: c for v, column in enumerate(task.columns) if (c := cost(task, column))}
        solution = minimise(partition(task), [costs], self.clock)[0]
        if solution.outcome != PROVEN_BEST:
            return None
        values = tuple(round(v) for v in solution.values[: len(task.columns)])
        handed = in_columns(task, values)
        return sum(c * values[v] for v, c in costs.items()), [h for v, h in handed if v in costs]


def with_module(unit: Unit, **changes) -> Unit:
    """The unit with fields of its module replaced."""
    return replace(unit, module=replace(unit.module, **changes))


def with_channels(unit: Unit, change: Callable[[Channel], Channel]) -> Unit:
    """The unit with every channel changed."""
    return with_module(unit, channels=tuple(change(c) for c in unit.module.channels))
