"""Small vehicles and modules written out, and random ones that could have come from tables."""

from dataclasses import replace
from fractions import Fraction

from hypothesis import strategies as st

import pdm_alloc as pa
from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import Channel, Module, Unit
from pdm_alloc.domain.vehicle import PPM, Command, Load, Place, State, Vehicle
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.placed import PlacedCircuit
from tests.strategies import cases, vehicles

# Copper no colder than it is stated at, so that currents by hand are those of the tables.
FREE = Settings(headroom_pct=Fraction(0), module_headroom_pct=Fraction(0), lowest_ambient_c=20.0)
QUIET = {"deadline": None, "derandomize": True}


def lamp(name, command, amps=2.0, **more):
    """A load without inrush."""
    ma = round(amps * 1000)
    return Load(name, command, ma, inrush_ma=ma, kind="solenoid", volt_exponent=1.0, **more)


def vehicle(*loads, states=(), places=(), settings=FREE):
    """A vehicle of these loads; without states everything is on at 12 V."""
    names = sorted({load.command for load in loads})
    given = states or (State("all on", 12.0, dict.fromkeys(names, PPM)),)
    commands = tuple(Command(name) for name in names)
    return Vehicle("small", loads, commands, given, settings, places=places, states_given=bool(states))


def module(*amps, name="box", total=1000, **more):
    """A module with a channel for each rating, named 1, 2, ..."""
    channels = tuple(
        Channel(str(n), round(a * 1000), round(a * 4000), 100.0, pins=(f"p{n}",)) for n, a in enumerate(amps, 1)
    )
    return Module(name, total * 1000, 4 * total * 1000, channels, **more)


def two_places():
    """Two places a module can be mounted at."""
    return (Place("front", 0.0, 0.0, mount=True), Place("rear", 3.0, 0.0, mount=True))


def unit(label, fitted, place=None):
    """A module fitted under a label."""
    return Unit(label, fitted, place)


def wired(car, units, *circuits):
    """An allocation as somebody built it: (unit, channel, command, items by load)."""
    placed = [
        PlacedCircuit(label, (channel,), "single", command, tuple((load, n) for load, ns in items.items() for n in ns))
        for label, channel, command, items in circuits
    ]
    return Allocation(car, tuple(units), tuple(placed))


def enough(car, units, **options):
    """The allocation, or None where the units are not enough."""
    try:
        return pa.allocate(car, units, **options)
    except pa.NotEnough:
        return None


def tabled(car):
    """A vehicle as tables could hold it: an inrush always has a length, loads kept apart are not joined."""
    apart = {load.command for load in car.loads if not load.share or load.separate or "reversing" in load.needs}
    commands = tuple(replace(c, together=c.together and c.name not in apart) for c in car.commands)
    loads = (
        replace(load, inrush_ms=5.0) if load.inrush_ma > load.running_ma and not load.inrush_ms else load
        for load in car.loads
    )
    return replace(car, loads=tuple(loads), commands=commands)


@st.composite
def table_vehicles(draw):
    """A random vehicle as tables could hold it."""
    return tabled(draw(vehicles()))


@st.composite
def changed_cases(draw, **sizes):
    """A vehicle, units, and the vehicle with a load more, fewer items of one, another current or a load less."""
    car, units = draw(cases(**sizes))
    how = draw(st.sampled_from(("more", "fewer", "stronger", "less", "same")))
    first, *others = car.loads
    extra = lamp("load new", draw(st.sampled_from(sorted({load.command for load in car.loads}))), 0.5)
    loads = {
        "more": (*car.loads, extra),
        "fewer": (replace(first, count=max(1, first.count - 1)), *others),
        "stronger": (replace(first, running_ma=first.running_ma + 1500, inrush_ma=first.inrush_ma + 1500), *others),
        "less": tuple(others) or car.loads,
        "same": car.loads,
    }[how]
    return car, units, replace(car, loads=loads)
