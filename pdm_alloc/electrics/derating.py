"""What a rating is worth at the ambient temperature and with the headroom wanted: exact, rounded down."""

import math
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

from pdm_alloc.electrics.voltage import exact

__all__ = ["derating_factor", "rated_ma", "usable_ma"]


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


def _between(points, ambient):
    for (low_c, low), (high_c, high) in pairwise(points):
        if low_c <= ambient <= high_c and low_c < high_c:
            return low + (high - low) * (ambient - low_c) / (high_c - low_c)
    return points[0][1]
