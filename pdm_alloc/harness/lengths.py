"""Length of a wire: along the shortest route with an allowance, or as the load table states it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from pdm_alloc.harness.tree import Tree, shortest_tree
from pdm_alloc.vehicle import Place, Route, Settings, Vehicle

__all__ = ["Lengths", "lengths", "lengths_of"]


@dataclass(eq=False)
class Lengths:
    """Lengths of wire in one vehicle.

    Parameters
    ----------
    places : dict of str to Place
        By name.
    routes : tuple of Route
        Between them.
    slack : float
        Wire over route, no unit.
    end_m : float
        Allowance at each end, m.
    ambient_c : float
        Where a place does not state its own, deg C.
    """

    places: dict[str, Place]
    routes: tuple[Route, ...]
    slack: float
    end_m: float
    ambient_c: float
    _trees: dict[str, Tree] = field(init=False, default_factory=dict)

    def tree(self, place: str | None) -> Tree | None:
        """Shortest routes from a place; None: no place."""
        if place is None:
            return None
        if place not in self._trees:
            self._trees[place] = self._grown(place)
        return self._trees[place]

    def _grown(self, place: str) -> Tree:
        return shortest_tree(list(self.places.values()), self.routes, place) if self.routes else Tree(place, {}, {})

    def route_m(self, start: str | None, end: str | None) -> float | None:
        """Length of the shortest route between two places, no allowance, m; None: there is none."""
        tree = self.tree(start)
        return tree.length_m(end) if tree is not None and end is not None and end in tree else None

    def wire_m(self, start: str | None, end: str | None, stated_m: float | None = None) -> float | None:
        """Wire from a module's place to a load's, one way.

        Parameters
        ----------
        start, end : str or None
            Place of the module; of the load.
        stated_m : float or None
            What the load table states, taken where the places do not tell, m.

        Returns
        -------
        float or None
            m; None: not known.
        """
        route = self.route_m(start, end)
        return stated_m if route is None else route * self.slack + 2 * self.end_m

    def hottest_c(self, start: str | None, ends: Iterable[str | None]) -> float:
        """Hottest ambient on the ways from a place, deg C; a place that states none is at `ambient_c`."""
        tree = self.tree(start)
        passed: set[str | None] = set()
        for end in ends:
            passed.update(tree.way(end) if tree is not None and end is not None and end in tree else (start, end))
        return max((self._ambient(name) for name in passed), default=self.ambient_c)

    def _ambient(self, name: str | None) -> float:
        place = self.places.get(name or "")
        return self.ambient_c if place is None or place.ambient_c is None else place.ambient_c


def lengths_of(vehicle: Vehicle) -> Lengths:
    """Lengths of wire in a vehicle."""
    return lengths(vehicle.settings, vehicle.places, vehicle.routes)


def lengths(settings: Settings, places: Sequence[Place], routes: Sequence[Route]) -> Lengths:
    """Lengths of wire from settings, places and routes."""
    by_name = {place.name: place for place in places}
    slack = 1 + settings.slack_pct / 100
    return Lengths(by_name, tuple(routes), slack, settings.end_allowance_m, settings.wire_ambient_c)
