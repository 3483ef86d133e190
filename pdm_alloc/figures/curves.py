"""The curves `inrush` draws: circuit, channel and wire as currents over time."""

import numpy as np
import pandas as pd

from pdm_alloc.electrics.inrush import inrush_current
from pdm_alloc.electrics.protection import overload_capacity
from pdm_alloc.electrics.trip import damage_ms, short_time_c

__all__ = ["curves", "trip_curve_a", "wire_curve_a"]

_FIRST_MS, _LAST_MS, _POINTS = 0.1, 100_000.0, 400


def curves(
    running_a: float,
    excess_a: tuple[float, ...],
    tau_ms: tuple[float, ...],
    trip: tuple[float, float],
    channel: tuple[float, float, float],
    wire: tuple[float, float, float],
    stalled_a: float | None = None,
) -> pd.DataFrame:
    """Currents over time of a circuit, its channel and its wire.

    Parameters
    ----------
    running_a : float
        Running current, A.
    excess_a, tau_ms : tuple of float, shape (n,)
        Inrush above running of each item, A; its time constant, ms.
    trip : (float, float)
        Trip setting, A; inrush window, ms.
    channel : (float, float, float)
        Usable continuous limit and peak, A; how long it bears the peak, ms.
    wire : (float, float, float)
        Area of all conductors, mm2; their ampacity, A; temperature class of the insulation, deg C.
    stalled_a : float, optional
        Current of the circuit when its motor never turns, A.

    Returns
    -------
    DataFrame
        The columns `inrush` wants: t_ms, circuit_a, trip_a, wire_a, and stalled_a where it is given.

    Raises
    ------
    ValueError
        `excess_a` and `tau_ms` differ in length, or the insulation is outside the tables of wire.
    """
    t_ms = np.geomspace(_FIRST_MS, _LAST_MS, _POINTS)
    table = pd.DataFrame({"t_ms": t_ms, "circuit_a": inrush_current(t_ms, running_a, excess_a, tau_ms)})
    table["trip_a"] = trip_curve_a(t_ms, *trip, *channel)
    table["wire_a"] = wire_curve_a(t_ms, *wire)
    return table if stalled_a is None else table.assign(stalled_a=stalled_a)


def trip_curve_a(
    t_ms: np.ndarray, trip_a: float, window_ms: float, usable_a: float, peak_a: float, peak_ms: float
) -> np.ndarray:
    """Steady current above which a set channel has switched off after a time: `electrics.trip.trip_ms` turned round.

    Parameters
    ----------
    t_ms : array, shape (n,)
        Times, ms, above 0.
    trip_a, window_ms : float
        Trip setting, A; inrush window, ms.
    usable_a, peak_a, peak_ms : float
        Usable continuous limit and peak of the channel, A; how long it bears the peak, ms.

    Returns
    -------
    array, shape (n,)
        A.
    """
    own = np.sqrt(usable_a**2 + overload_capacity(usable_a, peak_a, peak_ms) / t_ms)
    setting = np.where(t_ms >= window_ms, trip_a, np.inf)
    return np.minimum(np.minimum(own, peak_a), setting)


def wire_curve_a(t_ms: np.ndarray, area_mm2: float, ampacity_a: float, insulation_c: float) -> np.ndarray:
    """Steady current that damages a warm wire in a time: without loss of heat, but never less than its ampacity.

    Parameters
    ----------
    t_ms : array, shape (n,)
        Times, ms, above 0.
    area_mm2, ampacity_a : float
        Area of all conductors, mm2; their ampacity, A.
    insulation_c : float
        Temperature class of the insulation, up to 200 deg C; the conductor starts at it.

    Returns
    -------
    array, shape (n,)
        A.

    Raises
    ------
    ValueError
        The class is above 200 deg C.
    """
    one_amp_ms = damage_ms(1.0, area_mm2, insulation_c, short_time_c(insulation_c))
    return np.maximum(np.sqrt(one_amp_ms / t_ms), ampacity_a)
