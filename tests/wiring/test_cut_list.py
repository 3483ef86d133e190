"""The cut list, the ground plan and what verify says of them."""

from dataclasses import replace
from itertools import product

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pdm_alloc.domain.module import Signal
from pdm_alloc.domain.vehicle import Ground, Load, Part, Place, Route, WireColour, colour_of, part_for
from pdm_alloc.harness.paths import lengths
from pdm_alloc.harness.trunk import PIN, End, pieces
from pdm_alloc.program.lightest import Point, Return, assign_returns
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.verify.check import verify
from pdm_alloc.verify.copper import bench
from tests.export.made_up import solved
from tests.strategies import examples
from tests.wiring.small import forked, unit

DEMOS = [("rally_coupe", "middle-42"), ("expedition_truck", "compact-31")]


@st.composite
def _laid(draw):
    """A tree of places, ends on some of them, some of stated length."""
    count = draw(st.integers(1, 7))
    names = [f"p{n}" for n in range(count)]
    routes = [
        Route(names[draw(st.integers(0, n - 1))], names[n], draw(st.integers(1, 40)) / 10) for n in range(1, count)
    ]
    places = [st.sampled_from(names), st.none()]
    ends = [
        End(f"e{n}", draw(st.one_of(places)), draw(st.integers(1, 50)) / 10) for n in range(draw(st.integers(1, 6)))
    ]
    return names, routes, ends


@given(_laid())
@settings(deadline=None)
def test_pieces_join_pin_and_ends_and_lose_no_wire(laid):
    """The pieces are a tree from the pin to every end, and as long as trunk, branches and allowances together."""
    from pdm_alloc.domain.kinds import Settings

    names, routes, ends = laid
    known = lengths(Settings(), [Place(name) for name in names], routes)
    tree = known.tree(names[0])
    made = pieces(names[0], tree, ends, 1.05, 0.15)
    graph = nx.Graph([(p.start, p.end) for p in made])
    assert nx.is_tree(graph)
    assert {node for node in graph if graph.degree(node) == 1} == {PIN, *(("end", e.key) for e in ends)}
    placed = [e for e in ends if e.place is not None]
    alone = sum(e.stated_m for e in ends if e.place is None)
    joined = tree.joined_m([e.place for e in placed]) * 1.05 + (1 + len(placed)) * 0.15 if placed else 0.0
    assert sum(p.length_m for p in made) == pytest.approx(alone + joined)
    assert min(p.length_m for p in made) > 0


@given(
    st.lists(st.tuples(st.integers(1, 2), st.integers(1, 9), st.integers(1, 9)), min_size=1, max_size=4),
    st.lists(st.integers(1, 15), min_size=2, max_size=2),
)
@settings(deadline=None, max_examples=examples(40, 400))
def test_returns_take_the_least_wire_there_is(rows, limits):
    """Against every possible assignment: as many returns as can be, then the least wire, no point over its limit."""
    returns = [Return(count, 1, (ma,), {0: mm, 1: 10 - mm}) for count, ma, mm in rows]
    points = [Point(limits[0], None), Point(limits[1], 3)]
    chosen = assign_returns(returns, points)
    got = (sum(chosen.values()), -sum(n * returns[r].way_mm[p] for (r, p), n in chosen.items()))
    best = max(_every(returns, limits))
    assert got == best


def _every(returns, limits):
    shares = [[(a, b) for a in range(r.count + 1) for b in range(r.count + 1 - a)] for r in returns]
    for plan in product(*shares):
        amps = [sum(x[p] * r.state_ma[0] for x, r in zip(plan, returns, strict=True)) for p in (0, 1)]
        if amps[0] <= limits[0] and amps[1] <= limits[1] and sum(b for _, b in plan) <= 3:
            mm = sum(a * r.way_mm[0] + b * r.way_mm[1] for (a, b), r in zip(plan, returns, strict=True))
            yield sum(a + b for a, b in plan), -mm


