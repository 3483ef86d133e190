"""A design on two places, built, and a load added later."""

from dataclasses import replace
from pathlib import Path

import pytest

import pdm_alloc as pa
from pdm_alloc.domain.vehicle import Load, Lock
from pdm_alloc.studies.what_if import rework

DATA = Path(__file__).parents[2] / "data"
LAMP = Load("work lamp", "cabin lamp", 500, kind="led", inrush_ma=1_500, inrush_ms=1.0, place="boot")


@pytest.fixture(scope="module")
def built():
    """The lightest choice for the car: two modules at two places."""
    car, catalogue = pa.read_vehicle(DATA / "rally_coupe"), pa.read_catalogue(DATA / "catalogue")
    found = pa.mount(car, catalogue, "mass").allocation
    assert len({unit.place for unit in found.units}) == 2
    return found


def locked(allocation):
    """Every load locked to the channels it is on, both of a pair."""
    rows = [
        Lock(load, row.module, channel)
        for row, circuit in zip(allocation.channels.itertuples(), allocation.circuits, strict=True)
        for load in circuit.loads
        for channel in circuit.channels
    ]
    return replace(allocation.vehicle, locked=tuple(dict.fromkeys(rows)))


def where(allocation, load):
    table = allocation.assignments
    return table[table.load == load][["item", "module", "channel"]].values.tolist()


def test_nothing_locked_moves(built):
    """With every load locked, a lamp is added: it is the only one in the rework list that gets a wire."""
    car = locked(built)
    after = pa.allocate(replace(car, loads=(*car.loads, LAMP)), built.units)
    assert all(where(after, load.name) == where(built, load.name) for load in car.loads)
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
