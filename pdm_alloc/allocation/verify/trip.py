"""Rule on the trip setting: one exists that lets the circuit run and protects the channel."""

import math

from pdm_alloc.allocation.verify.finding import Finding

__all__ = ["least_trip_ma", "rated_ma", "step_ma", "trip_exists", "widest_ma"]


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
