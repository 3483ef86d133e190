"""The scene of the board, and the browser's arithmetic held against the harness room's."""

import json
import random
import shutil
import subprocess
from dataclasses import replace
from itertools import pairwise
from math import dist
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import pdm_alloc as pa
from pdm_alloc.domain.vehicle import Place, Route
from pdm_alloc.files.tables.read_catalogue import fitted
from pdm_alloc.harness.paths import shortest_tree
from pdm_alloc.harness.trunk import shortest_order
from pdm_alloc.panel.board_scene import plan_of_harness, scene_of, with_signals
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.link_tables import laid_links
from pdm_alloc.result.placed import wire_circuits
from pdm_alloc.studies.signal_places import signals_beside, with_bus

pytestmark = pytest.mark.once

PANEL = Path(__file__).parents[2] / "pdm_alloc" / "panel"
NODE = shutil.which("node")
if NODE is None:
    driver = pytest.importorskip("playwright._impl._driver", reason="neither node nor playwright is installed")
    NODE = driver.compute_driver_executable()[0]

SCRIPT = """
const cases = JSON.parse(require('fs').readFileSync(0, 'utf8'));
console.log(JSON.stringify(cases.map(([scene, moved, boxes, follow]) => {
  const now = laid(scene, moved, boxes, follow);
  return {...now, runs: [...now.runs].map(([key, run]) => [key.split('\\n'), run])};
})));
"""


def in_script(cases):
    """What the browser's script makes of scenes, moved places, moved boxes and whether lengths follow."""
    script = (PANEL / "board_harness.js").read_text() + SCRIPT
    out = subprocess.run([NODE, "-e", script], input=json.dumps(cases), capture_output=True, text=True, check=True)
    return json.loads(out.stdout)


@pytest.fixture(scope="module")
def vehicle():
    return pa.read_vehicle("data/rally_coupe")


@pytest.fixture(scope="module")
def catalogue():
    return pa.read_catalogue("data/catalogue")


@pytest.fixture(scope="module")
def allocation(vehicle, catalogue):
    return pa.allocate(vehicle, fitted(vehicle, catalogue, ["middle-42"], ["under seat"]))


def scene(allocation):
    unit = allocation.units[0]
    return scene_of(allocation.vehicle, allocation, [(unit.label, unit.place)])


def test_the_script_lays_the_harness_as_the_harness_room_does(allocation):
    """At rest: every route's length, wires, bundle and mass, every wire and cable, and what they weigh together."""
    ((now,), state) = in_script([[scene(allocation).state, {}, {}, True]]), scene(allocation)
    assert now["wiresG"] == pytest.approx(state.wires_g)
    assert now["cablesG"] == pytest.approx(state.cables_g)
    assert now["wiresG"] == pytest.approx(allocation.wires.mass_g.sum(), abs=2)
    assert [lead["m"] for lead in now["leads"]] == pytest.approx([w.wire_m for w in allocation.wired])
    runs = {frozenset(ends): run for ends, run in now["runs"]}
    assert len(runs) == len(allocation.segments)
    for row in allocation.segments.itertuples():
        run = runs[frozenset((row.start, row.end))]
        assert (run["m"], run["wires"]) == (pytest.approx(row.length_m, abs=0.001), row.wires)
        assert (run["mm"], run["g"]) == (pytest.approx(row.bundle_mm, abs=0.06), pytest.approx(row.mass_g, abs=0.06))


def test_another_module_place_is_weighed_as_the_harness_room_weighs_it(allocation, vehicle):
    """The module carried from mount to mount with its circuits and wire sizes as they are."""
    mounts = [p.name for p in vehicle.places if p.mount]
    state = scene(allocation).state
    for place, now in zip(mounts, in_script([[state, {}, {"middle-42": at}, True] for at in mounts]), strict=True):
        assert now["wiresG"] == pytest.approx(weighed(allocation, place), rel=1e-9)


def weighed(allocation, place, vehicle=None):
    """Wires of an allocation with its module elsewhere, in sizes as they are, g."""
    vehicle = vehicle or allocation.vehicle
    units = tuple(replace(unit, place=place) for unit in allocation.units)
    there = wire_circuits(vehicle, units, allocation.circuits)
    pairs = zip(there, allocation.wired, strict=True)
    return sum(new.wire_m * old.mass_g / old.wire_m for new, old in pairs)


