"""Inrush of a circuit: its waveform, and what a channel makes of it."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "InrushUse",
    "inrush_current",
    "inrush_use",
    "overload_capacity",
    "overload_integral",
    "time_above",
    "time_to_trip",
]

_STEPS = 60  # quadratic convergence needs about five; sixty is only a stop


def inrush_current(
    t_ms: ArrayLike, running_a: float, excess_a: Sequence[float], tau_ms: Sequence[float]
) -> NDArray[np.float64]:
    """Current of a circuit after switch-on: running plus decaying exponentials, one a load.

    Parameters
    ----------
    t_ms : array_like, any shape
        Time since switch-on, ms, not negative.
    running_a : float
        Running current of the whole circuit, A.
    excess_a : sequence of float, shape (n,)
        Inrush above running of each load at switch-on, A.
    tau_ms : sequence of float, shape (n,)
        Time constant of each (a third of its inrush_ms), ms; 0: a peak without length.

    Returns
    -------
    ndarray, shape of `t_ms`
        Current, A.
    """
    t = np.asarray(t_ms, dtype=float)
    current = np.full(t.shape, float(running_a))
    for excess, tau in zip(excess_a, tau_ms, strict=True):
        current = current + excess * (np.exp(-t / tau) if tau > 0 else (t <= 0))
    return current


def overload_integral(running_a: float, excess_a: Sequence[float], tau_ms: Sequence[float], limit_a: float) -> float:
    """Integral of i**2 - limit**2 over the time the current is above the limit.

    Exact: the current is a constant plus falling exponentials, so it is above the limit from
    switch-on to one crossing, and between the two the integral has a closed form. Only the crossing
    of unequal time constants needs a root finder.

    Parameters
    ----------
    running_a : float
        Running current of the whole circuit, A, not negative.
    excess_a : sequence of float, shape (n,)
        Inrush above running of each load at switch-on, A, not negative.
    tau_ms : sequence of float, shape (n,)
        Time constant of each, ms, not negative; 0: a peak without length, which adds nothing here.
    limit_a : float
        Usable continuous limit, A.

    Returns
    -------
    float
        A**2 ms; 0 where the current never passes the limit, inf where the running current does.

    Raises
    ------
    ValueError
        An excess or time constant is negative, or the two sequences differ in length.
    """
    if running_a > limit_a:
        return math.inf
    terms = _merged(excess_a, tau_ms)
    if running_a + sum(terms.values()) <= limit_a:
        return 0.0
    end = _crossing(terms, limit_a - running_a)
    return _closed_form(running_a, tuple(terms.items()), limit_a, end)


def time_above(running_a: float, excess_a: Sequence[float], tau_ms: Sequence[float], level_a: float) -> float:
    """How long after switch-on the current stays above a level.

    Parameters
    ----------
    running_a, excess_a, tau_ms
        As in `overload_integral`.
    level_a : float
        Level, A.

    Returns
    -------
    float
        ms; 0 where it never is above (a peak without length counts as never), inf where the running
        current is at the level or above it and the inrush is above it.

    Raises
    ------
    ValueError
        As in `overload_integral`.
    """
    if running_a > level_a:
        return math.inf
    terms = _merged(excess_a, tau_ms)
    return 0.0 if running_a + sum(terms.values()) <= level_a else _crossing(terms, level_a - running_a)


def _merged(excess_a: Sequence[float], tau_ms: Sequence[float]) -> dict[float, float]:
    """Excess by time constant: loads of one kind share theirs, so few terms are left."""
    terms: dict[float, float] = {}
    for excess, tau in zip(excess_a, tau_ms, strict=True):
        if excess < 0 or tau < 0:
            raise ValueError(f"an inrush of {excess} A over {tau} ms is not possible: neither is negative")
        if excess > 0 and tau > 0:
            terms[tau] = terms.get(tau, 0.0) + excess
    return terms


def _crossing(terms: Mapping[float, float], gap_a: float) -> float:
    """Time at which the excess has fallen to `gap_a`: Newton on its logarithm.

    The logarithm of a sum of falling exponentials is convex and falling, so from the left Newton
    never oversteps; with one time constant the first step is exact.
    """
    if gap_a <= 0:
        return math.inf
    target = math.log(gap_a)
    logs = [(math.log(excess), 1 / tau) for tau, excess in terms.items()]
    t = max(0.0, max((log - target) / rate for log, rate in logs))
    if len(logs) == 1:
        return t
    for _ in range(_STEPS):
        step = _newton_step(logs, target, t)
        t += step
        if step <= 1e-13 * t:
            break
    return t


def _newton_step(logs: Sequence[tuple[float, float]], target: float, t: float) -> float:
    """Step to the right, all parts taken relative to the largest so that none of them vanishes."""
    parts = [log - rate * t for log, rate in logs]
    top = max(parts)
    value = slope = 0.0
    for part, (_, rate) in zip(parts, logs, strict=True):
        weight = math.exp(part - top)
        value += weight
        slope += weight * rate
    return max(0.0, (top + math.log(value) - target) * value / slope)


def _closed_form(running: float, terms: Sequence[tuple[float, float]], limit: float, end: float) -> float:
    total = 0.0 if end == math.inf else (running - limit) * (running + limit) * end
    for index, (tau, excess) in enumerate(terms):
        total += 2 * running * excess * _area(tau, end) + excess * excess * _area(tau / 2, end)
        for other_tau, other in terms[index + 1 :]:
            total += 2 * excess * other * _area(tau * other_tau / (tau + other_tau), end)
    return max(0.0, total)


def _area(tau: float, end: float) -> float:
    """Integral of exp(-t / tau) from 0 to `end`."""
    return -tau * math.expm1(-end / tau)


@dataclass(frozen=True, slots=True)
class InrushUse:
    """How much of what a channel bears an inrush uses; 1 is all of it.

    Parameters
    ----------
    peak : float
        Peak of the current over peak_a, no unit.
    energy : float
        Overload integral over the channel's capacity for it, no unit.
    """

    peak: float
    energy: float

    @property
    def worst(self) -> float:
        """The larger of the two, no unit."""
        return max(self.peak, self.energy)

    @property
    def passes(self) -> bool:
        """Whether the channel stays on."""
        return self.peak <= 1 and self.energy <= 1


def overload_capacity(usable_a: float, peak_a: float, peak_ms: float) -> float:
    """Overload a channel bears: (peak_a**2 - usable_a**2) * peak_ms.

    Parameters
    ----------
    usable_a : float
        Usable continuous limit, A.
    peak_a, peak_ms : float
        Current above which it trips at once, A; how long it bears that current, ms.

    Returns
    -------
    float
        A**2 ms; 0 where peak_a is not above the usable limit.
    """
    return max(0.0, (peak_a - usable_a) * (peak_a + usable_a) * peak_ms)


def inrush_use(
    running_a: float,
    excess_a: Sequence[float],
    tau_ms: Sequence[float],
    usable_a: float,
    peak_a: float,
    peak_ms: float,
) -> InrushUse:
    """How much of a channel's protection a circuit's inrush uses.

    Parameters
    ----------
    running_a : float
        Running current of the circuit, A.
    excess_a : sequence of float, shape (n,)
        Inrush above running of each item at switch-on, A.
    tau_ms : sequence of float, shape (n,)
        Time constant of each, ms.
    usable_a : float
        Usable continuous limit of the channel, A.
    peak_a, peak_ms : float
        Current above which it trips at once, A, above 0; how long it bears that current, ms.

    Returns
    -------
    InrushUse
        Fractions of what the channel bears; energy is inf where the running current alone is above
        the usable limit, or where there is overload and nothing to bear it.

    Raises
    ------
    ValueError
        An excess or time constant is negative.
    """
    peak = round((running_a + sum(excess_a)) / peak_a, 12)  # tenths summed in binary must not miss their limit
    overload = overload_integral(running_a, excess_a, tau_ms, usable_a)
    if overload == 0:
        return InrushUse(peak, 0.0)
    capacity = overload_capacity(usable_a, peak_a, peak_ms)
    return InrushUse(peak, overload / capacity if capacity else math.inf)


def time_to_trip(current_a: float, usable_a: float, peak_a: float, peak_ms: float) -> float:
    """Time after which a channel trips on a constant current.

    Parameters
    ----------
    current_a : float
        The current, A.
    usable_a : float
        Usable continuous limit, A.
    peak_a, peak_ms : float
        Current above which it trips at once, A; how long it bears that current, ms.

    Returns
    -------
    float
        ms; 0 above peak_a, inf at the usable limit and below.
    """
    if current_a <= usable_a:
        return math.inf
    if current_a > peak_a:
        return 0.0
    return overload_capacity(usable_a, peak_a, peak_ms) / ((current_a - usable_a) * (current_a + usable_a))
