"""What a rating is worth at its temperature, and what a current that comes and goes counts as against it."""

import math
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

from pdm_alloc.electrics.voltage import exact

__all__ = [
    "derating_factor",
    "effective_factor",
    "effective_ma",
    "module_heat_w",
    "paralleled_ma",
    "rated_ma",
    "usable_ma",
]


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
