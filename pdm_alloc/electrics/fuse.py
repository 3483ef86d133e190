"""Main fuse: standard ratings, time-current gates, choice."""

import math
from itertools import pairwise

__all__ = ["FUSE_GATES", "FUSE_LOADING", "FUSE_RATINGS_A", "fuse_latest_s", "fuse_shortest_s", "main_fuse_a"]

# Ratings sold for vehicles, A: common practice, from memory.
FUSE_RATINGS_A = (
    *(1, 2, 3, 5, 7.5, 10, 15, 20, 25, 30, 35, 40, 50, 60, 70, 80),
    *(100, 125, 150, 175, 200, 225, 250, 300, 350, 400, 450, 500),
)
# Per cent of the rating, shortest and longest time until the fuse opens, s (ISO 8820-3, blade fuse-links, from memory;
# larger bolt-down fuses are slower: their maker's data come first).
FUSE_GATES = (
    (110.0, 360_000.0, math.inf),
    (135.0, 0.75, 600.0),
    (160.0, 0.25, 50.0),
    (200.0, 0.15, 5.0),
    (350.0, 0.04, 0.5),
    (600.0, 0.02, 0.1),
)
# Most of its rating a fuse should carry for long: common practice, no source.
FUSE_LOADING = 0.8


def fuse_shortest_s(percent: float) -> float:
    """Shortest time a fuse may take to open, s.

    Parameters
    ----------
    percent : float
        Current, per cent of the rating.

    Returns
    -------
    float
        s; inf below the first gate (110 %), straight in the logarithms between gates, and from the
        last one on by constant current squared times time. From memory.
    """
    return _gate(percent, 1)


def fuse_latest_s(percent: float) -> float:
    """Longest time a fuse may take to open, s.

    Parameters
    ----------
    percent : float
        Current, per cent of the rating.

    Returns
    -------
    float
        s; inf below 135 %, where the gates name no end. From memory.
    """
    return _gate(percent, 2)


def main_fuse_a(running_a: float, peak_a: float, peak_s: float) -> float | None:
    """Smallest standard fuse that carries a current for long and its inrush for a while.

    Parameters
    ----------
    running_a : float
        Running current of the worst operating state, A.
    peak_a, peak_s : float
        Largest current in it, A; how long it lasts, taken as constant, s.

    Returns
    -------
    float or None
        A; None where the largest standard fuse is too small.
    """
    for rating in FUSE_RATINGS_A:
        if running_a <= FUSE_LOADING * rating and _bears(rating, peak_a, peak_s):
            return float(rating)
    return None


def _bears(rating, peak_a, peak_s):
    return peak_s < fuse_shortest_s(100 * peak_a / rating)


def _gate(percent, column):
    if percent >= FUSE_GATES[-1][0]:
        return FUSE_GATES[-1][column] * (FUSE_GATES[-1][0] / percent) ** 2
    for low, high in pairwise(FUSE_GATES):
        if low[0] <= percent < high[0]:
            return _between(percent, (low[0], high[0]), (low[column], high[column]))
    return math.inf


def _between(percent, at, seconds):
    if seconds[0] == math.inf:
        return math.inf if percent < at[1] else seconds[1]
    share = math.log(percent / at[0]) / math.log(at[1] / at[0])
    return seconds[0] * (seconds[1] / seconds[0]) ** share
