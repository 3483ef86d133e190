"""The study of a shortfall: kinds alone, then pairs of kinds, then what is missed in any case."""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from itertools import combinations

from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.diagnose.short_channels import CHANNELS, Bridges, Channels, Pwm, Strength
from pdm_alloc.diagnose.short_limits import TERMINALS, Banks, Inputs, Inrush, Peak, Supply, Terminals, Whole, unwired
from pdm_alloc.diagnose.short_trial import Growth, Trial, Unproved
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.program.solver import Clock
from pdm_alloc.result.refusals import Short, arithmetic_shorts

__all__ = ["KINDS", "first_short", "growths", "shortfall"]

KINDS = (Inputs(), Supply(), Whole(), Channels(), Pwm(), Bridges(), Banks(), Peak(), Terminals(), Strength(), Inrush())


def shortfall(vehicle: Vehicle, unit: Unit, clock: Clock, book: CircuitBook | None = None) -> list[Short]:
    """For each kind of limit alone the least by which it must grow for the unit to be enough, proved.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    unit : Unit
        What is fitted, and is not enough.
    clock : Clock
        When to stop; kinds that could not be proved in time are left out.
    book : CircuitBook, optional
        Circuits of this vehicle known so far.

    Returns
    -------
    list of Short
        Groups in order, the least relative growth first. Where no kind alone is enough, the smallest
        pair; where no pair is, what is missed whatever else grows (group 0).
    """
    trial = Trial(vehicle, book or CircuitBook(vehicle.settings.tolerance_loads), clock)
    lost = unwired(trial, _opened(trial, unit))
    if lost:  # no growth of any kind will do
        return [*arithmetic_shorts(vehicle, [unit]), *lost]
    groups = growths(trial, unit)
    shorts = [replace(g.short, group=n + 1) for n, group in enumerate(groups) for g in group]
    return shorts or [*arithmetic_shorts(vehicle, [unit]), *_missed_anyway(trial, unit)]


def first_short(vehicle: Vehicle, unit: Unit, clock: Clock, book: CircuitBook | None = None) -> list[Short]:
    """The first group of `shortfall`, without the work on the others where channels alone will do."""
    trial = Trial(vehicle, book or CircuitBook(vehicle.settings.tolerance_loads), clock)
    if not arithmetic_shorts(vehicle, [unit]):
        growth = _alone(trial, unit, Channels())
        if growth:
            return [replace(growth.short, group=1)]
    return shortfall(vehicle, unit, clock, trial.book)


def growths(trial: Trial, unit: Unit) -> list[tuple[Growth, ...]]:
    """As `shortfall`, with the growth itself: every group makes the unit enough."""
    kinds = [kind for kind in KINDS if kind.relevant(trial, unit)]
    alone = [g for kind in kinds if (g := _alone(trial, unit, kind))]
    if alone:
        return [(g,) for g in sorted(alone, key=_order)]
    pairs = [p for a, b in combinations(kinds, 2) if (p := _pair(trial, unit, a, b))]
    return [min(pairs, key=lambda p: (sum(g.share for g in p), p[0].short.kind, p[1].short.kind))] if pairs else []


def _alone(trial: Trial, unit: Unit, kind) -> Growth | None:
    """Least growth of one kind that makes the unit enough; None also where that was not proved in time."""
    # What sums alone rule out stays short however much of the kind there is; the rest is proved by `least`.
    if arithmetic_shorts(trial.vehicle, [kind.opened(trial, unit)]):
        return None
    with suppress(Unproved):
        growth = kind.least(trial, unit)
        if growth and trial.enough(growth.grow(unit)):
            return growth
    return None


def _order(growth: Growth):
    """More channels first, for that is what a builder can count; then the least relative growth.

    Terminals come before strength, which brings thicker terminals with it.
    """
    kind = growth.short.kind
    return (kind != CHANNELS, kind != TERMINALS, growth.share, kind)


def _pair(trial: Trial, unit: Unit, first, second) -> tuple[Growth, Growth] | None:
    """Least of the first with the second unlimited, then least of the second with that."""
    with suppress(Unproved):
        if trial.enough(second.opened(trial, first.opened(trial, unit))):
            one = first.least(trial, second.opened(trial, unit))
            two = one and second.least(trial, one.grow(unit))
            return (one.on(unit), two) if two else None
    return None


def _missed_anyway(trial: Trial, unit: Unit) -> Sequence[Short]:
    """What each kind misses even when every other kind is unlimited."""
    known = {s.kind for s in arithmetic_shorts(trial.vehicle, [unit])}
    kinds = [kind for kind in KINDS if kind.name not in known and kind.relevant(trial, unit)]
    return [growth.short for kind in kinds if (growth := _anyway(trial, unit, kind))]


def _anyway(trial: Trial, unit: Unit, kind) -> Growth | None:
    others = _opened(trial, unit, kind)
    with suppress(Unproved):
        growth = None if trial.enough(others) else kind.least(trial, others)
        return growth and growth.on(unit)
    return None


def _opened(trial: Trial, unit: Unit, but=None) -> Unit:
    """The unit with every kind of limit open, one excepted."""
    for kind in KINDS:
        unit = unit if kind is but else kind.opened(trial, unit)
    return unit
