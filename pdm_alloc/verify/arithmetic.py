"""Currents, deviations and derated limits, in whole milliamps and exact fractions.

Written a second time on purpose: nothing here comes from the parts that build the allocation, so that one mistake
cannot both make and pass a bad one.
"""

import heapq
import math
from collections.abc import Iterable, Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from typing import TypeVar

__all__ = [
    "Ma",
    "ceiling",
    "cold",
    "decimal",
    "derating_at",
    "deviation",
    "excess_ma",
    "limit_ma",
    "running_ma",
    "shared_ma",
    "top",
]

# A power with a broken exponent is a float: a result that is a whole number but for rounding must not be lifted to
# the next one. 1e-9 is a million times the rounding of one power and far below a milliamp.
GUARD = 1e-9

Ma = int | Fraction
"""Current, mA; a fraction where a pair lies in two banks."""

_Ma = TypeVar("_Ma", int, Ma)


@lru_cache(maxsize=4096)
def decimal(number: float | Fraction) -> Fraction:
    """The number as it was written in the table: 13.8 is 138/10, not the nearest binary fraction."""
    return number if isinstance(number, Fraction) else Fraction(str(number))


@lru_cache(maxsize=65536)
def running_ma(reference_ma: int, exponent: float, supply_v: float, reference_v: float) -> int:
    """Running current of one item at a voltage, rounded up, mA.

    Parameters
    ----------
    reference_ma : int
        Running current at reference_v, mA.
    exponent : float
        k in I = I_ref * (V / V_ref)**k.
    supply_v, reference_v : float
        Voltage; voltage the current is stated at, V.

    Returns
    -------
    int
        mA, never below the exact value by more than 1e-9 of it.
    """
    ratio = decimal(supply_v) / decimal(reference_v)
    if exponent == int(exponent):
        return math.ceil(reference_ma * ratio ** int(exponent))
    return math.ceil(reference_ma * math.pow(ratio, exponent) * (1 - GUARD))


@lru_cache(maxsize=65536)
def excess_ma(reference_ma: int | Fraction, supply_v: float, reference_v: float) -> int:
    """Inrush excess of one item at a voltage, rounded up, mA: it grows with the voltage and never shrinks below
    what is stated.
    """
    return math.ceil(reference_ma * max(Fraction(1), decimal(supply_v) / decimal(reference_v)))


def ceiling(ma: int | Fraction) -> int:
    """A whole number of milliamps, rounded up."""
    return math.ceil(ma)


def cold(lowest_c: float) -> Fraction:
    """Current of a copper winding at the lowest ambient over that at 20 deg C, at least 1; resistance goes with
    t + 234.5 (FAA AC 43.13-1B).
    """
    return max(Fraction(1), Fraction("254.5") / (decimal(lowest_c) + Fraction("234.5")))


def shared_ma(ma: int, larger_pct: Fraction) -> int:
    """What two channels take together, the larger share being the limit of one of them, rounded down, mA."""
    return math.floor(Fraction(ma) / (Fraction(larger_pct) / 100))


@lru_cache(maxsize=65536)
def deviation(ma: int, tolerance_pct: Fraction) -> int:
    """How far the current of one item may be above what is stated, rounded up, mA."""
    return math.ceil(ma * decimal(tolerance_pct) / 100)


def top(values: Iterable[_Ma], how_many: int) -> _Ma:
    """Sum of the largest values, no more than `how_many` of them."""
    return sum(heapq.nlargest(how_many, values))


def limit_ma(ma: int, factor: Fraction, headroom_pct: Fraction) -> int:
    """Limit that is left after derating and headroom, rounded down, mA."""
    return math.floor(ma * factor * (1 - decimal(headroom_pct) / 100))


def derating_at(table: Sequence[tuple[float, Fraction]], ambient_c: float) -> tuple[Fraction, bool]:
    """Derating factor at an ambient temperature, linear between the rows of the table.

    Parameters
    ----------
    table : sequence of (float, Fraction)
        Ambient in deg C and factor, rising ambient; empty means no derating.
    ambient_c : float
        Ambient, deg C.

    Returns
    -------
    factor : Fraction
        The factor; outside the table that of its nearest row.
    inside : bool
        Whether the ambient is within the table.
    """
    if not table:
        return Fraction(1), True
    at = decimal(ambient_c)
    rows = [(decimal(t), decimal(f)) for t, f in table]
    for (low, below), (high, above) in pairwise(rows):
        if low <= at <= high:
            return below + (above - below) * (at - low) / (high - low), True
    nearest = rows[0] if at <= rows[0][0] else rows[-1]
    return nearest[1], at == nearest[0]
