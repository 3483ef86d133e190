import random
from itertools import permutations

import networkx as nx
import pytest

from pdm_alloc.domain.signals import Message
from pdm_alloc.electrics.bus import (
    BIT_RATES,
    Frame,
    bus_load,
    check_bus,
    frame_bits,
    longest_trunk_m,
    pair_g,
    response_times,
    worst_response_ns,
)
from pdm_alloc.harness.trunk import EXACT_NODES, shortest_order, trunk_of


def _plan(rng, count):
    """Places joined by routes at random, and the lengths of the shortest ways between them by networkx."""
    graph = nx.random_labeled_tree(count, seed=rng.randrange(10**6))
    graph.add_edges_from(tuple(rng.sample(range(count), 2)) for _ in range(count // 2))
    nx.set_edge_attributes(graph, {edge: rng.randint(1, 60) / 10 for edge in graph.edges}, "length")
    graph = nx.relabel_nodes(graph, {n: f"n{n}" for n in graph})
    ways = dict(nx.all_pairs_dijkstra_path_length(graph, weight="length"))
    return sorted(graph), lambda a, b: ways[a][b]


@pytest.mark.parametrize("count", range(2, 9))
def test_the_trunk_is_as_short_as_the_shortest_of_all_orders(count):
    """Brute force over every order up to 8 nodes, lengths along the routes by networkx."""
    for seed in range(5 if count < 8 else 2):
        nodes, length_m = _plan(random.Random(seed), count)
        least = min(sum(map(length_m, order, order[1:])) for order in permutations(nodes))
        trunk = trunk_of(nodes, length_m)
        assert trunk.proved
        assert sorted(trunk.nodes) == nodes
        assert trunk.length_m == pytest.approx(least)
        assert sum(map(length_m, trunk.nodes, trunk.nodes[1:])) == pytest.approx(least)


def test_nodes_on_a_line_are_reached_in_their_order_up_to_the_exact_limit_and_beyond():
    """At 14 nodes proved, at 18 not; on a line both find the line."""
    for count, proved in ((EXACT_NODES, True), (18, False)):
        nodes = [f"n{n:02}" for n in range(count)]
        order, exact = shortest_order(random.Random(1).sample(nodes, count), lambda a, b: abs(int(a[1:]) - int(b[1:])))
        assert (order, exact) == (tuple(nodes), proved)


def test_the_order_of_the_table_does_not_matter():
    """Shuffled nodes give the same trunk."""
    nodes, length_m = _plan(random.Random(4), 9)
    orders = {shortest_order(random.Random(n).sample(nodes, 9), length_m)[0] for n in range(6)}
    assert len(orders) == 1


def test_terminators_sit_at_the_two_ends_and_stubs_count_as_wire():
    """Two terminators whatever the trunk; wire is trunk and stubs."""
    at = {"a": 0.0, "b": 5.0, "c": 2.0}
    trunk = trunk_of(list(at), lambda x, y: abs(at[x] - at[y]), {"c": 0.2})
    assert trunk.terminators == ("a", "b")
    assert trunk.wire_m == pytest.approx(5.2)
    assert trunk_of(["a"], lambda x, y: 0.0).terminators == ("a",)


@pytest.mark.parametrize("nodes", [[], ["a", "a"]])
def test_a_bus_needs_distinct_nodes(nodes):
    """No node and a name twice are refused."""
    with pytest.raises(ValueError, match="distinct"):
        shortest_order(nodes, lambda a, b: 1.0)


# Component makers' texts citing ISO 11898-2, and design-rule tables of controller makers, seen in their documents.
PUBLISHED = {1000: 25, 500: 100, 250: 250, 125: 500, 50: 1000, 20: 2500, 10: 5000}


def test_limits_are_the_published_ones():
    """Trunk by bit rate, stub of 0.3 m, 120 ohm at each end."""
    assert {kbit: limit.trunk_m for kbit, limit in BIT_RATES.items()} == PUBLISHED
    assert check_bus(500, 100.0, {"dash": 0.3}) == []
    assert [w.rule for w in check_bus(500, 100.01, {"dash": 0.301, "nose": 0.1})] == ["trunk", "stub"]
    assert longest_trunk_m(800) == 25 and longest_trunk_m(83) == 500
    with pytest.raises(ValueError, match="no limit is published"):
        longest_trunk_m(2000)


@pytest.mark.parametrize("ohm", [(120.0,), (120.0, 120.0, 120.0), (107.0, 120.0), (120.0, 133.0)])
def test_wrong_termination_is_told(ohm):
    """One, three, too small and too large; 108 to 132 ohm is the published tolerance."""
    assert [w.rule for w in check_bus(500, 10.0, {}, ohm)] == ["terminators"]
    assert check_bus(500, 10.0, {}, (108.0, 132.0)) == []


def test_a_twisted_pair_is_two_wires_and_the_twist():
    """10 m at 5 g/m a wire: 100 g and 5 %."""
    assert pair_g(10.0, 5.0) == pytest.approx(105.0)


def test_the_longest_frames_are_the_published_ones():
    """55 + 10 s and 80 + 10 s bits; from memory, Davis, Burns, Bril and Lukkien (2007), equations (1) to (3)."""
    assert [frame_bits(s) for s in range(9)] == [55 + 10 * s for s in range(9)]
    assert [frame_bits(s, True) for s in range(9)] == [80 + 10 * s for s in range(9)]
    with pytest.raises(ValueError, match="0 to 8"):
        frame_bits(9)


# From memory: Davis, Burns, Bril and Lukkien (2007), table 1, 125 kbit/s: three frames of 1 ms, periods of 2.5, 3.5 and
# 3.5 ms, deadlines of 2.5, 3.25 and 3.25 ms. The first instance of C takes 3 ms, the second 3.5 ms: the analysis that
# looks at the first alone calls it in time.
TABLE_1 = [Message("A", 7, 2500, 1), Message("B", 7, 3500, 2, 3250), Message("C", 7, 3500, 3, 3250)]


def test_the_second_instance_is_the_worst_in_the_papers_example():
    """2, 3 and 3.5 ms; C misses its deadline of 3.25 ms."""
    times = response_times(TABLE_1, 125)
    assert [t.transmission_us for t in times] == [1000, 1000, 1000]
    assert [t.response_us for t in times] == [2000, 3000, 3500]
    assert [t.is_in_time for t in times] == [True, True, False]
    assert bus_load(TABLE_1, 125) == pytest.approx(1 / 2.5 + 2 / 3.5)


def test_an_overloaded_bus_has_no_bound():
    """A load of 1 or more lets the lowest message wait for ever, the highest is still bounded."""
    messages = [Message("A", 7, 2000, 1), Message("B", 7, 2000, 2)]
    assert [t.response_us for t in response_times(messages, 125)] == [2000, None]


@pytest.mark.parametrize("seed", range(40))
def test_no_simulated_wait_is_longer_than_the_bound(seed):
    """Random sets run bit by bit from random offsets, lower frames in the way: never above the bound; some reach it."""
    rng = random.Random(seed)
    frames = [Frame(rng.randint(2, 6), rng.randint(12, 40)) for _ in range(4)]
    bounds = [worst_response_ns(frames, n, 1) for n in range(4)]
    for _ in range(20):
        for n, wait in _simulated(frames, [rng.randint(0, f.period_ns) for f in frames], 400):
            assert bounds[n] is None or wait <= bounds[n]


def _simulated(frames, offsets, end):
    queue, time = [], 0
    due = list(offsets)
    while time < end:
        for n, frame in enumerate(frames):
            while due[n] <= time:
                queue.append((n, due[n]))
                due[n] += frame.period_ns
        if not queue:
            time += 1
            continue
        n, queued = min(queue)
        queue.remove((n, queued))
        time += frames[n].length_ns
        yield n, time - queued


def test_jitter_adds_to_its_own_response_and_to_those_below():
    """A jitter of 0.6 ms delays A by as much, and lets a second A in before C."""
    plain = [t.response_us for t in response_times(TABLE_1[:1], 125)]
    late = [t.response_us for t in response_times([Message("A", 7, 2500, 1, jitter_us=600)], 125)]
    assert (plain, late) == ([1000], [1600])
