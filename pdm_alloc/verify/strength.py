"""Rules on currents: running, inrush, trip setting, and sums over banks and modules."""

import math
from collections import defaultdict

from pdm_alloc.domain.vehicle import PPM
from pdm_alloc.verify.arithmetic import limit_ma
from pdm_alloc.verify.recount import Finding

__all__ = [
    "bank_current",
    "crossing_ms",
    "inrush_energy",
    "inrush_peak",
    "least_trip_ma",
    "overload",
    "protection",
    "rated_ma",
    "running_current",
    "step_ma",
    "total_current",
    "total_peak",
    "trip_exists",
    "widest_ma",
]

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


def bank_current(recount):
    """In every state the mean current of every bank is within its limit."""
    members: dict = defaultdict(lambda: defaultdict(int))
    for wired in recount.wired:
        for bank, halves in _banks(wired).items():
            for load, count in wired.counts:
                members[wired.unit.label, bank][load.name] += halves * count
    for (label, bank), halves in members.items():
        unit = recount.units[label]
        if bank in unit.module.bank_ma:
            yield from _over(recount, "bank", unit, bank, halves, unit.module.bank_ma[bank])


def _banks(wired):
    """Halves of the circuit's current in each bank: a pair puts one in each channel's, a bridge all in both."""
    if wired.circuit.use == "pair":
        names = [channel.bank for channel in wired.channels]
        return {bank: names.count(bank) for bank in names}
    return dict.fromkeys((channel.bank for channel in wired.channels), 2)


def total_current(recount):
    """In every state the mean current of every unit is within its limit."""
    for label, circuits in recount.on_unit.items():
        halves: dict[str, int] = defaultdict(int)
        for wired in circuits:
            for load, count in wired.counts:
                halves[load.name] += 2 * count
        unit = recount.units[label]
        yield from _over(recount, "total", unit, "", halves, unit.module.total_ma)


def _over(recount, rule, unit, subject, halves, rated_ma):
    limit = limit_ma(rated_ma, recount.factor(unit), recount.vehicle.settings.module_headroom_pct)
    for state in recount.vehicle.states:
        value = _mean(recount, state, halves)
        if value > limit * PPM * 2:
            amps = value / PPM / 2000
            message = f"{amps:g} A in {state.name}, usable are {limit / 1000:g} A"
            yield Finding(rule, unit.label, "", state.name, subject, amps, limit / 1000, "A", message)


def _mean(recount, state, halves):
    """Mean current in a state, in half milliamps times a million, with the deviations that are guarded against."""
    total, over = 0, []
    for name, share in halves.items():
        load = recount.loads[name]
        duty = state.duty_ppm.get(load.command, 0)
        if not duty:
            continue
        total += duty * share * recount.running(load, state.supply_v)
        if load.tolerance_pct:
            over.append(duty * share * recount.rise(load, state.supply_v))
    return total + recount.top(over)


def total_peak(recount):
    """In every state all that is on, and one circuit switching on, is within the unit's peak."""
    for label, circuits in recount.on_unit.items():
        for state in recount.vehicle.states:
            yield from _peak_in(recount, recount.units[label], state, circuits)


def _peak_in(recount, unit, state, circuits):
    value = sum(_on(recount.running, state, wired) for wired in circuits)
    value += max((_on(recount.excess, state, wired) for wired in circuits), default=0)
    limit = unit.module.total_peak_ma
    if value > limit:
        message = f"{value / 1000:g} A at a switch-on in {state.name}, the module bears {limit / 1000:g} A"
        yield Finding("total_peak", unit.label, "", state.name, "", value / 1000, limit / 1000, "A", message)


def _on(current, state, wired):
    return sum(current(load, state.supply_v) * n for load, n in wired.counts if state.is_on(load.command))


def trip_exists(recount):
    """Some step of the setting is from the running current, tolerance included, up to the derated rating."""
    for wired in recount.wired:
        running, most = widest_ma(recount, wired), _most_ma(recount, wired)
        if max(running, 1) > most:
            message = f"no trip setting from {running / 1000:g} A up to the rating, the highest is {most / 1000:g} A"
            yield Finding("trip", **wired.where, value=running / 1000, limit=most / 1000, unit="A", message=message)


def widest_ma(recount, wired) -> int:
    """Running current of the circuit with the tolerance that is guarded against, mA."""
    return recount.circuit_running(wired) + recount.circuit_rise(wired)


def rated_ma(recount, wired):
    """Derated rating of the circuit's channel, of both of a pair together, mA."""
    weakest = min(channel.continuous_ma for channel in wired.channels)
    return wired.shares * weakest * recount.factor(wired.unit)


def step_ma(wired) -> int:
    """Step of the setting; a pair has two settings, one a channel, which go up together, mA."""
    return wired.shares * wired.unit.module.trip_step_ma


def _most_ma(recount, wired):
    step = step_ma(wired)
    return math.floor(rated_ma(recount, wired) / step) * step


def least_trip_ma(recount, wired) -> int:
    """Least setting that is wanted: 1.25 times running in whole steps, but within the rating, mA."""
    step = step_ma(wired)
    wanted = -(-5 * widest_ma(recount, wired) // (4 * step))
    return min(max(1, wanted) * step, _most_ma(recount, wired))
