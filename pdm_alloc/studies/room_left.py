"""How much more a module takes before it is no longer enough: loads by kind, amps by command."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import ceil
from typing import Any

import pandas as pd

from pdm_alloc.allocator import NO_TIME, Modules, allocate
from pdm_alloc.circuits.columns import CircuitBook, Counts
from pdm_alloc.domain.kinds import KINDS
from pdm_alloc.domain.module import Unit, units_of
from pdm_alloc.domain.vehicle import Load, Vehicle
from pdm_alloc.files.faults import Fault, InputError, hint
from pdm_alloc.files.tables import table_edits
from pdm_alloc.files.tables.table_edits import Duty
from pdm_alloc.program.allocation_solve import is_enough
from pdm_alloc.program.lightest import Base, base_of, fits_beside, lifted, most_beside, task_beside, without_banks
from pdm_alloc.program.partition import Task
from pdm_alloc.program.solver import NOT_ENOUGH, STOPPED_EMPTY, Clock
from pdm_alloc.result.allocation import Unsolved, arithmetic_shorts
from pdm_alloc.studies.what_if import what_if

__all__ = [
    "AMPS_LEFT",
    "NEW",
    "ROOM_LEFT",
    "TYPICAL_W",
    "Probe",
    "Sample",
    "amps_left",
    "room_left",
    "sampled",
    "typical",
]

_ALONE = {
    "channels": "no free channel that bears it",
    "whole module": "the limit of the whole module",
    "banks": "the limits of several banks",
}


_NO_TIME = "time ran out before it was known which limit"


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
        """Whether plain arithmetic has no objection; False once there is no time to ask it, and `unproved` is set."""
        return not self._too_late() and not arithmetic_shorts(self.with_load(load), self.units)

    def fits_beside(self, load: Load) -> bool:
        """Whether it fits with all other commands as they are."""
        return fits_beside(self._task(load), self.base, self.load, self.clock)

    def fits_or_beside(self, load: Load) -> bool:
        """Whether it fits, with all other commands as they are or at all."""
        return not self._too_late() and (self.fits_beside(load) or self.fits(load))

    def most_beside(self, load: Load) -> int:
        """How many of its items fit with all other commands as they are."""
        return most_beside(self._task(load), self.base, self.load, self.clock)

    def fits(self, load: Load) -> bool:
        """Whether it fits at all, proved; where the clock cut that short, `unproved` is set."""
        if self._too_late():
            return False
        vehicle, loose = self.with_load(load), without_banks(self.units)
        if loose != self.units and is_enough(vehicle, loose, self.clock, self.book).outcome == NOT_ENOUGH:
            return False
        solution = is_enough(vehicle, self.units, self.clock, self.book)
        self.unproved |= not solution and solution.outcome != NOT_ENOUGH
        return bool(solution)

    def _too_late(self) -> bool:
        """Whether no time is left: of 1,000 loads the arithmetic of one question alone takes a third of a second."""
        late = self.clock.is_over()
        self.unproved |= late
        return late

    def limit(self, load: Load) -> str:
        """What stops a load that does not fit, in words."""
        if self.clock.is_over():
            return _NO_TIME
        shorts = arithmetic_shorts(self.with_load(load), self.units)
        if shorts:
            return f"{shorts[0].kind}: {shorts[0].sentence}"
        task = self._task(load)
        if not any(self.load in _loads(task, c.command, c.counts) for c in task.columns):
            return "no channel bears one"
        enough = (kind for kind, free in lifted(task).items() if fits_beside(free, self.base, self.load, self.clock))
        kind = next(enough, None)
        if kind is None and self.clock.is_over():
            return _NO_TIME
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


ROOM_LEFT = ("kind", "subject", "running_a", "more", "at_least", "limited_by")

AMPS_LEFT = ("kind", "subject", "more_a", "at_least", "limited_by")

_STEP_MA = 100


def room_left(
    vehicle: Vehicle,
    modules: Modules,
    kinds: Iterable[Sample] = tuple(KINDS),
    *,
    command: str | None = None,
    duty: Duty = None,
    most: int = 200,
    time_limit_s: float | None = None,
    stop: Callable[[], bool] | None = None,
) -> pd.DataFrame:
    """How many more loads of a kind there is room for, one kind at a time.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    modules : Module, Unit or iterable of these
        What is fitted; it is enough as it is.
    kinds : iterable of str or mapping
        A kind of load (a typical one is taken), the name of a load of the vehicle (one more like it,
        whatever it is to be kept apart from), or columns of the table ``loads`` with at least running_a.
    command : str, optional
        What switches them all; default: one new command.
    duty : number, str or mapping, optional
        When the new command is on, as in `WhatIf.add`; default: always.
    most : int
        Counting stops there.
    time_limit_s : float, optional
        Clock for all of it, s; default: the vehicle's setting.
    stop : callable, optional
        True ends the work; what is not proved by then is marked.

    Returns
    -------
    DataFrame
        A row a kind, columns `ROOM_LEFT`: subject is the command, running_a one load's current in A,
        more how many of them are proved to fit. One more is proved not to fit, for the reason in
        limited_by, unless at_least is true: then counting stopped at `most` or at the clock.

    Raises
    ------
    NotEnough
        The modules are not enough as it is.
    Unsolved
        The clock ran out before that was known.
    InputError
        A kind, or the row of a load as it would be, is at fault.
    """
    study = _study(vehicle, modules, time_limit_s, stop)
    rows = [study.count(sample, command, duty, most) for sample in kinds]
    return pd.DataFrame(rows, columns=list(ROOM_LEFT))


def amps_left(
    vehicle: Vehicle,
    modules: Modules,
    command: str | None = None,
    kinds: Iterable[Sample] = ("electronics",),
    *,
    duty: Duty = None,
    time_limit_s: float | None = None,
    stop: Callable[[], bool] | None = None,
) -> pd.DataFrame:
    """How strong a load may still be put on a command: one load, on one channel.

    Parameters
    ----------
    vehicle, modules, command, kinds, duty, time_limit_s, stop
        As in `room_left`; inrush grows with the current.

    Returns
    -------
    DataFrame
        A row a kind, columns `AMPS_LEFT`: more_a is the largest running current in A, to 0.1 A, of
        one load that is proved to fit; 0.1 A more is proved not to, for the reason in limited_by,
        unless at_least is true: then the clock cut the proof short.

    Raises
    ------
    NotEnough, Unsolved, InputError
        As in `room_left`.
    """
    study = _study(vehicle, modules, time_limit_s, stop)
    return pd.DataFrame([study.amps(sample, command, duty) for sample in kinds], columns=list(AMPS_LEFT))


@dataclass(frozen=True)
class _Study:
    """What all questions about one vehicle on some units have in common."""

    vehicle: Vehicle
    units: tuple[Unit, ...]
    base: Base
    clock: Clock
    book: CircuitBook

    def probe(self, sample: Sample, command: str | None, duty: Duty) -> tuple[str, Probe]:
        """What is added, in a word, and the means to ask about it."""
        word, vehicle, name = sampled(self.vehicle, sample, command, duty)
        return word, Probe(vehicle, name, self.units, self.base, self.clock, self.book)

    def count(self, sample: Sample, command: str | None, duty: Duty, most: int) -> tuple[Any, ...]:
        """A row of the columns `ROOM_LEFT`."""
        word, probe = self.probe(sample, command, duty)
        one = probe.vehicle.load(probe.load)

        def times(n: int) -> Load:
            return replace(one, count=n)

        adds_up = _largest(lambda n: probe.adds_up(times(n)), 0, most + 1)
        beside = probe.most_beside(times(adds_up)) if adds_up and not self.clock.is_over() else 0
        more = _largest(lambda n: probe.fits(times(n)), beside, adds_up + 1)
        at_least = more == most or probe.unproved
        why = "" if at_least else probe.limit(times(more + 1))
        return word, one.command, one.running_ma / 1000, more, at_least, why

    def amps(self, sample: Sample, command: str | None, duty: Duty) -> tuple[Any, ...]:
        """A row of the columns `AMPS_LEFT`."""
        word, probe = self.probe(sample, command, duty)
        one = probe.vehicle.load(probe.load)

        def strong(n: int) -> Load:
            return replace(one, running_ma=n * _STEP_MA, inrush_ma=_scaled(one, n * _STEP_MA))

        beyond = 1 + max(2 * c.continuous_ma for unit in self.units for c in unit.module.channels) // _STEP_MA
        adds_up = _largest(lambda n: probe.adds_up(strong(n)), 0, beyond)
        more = _bisected(lambda n: probe.fits_or_beside(strong(n)), 0, adds_up + 1)
        why = "" if probe.unproved else probe.limit(strong(more + 1))
        return word, one.command, more * _STEP_MA / 1000, probe.unproved, why


def _study(vehicle: Vehicle, modules: Modules, time_limit_s: float | None, stop: Callable[[], bool] | None) -> _Study:
    units, settings = units_of(modules), vehicle.settings
    limit_s = settings.time_limit_s if time_limit_s is None else time_limit_s
    clock, book = Clock(limit_s, stop), CircuitBook(settings.tolerance_loads)
    base = Base(NOT_ENOUGH) if arithmetic_shorts(vehicle, units) else base_of(vehicle, units, clock, book)
    if base.outcome == NOT_ENOUGH:
        allocate(vehicle, units, time_limit_s=limit_s, stop=stop, book=book)  # says what is short
    if not base.chosen:
        raise Unsolved(STOPPED_EMPTY, NO_TIME)
    return _Study(vehicle, units, base, clock, book)


def _scaled(load: Load, running_ma: int) -> int:
    return ceil(Fraction(load.inrush_ma, load.running_ma) * running_ma)


def _largest(fits: Callable[[int], bool], low: int, high: int) -> int:
    """The largest number that fits, `low` doing and `high` not: tried just above `low` first, then ever farther."""
    step = 1
    while high - low > 1:
        middle = min(low + step, (low + high) // 2)
        low, high, step = (middle, high, 2 * step) if fits(middle) else (low, middle, step)
    return low


def _bisected(fits: Callable[[int], bool], low: int, high: int) -> int:
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if fits(middle) else (low, middle)
    return low
