"""Shortest ways along the routes, found without a library."""

import heapq
import math

from pdm_alloc.module import natural_key

__all__ = ["Ways"]

EQUAL = 1e-9  # m: ways that differ by less are equally long


class Ways:
    """Shortest ways from one place; of ways equally long the last place before the end decides, by name.

    Parameters
    ----------
    vehicle : Vehicle
        With its places and routes.
    source : str
        Where they start.
    """

    def __init__(self, vehicle, source: str):
        self.roads = _roads(vehicle)
        self.source = source
        self.away = self._distances()
        self._edges: dict[str, frozenset] = {source: frozenset()}

    def _distances(self):
        away, todo = {}, [(0.0, self.source)]
        while todo:
            far, here = heapq.heappop(todo)
            if here not in away:
                away[here] = far
                for there, m in self.roads.get(here, {}).items():
                    heapq.heappush(todo, (far + m, there))
        return away

    def edges(self, end: str) -> frozenset | None:
        """Parts of the way to a place, each a pair of places and its length in m; None where it is not reached."""
        if end not in self.away:
            return None
        if end not in self._edges:
            before = min(self._befores(end), key=natural_key)
            self._edges[end] = (self.edges(before) or frozenset()) | {(before, end, self.roads[end][before])}
        return self._edges[end]

    def _befores(self, end):
        for near, m in self.roads[end].items():
            if self.away[near] < self.away[end] and self.away[near] + m <= self.away[end] + EQUAL:
                yield near


def _roads(vehicle):
    at = {place.name: place for place in vehicle.places}
    roads: dict[str, dict[str, float]] = {}
    for route in vehicle.routes:
        m = _length(route, at[route.start], at[route.end])
        for a, b in ((route.start, route.end), (route.end, route.start)):
            roads.setdefault(a, {})[b] = min(m, roads.get(a, {}).get(b, math.inf))
    return {a: {b: m for b, m in row.items() if m < math.inf} for a, row in roads.items()}


def _length(route, start, end):
    if route.length_m is not None:
        return route.length_m
    if None in (start.x_m, start.y_m, end.x_m, end.y_m):
        return math.inf
    return math.dist((start.x_m, start.y_m), (end.x_m, end.y_m))
