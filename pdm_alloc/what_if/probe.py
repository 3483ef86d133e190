"""Questions put to the program about one load more: does it fit, how many of it fit, what stops the next."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from pdm_alloc.allocation.arithmetic import arithmetic_shorts
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.module import Unit
from pdm_alloc.program.outcome import NOT_ENOUGH
from pdm_alloc.program.room import Base, fits_beside, lifted, most_beside, task_beside, without_banks
from pdm_alloc.program.solve import is_enough
from pdm_alloc.program.solver import Clock
from pdm_alloc.program.task import Task
from pdm_alloc.vehicle import Load, Vehicle

__all__ = ["Probe"]

_ALONE = {
    "channels": "no free channel that bears it",
    "whole module": "the limit of the whole module",
    "banks": "the limits of several banks",
}


@dataclass
class Probe:
    """One load more, of a size or number to be found, on a vehicle that is enough without it.

    Parameters
    ----------
    vehicle : Vehicle
        With one item of the load in it.
    load : str
        Name of the load.
    units : sequence of Unit
        What is fitted.
    base : Base
        Of the vehicle without the load.
    clock : Clock
        When to stop.
    book : CircuitBook
        Circuits of this vehicle known so far.
    unproved : bool
        Becomes true when the clock cut a proof short.
    """

    vehicle: Vehicle
    load: str
    units: tuple[Unit, ...]
    base: Base
    clock: Clock
    book: CircuitBook
    unproved: bool = field(default=False, init=False)

    def with_load(self, load: Load) -> Vehicle:
        """The vehicle with that load in place of the one probed."""
        return replace(self.vehicle, loads=tuple(load if x.name == self.load else x for x in self.vehicle.loads))

    def adds_up(self, load: Load) -> bool:
        """Whether plain arithmetic has no objection."""
        return not arithmetic_shorts(self.with_load(load), self.units)

    def fits_beside(self, load: Load) -> bool:
        """Whether it fits with all other commands as they are."""
        return fits_beside(self._task(load), self.base, self.load, self.clock)

    def most_beside(self, load: Load) -> int:
        """How many of its items fit with all other commands as they are."""
        return most_beside(self._task(load), self.base, self.load, self.clock)

    def fits(self, load: Load) -> bool:
        """Whether it fits at all, proved; where the clock cut that short, `unproved` is set."""
        vehicle, loose = self.with_load(load), without_banks(self.units)
        if loose != self.units and is_enough(vehicle, loose, self.clock, self.book).outcome == NOT_ENOUGH:
            return False
        solution = is_enough(vehicle, self.units, self.clock, self.book)
        self.unproved |= not solution and solution.outcome != NOT_ENOUGH
        return bool(solution)

    def limit(self, load: Load) -> str:
        """What stops a load that does not fit, in words."""
        shorts = arithmetic_shorts(self.with_load(load), self.units)
        if shorts:
            return f"{shorts[0].kind}: {shorts[0].sentence}"
        task = self._task(load)
        if not any(self.load in _loads(task, c.command, c.counts) for c in task.columns):
            return "no channel bears one"
        enough = (kind for kind, free in lifted(task).items() if fits_beside(free, self.base, self.load, self.clock))
        kind = next(enough, None)
        return "several limits at once" if kind is None else _ALONE.get(kind, f"the limit of {kind}")

    def _task(self, load: Load) -> Task:
        return task_beside(self.with_load(load), self.units, self.book, self.base, load.command)


def _loads(task: Task, command: str, counts) -> Iterator[str]:
    return (name for n, _ in counts for name, _ in task.types[command][n].items)
