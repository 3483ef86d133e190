"""A design on two places, built, and a load added later."""

from dataclasses import replace
from pathlib import Path

import pytest

import pdm_alloc as pa
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Load, Lock
from pdm_alloc.studies.what_if import rework, spots

pytestmark = pytest.mark.once

DATA = Path(__file__).parents[2] / "data"
LAMP = Load("work lamp", "cabin lamp", 500, kind="led", inrush_ma=1_500, inrush_ms=1.0, place="boot")


@pytest.fixture(scope="module")
def built():
    """The car on two modules at two places, with reversing channels among them."""
    car, module = pa.read_vehicle(DATA / "rally_coupe"), pa.read_catalogue(DATA / "catalogue")["compact-31"]
    allocation = pa.allocate(car, [Unit("front box", module, "glove box"), Unit("rear box", module, "boot")])
    assert any(len(circuit.channels) == 2 for circuit in allocation.circuits)
    return allocation


def locked(allocation):
    """Every load locked to the channel it is on, or to the two joined as ``1+2``."""
    rows = [Lock(load, circuit.unit, circuit.channel) for circuit in allocation.circuits for load in circuit.loads]
    return replace(allocation.vehicle, locked=tuple(dict.fromkeys(rows)))


def where(allocation, load):
    table = allocation.assignments
    return table[table.load == load][["item", "module", "channel"]].values.tolist()


def test_nothing_locked_moves(built):
    """With every load locked, a lamp is added: it is the only one in the rework list that gets a wire.

    A locked row names a load, not which of its items, which are alike.
    """
    car = locked(built)
    after = pa.allocate(replace(car, loads=(*car.loads, LAMP)), built.units)
    there, here = spots(built), spots(after)
    assert all(here[load.name] == there[load.name] for load in car.loads)
    todo = rework(built, after)
    wires = todo[todo.action.str.contains("wire") & (todo.action != "change wire")]
    assert wires[["action", "subject"]].values.tolist() == [["add wire", "work lamp"]]
    assert pa.verify(after).empty


def test_keeping_the_design_does_the_same(built):
    """Without locks but with keep, the same: fewest moves are none, and the list is exactly the difference."""
    car = built.vehicle
    after = pa.allocate(replace(car, loads=(*car.loads, LAMP)), built.units, keep=built)
    moved = [load.name for load in car.loads if where(after, load.name) != where(built, load.name)]
    assert moved == []
    todo = rework(built, after)
    spot = where(after, "work lamp")[0][1:]
    new = todo[todo.action == "add wire"]
    assert new.subject.tolist() == ["work lamp"] and new.to_channel.tolist() == [spot[1]]
    changed = todo[todo.action.str.startswith("set")]
    assert set(changed.to_channel) <= {spot[1]} and set(changed.to_module) <= {spot[0]}
