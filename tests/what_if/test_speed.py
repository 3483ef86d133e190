"""What trying a change costs on the demo; printed with `-s`, and held to a multiple of what is promised."""

import time
from pathlib import Path

import pytest

import pdm_alloc as pa
from pdm_alloc.what_if import compare, rework, room_left

DATA = Path(__file__).parents[2] / "data"
SLOW_MACHINE = 4  # the promise is for a machine that does nothing else
FIVE = ("filament", "led", "motor", "heater", "electronics")


@pytest.fixture(scope="module")
def demo():
    return pa.read_vehicle(DATA / "rally_coupe"), pa.read_catalogue(DATA / "catalogue")


def timed(what, work):
    start = time.perf_counter()
    found = work()
    seconds = time.perf_counter() - start
    print(f"\n{what}: {1000 * seconds:.0f} ms")
    return seconds, found


@pytest.mark.parametrize("module", ["middle-36", "middle-42"])
def test_room_left_for_five_kinds(demo, module):
    """Room left for five kinds of load, every count proved, in 1.5 s."""
    car, catalogue = demo
    seconds, table = timed(f"room left on {module}, five kinds", lambda: room_left(car, catalogue[module], FIVE))
    assert not table["at_least"].any()
    assert seconds < 1.5 * SLOW_MACHINE


def test_a_change_and_its_rework_list(demo):
    """A load added to the demo's design, the design kept, and the list of what is to be done."""
    car, catalogue = demo
    built = pa.allocate(car, catalogue, "middle-42")
    seconds, more = timed(
        "a load added", lambda: pa.what_if(car).add(load="bug lamp", command="side lamps", running_a=0.42)
    )
    assert seconds < 0.1 * SLOW_MACHINE
    seconds, kept = timed("allocated, design kept", lambda: more.allocate(catalogue, "middle-42", keep=built))
    assert kept.outcome == "proven best"
    assert seconds < 1.0 * SLOW_MACHINE
    seconds, _ = timed("compare and rework", lambda: (compare(built, kept), rework(built, kept)))
    assert seconds < 0.5 * SLOW_MACHINE
