"""The scene of the board, and the browser's arithmetic held against the harness room's."""

import json
import shutil
import subprocess
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import pdm_alloc as pa
from pdm_alloc.domain.vehicle import Place, Route
from pdm_alloc.files.tables.read_catalogue import fitted
from pdm_alloc.harness.paths import shortest_tree
from pdm_alloc.panel.board_scene import plan_of_harness, scene_of
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.link_tables import laid_links
from pdm_alloc.result.placed import wire_circuits

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
