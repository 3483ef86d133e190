"""Every state of a command on the way from all items to place to none, and the circuits that lead from one to the next.

Commands with as many items of each type have one shape, whatever the items draw, so a dynamic program
over the states runs for all of them at once.
"""

from collections.abc import Sequence
from functools import lru_cache
from math import prod

import numpy as np

__all__ = ["Shape", "moves_of", "shape_of", "states_of"]


class Shape:
    """States are numbered in mixed radix: number = sum of items left x stride.

    Parameters
    ----------
    counts : tuple of int
        Items of each type.
    """

    def __init__(self, counts: tuple[int, ...]):
        self.counts = counts
        self.size = states_of(counts)
        self.strides = np.array([states_of(counts[:n]) for n in range(len(counts))], np.int64)
        radix = np.array(counts, np.int64) + 1
        self.digits = np.arange(self.size)[:, None] // self.strides % radix
        self.moves = [self._moves(left) for left in self.digits.tolist()]

    def _moves(self, left: list[int]):
        """Circuits out of a state, as the states they alone would be: each has the first type that is left.

        Some circuit must take the first item, so only those need be tried.
        """
        strides = self.strides.astype(np.int32)
        first = next((n for n, k in enumerate(left) if k), None)
        if first is None:
            return np.zeros(0, np.int32)
        found = np.arange(1, left[first] + 1, dtype=np.int32) * strides[first]
        for n in range(first + 1, len(left)):
            if left[n]:
                found = np.add.outer(np.arange(left[n] + 1, dtype=np.int32) * strides[n], found).ravel()
        return found


@lru_cache(maxsize=32)
def shape_of(counts: tuple[int, ...]) -> Shape:
    """The shape of these counts, worked out once."""
    return Shape(counts)


def states_of(counts: Sequence[int]) -> int:
    """How many states there are."""
    return prod(c + 1 for c in counts)


def moves_of(counts: Sequence[int]) -> int:
    """How many pairs of a state and a circuit out of it there are at most."""
    return prod((c + 1) * (c + 2) // 2 for c in counts)