def grounded(vehicle, module):
    """A demo allocation with ground points all over the vehicle."""
    allocation = solved(vehicle, module)
    places = [p.name for p in allocation.vehicle.places]
    unit = replace(allocation.units[0], place=next(p.name for p in allocation.vehicle.places if p.mount))
    grounds = (
        *(Ground(f"G{n}", p, max_ma=90_000) for n, p in enumerate(places[::3], 1)),
        Ground("S", places[0], "sensor"),
    )
    return replace(allocation, vehicle=replace(allocation.vehicle, grounds=grounds), units=(unit,))


@pytest.mark.parametrize("demo", DEMOS, ids=lambda demo: demo[0])
def test_cut_list_weighs_what_the_harness_weighs(demo):
    """Pieces of circuits together weigh the harness to 0.1 g, battery cables too; no label comes twice."""
    allocation = grounded(*demo)
    table = allocation.cut_list
    known = table[table.role.isin(["circuit", "return"])]
    assert known.mass_g.sum() == pytest.approx(sum(w.mass_g or 0.0 for w in allocation.wired), abs=0.1)
    cables = table[table.role.isin(["feed", "feed return"])]
    assert cables.mass_g.sum() == pytest.approx(
        allocation.links.mass_g.sum(), rel=5e-3
    )  # lengths there are to the centimetre
    assert table.label.is_unique


@pytest.mark.parametrize("demo", DEMOS, ids=lambda demo: demo[0])
def test_every_load_has_both_ends(demo):
    """Every item of every load is fed by one run from its channel, and returns to one point, or over its bridge."""
    allocation = grounded(*demo)
    table = allocation.cut_list
    graph = nx.Graph()
    for row in table[table.role == "circuit"].to_dict("records"):
        graph.add_edge((row["from_is"], row["from"]), (row["to_is"], row["to"]))
    pins = {
        (u.label, f"{c.connector} {pin}"): c.name for u in allocation.units for c in u.module.channels for pin in c.pins
    }
    for circuit in allocation.circuits:
        for load, item in circuit.items:
            name = load if allocation.vehicle.load(load).count == 1 else f"{load} #{item}"
            reached = nx.node_connected_component(graph, ("load", name))
            channels = {pins[circuit.unit, pin] for kind, pin in reached if kind == "pin"}
            assert channels == set(circuit.channels)
            back = table[table.role.isin(["return", "ground return"]) & (table["from"] == name)]
            assert len({row["to"] for row in back.to_dict("records")}) == (0 if circuit.use == "bridge" else 1)


def test_verify_counts_studs_and_splices():
    """A stud that is made smaller, a power return on a sensor ground and a splice too small are each seen."""
    allocation = grounded(*DEMOS[0])
    assert not list(bench(allocation))
    assert verify(allocation).empty
    worst = allocation.ground_points.sort_values("current_a").iloc[-1]
    small = tuple(
        replace(g, max_ma=int(1000 * worst.current_a) - 1) if g.name == worst.ground else g
        for g in allocation.vehicle.grounds
    )

    class Written:
        """The tables as they are, for a vehicle that is another."""

        vehicle, circuits = replace(allocation.vehicle, grounds=small), allocation.circuits
        ground_plan, cut_list = allocation.ground_plan, allocation.cut_list

    assert {f.rule for f in bench(Written)} == {"ground current"}
    Written.vehicle = replace(allocation.vehicle, grounds=tuple(replace(g, use="sensor") for g in small))
    assert "ground use" in {f.rule for f in bench(Written)}
    part = (Part("splice", "*", None, 1.0, "S-1"),)
    Written.vehicle = replace(allocation.vehicle, parts=part)
    Written.cut_list = allocation.cut_list.assign(to_part="S-1")
    assert "splice" in {f.rule for f in bench(Written)}


def test_a_ground_point_is_not_taken_for_a_splice():
    """Where a ground point is called S1, splices are written out, and neither is counted as the other."""
    allocation = grounded(*DEMOS[0])
    grounds = tuple(replace(g, name="S1") if g.name == "S" else g for g in allocation.vehicle.grounds)
    part = (Part("splice", "*", None, 100.0, "J-1"), Part("splice", "*", 1.0, 100.0, "J-2"))
    allocation = replace(allocation, vehicle=replace(allocation.vehicle, grounds=grounds, parts=part))
    table = allocation.cut_list
    splices = {*table[table.from_is == "splice"]["from"], *table[table.to_is == "splice"]["to"]}
    assert splices and all(name.startswith("splice ") for name in splices)
    assert not list(bench(allocation))


