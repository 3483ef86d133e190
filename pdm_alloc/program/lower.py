"""Least number of channels a set of items takes, by arithmetic."""

from collections.abc import Sequence

import numpy as np

__all__ = ["fewest_channels"]


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
