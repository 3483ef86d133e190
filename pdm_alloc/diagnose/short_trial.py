"""Trying an altered module on the vehicle."""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace

from pdm_alloc.circuits.columns import CircuitBook, TooManyCircuits
from pdm_alloc.circuits.items import ItemType, item_types
from pdm_alloc.domain.module import Channel, Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.program.allocation_solve import is_enough
from pdm_alloc.program.handout import Handed, NoSolution, in_columns
from pdm_alloc.program.partition import partition
from pdm_alloc.program.solver import BEST_SO_FAR, NOT_ENOUGH, PROVEN_BEST, Clock, Program, Solution
from pdm_alloc.program.stages import minimise
from pdm_alloc.program.task import Column, Task, task_of
from pdm_alloc.result.refusals import Short, arithmetic_shorts

__all__ = ["Growth", "Trial", "Unproved", "with_channels", "with_module"]


class Unproved(Exception):
    """The clock ran out, or there are too many circuits to list, before an answer was proved."""


@dataclass(frozen=True)
class Growth:
    """The least by which one kind of limit must grow.

    Parameters
    ----------
    short : Short
        By how much, in words and numbers.
    grow : callable
        Gives a unit with that growth.
    again : callable, optional
        The same growth in the words of another unit: the real one, where it was found on one whose other
        limits are open.
    """

    short: Short
    grow: Callable[[Unit], Unit]
    again: "Callable[[Unit], Growth] | None" = None

    def on(self, unit: Unit) -> "Growth":
        """The same growth as said of `unit`."""
        return self if self.again is None else self.again(unit)

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

    def task(self, unit: Unit, apart: Mapping[tuple[int, str], str] | None = None) -> Task:
        """Columns of the vehicle on a unit; listing them takes time, so the clock is asked first."""
        with self._asked():
            return task_of(self.vehicle, [unit], self.book, apart, self.clock.is_over)

    def enough(self, unit: Unit) -> bool:
        """Whether a unit is enough; either answer is proved, or `Unproved` is raised."""
        if arithmetic_shorts(self.vehicle, [unit]):
            return False
        with self._asked():
            return _proved(is_enough(self.vehicle, [unit], self.clock, self.book), BEST_SO_FAR) is not None

    def best(self, program: Program, cost: Mapping[int, float]) -> Solution | None:
        """Solution proved best; None where there is proved to be none; otherwise `Unproved` is raised."""
        return _proved(minimise(program, [cost], self.clock)[0])

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
            None where the unit is not enough.

        Raises
        ------
        Unproved
            Not in time.
        """
        task = self.task(unit, {(0, name): label for name, label in apart.items()})
        with self._asked():
            costs = {v: c for v, column in enumerate(task.columns) if (c := cost(task, column))}
        solution = self.best(partition(task), costs)
        if solution is None:
            return None
        values = tuple(round(v) for v in solution.values[: len(task.columns)])
        with self._asked():
            handed = in_columns(task, values)
        return sum(c * values[v] for v, c in costs.items()), [h for v, h in handed if v in costs]

    @contextmanager
    def _asked(self) -> Iterator[None]:
        if self.clock.is_over():
            raise Unproved
        try:
            yield
        except (TooManyCircuits, NoSolution) as error:
            raise Unproved from error


def _proved(solution: Solution, *also: str) -> Solution | None:
    if solution.outcome in (PROVEN_BEST, *also):
        return solution
    if solution.outcome == NOT_ENOUGH:
        return None
    raise Unproved


def with_module(unit: Unit, **changes) -> Unit:
    """The unit with fields of its module replaced."""
    return replace(unit, module=replace(unit.module, **changes))


def with_channels(unit: Unit, change: Callable[[Channel], Channel]) -> Unit:
    """The unit with every channel changed."""
    return with_module(unit, channels=tuple(change(c) for c in unit.module.channels))
