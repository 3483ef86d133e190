"""Questions put to the program about one load more, and the loads that are asked for."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from pdm_alloc.circuits.columns import CircuitBook, Counts
from pdm_alloc.domain.kinds import KINDS
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Load, Vehicle
from pdm_alloc.files.faults import Fault, InputError, hint
from pdm_alloc.program.allocation_solve import is_enough
from pdm_alloc.program.room import Base, fits_beside, lifted, most_beside, task_beside, without_banks
from pdm_alloc.program.solver import NOT_ENOUGH, Clock
from pdm_alloc.program.task import Task
from pdm_alloc.result.refusals import arithmetic_shorts
from pdm_alloc.studies import table_edits
from pdm_alloc.studies.table_edits import Duty
from pdm_alloc.studies.what_if import what_if

__all__ = ["NEW", "TYPICAL_W", "Probe", "Sample", "sampled", "typical"]

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
        if kind is None and self.clock.is_over():
            return "time ran out before it was known which limit"
        return "several limits at once" if kind is None else _ALONE.get(kind, f"the limit of {kind}")

    def _task(self, load: Load) -> Task:
        return task_beside(self.with_load(load), self.units, self.book, self.base, load.command)


def _loads(task: Task, command: str, counts: Counts) -> Iterator[str]:
    return (name for n, _ in counts for name, _ in task.types[command][n].items)


# Power of one item, W; common practice, no source.
TYPICAL_W: dict[str, float] = {
    "filament": 21.0,
    "led": 6.0,
    "motor": 60.0,
    "solenoid": 18.0,
    "heater": 96.0,
    "electronics": 12.0,
    "coil": 1.8,
    "fan": 120.0,
}

assert TYPICAL_W.keys() == KINDS.keys()


def typical(vehicle: Vehicle, kind: str) -> dict[str, object]:
    """Columns of the table ``loads`` for a typical load of a kind; the rest as the kind has it.

    Parameters
    ----------
    vehicle : Vehicle
        For its voltage: the same power draws half the current at twice the voltage.
    kind : str
        A word of `pdm_alloc.domain.kinds.KINDS`.

    Returns
    -------
    dict
        running_a in A at reference_v, rounded to 0.01 A.

    Raises
    ------
    KeyError
        The word is no kind.
    """
    return {"kind": kind, "running_a": round(TYPICAL_W[kind] / vehicle.settings.reference_v, 2)}


Sample = str | Mapping[str, object]

NEW = "something new"


def sampled(vehicle: Vehicle, sample: Sample, command: str | None, duty: Duty) -> tuple[str, Vehicle, str]:
    """The vehicle with one item of the sample.

    Parameters
    ----------
    vehicle : Vehicle
        Without it.
    sample : str or mapping
        A kind, the name of a load, or columns of the table ``loads``.
    command : str or None
        What switches it; None: a new command.
    duty : number, str, mapping or None
        When a new command is on.

    Returns
    -------
    word : str
        What it is.
    vehicle : Vehicle
        With one item of it.
    load : str
        Name of its load.

    Raises
    ------
    InputError
        The sample is at fault.
    """
    word, columns = _described(vehicle, sample)
    name = _free(f"one more {word}", [load.name for load in vehicle.loads])
    commands = [known.name for known in vehicle.commands]
    row = {**columns, "load": name, "command": command or _free(NEW, commands), "count": 1}
    return word, what_if(vehicle).add(duty=duty, **row).vehicle, name  # type: ignore[arg-type]


def _described(vehicle: Vehicle, sample: Sample) -> tuple[str, Mapping[str, object]]:
    if not isinstance(sample, str):
        return str(sample.get("load") or sample.get("kind") or "load"), sample
    if sample in KINDS:
        return sample, typical(vehicle, sample)
    loads = [load.name for load in vehicle.loads]
    if sample not in loads:
        remedy = hint(sample, [*KINDS, *loads])
        raise InputError([Fault("loads", None, None, sample, "is neither a kind of load nor a load", remedy)])
    return sample, {**table_edits.row_named(table_edits.tables_of(vehicle), sample), "separate": ""}


def _free(name: str, taken: list[str]) -> str:
    folded = {other.casefold() for other in taken}
    return next(n for n in (name, *(f"{name} {k}" for k in range(2, len(taken) + 3))) if n.casefold() not in folded)
