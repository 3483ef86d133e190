"""The shortest routes from one place to all others: a tree, so that wires to two places share their first part."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from pdm_alloc.harness.graph import route_graph
from pdm_alloc.module import natural_key
from pdm_alloc.vehicle import Place, Route

__all__ = ["Tree", "shortest_tree"]

_EQUAL = 1e-9  # m: ways that differ by less are equally long, or the order of additions would decide


@dataclass(eq=False)
class Tree:
    """Shortest routes from a place.

    Parameters
    ----------
    source : str
        Where they start.
    above : dict of str to str
        Place before each place that is reached, on the way from the source.
    metres : dict of str to float
        Length of the last part of the way to each, m.
    """

    source: str
    above: dict[str, str]
    metres: dict[str, float]
    _bits: dict[str, int] = field(init=False)
    _sums: dict[int, float] = field(init=False, default_factory=lambda: {0: 0.0})

    def __post_init__(self):
        self._parts = list(self.metres.values())
        own = {place: 1 << n for n, place in enumerate(self.metres)}
        self._bits = {self.source: 0}
        for place in own:
            self._mark(place, own)

    def _mark(self, place, own):
        if place not in self._bits:
            self._bits[place] = self._mark(self.above[place], own) | own[place]
        return self._bits[place]

    def __contains__(self, place: str | None) -> bool:
        """Whether the place is reached at all."""
        return place in self._bits

    def way(self, place: str) -> tuple[str, ...]:
        """Places passed from the source to a place, both included; KeyError where it is not reached."""
        found = [place]
        while found[-1] != self.source:
            found.append(self.above[found[-1]])
        return tuple(reversed(found))

    def length_m(self, place: str) -> float:
        """Length of the way to a place, m."""
        return self._sum(self._bits[place])

    def shared_m(self, one: str, other: str) -> float:
        """Length of the part that the ways to two places share, m."""
        return self._sum(self._bits[one] & self._bits[other])

    def joined_m(self, places: Iterable[str]) -> float:
        """Length of trunk and branches to several places, each part counted once, m."""
        bits = 0
        for place in places:
            bits |= self._bits[place]
        return self._sum(bits)

    def _sum(self, bits: int) -> float:
        if bits not in self._sums:
            self._sums[bits] = sum(m for n, m in enumerate(self._parts) if bits >> n & 1)
        return self._sums[bits]


def shortest_tree(places: Sequence[Place], routes: Sequence[Route], source: str) -> Tree:
    """Tree of shortest routes from a place.

    Parameters
    ----------
    places, routes : sequence of Place, of Route
        As the tables give them.
    source : str
        Where it starts.

    Returns
    -------
    Tree
        The same whatever the order of rows: of ways equally long, the last place before the end
        decides, the first in natural order of names.

    Raises
    ------
    KeyError
        There is no such place.
    """
    import networkx as nx

    graph = route_graph(places, routes)
    if source not in graph:
        raise KeyError(source)
    away = nx.single_source_dijkstra_path_length(graph, source, weight="m")
    above = {place: _before(graph, away, place) for place in away if place != source}
    return Tree(source, above, {place: graph.edges[place, before]["m"] for place, before in above.items()})


def _before(graph, away, place: str) -> str:
    near = [p for p in graph[place] if away[p] < away[place] and away[p] + graph[place][p]["m"] <= away[place] + _EQUAL]
    return min(near, key=natural_key)
