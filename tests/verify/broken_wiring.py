"""Wirings that break one rule each, whatever the currents."""

from dataclasses import replace

from pdm_alloc.domain.vehicle import PPM, Command
from tests.verify import case
from tests.verify.breaking import broken
from tests.verify.case import FOUR, ONE, VEHICLE, circuit, wired

WIDE_FIRST = case.units(
    total_peak_ma=180000,
    channels=tuple(
        replace(c, continuous_ma=30000, peak_ma=180000) if c.name == "1" else c for c in case.MODULE.channels
    ),
)
LEFT_OF_FOUR = circuit("1", "lights", ("lamp left", ONE), ("marker", (1,)))
WIRING = [
    broken("item", "one item on no channel", 0, 1, circuits=wired(left=LEFT_OF_FOUR)),
    broken(
        "item",
        "one item on two channels",
        2,
        1,
        circuits=wired(more=circuit("10", "lights", ("marker", (4,)))),
        vehicle=case.settings(spare_channels=0),
    ),
    broken(
        "item",
        "an item too many",
        1,
        0,
        circuits=wired(
            ecu=circuit("9", "ignition", ("engine ECU", ONE)), more=circuit("10", "lights", ("marker", (5,)))
        ),
        vehicle=case.settings(spare_channels=0),
    ),
    broken(
        "item",
        "a load nobody has",
        1,
        0,
        circuits=wired(more=circuit("10", "lights", ("sunroof", ONE))),
        vehicle=case.settings(spare_channels=0),
    ),
    broken(
        "item",
        "a circuit of nothing",
        0,
        1,
        circuits=wired(more=circuit("10", "lights")),
        vehicle=case.settings(spare_channels=0),
        where="10",
    ),
    broken(
        "channel", "no such channel", circuits=wired(ecu=circuit("11", "ignition", ("engine ECU", ONE))), where="11"
    ),
    broken(
        "channel",
        "no such unit",
        circuits=wired(ecu=circuit("9", "ignition", ("engine ECU", ONE), unit="other")),
        where="9",
    ),
    broken(
        "used twice",
        "two circuits on one",
        2,
        1,
        circuits=wired(ecu=circuit("4", "ignition", ("engine ECU", ONE))),
        where="4",
    ),
    broken(
        "used twice",
        "one of a pair",
        2,
        1,
        circuits=wired(ecu=circuit("5", "ignition", ("engine ECU", ONE))),
        where="5",
    ),
    broken(
        "together",
        "a pair without a label",
        circuits=wired(
            ecu=circuit("2+9", "ignition", ("engine ECU", ONE), use="pair"),
            right=circuit("10", "lights", ("lamp right", ONE), ("marker", (3, 4))),
        ),
        where="2+9",
        vehicle=case.settings(spare_channels=0),
    ),
    broken("together", "a pair of two labels", circuits=wired(), units=case.channels("6", pair="q"), where="5+6"),
    broken(
        "together",
        "a bridge as a pair",
        circuits=wired(window=None, heater=circuit("7+8", "demist", ("heater", ONE), use="pair")),
        vehicle=replace(VEHICLE, loads=tuple(x for x in VEHICLE.loads if x.name != "window")),
        units=case.units(channels=tuple(replace(c, continuous_ma=12000) for c in case.MODULE.channels)),
        where="7+8",
    ),
    broken(
        "together",
        "two called single",
        circuits=wired(
            ecu=circuit("2+9", "ignition", ("engine ECU", ONE)),
            right=circuit("10", "lights", ("lamp right", ONE), ("marker", (3, 4))),
        ),
        where="2+9",
        vehicle=case.settings(spare_channels=0),
    ),
    broken(
        "command",
        "a foreign load",
        vehicle=replace(
            VEHICLE,
            commands=(*VEHICLE.commands, Command("tuner")),
            loads=case.load("radio", command="tuner").loads,
            states=tuple(replace(s, duty_ppm=dict(s.duty_ppm) | {"tuner": PPM}) for s in VEHICLE.states),
        ),
        where="3",
    ),
    broken(
        "share",
        "the ECU with the radio",
        2,
        1,
        circuits=wired(
            pump=circuit("3", "ignition", ("pump", ONE)),
            ecu=circuit("9", "ignition", ("engine ECU", ONE), ("radio", ONE)),
        ),
        where="9",
    ),
    broken(
        "share",
        "two items of one load",
        2,
        1,
        vehicle=case.load("engine ECU", count=2),
        circuits=wired(ecu=circuit("9", "ignition", ("engine ECU", (1, 2)))),
        where="9",
    ),
    broken("joined", "on two channels", 2, 1, vehicle=case.command("ignition", together=True)),
    broken(
        "separate",
        "both lamps on one",
        2,
        1,
        units=WIDE_FIRST,
        circuits=wired(
            left=circuit("1", "lights", ("lamp left", ONE), ("lamp right", ONE), ("marker", FOUR)), right=None
        ),
        where="1",
    ),
    broken("pwm", "the command dims", units=case.channels("4", features=frozenset()), where="4"),
    broken("pwm", "the load dims", vehicle=case.load("engine ECU", needs=frozenset({"pwm"})), where="9"),
    broken(
        "pwm",
        "half a pair dims",
        vehicle=case.load("heater", needs=frozenset({"pwm"})),
        units=case.channels("5", features=frozenset({"pwm"})),
        where="5+6",
    ),
    broken("reversing", "no bridge", circuits=wired(window=circuit("7", "window", ("window", ONE))), where="7"),
    broken(
        "reversing",
        "nothing to reverse",
        circuits=wired(ecu=circuit("7+8", "ignition", ("engine ECU", ONE), use="bridge"), window=None),
        vehicle=replace(VEHICLE, loads=tuple(x for x in VEHICLE.loads if x.name != "window")),
        where="7+8",
    ),
    broken("spare", "none left", 1, 2, vehicle=case.settings(spare_channels=2)),
    broken(
        "locked",
        "on another channel",
        vehicle=case.locked(
            ("engine ECU", "compact", "9"),
            ("marker", "compact", "1"),
            ("marker", "compact", "10"),
            ("marker", "compact", "2"),
        ),
        where="10",
    ),
    broken("locked", "more channels than its rows", vehicle=case.locked(("marker", "compact", "1")), where="2"),
    broken(
        "locked",
        "two paralleled and one more",
        vehicle=case.locked(("heater", "compact", "5+6"), ("heater", "compact", "10")),
        where="10",
    ),
]
