"""Guaranteed against tolerance: the verdict is that of trying every set of loads that could be off at once."""

import math
from dataclasses import replace
from fractions import Fraction
from itertools import combinations, product

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pdm_alloc.allocator import allocate
from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import Channel, Module, units_of
from pdm_alloc.domain.vehicle import PPM, Command, Load, State, Vehicle
from pdm_alloc.result.allocation import NotEnough
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.verify.check import violations
from tests.strategies import examples

pytestmark = pytest.mark.once


@st.composite
def small(draw):
    """Up to four uncertain loads on two commands, up to three channels in one bank, one or two loads off at once."""
    number = draw(st.integers(1, 4))
    loads = tuple(
        Load(
            f"load {n}",
            draw(st.sampled_from(("one", "two"))),
            draw(st.sampled_from((1000, 2000, 3000))),
            kind="heater",
            tolerance_pct=Fraction(draw(st.sampled_from((0, 10, 25, 50)))),
            volt_exponent=1.0,
        )
        for n in range(number)
    )
    loads = tuple(replace(x, inrush_ma=x.running_ma) for x in loads)
    duty = {"one": PPM, "two": draw(st.sampled_from((PPM // 2, PPM)))}
    names = tuple(Command(name) for name in duty)
    most = draw(st.integers(1, 2))
    limits = Settings(headroom_pct=Fraction(0), module_headroom_pct=Fraction(0), tolerance_loads=most)
    vehicle = Vehicle("v", loads, names, (State("on", 12.0, duty),), limits, states_given=True)
    rating = draw(st.sampled_from((3000, 4000, 6000)))
    channels = tuple(Channel(str(n + 1), rating, 9 * rating, 90.0, bank="b") for n in range(draw(st.integers(1, 3))))
    bank = draw(st.sampled_from((4000, 6000, 9000)))
    return vehicle, Module("m", draw(st.sampled_from((5000, 9000))), 99_000, channels, {"b": bank})


def off(vehicle, some):
    """The vehicle with some loads at the top of their tolerance, and nothing uncertain any more."""
    loads = []
    for load in vehicle.loads:
        rise = math.ceil(load.running_ma * load.tolerance_pct / 100) if load.name in some else 0
        ma = load.running_ma + rise
        loads.append(replace(load, running_ma=ma, inrush_ma=ma, tolerance_pct=Fraction(0)))
    plain = replace(vehicle.settings, tolerance_loads=0)
    return replace(vehicle, loads=tuple(loads), settings=plain)


def holds(vehicle, units, circuits):
    """Whether every set of so many loads may be off and every limit is kept."""
    names = [load.name for load in vehicle.loads]
    sets = [s for k in range(vehicle.settings.tolerance_loads + 1) for s in combinations(names, k)]
    return not any(violations(off(vehicle, some), units, circuits) for some in sets)


def every_placing(vehicle, units):
    """All ways to put the loads on the channels, one command a channel."""
    names = [c.name for c in units[0].module.channels]
    command = {load.name: load.command for load in vehicle.loads}
    for where in product(names, repeat=len(vehicle.loads)):
        on = {}
        for load, channel in zip(vehicle.loads, where, strict=True):
            on.setdefault(channel, []).append((load.name, 1))
        if all(len({command[name] for name, _ in items}) == 1 for items in on.values()):
            yield tuple(
                PlacedCircuit(units[0].label, (c,), "single", command[items[0][0]], tuple(items))
                for c, items in on.items()
            )


@settings(max_examples=examples(150, 1500), deadline=None, suppress_health_check=list(HealthCheck))
@given(small())
def test_verdict_is_that_of_full_enumeration(case):
    """Enough exactly when some placing holds whichever loads are off; and the one given out is such a placing."""
    vehicle, module = case
    units = units_of(module)
    possible = any(holds(vehicle, units, circuits) for circuits in every_placing(vehicle, units))
    try:
        allocation = allocate(vehicle, module)
    except NotEnough:
        assert not possible
        return
    assert possible
    assert holds(vehicle, units, allocation.circuits)
