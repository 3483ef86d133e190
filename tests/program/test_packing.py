"""Heuristics on banks and units: the second order of the greedy allocation, and what packing costs where it fails."""

from dataclasses import replace

import pytest

from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.domain.module import Channel, Module, units_of
from pdm_alloc.domain.vehicle import PPM, Command, Load, State, Vehicle
from pdm_alloc.program import greedy as greed
from pdm_alloc.program import packing
from pdm_alloc.program.greedy import greedy
from pdm_alloc.program.packing import Bins, pack
from pdm_alloc.program.partition import merge
from pdm_alloc.program.solver import Clock
from pdm_alloc.program.sums import Sums
from tests.scale.fleet import fleet


def bins_of(vehicle, units):
    merged = merge(vehicle, units)
    return Bins(merged, Sums(vehicle, units, merged.fine.types))


def pump_and_fan():
    """The fan draws more and is placed first; the pump's inrush is for the strong channel alone; invented."""
    loads = (
        Load("fan", "fan", 5_000, kind="heater", inrush_ma=5_000, volt_exponent=1.0),
        Load("pump", "pump", 2_000, kind="heater", inrush_ma=30_000, inrush_ms=5.0, volt_exponent=1.0),
    )
    state = State("on", 12.0, {"fan": PPM, "pump": PPM})
    channels = (Channel("weak", 10_000, 12_000, 50.0), Channel("strong", 20_000, 60_000, 50.0))
    vehicle = Vehicle("two", loads, (Command("fan"), Command("pump")), (state,))
    return vehicle, units_of(Module("m", 100_000, 200_000, channels))


def test_weakest_first_where_strongest_first_leaves_something_over():
    """Strongest first gives the fan the only channel that bears the pump; weakest first leaves it to the pump."""
    bins, book = bins_of(*pump_and_fan()), CircuitBook(3)
    ways = [greed._Heuristic(bins, book, Clock(9), sign, False).run() for sign in (-1, 1)]
    assert ways == [False, True]
    columns = greedy(bins, book, Clock(9), alone=False)
    assert columns is not None
    slots = {c.command: bins.merged.fine.classes[c.channel_class].slots for c in columns}
    assert slots == {"fan": (("weak",),), "pump": (("strong",),)}


@pytest.mark.once
def test_packing_that_fails_ends_soon(monkeypatch):
    """Room is asked for once a circuit and round: moving others about for each took 20 s on a truck."""
    vehicle, modules = fleet(60)
    loose = bins_of(vehicle, units_of(modules))
    chosen = loose.merged.coarse(greedy(loose, CircuitBook(3), Clock(60), alone=True))
    tight = [replace(module, bank_ma=dict.fromkeys(module.bank_ma, 20_000)) for module in modules]
    asked = []
    monkeypatch.setattr(packing, "room", lambda *at, room=packing.room: asked.append(at) or room(*at))
    assert pack(bins_of(vehicle, units_of(tight)), chosen, Clock(60)) is None
    assert len(asked) <= packing._ROUNDS * len(chosen)
