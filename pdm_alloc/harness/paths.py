"""Lengths of wires along the shortest routes, and what lies in each route."""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import natural_key
from pdm_alloc.domain.vehicle import Place, Route, Vehicle

if TYPE_CHECKING:
    import networkx as nx
from collections import Counter
from collections.abc import Callable, Mapping
from itertools import pairwise

from pdm_alloc.electrics.wire import LIGHTLY_LOADED, bundle_factor, counted_wires, mass_g_per_m, outer_diameter_mm

__all__ = [
    "BUNDLE_SPREAD",
    "Lengths",
    "Part",
    "Segment",
    "Strand",
    "Tree",
    "beside",
    "bundle_mm",
    "lengths",
    "lengths_of",
    "loaded",
    "parts_of",
    "route_graph",
    "route_m",
    "segments",
    "shortest_tree",
]


def route_m(route: Route, places: dict[str, Place]) -> float | None:
    """Length of a route, or the straight distance where its row leaves it empty, m; None: no coordinates either."""
    if route.length_m is not None:
        return route.length_m
    start, end = places[route.start], places[route.end]
    if start.x_m is None or start.y_m is None or end.x_m is None or end.y_m is None:
        return None
    return math.hypot(start.x_m - end.x_m, start.y_m - end.y_m)


def route_graph(places: Sequence[Place], routes: Sequence[Route]) -> "nx.Graph[str]":
    """Places joined by routes, each with its length.

    Parameters
    ----------
    places, routes : sequence of Place, of Route
        As the tables give them; the order of rows does not matter.

    Returns
    -------
    networkx.Graph
        Nodes are names of places, edges carry ``m``; the shorter of two routes between two places.
        A route of unknown length is left out.
    """
    import networkx as nx

    by_name = {place.name: place for place in sorted(places, key=lambda p: natural_key(p.name))}
    graph: nx.Graph[str] = nx.Graph()
    graph.add_nodes_from(by_name)
    for start, end, metres in sorted(_edges(by_name, routes), key=lambda e: (natural_key(e[0]), natural_key(e[1]))):
        if metres < graph.get_edge_data(start, end, {"m": math.inf})["m"]:
            graph.add_edge(start, end, m=metres)
    return graph


def _edges(places: dict[str, Place], routes: Sequence[Route]) -> Iterator[tuple[str, str, float]]:
    for route in routes:
        metres = route_m(route, places)
        if metres is not None:
            start, end = sorted((route.start, route.end), key=natural_key)
            yield start, end, metres


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

    def __post_init__(self) -> None:
        self._parts = list(self.metres.values())
        own = {place: 1 << n for n, place in enumerate(self.metres)}
        self._bits = {self.source: 0}
        for place in own:
            self._mark(place, own)

    def _mark(self, place: str, own: dict[str, int]) -> int:
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


def _before(graph: "nx.Graph[str]", away: dict[str, float], place: str) -> str:
    near = [p for p in graph[place] if away[p] < away[place] and away[p] + graph[place][p]["m"] <= away[place] + _EQUAL]
    return min(near, key=natural_key)


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

    def part_c(self, part: tuple[str, str]) -> float:
        """Ambient of a route, the hotter of its two ends, deg C."""
        return max(map(self._ambient, part))

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


# Diameter of a bundle over that of a circle as large as its wires together: common practice, no source.
BUNDLE_SPREAD = 1.2