def test_colours_and_parts_follow_the_nearest_rule():
    """A load's own colour stands above its command's and its kind's; a part for the connector above one for any."""
    load = solved(*DEMOS[0]).vehicle.loads[0]
    rules = [
        WireColour("kind", load.kind, "red"),
        WireColour("command", load.command, "blue"),
        WireColour("all", "*", "grey"),
    ]
    assert colour_of(rules, [load]) == "blue"
    assert colour_of([*rules, WireColour("load", load.name, "pink")], [load]) == "pink"
    assert colour_of(rules[:1], [load], "return") == "red"
    assert colour_of([*rules, WireColour("return", "*", "black")], [load], "return") == "black"
    parts = [
        Part("terminal", "*", 0.5, 1.5, "A"),
        Part("terminal", "west", 0.5, 2.5, "B"),
        Part("terminal", "*", 0.5, 1.0, "C"),
    ]
    assert [
        part_for(parts, "terminal", at, size) for at, size in (("west", 1.0), ("east", 1.0), ("east", 1.5), ("east", 4))
    ] == [*("B", "C", "A", "")]


def test_what_a_box_switches_to_ground_has_no_return_wire_to_its_module():
    """Counted by hand where returns are wires: a valve alone, a lamp alone, and both on one channel.

    source to joint 2 m, from there 1 m to the valves and 3 m to the lamps; 5 % of slack, 0.15 m at each end.
    """
    loads = [Load(f"{name} {n}", f"{name[0]}{n}", 900, place=place)
             for n in (1, 2) for name, place in (("valve", "left"), ("lamp", "right"))]  # fmt: skip
    loads[3] = replace(loads[3], command="v2")
    low = (Signal("valve 1", "low_side", place="left", current_ma=900),
           Signal("outputs", "injector", place="left", current_ma=900, fed_by="valve 2"))  # fmt: skip
    small = replace(forked(*loads, return_path="wire"), grounds=(Ground("G1", "source", max_ma=5_000),))
    channels = [PlacedCircuit("box", (str(n),), "single", load.command, ((load.name, 1),))
                for n, load in enumerate(loads[:2], 1)]  # fmt: skip
    channels.append(PlacedCircuit("box", ("3",), "single", "v2", (("lamp 2", 1), ("valve 2", 1))))
    plain = Allocation(small, (unit(place="source"),), tuple(channels))
    driven = Allocation(replace(small, signals=low), plain.units, plain.circuits)
    metres = {"valve 1": 3 * 1.05 + 0.3, "lamp 1": 5 * 1.05 + 0.3, "out": 6 * 1.05 + 0.45}
    both_back = 2 * (metres["valve 1"] + metres["lamp 1"] + metres["out"])
    assert wire_of(plain) == pytest.approx(both_back)
    assert wire_of(driven) == pytest.approx(metres["valve 1"] + 3 * metres["lamp 1"] + metres["out"])
    assert wire_of(driven, "return") == pytest.approx(2 * metres["lamp 1"])
    for one in (plain, driven):
        circuits = one.cut_list[one.cut_list["role"].isin(["circuit", "return"])]
        assert circuits["mass_g"].sum() == pytest.approx(sum(w.mass_g for w in one.wired))
        assert verify(one).empty
    assert wires_in(plain) == {"joint to left": 4, "joint to right": 4, "joint to source": 6}
    assert wires_in(driven) == {"joint to left": 3, "joint to right": 4, "joint to source": 5}
    assert list(plain.ground_plan["load"]) == ["valve 1", "lamp 1", "lamp 2; valve 2"]
    assert list(driven.ground_plan["load"]) == ["lamp 1", "lamp 2"]
    assert driven.ground_points["current_a"].item() == pytest.approx(1.8)


def wire_of(allocation, *roles):
    """Wire of circuits in the cut list, m."""
    cuts = allocation.cut_list
    return cuts[cuts["role"].isin(roles or ("circuit", "return"))]["length_m"].sum()


def wires_in(allocation):
    """Wires in each route."""
    rows = allocation.segments.itertuples()
    return {" to ".join(sorted((row.start, row.end))): row.wires for row in rows}
