"""Bounds on a set of items by arithmetic: fewest channels, evenest channels."""

from collections.abc import Sequence

import numpy as np

__all__ = ["fewest_channels", "least_of_curves"]

_HALVINGS = 60


def fewest_channels(sizes: Sequence[int], full: int) -> int:
    """Bound L2 of Martello and Toth, Discrete Applied Mathematics 28 (1990) 59.

    Items above `full` - a cannot meet one of at least a, those above a half cannot meet each other;
    the rest fill what those leave free, and then channels of their own.

    Parameters
    ----------
    sizes : sequence of int
        Of the items; those above `full` count as full.
    full : int
        What a channel bears.

    Returns
    -------
    int
    """
    if full <= 0:
        return len(sizes)
    every = np.minimum(np.array(sizes, np.int64), full)
    limits = np.unique(np.append(every[2 * every <= full], 0))
    return max((_least(every, full, int(a)) for a in limits), default=0)


def _least(every: np.ndarray, full: int, a: int) -> int:
    large = every > full - a
    middle = (2 * every > full) & ~large
    small = (every >= a) & ~large & ~middle
    rest = int(every[small].sum()) - (int(middle.sum()) * full - int(every[middle].sum()))
    return int(large.sum() + middle.sum()) + max(0, -(-rest // full))


def least_of_curves(curves: Sequence[np.ndarray], circuits: int, running_ma: int) -> float:
    """Least cost of so many circuits of so much current together, items of any size allowed.

    With a price on the current every circuit is on its own, and what they cost less what their
    current is worth is a bound; the price for which it is best is found by halving, for the bound is
    concave in it.

    Parameters
    ----------
    curves : sequence of array
        Cost of a circuit by its running current from 0 mA on, one curve for each kind of channel.
    circuits : int
        How many.
    running_ma : int
        Sum of their running currents, mA.

    Returns
    -------
    float
    """
    longest = max(len(curve) for curve in curves)
    padded = [np.pad(curve.astype(float), (0, longest - len(curve)), constant_values=np.inf) for curve in curves]
    curve, at = np.min(padded, axis=0), np.arange(longest)
    low, high, best = 0.0, float(np.max(curve[np.isfinite(curve)])) + 1.0, 0.0
    for _ in range(_HALVINGS):
        price = (low + high) / 2
        reduced = curve - price * at
        where = int(np.argmin(reduced))
        best = max(best, price * running_ma + circuits * float(reduced[where]))
        low, high = (price, high) if circuits * where < running_ma else (low, price)
    return best - 1e-6 * (1 + abs(best) * 1e-3)
