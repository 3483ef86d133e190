import random
from collections import Counter, deque
from fractions import Fraction
from itertools import permutations, product
from math import ceil

import networkx as nx
import pytest

from pdm_alloc.domain.module import Message
from pdm_alloc.electrics.signal_lines import (
    BIT_RATES,
    Frame,
    bus_load,
    check_bus,
    frame_bits,
    limit_at,
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


# Trunks: component makers' texts citing ISO 11898-2, and design-rule tables of controller makers, seen in both.
PUBLISHED = {1000: 25, 500: 100, 250: 250, 125: 500, 50: 1000, 20: 2500, 10: 5000}

# One stub and all stubs together by bit rate, m, each seen in the open, none in the standard itself. The standard's
# 0.3 m is told by data sheets of transceivers ("maximum bus length of 40 m and maximum stub length of 0.3 m").
STUBS = {
    'notes of an engineer, "Recommended Maximum Stub Lengths (High-Speed CAN - ISO 11898-2)"': {
        1000: (0.3, None),
        500: (0.6, None),
        250: (1, None),
        125: (2, None),
    },
    "manual of a maker of measuring instruments, table of stubs by bit rate": {
        1000: (1.5, 7.5),
        500: (5.5, 27.5),
        250: (11, 55),
        125: (22, 110),
        50: (55, 275),
    },
    'support article of a maker of bus interfaces (2022), "What is the maximum length of a stub line ..."': {
        1000: (2, 10),
        500: (5, 25),
        250: (10, 50),
        125: (20, 100),
    },
    "manual of a maker of couplers, drop lines": {500: (6, 39), 250: (6, 78), 125: (6, 156)},
}


def test_limits_are_the_published_ones():
    """Trunk by bit rate; of what is published for stubs the strictest, never longer than at the next rate published."""
    assert {kbit: limit.trunk_m for kbit, limit in BIT_RATES.items()} == PUBLISHED
    for kbit in (1000, 500, 250, 125):
        rows = [table[kbit] for table in STUBS.values() if kbit in table]
        limit = BIT_RATES[kbit]
        assert limit.stub_m == min(stub for stub, _ in rows)
        assert limit.stubs_m == min(together for _, together in rows if together is not None)
    assert {BIT_RATES[kbit].stub_m for kbit in (125, 50, 20, 10)} == {2.0}
    assert check_bus(500, 100.0, {"dash": 0.6}) == []
    assert [w.rule for w in check_bus(500, 100.01, {"dash": 0.601, "nose": 0.1})] == ["trunk", "stub"]
    assert [w.rule for w in check_bus(800, 20.0, {"dash": 0.301})] == ["stub"]
    many = {f"n{n}": 0.3 for n in range(26)}
    assert [w.rule for w in check_bus(1000, 20.0, many)] == ["stubs"]
    assert limit_at(800).trunk_m == 25 and limit_at(83).trunk_m == 500
    with pytest.raises(ValueError, match="no limit is published"):
        limit_at(2000)


@pytest.mark.parametrize("ohm", [(120.0,), (120.0, 120.0, 120.0), (107.0, 120.0), (120.0, 133.0)])
def test_wrong_termination_is_told(ohm):
    """One, three, too small and too large; 108 to 132 ohm is the published tolerance."""
    assert [w.rule for w in check_bus(500, 10.0, {}, ohm)] == ["terminators"]
    assert check_bus(500, 10.0, {}, (108.0, 132.0)) == []


def test_a_twisted_pair_is_two_wires_and_the_twist():
    """10 m at 5 g/m a wire: 100 g and 5 %."""
    assert pair_g(10.0, 5.0) == pytest.approx(105.0)


def test_the_longest_frames_are_the_published_ones():
    """55 + 10 s and 80 + 10 s bits: Davis, Burns, Bril and Lukkien (2007), equations (1) to (3).

    Seen second-hand, in the comment of a public bus tool that cites these equations of Real-Time Systems 35, 239-272.
    """
    assert [frame_bits(s) for s in range(9)] == [55 + 10 * s for s in range(9)]
    assert [frame_bits(s, True) for s in range(9)] == [80 + 10 * s for s in range(9)]
    with pytest.raises(ValueError, match="0 to 8"):
        frame_bits(9)


def _stuffed(bits):
    """Bits that are stuffed in: after five alike one of the other kind, which counts for the next five."""
    run, last, added = 0, None, 0
    for bit in bits:
        run, last = (run + 1, bit) if bit == last else (1, bit)
        if run == 5:
            run, last, added = 1, 1 - bit, added + 1
    return added


def test_no_pattern_of_bits_is_stuffed_more_than_the_formula_says():
    """Every pattern of up to 14 bits: the worst is (n - 1) // 4, as in the length of a frame, and it is reached."""
    for n in range(1, 15):
        assert max(_stuffed(bits) for bits in product((0, 1), repeat=n)) == (n - 1) // 4


def test_whole_frames_with_their_checksum_keep_the_length():
    """Frames made bit by bit (start, identifier, control, data, checksum of ISO 11898-1): every identifier without
    data, and every payload of one byte under some: with 13 bits that are never stuffed none is beyond the formula.
    """
    longest = [0, 0]
    every = [(number, ()) for number in range(2048)]
    every += [(number, (byte,)) for number in (0, 0x07F, 0x0F0, 0x400, 0x555, 0x7FF) for byte in range(256)]
    for number, data in every:
        bits = _frame(number, data)
        assert len(bits) == 34 + 8 * len(data)
        longest[len(data)] = max(longest[len(data)], len(bits) + _stuffed(bits) + 13)
    assert 34 + 13 < longest[0] <= frame_bits(0) and 42 + 13 < longest[1] <= frame_bits(1)


def _frame(number, data):
    """What is stuffed of a frame: start, 11 bits of identifier, three dominant bits, length, data, checksum."""
    words = [(0, 1), (number, 11), (0, 3), (len(data), 4), *((byte, 8) for byte in data)]
    bits = [value >> n & 1 for value, size in words for n in reversed(range(size))]
    crc = 0  # x^15 + x^14 + x^10 + x^8 + x^7 + x^4 + x^3 + 1, ISO 11898-1, from memory
    for bit in bits:
        crc = (crc << 1) & 0x7FFF ^ (0x4599 if bit ^ crc >> 14 else 0)
    return [*bits, *(crc >> n & 1 for n in reversed(range(15)))]


# From memory: of Davis, Burns, Bril and Lukkien (2007) the summary could be read and, in public bus tools that cite it,
# the equations; its table 1 could not. At 125 kbit/s three frames of 1 ms, periods of 2.5, 3.5 and 3.5 ms, deadlines of
# 2.5, 3.25 and 3.25 ms: the first C takes 3 ms, the second 3.5 ms, so an analysis of the first alone calls it in time.
# The equations by themselves (`_by_the_equations`) and a bus sent frame by frame (below) find the same numbers.
TABLE_1 = [Message("A", 7, 2500, 1), Message("B", 7, 3500, 2, 3250), Message("C", 7, 3500, 3, 3250)]


def test_the_second_instance_is_the_worst_in_the_papers_example():
    """2, 3 and 3.5 ms; C misses its deadline of 3.25 ms."""
    times = response_times(TABLE_1, 125)
    assert [t.transmission_us for t in times] == [1000, 1000, 1000]
    assert [t.response_us for t in times] == [2000, 3000, 3500]
    assert [t.is_in_time for t in times] == [True, True, False]
    assert bus_load(TABLE_1, 125) == pytest.approx(1 / 2.5 + 2 / 3.5)


def _by_the_equations(messages, kbit):
    """Worst-case responses in ms out of the paper's equations as public tools have them, in fractions.

    The longest frame below, the busy period, and of every instance in it the wait; shares nothing with the package.
    """
    bit = Fraction(1, kbit)
    tasks = [
        ((55 + 10 * m.size) * bit, Fraction(m.period_us, 1000), Fraction(m.jitter_us, 1000))
        for m in sorted(messages, key=lambda m: m.priority)
    ]
    worst = []
    for n, (length, period, jitter) in enumerate(tasks):
        blocking = max((task[0] for task in tasks[n + 1 :]), default=Fraction(0))
        busy, longer = Fraction(0), length
        while longer != busy:
            busy = longer
            longer = blocking + sum(ceil((busy + j) / t) * c for c, t, j in tasks[: n + 1])
        responses = []
        for q in range(ceil((busy + jitter) / period)):
            wait, longer = None, blocking + q * length
            while longer != wait:
                wait = longer
                longer = blocking + q * length + sum(ceil((wait + j + bit) / t) * c for c, t, j in tasks[:n])
            responses.append(jitter + wait - q * period + length)
        worst.append(max(responses))
    return worst


def test_the_equations_give_the_papers_example():
    """2, 3 and 3.5 ms out of the equations alone; the first C by itself takes 3 ms."""
    assert _by_the_equations(TABLE_1, 125) == [2, 3, Fraction(7, 2)]


def test_a_worked_example_of_a_teaching_page():
    """Five messages at 500 kbit/s, 2 or 8 bytes: load 13.9 %, the first answers in 420 us, the last two in 1,230 us.

    Seen: "CAN bandwidth and worst-case delay", a page on robot buses of 2026 that works the sums by hand.
    """
    rows = [("A", 2, 10, 0x001), ("B", 8, 5, 0x100), ("C", 8, 5, 0x180), ("D", 8, 20, 0x300), ("E", 8, 100, 0x700)]
    messages = [Message(name, size, 1000 * period, number) for name, size, period, number in rows]
    times = {t.message: t.response_us for t in response_times(messages, 500)}
    assert (times["A"], times["D"], times["E"]) == (420, 1230, 1230)
    assert round(100 * bus_load(messages, 500), 1) == 13.9


@pytest.mark.parametrize("seed", range(40))
def test_every_response_is_what_the_equations_say(seed):
    """Random messages with jitter at random loads: each bound equals that of the equations, rounded up to 1 us."""
    rng = random.Random(seed)
    kbit = rng.choice((125, 250, 500, 1000))
    while True:
        messages = [
            Message(f"m{n}", rng.randrange(9), 500 * rng.randint(2, 40), n, jitter_us=rng.choice((0, 0, 300, 2500)))
            for n in range(rng.randint(2, 7))
        ]
        if bus_load(messages, kbit) < 0.97:
            break
    got = [t.response_us for t in response_times(messages, kbit)]
    assert got == [ceil(1000 * ms) for ms in _by_the_equations(messages, kbit)]


def test_an_overloaded_bus_has_no_bound():
    """A load of 1 or more lets the lowest message wait for ever, the highest is still bounded."""
    messages = [Message("A", 7, 2000, 1), Message("B", 7, 2000, 2)]
    assert [t.response_us for t in response_times(messages, 125)] == [2000, None]


def test_the_papers_example_sent_frame_by_frame():
    """All three queued at once: C arrives after 3 ms, its second, pushed through by the first, after 3.5 ms."""
    frames = [Frame(500, 1250), Frame(500, 1750), Frame(500, 1750)]  # of 2 us
    waits = [wait for n, wait in _sent(frames, (0, 0, 0), 5000) if n == 2]
    assert waits[:2] == [1500, 1750]
    assert worst_response_ns(frames, 2, 1) == max(waits) == 1750


@pytest.mark.parametrize("seed", range(12))
def test_responses_of_every_phase_stay_within_the_bound_and_reach_it(seed):
    """Whole bits, every phase of release over a whole cycle: the longest is the bound, and none is longer.

    A lower frame is in the way from one bit before at the latest, so what is reached has a frame in the way one bit
    shorter; of the lowest message it is the bound itself.
    """
    rng = random.Random(seed)
    while True:
        frames = [Frame(rng.randint(2, 5), rng.choice((8, 9, 12, 18, 24))) for _ in range(3)]
        if 0.6 < sum(f.length_ns / f.period_ns for f in frames) < 1:
            break
    longest = [0, 0, 0]
    for phases in product(*(range(frame.period_ns) for frame in frames[1:])):
        for n, wait in _sent(frames, (0, *phases), 2 * 72 + 24):
            longest[n] = max(longest[n], wait)
    for n, wait in enumerate(longest):
        lower = max((f.length_ns for f in frames[n + 1 :]), default=0)
        in_the_way = [Frame(lower - 1, 10**6)] if lower else []
        assert wait == worst_response_ns([*frames[: n + 1], *in_the_way], n, 1)
        assert wait <= worst_response_ns(frames, n, 1)


def _arbitrated(numbers):
    """Of all that begin together the one left when identifiers are sent bit by bit: a 0 is dominant and seen by all."""
    left = list(numbers)
    for bit in reversed(range(11)):
        level = min(number >> bit & 1 for number in left)
        left = [number for number in left if number >> bit & 1 == level]
    return left[0]


def _on_the_wire(messages, phases, end):
    """Longest response of each message, bit times: queued every period from its phase, one step of time per bit."""
    queues, free, longest = {m.priority: deque() for m in messages}, 0, Counter()
    sizes = {m.priority: frame_bits(m.size) for m in messages}
    for now in range(end):
        for m, phase in zip(messages, phases, strict=True):
            if now >= phase and (now - phase) % m.period_us == 0:
                queues[m.priority].append(now)
        waiting = [number for number, queue in queues.items() if queue]
        if now >= free and waiting:
            number = _arbitrated(waiting)
            free = now + sizes[number]
            longest[number] = max(longest[number], free - queues[number].popleft())
    return longest


@pytest.mark.parametrize("seed", range(4))
def test_a_bus_stepped_bit_by_bit_stays_within_the_bound_and_comes_within_a_bit_of_it(seed):
    """At 1 Mbit/s a bit is 1 us. Of 12 random phases none is longer; all queued at once, a lower frame one bit before,
    each message comes to its bound less that bit, the lowest to its bound.
    """
    rng = random.Random(seed)
    while True:
        sizes = [(rng.randrange(9), rng.choice((300, 400, 500, 700, 1100))) for _ in range(4)]
        messages = [Message(f"m{n}", size, period, 40 + 9 * n) for n, (size, period) in enumerate(sizes)]
        if 0.5 < bus_load(messages, 1000) < 0.95 and _is_steady(messages):
            break
    bound = {m.priority: t.response_us for m, t in zip(messages, response_times(messages, 1000), strict=True)}
    for _ in range(12):
        phases = [rng.randrange(m.period_us) for m in messages]
        seen = _on_the_wire(messages, phases, 6_000)
        assert all(seen[number] <= bound[number] for number in bound)
    for n, m in enumerate(messages):
        lower = max(range(n + 1, 4), key=lambda k: messages[k].size, default=None)
        phases = [0 if k == lower else 1 + (k > n) * 5_999 for k in range(4)]
        assert _on_the_wire(messages, phases, 6_000)[m.priority] == bound[m.priority] - (lower is not None)


def _is_steady(messages):
    """Whether no bound would jump for a frame in the way that is a bit shorter."""
    for n in range(len(messages) - 1):
        frames = [Frame(frame_bits(m.size), m.period_us) for m in messages]
        lower = max(f.length_ns for f in frames[n + 1 :])
        less = worst_response_ns([*frames[: n + 1], Frame(lower - 1, 10**6)], n, 1)
        if less != worst_response_ns([*frames[: n + 1], Frame(lower, 10**6)], n, 1) - 1:
            return False
    return True


def _sent(frames, phases, end):
    """Frame by frame: of all that are queued the first by priority, in order; number and time from queued to sent."""
    queued = [
        (phase + k * f.period_ns, n)
        for n, (f, phase) in enumerate(zip(frames, phases, strict=True))
        for k in range(end)
    ]
    queued = sorted(entry for entry in queued if entry[0] < end)
    time, waiting = 0, []
    while queued or waiting:
        if not waiting:
            time = max(time, queued[0][0])
        while queued and queued[0][0] <= time:
            since, n = queued.pop(0)
            waiting.append((n, since))
        n, since = min(waiting)
        waiting.remove((n, since))
        time += frames[n].length_ns
        yield n, time - since


def test_a_long_identifier_is_compared_by_its_first_bits():
    """0x0CC0001 begins with 0x033 and is sent before 0x123, but after 0x033 itself."""
    ids = {"short": 0x123, "long": 0x033 << 18 | 1, "same": 0x033, "late": 0x33C << 18}
    messages = [Message(name, 8, 10_000, number) for name, number in ids.items()]
    assert [t.message for t in response_times(messages, 500)] == ["same", "long", "short", "late"]


def test_jitter_adds_to_its_own_response_and_to_those_below():
    """A jitter of 0.6 ms delays A by as much, and lets a second A in before C."""
    plain = [t.response_us for t in response_times(TABLE_1[:1], 125)]
    late = [t.response_us for t in response_times([Message("A", 7, 2500, 1, jitter_us=600)], 125)]
    assert (plain, late) == ([1000], [1600])
