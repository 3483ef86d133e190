"""Current of a load at the voltage of an operating state, in whole milliamps."""

import math
from fractions import Fraction
from functools import lru_cache

__all__ = ["exact", "inrush_excess_ma", "running_at_voltage_ma"]

_ROUNDING = 1e-9  # relative: keeps float noise in a power from adding a whole milliamp


def exact(value) -> Fraction:
    """The number a person wrote: 13.8 as 69/5, not as its nearest binary fraction.

    Parameters
    ----------
    value : int, float, Fraction or Decimal
        A finite number, any unit.

    Returns
    -------
    Fraction
        Same unit.

    Raises
    ------
    ValueError
        The number is not finite.
    """
    return Fraction(value) if isinstance(value, (int, Fraction)) else Fraction(str(value))


@lru_cache(maxsize=4096)
def running_at_voltage_ma(running_ma: int, exponent: float, supply_v: float, reference_v: float) -> int:
    """Running current of one item at another voltage, rounded up to a whole milliamp.

    Parameters
    ----------
    running_ma : int
        Running current at `reference_v`, mA.
    exponent : float
        k in I = I_ref * (V / V_ref)**k, no unit: 1 for a resistance, -1 for constant power, 0.55 for
        a filament (lamp rerating: Standard Handbook for Electrical Engineers, 11th edition, section
        22, quoted in an encyclopedia).
    supply_v, reference_v : float
        Voltage in the state; voltage at which `running_ma` is stated, V.

    Returns
    -------
    int
        Running current, mA, never rounded down. Exact for k of -1, 0 and 1; otherwise a value within
        1e-9 of a whole milliamp above it counts as that milliamp.

    Raises
    ------
    ValueError
        A voltage is not above zero.
    """
    ratio = _voltage_ratio(supply_v, reference_v)
    if exponent in (-1, 0, 1):
        return math.ceil(running_ma * ratio ** int(exponent))
    return math.ceil(running_ma * float(ratio) ** exponent * (1 - _ROUNDING))


@lru_cache(maxsize=4096)
def inrush_excess_ma(inrush_ma: int, running_ma: int, supply_v: float, reference_v: float) -> int:
    """Inrush above running of one item at another voltage, rounded up to a whole milliamp.

    A cold filament, a stalled winding and an empty capacitor are resistances, so the excess grows
    with the voltage; below the reference voltage it is left as stated, which is the careful side.

    Parameters
    ----------
    inrush_ma, running_ma : int
        Peak of one item, running included, and its running current, both at `reference_v`, mA.
    supply_v, reference_v : float
        Voltage in the state; voltage at which the currents are stated, V.

    Returns
    -------
    int
        Excess of the peak over the running current, mA; 0 where the peak is not above running.

    Raises
    ------
    ValueError
        A voltage is not above zero.
    """
    ratio = _voltage_ratio(supply_v, reference_v)
    return math.ceil(max(0, inrush_ma - running_ma) * max(Fraction(1), ratio))


@lru_cache(maxsize=256)
def _voltage_ratio(supply_v, reference_v):
    if not (supply_v > 0 and reference_v > 0):
        raise ValueError(f"voltages must be above 0 V, not {supply_v} V at a reference of {reference_v} V")
    return exact(supply_v) / exact(reference_v)
