"""The routes of a vehicle as a graph of places."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from pdm_alloc.module import natural_key
from pdm_alloc.vehicle import Place, Route

if TYPE_CHECKING:
    import networkx as nx

__all__ = ["route_graph", "route_m"]


def route_m(route: Route, places: dict[str, Place]) -> float | None:
    """Length of a route, or the straight distance where its row leaves it empty, m; None: no coordinates either."""
    if route.length_m is not None:
        return route.length_m
    start, end = places[route.start], places[route.end]
    if start.x_m is None or start.y_m is None or end.x_m is None or end.y_m is None:
        return None
    return math.hypot(start.x_m - end.x_m, start.y_m - end.y_m)


def route_graph(places: Sequence[Place], routes: Sequence[Route]) -> "nx.Graph":
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
    graph: nx.Graph = nx.Graph()
    graph.add_nodes_from(by_name)
    for start, end, metres in sorted(_edges(by_name, routes), key=lambda e: (natural_key(e[0]), natural_key(e[1]))):
        if metres < graph.get_edge_data(start, end, {"m": math.inf})["m"]:
            graph.add_edge(start, end, m=metres)
    return graph


def _edges(places, routes):
    for route in routes:
        metres = route_m(route, places)
        if metres is not None:
            start, end = sorted((route.start, route.end), key=natural_key)
            yield start, end, metres
