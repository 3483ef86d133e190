"""What a circuit draws at its worst, at any voltage of any state it may be on in, and what of a channel that uses."""

import math
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import combinations

from pdm_alloc.circuits.classes import Rating
from pdm_alloc.circuits.items import ItemType
from pdm_alloc.electrics.inrush import InrushUse, inrush_use

__all__ = [
    "inrush_of",
    "largest_draw_ma",
    "largest_peak_ma",
    "largest_running_ma",
    "rating_for",
    "usable_for",
    "worst_rise_ma",
]

Some = Sequence[tuple[ItemType, int]]


def rating_for(rating: Rating, headroom_pct: Fraction | None) -> Rating:
    """The kind of channel with the usable limit of `usable_for`."""
    return rating if headroom_pct is None else replace(rating, usable_ma=usable_for(rating, headroom_pct))


def usable_for(rating: Rating, headroom_pct: Fraction | None) -> int:
    """Usable limit of a kind of channel, mA, where a command wants a headroom of its own; None: it does not."""
    return rating.usable_ma if headroom_pct is None else rating.usable_at(headroom_pct)


def worst_rise_ma(rises: Sequence[int], at_once: int) -> int:
    """Rise of a sum when the `at_once` loads that matter most are at the top of their tolerance, mA."""
    return sum(sorted(rises, reverse=True)[:at_once])


def largest_running_ma(some: Some) -> int:
    """Largest running current of items at any voltage they are checked at, as stated, mA."""
    return max(_running_ma(some, at) for at in _voltages(some))


def largest_draw_ma(some: Some, at_once: int) -> int:
    """Largest running current of items at any voltage they are checked at, tolerance included.

    Parameters
    ----------
    some : sequence of (ItemType, int)
        Of one command, and how many of each.
    at_once : int
        How many loads at once are taken at the top of their tolerance.

    Returns
    -------
    int
        mA.
    """
    return max(_draw_ma(some, at, at_once) for at in _voltages(some))


def inrush_of(some: Some, rating: Rating, at_once: int) -> InrushUse:
    """How much of a channel's protection the inrush of items uses at the worst voltage and tolerances.

    Parameters
    ----------
    some : sequence of (ItemType, int)
        Of one command, and how many of each.
    rating : Rating
        The kind of channel.
    at_once : int
        How many loads at once are taken at the top of their tolerance.

    Returns
    -------
    InrushUse
    """
    peak = largest_peak_ma(some, at_once) / rating.peak_ma
    return InrushUse(peak, max((_energy(some, at, rating, at_once) for at in _steepest(some, at_once)), default=0.0))


def _voltages(some: Some) -> range:
    return range(len(some[0][0].volt_ma))


def _running_ma(some: Some, at: int) -> int:
    return sum(t.volt_ma[at] * k for t, k in some)


def _draw_ma(some: Some, at: int, at_once: int) -> int:
    return _running_ma(some, at) + worst_rise_ma([t.volt_deviation_ma[at] * k for t, k in some], at_once)


def _surge_ma(some: Some, at: int, at_once: int) -> int:
    rises = [(t.volt_surge_ma[at] - t.volt_excess_ma[at]) * k for t, k in some]
    return sum(t.volt_excess_ma[at] * k for t, k in some) + worst_rise_ma(rises, at_once)


def largest_peak_ma(some: Some, at_once: int) -> int:
    """Largest peak at switch-on of items at any voltage they are checked at, running and tolerance included, mA."""
    return max(_draw_ma(some, at, at_once) + _surge_ma(some, at, at_once) for at in _voltages(some))


def _steepest(some: Some, at_once: int) -> list[int]:
    """Voltages that no other one exceeds in running current and in every excess: of these one is the worst."""
    points = {
        (_draw_ma(some, at, at_once), *(ma for t, _ in some for ma in (t.volt_excess_ma[at], t.volt_surge_ma[at]))): at
        for at in _voltages(some)
    }
    return [at for p, at in points.items() if not any(p != q and all(map(int.__le__, p, q)) for q in points)]


_MOST_CHOICES = 500  # of loads at the top of their tolerance; beyond, all are


def _energy(some: Some, at: int, rating: Rating, at_once: int) -> float:
    """Overload over what the channel bears, the loads at the top of their tolerance chosen for the worst."""
    loose = [n for n, (t, _) in enumerate(some) if t.volt_surge_ma[at] > t.volt_excess_ma[at]]
    running = _draw_ma(some, at, at_once)
    use = _overload(some, at, loose, running, rating)
    if use <= 1 or len(loose) <= at_once or math.comb(len(loose), at_once) > _MOST_CHOICES:
        return use
    return max(_overload(some, at, raised, running, rating) for raised in combinations(loose, at_once))


def _overload(some: Some, at: int, raised: Sequence[int], running: int, rating: Rating) -> float:
    excess = [(t.volt_surge_ma if n in raised else t.volt_excess_ma)[at] * k / 1000 for n, (t, k) in enumerate(some)]
    limits = (rating.usable_ma / 1000, rating.peak_ma / 1000, rating.peak_ms)
    return inrush_use(running / 1000, excess, [t.tau_ms for t, _ in some], *limits).energy
