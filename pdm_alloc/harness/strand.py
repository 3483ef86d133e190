"""The wire of one circuit as it lies in the harness."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from pdm_alloc.harness.tree import Tree

__all__ = ["Part", "Strand", "parts_of"]

Part = tuple[str, str]


@dataclass(frozen=True)
class Strand:
    """Conductors of one circuit.

    Parameters
    ----------
    parts : frozenset of (str, str)
        Routes they lie in, ends in alphabetical order.
    conductors : int
        Side by side in each of them, ways back counted.
    area_mm2 : float
        Of each conductor, mm2.
    on : frozenset of str
        Operating states in which they carry current.
    """

    parts: frozenset[Part]
    conductors: int
    area_mm2: float
    on: frozenset[str]


def parts_of(tree: Tree, ends: Iterable[str]) -> frozenset[Part]:
    """Routes passed on the ways to some places: trunk and branches, each once."""
    found: set[Part] = set()
    for end in ends:
        way = tree.way(end)
        found.update((min(a, b), max(a, b)) for a, b in pairwise(way))
    return frozenset(found)
