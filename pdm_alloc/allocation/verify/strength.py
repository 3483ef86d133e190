"""Rules on the strength of a channel: running current, inrush peak, inrush energy."""

import math

from pdm_alloc.allocation.verify.arithmetic import limit_ma
from pdm_alloc.allocation.verify.finding import Finding

__all__ = ["crossing_ms", "inrush_energy", "inrush_peak", "overload", "protection", "running_current"]

# Exponentials and the crossing are floats, so the energy carries their rounding, some 1e-15 per term. 1e-9 is above
# any sum of such errors and below anything that could be measured on a vehicle.
RELATIVE = 1e-9


def _usable_ma(recount, wired):
    weakest = min(channel.continuous_ma for channel in wired.channels)
    return limit_ma(wired.shares * weakest, recount.factor(wired.unit), recount.headroom_pct(wired))


def _peak_ma(wired):
    return wired.shares * min(channel.peak_ma for channel in wired.channels)


def _excesses(recount, wired):
    volts = recount.voltage(wired)
    return [(recount.excess(load, volts) * count, load.inrush_ms / 3) for load, count in wired.counts]


def running_current(recount):
    """The circuit's running current is within what the channel can use."""
    for wired in recount.wired:
        value = recount.circuit_running(wired) + recount.circuit_rise(wired)
        limit = _usable_ma(recount, wired)
        if value > limit:
            message = f"{value / 1000:g} A at {recount.voltage(wired):g} V, usable are {limit / 1000:g} A"
            yield Finding(
                "continuous", **wired.where, value=value / 1000, limit=limit / 1000, unit="A", message=message
            )


def inrush_peak(recount):
    """The peak of the circuit's inrush is within the channel's peak."""
    for wired in recount.wired:
        value = recount.circuit_running(wired) + sum(excess for excess, _ in _excesses(recount, wired))
        limit = _peak_ma(wired)
        if value > limit:
            message = f"{value / 1000:g} A at switch-on, the channel trips at {limit / 1000:g} A"
            yield Finding("peak", **wired.where, value=value / 1000, limit=limit / 1000, unit="A", message=message)


def inrush_energy(recount):
    """The inrush above the usable limit is over before the channel trips.

    A circuit that runs above the usable limit never stops overloading it; the rule on running current says so.
    """
    for wired in recount.wired:
        running, usable, peak = recount.circuit_running(wired), _usable_ma(recount, wired), _peak_ma(wired)
        if running > usable:
            continue
        waves = [(excess / 1000, tau) for excess, tau in _excesses(recount, wired)]
        value = overload(running / 1000, waves, usable / 1000)
        borne_ms = min(channel.peak_ms for channel in wired.channels)
        limit = max(0, peak**2 - usable**2) / 1e6 * borne_ms
        if value > limit * (1 + RELATIVE):
            message = f"{value:.4g} A2 ms above the usable limit at switch-on, the channel trips at {limit:.4g}"
            yield Finding("energy", **wired.where, value=value, limit=limit, unit="A2 ms", message=message)


def overload(running_a: float, waves, usable_a: float) -> float:
    """Integral of i**2 - c**2 while i is above c, i a constant and decaying exponentials.

    Parameters
    ----------
    running_a : float
        Running current, A, no more than usable_a.
    waves : sequence of (float, float)
        Excess at switch-on in A and time constant in ms of each exponential.
    usable_a : float
        c, A.

    Returns
    -------
    float
        A**2 ms. With E = sum of e_j exp(-t / tau_j), i**2 - c**2 = (r**2 - c**2) + 2 r E + E**2, and each term has
        an antiderivative in elementary functions.
    """
    waves = [(excess, tau) for excess, tau in waves if excess > 0 and tau > 0]
    if running_a + sum(excess for excess, _ in waves) <= usable_a:
        return 0.0
    end = crossing_ms(running_a, waves, usable_a)
    linear = sum(2 * running_a * e * _area(tau, end) for e, tau in waves)
    square = sum(e * f * _area(tau * rho / (tau + rho), end) for e, tau in waves for f, rho in waves)
    constant = (running_a**2 - usable_a**2) * end if end < math.inf else 0.0
    return constant + linear + square


def _area(tau, end):
    return -tau * math.expm1(-end / tau)


def protection(recount, wired) -> tuple[float, float, float]:
    """Usable limit, A, peak, A, and how long it bears the peak, ms, of a circuit's channel."""
    borne_ms = min(channel.peak_ms for channel in wired.channels)
    return _usable_ma(recount, wired) / 1000, _peak_ma(wired) / 1000, borne_ms


def crossing_ms(running_a, waves, usable_a):
    """When running current and decaying exponentials are down to a level, ms; inf where they never are."""
    if running_a >= usable_a:
        return math.inf
    # Newton from t = 0 on a falling convex curve climbs to the root from the left and never passes it.
    at, step = 0.0, math.inf
    while step > 1e-13 * at:
        parts = [(e * math.exp(-at / tau), tau) for e, tau in waves]
        over = running_a + sum(part for part, _ in parts) - usable_a
        step = over / sum(part / tau for part, tau in parts)
        at += max(step, 0.0)
    return at