@settings(max_examples=12, deadline=None)
@given(st.data())
def test_a_drag_weighs_what_the_tables_would(allocation, data):
    """A place anywhere: the script's masses are those of the vehicle with that place there, sizes as they are."""
    vehicle = replace(allocation.vehicle, routes=tuple(replace(r, length_m=None) for r in allocation.vehicle.routes))
    base = replace(allocation, vehicle=vehicle)
    place = data.draw(st.sampled_from([p.name for p in vehicle.places]))
    mm = st.integers(-3_000, 6_000)
    x, y = data.draw(mm) / 1000, data.draw(mm) / 1000
    (now,) = in_script([[scene(base).state, {place: [x, y]}, {}, True]])
    places = tuple(replace(p, x_m=x, y_m=y) if p.name == place else p for p in vehicle.places)
    assert now["wiresG"] == pytest.approx(weighed(base, "under seat", replace(vehicle, places=places)), rel=1e-9)


def test_cables_follow_battery_and_module(allocation, vehicle):
    """The battery elsewhere: the cable to the isolator alone changes; lengths are those of the harness room."""
    state = scene(allocation).state
    (now,) = in_script([[state, {}, {"battery": "tunnel", "middle-42": "boot"}, True]])
    moved = replace(vehicle, settings=replace(vehicle.settings, battery_place="tunnel"))
    units = tuple(replace(unit, place="boot") for unit in allocation.units)
    there = laid_links(moved, units, wire_circuits(moved, units, allocation.circuits))
    assert [c["m"] for c in now["cables"]] == pytest.approx([one.demand.length_m for one in there])
    bare = replace(vehicle, settings=replace(vehicle.settings, isolator_place=None))
    other = Allocation(bare, allocation.units, allocation.circuits)
    (now,) = in_script([[scene(other).state, {}, {"battery": "tunnel"}, True]])
    moved = replace(bare, settings=replace(bare.settings, battery_place="tunnel"))
    there = laid_links(moved, allocation.units, wire_circuits(moved, allocation.units, allocation.circuits))
    assert [c["m"] for c in now["cables"]] == pytest.approx([one.demand.length_m for one in there])


@settings(max_examples=15, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 3)), min_size=2, max_size=9, unique=True), st.data())
def test_ways_equally_long_are_told_apart_alike(spots, data):
    """On a lattice, where most ways are equally long, the script takes the ways of the harness room."""
    places = tuple(Place(f"p{n * 7 % 11}", float(x), float(y)) for n, (x, y) in enumerate(spots))
    names = [p.name for p in places]
    pairs = data.draw(st.lists(st.tuples(*[st.sampled_from(names)] * 2).filter(lambda p: p[0] < p[1]), unique=True))
    routes = tuple(Route(a, b) for a, b in pairs)
    vehicle = replace(pa.read_vehicle("data/rally_coupe"), places=places, routes=routes, loads=())
    lead = {"unit": "u", "name": "", "wires": 1, "g_per_m": 1.0, "across2_mm2": 1.0}
    state = {**scene_of(vehicle, modules=[("u", names[0])]).state, "slack": 1.0, "end_m": 0.0}
    (now,) = in_script([[{**state, "leads": [{**lead, "ends": [[name, 1, None]]} for name in names]}, {}, {}, True]])
    tree = shortest_tree(places, routes, names[0])
    wires = {frozenset(ends): run["wires"] for ends, run in now["runs"]}
    counted = dict.fromkeys(wires, 0)
    for name in (name for name in names if name in tree):
        way = tree.way(name)
        for ends in pairwise(way):
            counted[frozenset(ends)] += 1
    assert wires == counted


def test_a_saved_notebook_keeps_a_plan(allocation, vehicle):
    """Without a kernel the plan is a figure; where places have no coordinates there is none, and no error."""
    assert plan_of_harness(allocation).get_title(loc="left") == "Harness"
    bare = replace(vehicle, places=tuple(replace(p, x_m=None, y_m=None) for p in vehicle.places))
    assert plan_of_harness(replace(allocation, vehicle=bare)) is None
    assert plan_of_harness(replace(allocation, units=tuple(replace(u, place=None) for u in allocation.units))) is None


