"""Current of a load at a voltage, and what it counts as against a rating at its temperature."""

import math
from collections.abc import Iterable, Sequence
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise

from pdm_alloc.electrics.wire_tables import COPPER_ZERO_C

__all__ = [
    "cold_copper_factor",
    "derating_factor",
    "effective_factor",
    "effective_ma",
    "exact",
    "inrush_excess_ma",
    "largest_running_ma",
    "module_heat_w",
    "paralleled_ma",
    "rated_ma",
    "running_at_voltage_ma",
    "running_over_span_ma",
    "usable_ma",
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


@lru_cache(maxsize=64)
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


def derating_factor(table: Sequence[tuple[float, Fraction]], ambient_c: float) -> Fraction:
    """Derating at an ambient temperature, linear between the rows of the table.

    Parameters
    ----------
    table : sequence of (float, Fraction), shape (n, 2)
        Ambient in deg C, rising, and factor (no unit); empty: no derating.
    ambient_c : float
        Ambient around the module, deg C.

    Returns
    -------
    Fraction
        Factor, no unit.

    Raises
    ------
    ValueError
        The ambient is outside the table: a maker's table is not extrapolated.
    """
    if not table:
        return Fraction(1)
    ambient = exact(ambient_c)
    points = [(exact(c), exact(factor)) for c, factor in table]
    if not points[0][0] <= ambient <= points[-1][0]:
        raise ValueError(
            f"derating is known from {table[0][0]:g} to {table[-1][0]:g} deg C, not at {ambient_c:g} deg C"
        )
    return _between(points, ambient)


def rated_ma(continuous_ma: int, factor: Fraction) -> Fraction:
    """Derated rating.

    Parameters
    ----------
    continuous_ma : int
        Continuous rating, mA.
    factor : Fraction
        Derating factor, no unit.

    Returns
    -------
    Fraction
        mA, not rounded.
    """
    return continuous_ma * exact(factor)


def usable_ma(continuous_ma: int, factor: Fraction, headroom_pct: Fraction) -> int:
    """Usable continuous limit: derated rating less the headroom wanted, rounded down.

    Parameters
    ----------
    continuous_ma : int
        Continuous rating, mA.
    factor : Fraction
        Derating factor, no unit.
    headroom_pct : Fraction
        Least headroom wanted, per cent.

    Returns
    -------
    int
        mA.
    """
    return math.floor(rated_ma(continuous_ma, factor) * (1 - exact(headroom_pct) / 100))


def _between(points: Sequence[tuple[Fraction, Fraction]], ambient: Fraction) -> Fraction:
    for (low_c, low), (high_c, high) in pairwise(points):
        if low_c <= ambient <= high_c and low_c < high_c:
            return low + (high - low) * (ambient - low_c) / (high_c - low_c)
    return points[0][1]


def effective_factor(on_s: float | None, cycle_s: float | None, settle_s: float) -> float:
    """Effective current over current of a load that is on for `on_s` at least `cycle_s` from switch-on to switch-on.

    A body that heats with one time constant has, at the end of each time on, the temperature a constant
    current of sqrt((1 - exp(-on / tau)) / (1 - exp(-cycle / tau))) times the current would bring it to. By Minkowski's
    inequality the sum of effective currents is never below the effective current of the sum, so they may be added.

    Parameters
    ----------
    on_s : float or None
        Longest time on in one go, s, above 0; None: on for good.
    cycle_s : float or None
        Shortest time from one switch-on to the next, s, at least `on_s`; None: not known.
    settle_s : float
        Time constant tau of the heating, s; 0: not known.

    Returns
    -------
    float
        No unit, above 0 and at most 1; 1 where anything is not known.

    Raises
    ------
    ValueError
        A time on that is not above 0, a cycle shorter than it, or a negative time constant.
    """
    if settle_s < 0:
        raise ValueError(f"a time constant is not negative, as {settle_s:g} s is")
    if on_s is None or cycle_s is None or settle_s == 0:
        return 1.0
    if not 0 < on_s <= cycle_s:
        raise ValueError(f"a time on is above 0 s and at most its cycle, not {on_s:g} s of {cycle_s:g} s")
    return math.sqrt(math.expm1(-on_s / settle_s) / math.expm1(-cycle_s / settle_s))


def effective_ma(current_ma: int, on_s: float | None, cycle_s: float | None, settle_s: float) -> int:
    """Effective current of a load, rounded up to a whole milliamp.

    Parameters
    ----------
    current_ma : int
        Current while it is on, mA.
    on_s, cycle_s, settle_s
        As in `effective_factor`.

    Returns
    -------
    int
        mA, at most `current_ma`.

    Raises
    ------
    ValueError
        As in `effective_factor`.
    """
    return math.ceil(current_ma * effective_factor(on_s, cycle_s, settle_s))


def paralleled_ma(one_ma: int, other_ma: int, share_pct: int | Fraction) -> int:
    """Limit of two paralleled channels that share unevenly: the weaker limit over the larger share, rounded down.

    Two switches of unequal resistance do not halve the current; which of them is the better conductor
    is not known, so the weaker one is taken to carry the larger share.

    Parameters
    ----------
    one_ma, other_ma : int
        Limits of the two channels, mA.
    share_pct : int or Fraction
        Larger share, per cent of the current of both, 50 to 100.

    Returns
    -------
    int
        mA.

    Raises
    ------
    ValueError
        The share is outside 50 to 100 per cent.
    """
    if not 50 <= share_pct <= 100:
        raise ValueError(f"the larger of two shares is 50 to 100 %, not {float(share_pct):g} %")
    return math.floor(Fraction(min(one_ma, other_ma) * 100) / share_pct)


def module_heat_w(
    currents_a: Sequence[float], on_mohm: Sequence[float | None], quiescent_w: float = 0.0
) -> float | None:
    """Heat a module gives off: current squared times resistance of every closed output, and what it takes itself.

    Parameters
    ----------
    currents_a : sequence of float, shape (n,)
        Current of each channel, A.
    on_mohm : sequence of float or None, shape (n,)
        Resistance of each closed output, milliohm; None: not known.
    quiescent_w : float
        What the module takes with every output off, W.

    Returns
    -------
    float or None
        W; None where a channel that carries current has no known resistance.

    Raises
    ------
    ValueError
        The sequences differ in length.
    """
    heat = quiescent_w
    for current, mohm in zip(currents_a, on_mohm, strict=True):
        if current and mohm is None:
            return None
        heat += current**2 * (mohm or 0.0) / 1000
    return heat
