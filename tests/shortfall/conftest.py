"""Vehicles that lack exactly one thing, or two."""

from dataclasses import replace
from fractions import Fraction

import pytest

from pdm_alloc.domain.module import Channel, Module, Unit
from pdm_alloc.domain.settings import Settings
from pdm_alloc.domain.vehicle import PPM, Command, Input, Load, State, Vehicle

LOAD = Load("a", "c", 4000, kind="heater", inrush_ma=4000, volt_exponent=1.0)


def vehicle_of(*loads, states=None, **more):
    names = dict.fromkeys(load.command for load in loads)
    states = states or (State("all on", 12.0, dict.fromkeys(names, PPM)),)
    settings = Settings(headroom_pct=Fraction(20), module_headroom_pct=Fraction(10))
    return Vehicle("v", loads, tuple(Command(n) for n in names), states, more.pop("settings", settings), **more)


def module_of(channels, **more):
    every = tuple(Channel(str(n + 1), 10_000, 40_000, 50.0) for n in range(channels))
    return Unit("m", Module("m", 500_000, 900_000, more.pop("own", every), **more))


def named(number, **changes):
    return tuple(replace(LOAD, name=f"load {n}", command=f"command {n}", **changes) for n in range(number))


def _alone():
    yield "channels", vehicle_of(*named(5)), module_of(3), "2 more channels of at least 10 A"
    strong = vehicle_of(*named(1), replace(LOAD, name="big", command="big", running_ma=20_000, inrush_ma=20_000))
    yield "channel strength", strong, module_of(3), "1 channel of at least 25 A in place of weaker ones"
    tall = vehicle_of(replace(LOAD, inrush_ma=45_000, inrush_ms=1.0))
    yield "inrush", tall, module_of(3), "channels that bear 5 A more inrush"
    dim = vehicle_of(replace(LOAD, needs=frozenset({"pwm"})))
    yield "pwm channels", dim, module_of(2), "1 more channel with pwm"
    turn = vehicle_of(replace(LOAD, needs=frozenset({"reversing"})))
    yield "reversing channels", turn, module_of(2), "1 more reversing pair"
    banked = tuple(Channel(str(n + 1), 10_000, 40_000, 50.0, bank="b") for n in range(3))
    bank = module_of(3, own=banked, bank_ma={"b": 10_000})
    yield "bank", vehicle_of(*named(3)), bank, "3 A more in bank b (12 A against 9 A)"
    small = replace(module_of(3), module=replace(module_of(3).module, total_ma=10_000))
    yield "whole module", vehicle_of(*named(3)), small, "3 A more in the state all on (12 A against 9 A)"
    low = replace(module_of(3), module=replace(module_of(3).module, total_peak_ma=30_000))
    peak = vehicle_of(*named(3, inrush_ma=24_000, inrush_ms=1.0))
    yield "whole module peak", peak, low, "2 A more peak"
    narrow = tuple(Channel(str(n + 1), 10_000, 40_000, 50.0, max_wire_mm2=0.75) for n in range(3))
    far = vehicle_of(replace(LOAD, length_m=6.0, max_drop_pct=3.0))
    yield "terminals", far, module_of(3, own=narrow), "terminals that take 2.5 mm2 of wire on every channel"
    few = replace(module_of(3), module=replace(module_of(3).module, inputs=1))
    inputs = vehicle_of(*named(1), inputs=tuple(Input(f"i{n}") for n in range(3)))
    yield "inputs", inputs, few, "2 more inputs (3 switches and senders against 1)"
    crank = vehicle_of(*named(1), states=(State("cranking", 7.0, {"command 0": PPM}),))
    high = replace(module_of(3), module=replace(module_of(3).module, supply_min_v=8.0))
    yield "supply voltage", crank, high, "works down to 8 V, and cranking has 7 V"


@pytest.fixture(params=list(_alone()), ids=lambda case: case[0])
def one_short(request):
    kind, vehicle, unit, words = request.param
    return vehicle, unit, kind, words


def _together():
    few = replace(module_of(3), module=replace(module_of(3).module, total_ma=15_000))
    yield {"channels", "whole module"}, vehicle_of(*named(5)), few
    turn = vehicle_of(*named(2), replace(LOAD, needs=frozenset({"reversing"})))
    yield {"channels", "reversing channels"}, turn, module_of(3)


@pytest.fixture(params=list(_together()), ids=lambda case: " and ".join(sorted(case[0])))
def two_short(request):
    kinds, vehicle, unit = request.param
    return vehicle, unit, kinds
