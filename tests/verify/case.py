"""One vehicle on one module with nothing wrong, and ways to alter it. All values invented."""

from dataclasses import replace
from fractions import Fraction

from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import Channel, Module, Unit
from pdm_alloc.domain.vehicle import PPM, Command, Input, Load, Lock, Place, State, Vehicle
from pdm_alloc.result.placed import PlacedCircuit

LOADS = (
    Load(
        "lamp left",
        "lights",
        4000,
        kind="filament",
        inrush_ma=40000,
        inrush_ms=60.0,
        separate="lamps",
        volt_exponent=0.0,
    ),
    Load(
        "lamp right",
        "lights",
        4000,
        kind="filament",
        inrush_ma=40000,
        inrush_ms=60.0,
        separate="lamps",
        volt_exponent=0.0,
    ),
    Load("marker", "lights", 500, count=4, kind="led", inrush_ma=500, volt_exponent=0.0),
    Load("pump", "ignition", 6000, kind="motor", inrush_ma=30000, inrush_ms=150.0, volt_exponent=1.0),
    Load("radio", "ignition", 1000, inrush_ma=1000, volt_exponent=-1.0),
    Load("engine ECU", "ignition", 2000, inrush_ma=2000, share=False, volt_exponent=-1.0),
    Load("window", "window", 5000, kind="motor", inrush_ma=15000, inrush_ms=60.0, needs=frozenset({"reversing"})),
    Load("dash light", "dimmer", 1000, kind="led", inrush_ma=1000),
    Load("heater", "demist", 14000, kind="heater", inrush_ma=14000, volt_exponent=1.0),
)
COMMANDS = (
    Command("lights", "light_switch"),
    Command("ignition", 'key and not "kill switch"'),
    Command("window", "window_up"),
    Command("dimmer", "dash_level", action="pwm"),
    Command("demist", "key"),
)
INPUTS = (
    Input("key"),
    Input("kill switch"),
    Input("light_switch"),
    Input("dash_level", kind="analog"),
    Input("window_up", kind="bus"),
)
NAMES = [command.name for command in COMMANDS]
STATES = (
    State("ready", 12.0, dict.fromkeys(NAMES, PPM) | {"window": 0}),
    State("driving", 13.8, dict.fromkeys(NAMES, PPM // 2)),
)
VEHICLE = Vehicle(
    "small", LOADS, COMMANDS, STATES, Settings(spare_channels=1, lowest_ambient_c=20.0), INPUTS, states_given=True
)


def channel(name, amps, bank, **more):
    return Channel(name, amps * 1000, amps * 6000, 60.0, "X1", (f"X1-{name}",), bank, **more)


MODULE = Module(
    "compact",
    total_ma=60000,
    total_peak_ma=130000,
    channels=(
        channel("1", 10, "A"),
        channel("2", 10, "A"),
        channel("3", 10, "A"),
        channel("4", 10, "A", features=frozenset({"pwm"})),
        channel("5", 12, "B", pair="p", share_pct=Fraction(50)),
        channel("6", 12, "B", pair="p", share_pct=Fraction(50)),
        channel("7", 10, "B", bridge="b", share_pct=Fraction(50)),
        channel("8", 10, "B", bridge="b", share_pct=Fraction(50)),
        channel("9", 10, "B"),
        channel("10", 10, "B"),
    ),
    bank_ma={"A": 30000, "B": 40000},
    derating=((0.0, Fraction(1)), (50.0, Fraction(1)), (100.0, Fraction(1, 2))),
    supply_min_v=9.0,
    supply_max_v=16.0,
    inputs=8,
)
UNIT = Unit("compact", MODULE)


def circuit(channels, command, *items, use="single", unit="compact"):
    wired = tuple(sorted((name, n) for name, numbers in items for n in numbers))
    return PlacedCircuit(unit, tuple(channels.split("+")), use, command, wired)


ONE, FOUR = (1,), (1, 2, 3, 4)
CIRCUITS = {
    "left": circuit("1", "lights", ("lamp left", ONE), ("marker", (1, 2))),
    "right": circuit("2", "lights", ("lamp right", ONE), ("marker", (3, 4))),
    "pump": circuit("3", "ignition", ("pump", ONE), ("radio", ONE)),
    "dash": circuit("4", "dimmer", ("dash light", ONE)),
    "heater": circuit("5+6", "demist", ("heater", ONE), use="pair"),
    "window": circuit("7+8", "window", ("window", ONE), use="bridge"),
    "ecu": circuit("9", "ignition", ("engine ECU", ONE)),
}


def load(name, **changes):
    """The vehicle with one load altered."""
    loads = tuple(replace(x, **changes) if x.name == name else x for x in VEHICLE.loads)
    return replace(VEHICLE, loads=loads)


def command(name, **changes):
    """The vehicle with one command altered."""
    return replace(VEHICLE, commands=tuple(replace(x, **changes) if x.name == name else x for x in COMMANDS))


def span(low, top):
    """The vehicle with the span of voltage of `driving` altered."""
    return replace(VEHICLE, states=(STATES[0], replace(STATES[1], supply_v=low, supply_top_v=top)))


def settings(**changes):
    """The vehicle with settings altered."""
    return replace(VEHICLE, settings=replace(VEHICLE.settings, **changes))


def in_the_cold(vehicle):
    """A vehicle used down to -20 deg C."""
    return replace(vehicle, settings=replace(vehicle.settings, lowest_ambient_c=-20.0))


def at_place(ambient_c):
    """The vehicle with one place at that temperature."""
    return replace(VEHICLE, places=(Place("bulkhead", ambient_c=ambient_c),))


def units(place=None, **changes):
    """The unit with its module altered."""
    return (Unit("compact", replace(MODULE, **changes), place),)


def channels(name, **changes):
    """The unit with one channel of its module altered."""
    return units(channels=tuple(replace(x, **changes) if x.name == name else x for x in MODULE.channels))


def wired(**changes):
    """The circuits with some replaced, added, or left out where None."""
    return tuple(c for c in (CIRCUITS | changes).values() if c is not None)


def in_ready(**duties):
    """The vehicle with other duties in the first state."""
    ready, driving = VEHICLE.states
    return replace(VEHICLE, states=(replace(ready, duty_ppm=dict(ready.duty_ppm) | duties), driving))


def driving(duty_ppm):
    """The vehicle with one duty for all in the second state."""
    ready, state = VEHICLE.states
    return replace(VEHICLE, states=(ready, replace(state, duty_ppm=dict.fromkeys(NAMES, duty_ppm))))


def spanning(volts, top):
    """The vehicle whose first state goes up to another voltage."""
    ready, driving = VEHICLE.states
    return replace(VEHICLE, states=(replace(ready, supply_v=volts, supply_top_v=top), driving))


def still(vehicle=VEHICLE):
    """A vehicle with everything off in its second state."""
    ready, driving = vehicle.states
    return replace(vehicle, states=(ready, replace(driving, duty_ppm=dict.fromkeys(NAMES, 0))))


def loose(command, per_cent, **changes):
    """The vehicle with a tolerance on the loads of one command."""
    tolerance = {command: Fraction(per_cent)}
    loads = tuple(replace(x, tolerance_pct=tolerance.get(x.command, Fraction(0))) for x in VEHICLE.loads)
    return replace(settings(**changes), loads=loads)


def banks(first_ma, second_ma, moved=""):
    """Other bank limits, and one channel of bank B in bank A."""
    channels = tuple(replace(c, bank="A") if c.name == moved else c for c in MODULE.channels)
    return units(bank_ma={"A": first_ma, "B": second_ma}, channels=channels)


def at_volts(volts):
    """The vehicle with a third state, all off, at that voltage."""
    return replace(VEHICLE, states=(*VEHICLE.states, State("other", volts, dict.fromkeys(NAMES, 0))))


def locked(*rows):
    """The vehicle with rows of the table locked."""
    return replace(VEHICLE, locked=tuple(Lock(*row) for row in rows))
