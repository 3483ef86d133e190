"""Vehicles that lack exactly one thing, or two."""

from dataclasses import replace
from fractions import Fraction

import pytest

from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import Channel, Module, Unit
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
    yield "channels", vehicle_of(*named(5)), module_of(3), "2 more channels of 10 A"
    strong = vehicle_of(*named(1), replace(LOAD, name="big", command="big", running_ma=20_000, inrush_ma=20_000))
    yield "channel strength", strong, module_of(3), "1 channel of 25 A in place of a weaker one"
    tall = vehicle_of(replace(LOAD, inrush_ma=45_000, inrush_ms=1.0))
    yield (
        "channel strength",
        tall,
        module_of(3),
        "1 channel of 10 A with a peak of 45 A for 50 ms in place of a weaker one",
    )
    dim = vehicle_of(replace(LOAD, needs=frozenset({"pwm"})))
    yield "channel strength", dim, module_of(2), "1 channel of 10 A with PWM in place of a weaker one"
    turn = vehicle_of(replace(LOAD, needs=frozenset({"reversing"})))
    yield "reversing channels", turn, module_of(2), "1 more reversing pair made of channels that are there"
    banked = tuple(Channel(str(n + 1), 10_000, 40_000, 50.0, bank="b") for n in range(3))
    bank = module_of(3, own=banked, bank_ma={"b": 10_000})
    yield "bank", vehicle_of(*named(3)), bank, "3.4 A more in bank b (13.4 A against 10 A)"
    small = replace(module_of(3), module=replace(module_of(3).module, total_ma=10_000))
    yield "whole module", vehicle_of(*named(3)), small, "3.4 A more of the whole module (13.4 A against 10 A)"
    low = replace(module_of(3), module=replace(module_of(3).module, total_peak_ma=30_000))
    peak = vehicle_of(*named(3, inrush_ma=24_000, inrush_ms=1.0))
    yield "whole module peak", peak, low, "2 A more peak of the whole module (32 A against 30 A)"
    narrow = tuple(Channel(str(n + 1), 10_000, 40_000, 50.0, max_wire_mm2=0.75) for n in range(3))
    far = vehicle_of(replace(LOAD, length_m=6.0, max_drop_pct=3.0))
    yield (
        "drop",
        far,
        module_of(3, own=narrow),
        "% drop allowed to a (3 % now; or a channel of 10 A whose terminal takes ",
    )
    few = replace(module_of(3), module=replace(module_of(3).module, inputs=1))
    inputs = vehicle_of(*named(1), inputs=tuple(Input(f"i{n}") for n in range(3)))
    yield "inputs", inputs, few, "2 more inputs (3 switches and senders against 1)"
    crank = vehicle_of(*named(1), states=(State("cranking", 7.0, {"command 0": PPM}),))
    high = replace(module_of(3), module=replace(module_of(3).module, supply_min_v=8.0))
    yield "supply voltage", crank, high, "a supply range down to 7 V (it works down to 8 V)"


@pytest.fixture(params=list(_alone()), ids=lambda case: case[0])
def one_short(request):
    kind, vehicle, unit, words = request.param
    return vehicle, unit, kind, words


def _together():
    few = replace(module_of(3), module=replace(module_of(3).module, total_ma=15_000))
    yield {"channels", "whole module"}, vehicle_of(*named(5)), few
    turn = vehicle_of(*named(2), replace(LOAD, needs=frozenset({"reversing"})))
    yield {"channels"}, turn, module_of(3)


@pytest.fixture(params=list(_together()), ids=lambda case: " and ".join(sorted(case[0])))
def two_short(request):
    kinds, vehicle, unit = request.param
    return vehicle, unit, kinds
