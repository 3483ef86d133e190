"""Voltage drop along a wire and the temperature its conductor reaches."""

import math

__all__ = ["RETURNS", "conductor_c", "drop_pct", "voltage_drop_v"]

# Lengths of wire the current passes for one length of run: out only, or out and back.
RETURNS = {"chassis": 1, "wire": 2}


def voltage_drop_v(current_a, length_m, ohm_per_m, return_path: str = "chassis", parallel: int = 1):
    """Voltage lost along a run: current times resistance of the way out, and of the way back by wire.

    Parameters
    ----------
    current_a, length_m, ohm_per_m : float or ndarray, shapes that broadcast
        Current, A; length one way, m; resistance of one conductor at its temperature, ohm / m.
    return_path : str
        ``chassis`` (its own resistance is neglected) or ``wire`` (as long and as thick as the way out).
    parallel : int
        Conductors side by side.

    Returns
    -------
    float or ndarray, broadcast shape
        V.

    Raises
    ------
    KeyError
        The return path is another word.
    """
    return current_a * length_m * ohm_per_m * RETURNS[return_path] / parallel


def drop_pct(drop_v, system_v: float):
    """Drop as tables state it.

    Parameters
    ----------
    drop_v : float or ndarray
        Drop, V.
    system_v : float
        Nominal voltage, V.

    Returns
    -------
    float or ndarray
        Per cent of `system_v`.
    """
    return 100.0 * drop_v / system_v


def conductor_c(ambient_c: float, insulation_c: float, current_a: float, ampacity: float) -> float:
    """Estimated temperature of a loaded conductor: T1 + (TR - T1) * sqrt(I2 / Imax).

    FAA AC 43.13-1B, section 11-66 (variables seen, expression from memory). The square root makes it
    an upper estimate at part load, where the true rise goes with the square of the current.

    Parameters
    ----------
    ambient_c, insulation_c : float
        Ambient T1; temperature class of the insulation TR, deg C.
    current_a, ampacity : float
        Current I2; allowable current Imax in that ambient and bundle, A.

    Returns
    -------
    float
        deg C; the higher of the two temperatures where the ampacity is 0.
    """
    if ampacity <= 0:
        return max(ambient_c, insulation_c)
    return ambient_c + (insulation_c - ambient_c) * math.sqrt(max(0.0, current_a) / ampacity)
