"""Allocations for the tests of documents: solved ones of the demonstration vehicles, made-up ones of any."""

from functools import cache
from pathlib import Path

from pdm_alloc.allocator import allocate
from pdm_alloc.domain.module import Channel, Module, units_of
from pdm_alloc.files.plain import vehicle_hashes
from pdm_alloc.files.tables.read_catalogue import read_catalogue
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.placed import PlacedCircuit

DATA = Path(__file__).parents[2] / "data"


@cache
def solved(vehicle, module):
    """The allocation of a demonstration vehicle to a module of the demonstration catalogue."""
    return allocate(read_vehicle(DATA / vehicle), read_catalogue(DATA / "catalogue")[module])


def one_each(vehicle, per_channel=1, connector_pins=12):
    """Items in twos, threes ... of one command on channels of a made-up module, limits not asked for."""
    circuits, name = [], 0
    for command in vehicle.commands:
        items = [(x.name, k + 1) for x in vehicle.loads if x.command == command.name for k in range(x.count)]
        for start in range(0, len(items), per_channel):
            name += 1
            own = tuple(sorted(items[start : start + per_channel]))
            circuits.append(PlacedCircuit("made-up", (str(name),), "single", command.name, own))
    channels = [
        Channel(str(n), 30_000, 200_000, 100.0, f"J{(n - 1) // connector_pins + 1}", (f"p{n}",), "all", frozenset())
        for n in range(1, name + 3)
    ]
    module = Module("made-up", 500_000, 2_000_000, tuple(channels), {"all": 500_000}, trip_step_ma=100)
    return Allocation(vehicle_hashes(vehicle), units_of(module), tuple(circuits))