def bundle_mm(areas_mm2: Iterable[float]) -> float:
    """Diameter of a bundle: 1.2 times the root of the sum of the squared diameters of its wires.

    Parameters
    ----------
    areas_mm2 : iterable of float
        Nominal area of each conductor, up to 300 mm2.

    Returns
    -------
    float
        mm; of a single wire its own diameter, 0 without any.

    Raises
    ------
    ValueError
        An area is outside the tables of wire.
    """
    across = [outer_diameter_mm(area) for area in areas_mm2]
    if len(across) < 2:
        return sum(across)
    return BUNDLE_SPREAD * math.sqrt(sum(d * d for d in across))


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
    current_a : float
        What each of them carries at most, A.
    """

    parts: frozenset[Part]
    conductors: int
    area_mm2: float
    on: frozenset[str]
    current_a: float = math.inf


def parts_of(tree: Tree, ends: Iterable[str]) -> frozenset[Part]:
    """Routes passed on the ways to some places: trunk and branches, each once."""
    found: set[Part] = set()
    for end in ends:
        way = tree.way(end)
        found.update((min(a, b), max(a, b)) for a, b in pairwise(way))
    return frozenset(found)


def loaded(strands: Sequence[Strand]) -> dict[Part, int]:
    """Most conductors that carry current at once in each route.

    Parameters
    ----------
    strands : sequence of Strand
        All of the harness.

    Returns
    -------
    dict of (str, str) to int
        By route, over the operating states.
    """
    by_state = _by_state(strands)
    return {part: max((n[part] for n in by_state.values()), default=0) for strand in strands for part in strand.parts}


AloneA = Callable[[Strand, Part], float]


def beside(strands: Sequence[Strand], alone_a: AloneA) -> list[dict[Part, int]]:
    """Loaded wires that lie with each strand in each of its routes while it carries current itself.

    Wires at no more than 30 % of their capacity in the bundle do not count for the others (IEC 60364-5-52,
    section 523.5, from memory); the conductors of the strand itself always do.

    Parameters
    ----------
    strands : sequence of Strand
        All of the harness.
    alone_a : callable of (Strand, (str, str)) to float
        Ampacity of a conductor of a strand, alone in the ambient of a route, A.

    Returns
    -------
    list of dict of (str, str) to int
        In the same order, the most over the operating states, its own conductors counted; a strand that never carries
        current is counted as if it did in every state.
    """
    every = frozenset().union(*(strand.on for strand in strands))
    counts: list[dict[Part, int]] = [dict.fromkeys(strand.parts, strand.conductors) for strand in strands]
    for part in sorted(frozenset().union(*(strand.parts for strand in strands))):
        inside = [n for n, strand in enumerate(strands) if part in strand.parts]
        for members in {tuple(n for n in inside if state in (strands[n].on or every)) for state in every}:
            together = _counted([strands[n] for n in members], part, alone_a)
            for n, number in zip(members, together, strict=True):
                counts[n][part] = max(counts[n][part], number)
    return counts


def _counted(inside: Sequence[Strand], part: Part, alone_a: AloneA) -> list[int]:
    """Loaded wires for each of the strands that carry current together in a route."""
    alone = [alone_a(strand, part) for strand in inside]
    each = [n for n, strand in enumerate(inside) for _ in range(strand.conductors if strand.on else 0)]
    count = counted_wires([inside[n].current_a for n in each], [alone[n] for n in each], bundle_factor)
    light = LIGHTLY_LOADED * bundle_factor(count)
    is_heavy = [strand.on and strand.current_a > light * amps for strand, amps in zip(inside, alone, strict=True)]
    heavy = sum(strand.conductors for strand, heavy in zip(inside, is_heavy, strict=True) if heavy)
    return [heavy + (0 if own else strand.conductors) for strand, own in zip(inside, is_heavy, strict=True)]


def _by_state(strands: Sequence[Strand]) -> dict[str, Counter[Part]]:
    by_state: dict[str, Counter[Part]] = {}
    for strand in strands:
        for state in strand.on:
            number = by_state.setdefault(state, Counter())
            for part in strand.parts:
                number[part] += strand.conductors
    return by_state


@dataclass(frozen=True, slots=True)
class Segment:
    """One route with what lies in it.

    Parameters
    ----------
    start, end : str
        Its places.
    length_m : float
        Of the route, m.
    circuits, wires, loaded_wires : int
        Circuits and conductors in it; most conductors that carry current at once.
    bundle_mm : float
        Diameter of the bundle, mm; 0: empty.
    mass_g : float
        Wire in it, slack included, g.
    """

    start: str
    end: str
    length_m: float
    circuits: int
    wires: int
    loaded_wires: int
    bundle_mm: float
    mass_g: float


def segments(
    strands: Sequence[Strand], route_m: dict[Part, float], slack: float, insulation_c: float
) -> tuple[Segment, ...]:
    """Every route of a vehicle with what lies in it.

    Parameters
    ----------
    strands : sequence of Strand
        All of the harness.
    route_m : dict of (str, str) to float
        Length of each route, m; ends in alphabetical order.
    slack : float
        Wire over route, no unit.
    insulation_c : float
        Temperature class of the insulation, deg C.

    Returns
    -------
    tuple of Segment
        In the order of `route_m`.
    """
    together = loaded(strands)
    return tuple(_segment(part, m, strands, together, slack, insulation_c) for part, m in route_m.items())


def _segment(
    part: Part,
    metres: float,
    strands: Iterable[Strand],
    together: Mapping[Part, int],
    slack: float,
    insulation_c: float,
) -> Segment:
    inside = [strand for strand in strands if part in strand.parts]
    areas = [strand.area_mm2 for strand in inside for _ in range(strand.conductors)]
    mass = sum(mass_g_per_m(area, insulation_c) for area in areas) * metres * slack
    return Segment(*part, metres, len(inside), len(areas), together.get(part, 0), bundle_mm(areas), mass)
