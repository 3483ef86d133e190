"""How much more a module takes before it is no longer enough: loads by kind, amps by command."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil
from typing import Any

import pandas as pd

from pdm_alloc.allocator import NO_TIME, Modules, allocate
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.domain.kinds import KINDS
from pdm_alloc.domain.module import Unit, units_of
from pdm_alloc.domain.vehicle import Load, Vehicle
from pdm_alloc.program.room import Base, base_of
from pdm_alloc.program.solver import NOT_ENOUGH, STOPPED_EMPTY, Clock
from pdm_alloc.result.refusals import Unsolved, arithmetic_shorts
from pdm_alloc.studies.room_probe import Probe, Sample, sampled
from pdm_alloc.studies.table_edits import Duty

__all__ = ["AMPS_LEFT", "ROOM_LEFT", "amps_left", "room_left"]

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
        beside = probe.most_beside(times(adds_up)) if adds_up else 0
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
        more = _bisected(lambda n: probe.fits_beside(strong(n)) or probe.fits(strong(n)), 0, adds_up + 1)
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
