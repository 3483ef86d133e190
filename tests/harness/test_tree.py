"""Shortest routes and what wires share of them."""

import math

import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.vehicle import Place, Route
from pdm_alloc.harness.paths import lengths, route_graph, shortest_tree
from tests.harness.routes import meshes, trees

# a fork by hand: source - 2 m - joint, from there 1 m to left and 3 m to right, and 0.5 m on from right to far
FORK = [Place(n) for n in ("source", "joint", "left", "right", "far")]
FORKED = [
    Route("source", "joint", 2.0),
    Route("left", "joint", 1.0),
    Route("joint", "right", 3.0),
    Route("far", "right", 0.5),
]


def plain_graph(places, routes):
    """A graph made here without the package: straight distances where a route is empty."""
    at = {p.name: p for p in places}
    graph = nx.Graph()
    for route in routes:
        a, b = at[route.start], at[route.end]
        graph.add_edge(a.name, b.name, m=route.length_m or math.dist((a.x_m, a.y_m), (b.x_m, b.y_m)))
    return graph


@given(trees(), st.data())
def test_lengths_on_a_tree_agree_with_networkx(drawn, data):
    """Where there is one way only, length and shared part are those of networkx's path."""
    places, routes = drawn
    graph, source = plain_graph(places, routes), data.draw(st.sampled_from(places)).name
    tree = shortest_tree(places, routes, source)
    one, other = (data.draw(st.sampled_from(places)).name for _ in range(2))
    ways = [nx.shortest_path(graph, source, end) for end in (one, other)]
    assert [list(tree.way(end)) for end in (one, other)] == ways
    assert tree.length_m(one) == pytest.approx(nx.shortest_path_length(graph, source, one, weight="m"))
    parts = [set(map(frozenset, nx.utils.pairwise(way))) for way in ways]
    assert tree.shared_m(one, other) == pytest.approx(sum(graph.edges[tuple(e)]["m"] for e in parts[0] & parts[1]))
    assert tree.joined_m([one, other]) == pytest.approx(sum(graph.edges[tuple(e)]["m"] for e in parts[0] | parts[1]))


@given(meshes(), st.data())
def test_shortest_way_in_a_mesh(drawn, data):
    """Where ways can be chosen, the length is the shortest, and every way really exists and is so long."""
    places, routes = drawn
    graph, source = plain_graph(places, routes), data.draw(st.sampled_from(places)).name
    tree = shortest_tree(places, routes, source)
    for place in places:
        way = tree.way(place.name)
        assert nx.path_weight(graph, way, "m") == pytest.approx(tree.length_m(place.name))
        assert tree.length_m(place.name) == pytest.approx(
            nx.shortest_path_length(graph, source, place.name, weight="m")
        )


@pytest.mark.once
@given(meshes(), st.randoms())
def test_order_of_rows_moves_nothing(drawn, turn):
    """Shuffled places and routes, and routes named the other way round, give the same ways."""
    places, routes = drawn
    shuffled, turned = list(places), [Route(r.end, r.start, r.length_m) for r in routes]
    turn.shuffle(shuffled)
    turn.shuffle(turned)
    assert shortest_tree(places, routes, "p0").above == shortest_tree(shuffled, turned, "p0").above


def test_a_fork_by_hand():
    """Two metres are shared by all, three more by right and far."""
    tree = shortest_tree(FORK, FORKED, "source")
    assert tree.way("far") == ("source", "joint", "right", "far")
    assert (tree.length_m("far"), tree.shared_m("left", "far"), tree.shared_m("right", "far")) == (5.5, 2.0, 5.0)
    assert tree.joined_m(["left", "far", "right"]) == 6.5
    assert tree.joined_m([]) == tree.length_m("source") == 0


def test_equal_ways_are_decided_by_name():
    """Over a or over b it is 2 m: the last place before the end decides, and a comes first."""
    places = [Place(n) for n in ("b", "end", "a", "from")]
    routes = [Route("from", "b", 1.0), Route("b", "end", 1.0), Route("end", "a", 1.0), Route("a", "from", 1.0)]
    assert shortest_tree(places, routes, "from").way("end") == ("from", "a", "end")


def test_the_shorter_of_two_routes():
    """Two rows for one pair of places: the shorter is taken; a route of unknown length is none."""
    places = [Place("a", 0, 0), Place("b", 3, 4), Place("c")]
    graph = route_graph(places, [Route("a", "b", 6.0), Route("b", "a"), Route("b", "c")])
    assert graph.edges["a", "b"]["m"] == 5.0 and not graph["c"]
    assert "c" not in shortest_tree(places, [Route("a", "b")], "a")
    with pytest.raises(KeyError):
        shortest_tree(places, [], "nowhere")


def test_wire_by_hand():
    """4 m of route, 5 % of slack and 0.15 m at each end are 4.5 m; a stated length is taken as it is, not to itself."""
    places = [Place("a", 0, 0, ambient_c=40), Place("b", 4, 0, ambient_c=90), Place("c", 4, 1)]
    known = lengths(Settings(wire_ambient_c=55), places, [Route("a", "b")])
    assert known.wire_m("a", "b", 99.0) == pytest.approx(4.5)
    assert (known.wire_m("a", "c", 7.0), known.wire_m(None, "b", 7.0), known.wire_m("a", None)) == (7.0, 7.0, None)
    assert known.wire_m("a", "a") == pytest.approx(0.3)
    bare = lengths(Settings(), places, [])
    assert (bare.wire_m("a", "b", 2.0), bare.wire_m("a", "a", 2.0)) == (2.0, pytest.approx(0.3))


def test_hottest_place_on_the_way():
    """The way counts, not its ends alone; a place without a temperature is at the setting."""
    places = [Place("a", ambient_c=40), Place("b", ambient_c=90), Place("c"), Place("d", ambient_c=30)]
    known = lengths(Settings(wire_ambient_c=55), places, [Route("a", "b", 1), Route("b", "c", 1), Route("a", "d", 1)])
    assert (known.hottest_c("a", ["c"]), known.hottest_c("a", ["d"]), known.hottest_c("a", [None])) == (90, 40, 55)
    assert (known.hottest_c(None, ["d"]), known.hottest_c("a", []), known.hottest_c("c", ["c"])) == (55, 55, 55)
