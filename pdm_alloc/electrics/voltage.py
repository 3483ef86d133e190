"""Current of a load at the voltage of an operating state, in whole milliamps."""

import math
from collections.abc import Iterable, Sequence
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

from pdm_alloc.electrics.wire_tables import COPPER_ZERO_C

__all__ = [
    "cold_copper_factor",
    "exact",
    "inrush_excess_ma",
    "largest_running_ma",
    "running_at_voltage_ma",
    "running_over_span_ma",
    "worst_excess_ma",
]

_ROUNDING = 1e-9  # relative: keeps float noise in a power from adding a whole milliamp


def exact(value: float | Fraction | Decimal) -> Fraction:
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
    factor: float = float(ratio) ** exponent
    return math.ceil(running_ma * factor * (1 - _ROUNDING))


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


def running_over_span_ma(
    items: Iterable[tuple[int, float, int]], span_v: Sequence[float], reference_v: float
) -> tuple[int, ...]:
    """Running current of some items together at each voltage of a span, mA.

    Parameters
    ----------
    items : iterable of (int, float, int)
        Running current of one at `reference_v`, mA; exponent k; number of them.
    span_v : sequence of float, shape (n,)
        Voltages, V: the ends of a state's span.
    reference_v : float
        Voltage at which the currents are stated, V.

    Returns
    -------
    tuple of int, shape (n,)
        mA, each item rounded up.

    Raises
    ------
    ValueError
        A voltage is not above zero.
    """
    items = tuple(items)
    return tuple(
        sum(running_at_voltage_ma(ma, exponent, volts, reference_v) * count for ma, exponent, count in items)
        for volts in span_v
    )


def largest_running_ma(
    items: Iterable[tuple[int, float, int]], spans_v: Iterable[Sequence[float]], reference_v: float
) -> int:
    """Largest running current of some items together over the spans of voltage in which they may be on.

    Both ends of a span suffice. V**k is exp(k ln V), which is convex in ln V whatever k is, so a sum
    of such terms with positive weights is convex in ln V too and largest at an end: constant power at the lower one, a
    resistance at the upper one, a mixture at either.

    Parameters
    ----------
    items : iterable of (int, float, int)
        As in `running_over_span_ma`.
    spans_v : iterable of sequence of float
        Both ends of each span, V.
    reference_v : float
        V.

    Returns
    -------
    int
        mA, rounded up; 0 without a span.

    Raises
    ------
    ValueError
        A voltage is not above zero.
    """
    items = tuple(items)
    return max((ma for span in spans_v for ma in running_over_span_ma(items, span, reference_v)), default=0)


def cold_copper_factor(lowest_c: float, stated_c: float = 20.0) -> Fraction:
    """Current of a copper winding in the cold over its current at the temperature it is stated at.

    Resistance goes with t + 234.5 (FAA AC 43.13-1B, section 11-66), so a winding draws most, and a short circuit is
    largest, at the lowest ambient.

    Parameters
    ----------
    lowest_c, stated_c : float
        Lowest ambient; temperature at which the current was stated, deg C.

    Returns
    -------
    Fraction
        No unit, at least 1.

    Raises
    ------
    ValueError
        The lowest ambient is one at which copper would have no resistance.
    """
    if lowest_c <= COPPER_ZERO_C:
        raise ValueError(f"copper has no resistance at {lowest_c:g} deg C in this law")
    zero = exact(COPPER_ZERO_C)
    return max(Fraction(1), (exact(stated_c) - zero) / (exact(lowest_c) - zero))


@lru_cache(maxsize=4096)
def worst_excess_ma(
    inrush_ma: int,
    running_ma: int,
    volts: tuple[float, float],
    tolerance_pct: int | Fraction = 0,
    cold: Fraction = Fraction(1),
) -> int:
    """Inrush above running of one item at its worst: top of the span, top of its tolerance, copper cold.

    Parameters
    ----------
    inrush_ma, running_ma : int
        Peak of one item, running included, and its running current, both at the reference voltage, mA.
    volts : (float, float)
        Highest voltage at which it is switched on; reference voltage, V.
    tolerance_pct : int or Fraction
        How far its currents may be off, per cent.
    cold : Fraction
        `cold_copper_factor` where its inrush is that of a winding; 1: it is not.

    Returns
    -------
    int
        mA, rounded up; equal to `inrush_excess_ma` without tolerance and cold.

    Raises
    ------
    ValueError
        A voltage is not above zero.
    """
    excess = max(Fraction(0), inrush_ma * exact(cold) - running_ma)
    return math.ceil(excess * (1 + exact(tolerance_pct) / 100) * max(Fraction(1), _voltage_ratio(*volts)))


@lru_cache(maxsize=256)
def _voltage_ratio(supply_v: float, reference_v: float) -> Fraction:
    if not (supply_v > 0 and reference_v > 0):
        raise ValueError(f"voltages must be above 0 V, not {supply_v} V at a reference of {reference_v} V")
    return exact(supply_v) / exact(reference_v)
