"""A vehicle of a few loads and a module of one kind of channel. All values invented."""

from fractions import Fraction

from pdm_alloc.circuits.classes import Rating
from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import Channel, Module, Unit
from pdm_alloc.domain.vehicle import PPM, Command, Place, Route, State, Vehicle

# source - 2 m - joint, from there 1 m to left and 3 m to right
PLACES = tuple(Place(name, ambient_c=30.0) for name in ("source", "joint", "left", "right"))
ROUTES = (Route("source", "joint", 2.0), Route("joint", "left", 1.0), Route("right", "joint", 3.0))


def vehicle(*loads, places=(), routes=(), states=None, **settings):
    """Loads of a few commands, all on at 12 V unless states say otherwise."""
    names = tuple(dict.fromkeys(load.command for load in loads))
    on = (State("all on", 12.0, dict.fromkeys(names, PPM)),)
    commands = tuple(Command(name) for name in names)
    return Vehicle(
        "small",
        loads,
        commands,
        states or on,
        Settings(**{"lowest_ambient_c": 20.0} | settings),
        (),
        tuple(places),
        tuple(routes),
    )


def forked(*loads, **more):
    """The same on places with a fork."""
    return vehicle(*loads, places=PLACES, routes=ROUTES, **more)


def rating(**changes):
    """Of a channel of 30 A, 20 per cent of headroom wanted."""
    values = {
        "rated_ma": Fraction(30_000),
        "usable_ma": 24_000,
        "peak_ma": 200_000,
        "peak_ms": 100.0,
        "pwm": False,
        "reversing": False,
        "max_wire_mm2": None,
        "pins": 1,
        "trip_step_ma": 100,
    }
    return Rating(**(values | changes))


def unit(number=4, place=None, label="box", **changes):
    """A module of some channels of 30 A."""
    values = {"continuous_ma": 30_000, "peak_ma": 200_000, "peak_ms": 100.0} | changes
    channels = tuple(Channel(str(n), **{"connector": "X", "pins": (f"X{n}",)} | values) for n in range(1, number + 1))
    return Unit(label, Module("box", 30_000 * number, 400_000 * number, channels, mass_g=500.0, price=100.0), place)