@pytest.fixture(scope="module")
def side(allocation, catalogue):
    return signals_beside(allocation.vehicle, catalogue, allocation.units)


def signals_at(side, places):
    """The same signals on the same pins with boxes, modules and keypads elsewhere."""
    boxes = tuple(replace(box, place=places.get(box.label, box.place)) for box in side.boxes)
    units = tuple(replace(unit, place=places.get(unit.label, unit.place)) for unit in side.units)
    at = {place: places.get(label, place) for label, place, _ in side.pads()}
    keypads = {at[place]: pads for place, pads in side.keypads.items()}
    fit = {"allocation": replace(side.allocation, boxes=boxes), "units": units, "keypads": keypads, "bus": None}
    return with_bus(replace(side, **fit))


def test_signal_wires_and_trunk_follow_a_box_as_the_harness_room_lays_them(allocation, side):
    """Control unit, keypad and module carried to other places: trunk, its order, and the masses of the cut list."""
    state = with_signals(scene(allocation), side, {}).state
    pad = next(label for label, place, _ in side.pads() if place == "dash")
    carried = [{}, {"control-40": "boot"}, {"control-40": "glove box"}, {pad: "rear shelf"}, {"middle-42": "boot"}]
    for boxes, now in zip(carried, in_script([[state, {}, boxes, True] for boxes in carried]), strict=True):
        there = signals_at(side, boxes)
        assert now["bus"]["m"] == pytest.approx(there.bus.trunk.length_m)
        assert now["bus"]["order"] == list(there.bus.trunk.nodes)
        assert now["bus"]["g"] == pytest.approx(there.bus.mass_g)
        cuts = there.cut_list()
        each_g = cuts["mass_g"] / cuts["length_m"]
        for grams, of_bus in ((now["signalsG"], False), (now["bus"]["g"], True)):
            weighed = cuts[(cuts["role"] == "bus") == of_bus]
            up_to = (each_g * 0.01)[weighed.index].sum() + 0.05 * len(weighed)  # pieces are cut to whole centimetres
            assert weighed["mass_g"].sum() - up_to <= grams <= weighed["mass_g"].sum() + 0.05 * len(weighed)
    assert len({round(now["signalsG"], 3) for now in in_script([[state, {}, b, True] for b in carried[:3]])}) == 3


def test_bundles_count_signal_wires_and_the_bus(allocation, side):
    """Every route has the wires and the bundle of the table of segments with both sides."""
    (now,) = in_script([[with_signals(scene(allocation), side, {}).state, {}, {}, True]])
    runs = {frozenset(ends): run for ends, run in now["runs"]}
    for row in allocation.with_signals(side).segments.itertuples():
        run = runs[frozenset((row.start, row.end))]
        assert (run["wires"], run["mm"]) == (row.wires, pytest.approx(row.bundle_mm, abs=0.06))


def test_the_trunk_of_the_script_is_as_long_as_the_harness_rooms():
    """Nodes anywhere, each joined to each: the exact order of up to ten nodes, and the good one of sixteen."""
    rng, cases, lengths = random.Random(7), [], []
    bare = scene_of(pa.read_vehicle("data/rally_coupe")).state
    for count in (2, 3, 4, 5, 6, 7, 8, 9, 10, 16):
        at = {f"n{n}": (rng.uniform(0, 9), rng.uniform(0, 4)) for n in range(count)}
        spots = [{**bare["spots"][0], "name": name, "x_m": x, "y_m": y} for name, (x, y) in at.items()]
        runs = [(a, b, None) for a in at for b in at if a < b]
        bus = {"nodes": [[name, 0.0] for name in at], "g_per_m": 1.0, "across2_mm2": 1.0, "limit_m": None}
        boxes = [("module", name, name) for name in at]
        cases.append([{**bare, "spots": spots, "runs": runs, "boxes": boxes, "bus": bus, "slack": 1.0}, {}, {}, True])
        order, _ = shortest_order(list(at), lambda a, b, at=at: dist(at[a], at[b]) + 2 * bare["end_m"])
        lengths.append(sum(dist(at[a], at[b]) + 2 * bare["end_m"] for a, b in pairwise(order)))
    assert [now["bus"]["m"] for now in in_script(cases)] == pytest.approx(lengths)
