"""Tables of an allocation altered by as little as one unit: what just holds, and what just does not."""

import math
from dataclasses import replace
from fractions import Fraction

from pdm_alloc.domain.module import Signal
from pdm_alloc.domain.vehicle import Ground, Part, State
from tests.verify.written import STATES, Tables, calm, car, grounded, motors, on_two, two_heaters, two_modules

NAN = math.nan


def trip(amps, made=motors) -> Tables:
    """Another setting, of wire and channel alike."""
    return made().altered("settings", 0, trip_a=amps).altered("wires", 0, trip_a=amps)


def wire(made=motors, row=0, **values) -> Tables:
    return made().altered("wires", row, **values)


def link(row, made=car, **values) -> Tables:
    return made().altered("links", row, **values)


def limit(per_cent) -> Tables:
    """Motors with another limit of their drop."""
    made = motors()
    return made.of(loads=tuple(replace(load, max_drop_pct=per_cent) for load in made.vehicle.loads))


def stuck(area) -> Tables:
    """Motors stuck at 20 A for a window of 11 s take 0.76 mm2."""
    made = motors()
    loads = tuple(replace(load, inrush_ms=9_000.0, max_drop_pct=50.0) for load in made.vehicle.loads)
    made = made.of(loads=loads).altered("settings", -1, window_ms=11_010.0)
    return made.altered("wires", 0, area_mm2=area, ampacity_a=7.0)


def crank(**changes) -> Tables:
    made = car()
    return made.of(states=(STATES[0], replace(STATES[1], **changes)))


def stud(*, plan=(), **changes) -> Tables:
    """The ground point as altered, without some rows of the plan."""
    made = grounded().without("ground_plan", *plan)
    return made.of(grounds=(replace(made.vehicle.grounds[0], **changes),))


def splice(upper, **values) -> Tables:
    """A splice on a part that takes so much."""
    made = grounded().of(parts=(Part("splice", "*", None, upper, "S-1"),))
    return made.altered("cut_list", 1, to_part="S-1").altered("cut_list", 2, from_part="S-1", **values)


def loads(made, *changes) -> Tables:
    """An allocation with its loads altered, in their order."""
    return made.of(loads=tuple(replace(x, **more) for x, more in zip(made.vehicle.loads, changes, strict=True)))


def inrush(cold=20.0, **computer) -> Tables:
    """A car whose heater switches on with 30 A above its 20 A, the computer with as much as is said."""
    return loads(car(), {"inrush_ma": 50_000}, computer).of(lowest_ambient_c=cold)


def surge(milliseconds, made=car) -> Tables:
    """A heater whose inrush of 60 A above its 20 A lasts so long, the peak written down as it is."""
    made = made().altered("links", 0, peak_a=300.0).altered("links", 1, peak_a=300.0)
    return loads(made, {"inrush_ma": 80_000, "inrush_ms": milliseconds}, {})


def held(**channel) -> Tables:
    """Motors stuck for a window of a minute and more, on weak channels that trip by themselves."""
    made = stuck(0.5).on(**channel)
    made = made.of(loads=tuple(replace(load, inrush_ms=60_000.0) for load in made.vehicle.loads))
    return made.altered("settings", -1, window_ms=75_000.0)


def stuck_pair(**channel) -> Tables:
    made = loads(on_two("pair").on(**channel), {"kind": "motor", "inrush_ma": 150_000, "inrush_ms": 9_000.0})
    return made.altered("settings", 0, window_ms=30_000.0).altered("wires", 0, area_mm2=0.5)


def drawing(running_ma) -> Tables:
    """Three motors in one bundle that draw so much, with their settings."""
    made = loads(motors(), *({"running_ma": running_ma} for _ in range(3)))
    return made.altered("settings", -1, trip_a=7.7).altered("wires", -1, trip_a=7.7)


def doubled() -> Tables:
    """Two items of the first motor on its channel."""
    made = loads(trip(12.5), {"count": 2}, {}, {})
    first = replace(made.circuits[0], items=(("m0", 1), ("m0", 2)))
    return replace(made, circuits=(first, *made.circuits[1:])).altered("voltages", 0, load_v=12.5)


PINS = {"pins": ("a", "b"), "contact_ma": 22_499}
VALVES = tuple(
    Signal(name, kind, 2, "right", current_ma=ma)
    for name, kind, ma in (("valve", "high_side", 4_000), ("flap", "half_bridge", 900), ("relay", "low_side", 150))
)


def driven() -> Tables:
    """Returns of actuators beside those of loads."""
    made = grounded()
    plan = made.tables["ground_plan"]
    names = ("valve #1", "flap", "relay #2")
    made = replace(made, tables=made.tables | {"ground_plan": plan.assign(load=names, worst_a=9.0)})
    made = made.of(signals=VALVES, grounds=(Ground("G", "joint", max_ma=4_899),), return_path="wire")
    return made.altered("ground_plan", 2, load="flap #2", items=2)


TABLES = {
    "nothing is wrong with motors": motors,
    "nothing is wrong with a car": car,
    "nothing is wrong with a car without a starter": calm,
    "nothing is wrong with studs": grounded,
    "nothing is wrong with a pair": lambda: on_two("pair"),
    "nothing is wrong with a bridge": lambda: on_two("bridge"),
    "a step below the least setting": lambda: trip(6.2),
    "a setting between two steps": lambda: trip(6.35),
    "a setting that the draw reaches": lambda: trip(5.0),
    "the setting that the wire carries": lambda: trip(29.0),
    "a step above what the wire carries": lambda: trip(29.1),
    "the rating": lambda: trip(30.0).altered("wires", 0, area_mm2=6.0),
    "a step above the rating": lambda: trip(30.1).altered("wires", 0, area_mm2=6.0),
    "a wire for another setting": lambda: wire(trip_a=6.4),
    "a pair at its rating": lambda: trip(30.0, lambda: on_two("pair")).altered("wires", 0, trip_a=60.0, area_mm2=4.0),
    "a pair a step above": lambda: trip(30.1, lambda: on_two("pair")).altered("wires", 0, trip_a=60.2, area_mm2=4.0),
    "a pair a step too low": lambda: trip(22.4, lambda: on_two("pair")).altered("wires", 0, trip_a=44.8),
    "half a millisecond of window": lambda: motors().altered("settings", 0, window_ms=369.5),
    "more window than it takes": lambda: motors().altered("settings", 0, window_ms=400.0),
    "ampacity as it is rounded": lambda: wire(ampacity_a=29.01),
    "ampacity a hundredth too high": lambda: wire(ampacity_a=29.02),
    "a wire for its own bundle": lambda: wire(bundle_wires=3),
    "a pair between two steps": lambda: trip(22.55, lambda: on_two("pair")).altered("wires", 0, trip_a=45.1),
    "a load of no place": lambda: loads(motors(), {"place": None, "length_m": 2.0}, {}, {}).of(bundle_wires=7),
    "a load of no place, thinner wire": lambda: loads(wire(area_mm2=0.75), {"place": None, "length_m": 2.0}, {}, {}),
    "loads of no length": lambda: loads(wire(size="not known"), {"place": None}, {}, {}),
    "a circuit of two loads": lambda: grounded().altered("wires", 0, area_mm2=1.5),
    "one of two of no length": lambda: grounded().of(
        loads=(
            *grounded().vehicle.loads[:1],
            replace(grounded().vehicle.loads[1], place=None, length_m=7.0),
            grounded().vehicle.loads[2],
        )
    ),
    "least of all settings": lambda: loads(trip(0.1), {"running_ma": 80, "inrush_ma": 80}, {}, {}),
    "a setting above the least of all": lambda: loads(trip(0.1), {"running_ma": 81, "inrush_ma": 81}, {}, {}),
    "gauges": lambda: motors().of(wire_sizes="awg").altered("wires", -1, area_mm2=3.308),
    "a class of 125 deg C": lambda: motors().of(
        insulation_c=125.0,
        wire_ambient_c=60.0,
        places=tuple(replace(p, ambient_c=None) for p in motors().vehicle.places),
    ),
    "no place is known": lambda: motors().of(places=(), routes=()),
    "a bridge counted once": lambda: wire(lambda: on_two("bridge"), bundle_wires=1),
    "a bundle that is to be split": lambda: wire(lambda: on_two("bridge"), bundle_wires=1, note="split its bundle"),
    "a pair in a bundle of one": lambda: wire(lambda: on_two("pair"), bundle_wires=1),
    "the drop that is allowed": lambda: limit(2.15),
    "a thousandth of a per cent of drop": lambda: limit(2.148),
    "a thinner wire": lambda: wire(area_mm2=1.5),
    "no size": lambda: wire(area_mm2=1.1),
    "the largest wire of a terminal": lambda: wire(area_mm2=6.0).on(max_wire_mm2=5.95),
    "a hundredth of a mm2 too thick": lambda: wire(area_mm2=6.0).on(max_wire_mm2=5.94),
    "two conductors in one terminal": lambda: wire(parallel=2),
    "two conductors, terminal not known": lambda: wire(parallel=2).on(max_wire_mm2=None),
    "an odd number on a pair": lambda: wire(lambda: on_two("pair"), parallel=3),
    "a contact too few": lambda: wire(lambda: on_two("pair", **PINS), parallel=2),
    "contacts enough": lambda: on_two("pair", **PINS),
    "a stuck motor on enough": lambda: stuck(1.0),
    "a stuck motor on a little less": lambda: stuck(0.75),
    "stuck on a channel that trips by itself": lambda: held(continuous_ma=8_000, peak_ma=20_000, peak_ms=100.0),
    "stuck where window and channel meet": lambda: held(continuous_ma=7_500, peak_ma=20_000, peak_ms=700.0),
    "stuck at no more than its peak": lambda: held(continuous_ma=8_000, peak_ma=15_000, peak_ms=90_000.0),
    "stuck on a pair": stuck_pair,
    "stuck on a weak pair": lambda: stuck_pair(continuous_ma=25_000, peak_ma=60_000, peak_ms=200.0),
    "stuck and off in its reading": lambda: loads(stuck(0.75), *({"tolerance_pct": Fraction(10)} for _ in range(3))),
    "wires at three tenths of their capacity": lambda: drawing(6_090),
    "wires a milliamp above three tenths": lambda: drawing(6_091),
    "two items on a wire": doubled,
    "a length as it is stated": lambda: loads(motors(), {"place": None, "length_m": 7.0}, {}, {}).altered(
        "voltages", 0, load_v=12.5
    ),
    "a size that is hidden": lambda: wire(size="not known"),
    "no row of wire": lambda: motors().without("wires", 0),
    "no row of setting": lambda: motors().without("settings", 1),
    "no setting": lambda: motors().altered("settings", 2, trip_a=0.0),
    "no wire": lambda: wire(trip_a=NAN),
    "hot at the far end": lambda: motors().of(places=tuple(replace(p, ambient_c=70.0) for p in car().vehicle.places)),
    "the least fuse of a feed": lambda: link(1, fuse_a=31.25),
    "a fuse a little too small": lambda: link(1, fuse_a=31.2),
    "the largest fuse of a feed's cable": lambda: link(1, fuse_a=50.0),
    "a fuse a little too large": lambda: link(1, fuse_a=50.1),
    "the inrush of a feed": lambda: link(1, peak_a=24.98),
    "less than the inrush of a feed": lambda: link(1, peak_a=24.97),
    "a feed of less than it carries": lambda: link(1, running_a=15.0, fuse_a=18.7),
    "the inrush of a heater": inrush,
    "the inrush of a motor in the cold": lambda: inrush(-20.0, inrush_ma=90_000, kind="motor"),
    "an inrush that a feed's fuse bears": lambda: surge(428.0),
    "an inrush that opens a feed's fuse": lambda: surge(431.0),
    "an inrush that a main fuse bears": lambda: surge(1_815.0, calm),
    "an inrush that opens a main fuse": lambda: surge(1_825.0, calm),
    "an inrush of ten times a feed's fuse": lambda: surge(9_000.0, calm).altered("links", 1, fuse_a=8.0),
    "nothing is wrong with two modules": two_modules,
    "volts of two modules": lambda: two_modules().altered("voltages", -1, module_v=12.5, load_v=12.5),
    "nothing is wrong with two heaters": two_heaters,
    "volts of two heaters": lambda: two_heaters().altered("voltages", -1, module_v=12.5, load_v=12.5),
    "a feed of two heaters": lambda: two_heaters().altered("links", 1, fuse_a=20.0, running_a=1.0),
    "a feed at the top of a span": lambda: link(1, fuse_a=20.0, running_a=1.0).of(
        states=(replace(STATES[0], supply_top_v=14.4), STATES[1])
    ),
    "a starter of no place": lambda: car().of(starter_place=None).without("links", 2),
    "a place for a starter": lambda: crank(other_ma=0).without("links", 2),
    "an alternator of no place": lambda: car().of(alternator_place=None).without("links", 3),
    "a place for an alternator": lambda: (
        car().of(states=(replace(STATES[0], charging_a=None), STATES[1])).without("links", 3)
    ),
    "the inrush of both at once": lambda: inrush(inrush_ma=15_000).of(
        commands=tuple(replace(c, condition="key") for c in car().vehicle.commands)
    ),
    "a fuse that the isolator cable does not bear": lambda: link(1, fuse_a=250.0),
    "a feed from the battery itself": lambda: calm().of(isolator_place=None),
    "a car whose places nobody knows": lambda: car().of(
        battery_place=None, isolator_place=None, starter_place=None, alternator_place=None
    ),
    "a car in the dark": lambda: crank(other_ma=0, minutes=None).of(starter_place=None, alternator_place=None),
    "a car that does not charge": lambda: car().of(states=tuple(replace(s, charging_a=None) for s in STATES)),
    "a state off for all": lambda: car().of(states=(*STATES, replace(STATES[0], name="off", duty_ppm={}))),
    "a millimetre further to the fuse": lambda: link(1, fuse_within_m=0.301),
    "a fuse nobody knows how far away": lambda: link(1, fuse_within_m=NAN),
    "a feed without a fuse": lambda: link(1, fuse_a=NAN),
    "a feed of no size": lambda: link(1, area_mm2=5.0),
    "a feed a size too thin": lambda: link(1, area_mm2=4.0),
    "a feed of two thin cables": lambda: link(1, area_mm2=4.0, parallel=2.0),
    "a feed not known": lambda: link(1, running_a=NAN, area_mm2=1.0),
    "a feed without a size": lambda: link(1, size=NAN, area_mm2=1.0),
    "slack that the feed bears": lambda: car().of(slack_pct=6.0),
    "slack that the feed does not bear": lambda: car().of(slack_pct=6.4),
    "ends that the feed does not bear": lambda: car().of(end_allowance_m=0.175),
    "returns by wire": lambda: car().of(return_path="wire"),
    "the least fuse of the alternator": lambda: link(3, fuse_a=75.0),
    "the alternator's a little too small": lambda: link(3, fuse_a=74.9),
    "a starter with a fuse": lambda: link(2, fuse_a=300.0),
    "a starter cable too thin": lambda: link(2, area_mm2=6.0),
    "a starter cable for its turn": lambda: crank(minutes=4.4).altered("links", 2, area_mm2=25.0),
    "a starter for longer": lambda: crank(minutes=20.0),
    "a starter for good": lambda: crank(minutes=None),
    "two starters' currents": lambda: crank(other_ma=300_000),
    "an isolator cable too thin": lambda: link(0, area_mm2=25.0),
    "an isolator cable of no size": lambda: link(0, area_mm2=26.0),
    "no isolator cable": lambda: car().without("links", 0),
    "no feed": lambda: car().without("links", 1),
    "no starter cable": lambda: car().without("links", 2),
    "no alternator cable": lambda: car().without("links", 3),
    "a hot place on the way": lambda: car().of(
        places=tuple(replace(p, ambient_c=80.0 if p.name == "joint" else 30.0) for p in car().vehicle.places)
    ),
    "within seven inches": lambda: link(1, calm, fuse_within_m=0.1781),
    "a main fuse a little too small": lambda: link(0, calm, fuse_a=74.9),
    "a main cable without a fuse": lambda: link(0, calm, fuse_a=NAN),
    "a millivolt at the module": lambda: car().altered("voltages", 0, module_v=11.6205),
    "three millivolts at the module": lambda: car().altered("voltages", 0, module_v=11.6225),
    "three millivolts at the load": lambda: car().altered("voltages", 0, load_v=11.4255),
    "cranking at the module": lambda: car().altered("voltages", 2, module_v=13.0),
    "cranking at the load": lambda: car().altered("voltages", 2, load_v=13.0),
    "the computer at rest": lambda: car().altered("voltages", 1, load_v=13.0),
    "volts of motors": lambda: motors().altered("voltages", 2, load_v=12.5, module_v=12.5),
    "volts behind a bridge": lambda: on_two("bridge").altered("voltages", 0, load_v=12.5),
    "volts behind a pair": lambda: on_two("pair").altered("voltages", 0, load_v=12.5),
    "volts behind two cables": lambda: link(1, parallel=2.0).altered("voltages", 0, load_v=12.5, module_v=12.5),
    "volts with returns by wire": lambda: car().of(return_path="wire").altered("voltages", 0, load_v=12.5),
    "volts behind no size": lambda: wire(area_mm2=1.1).altered("voltages", 0, load_v=12.5),
    "no volts behind a thread": lambda: car().of(system_v=12.0, slack_pct=4e4),
    "what a stud bears": lambda: stud(max_ma=9_900),
    "a milliamp more than it bears": lambda: stud(max_ma=9_899),
    "what a stud bears at night": lambda: stud(max_ma=1_089, plan=(0, 1)),
    "a milliamp more at night": lambda: stud(max_ma=1_088, plan=(0, 1)),
    "two of one return": lambda: stud(max_ma=9_900).altered("ground_plan", 1, items=2),
    "a wire too many on a stud": lambda: stud(max_wires=2),
    "two conductors of a return": lambda: grounded().altered("ground_plan", 0, size="2 x 2.5 mm2"),
    "power on a sensor ground": lambda: stud(use="sensor", max_ma=1),
    "a sensor on a power ground": lambda: stud(max_ma=3_000).altered("ground_plan", 0, use="sensor"),
    "returns as wires": lambda: stud(max_ma=1).of(return_path="wire"),
    "actuators driven high": driven,
    "a load called like an actuator": lambda: stud(max_ma=9_899).of(
        signals=(Signal("front", "high_side", current_ma=1), Signal("rear #1", "high_side", current_ma=1))
    ),
    "an actuator called like a load": lambda: (
        stud(max_ma=1, plan=(0, 1))
        .of(signals=(Signal("front", "high_side", current_ma=70),))
        .altered("ground_plan", 2, module="unit", channel="A 4", load="front")
    ),
    "one return wire of two loads": lambda: (
        stud(max_ma=9_899, plan=(1, 2)).of(return_path="wire").altered("ground_plan", 0, load="front; rear")
    ),
    "an actuator with a number in its name": lambda: (
        stud(max_ma=1, plan=(0, 1))
        .of(signals=(Signal("pump #2", "half_bridge", current_ma=70), Signal("pump", "low_side", current_ma=90)))
        .altered("ground_plan", 2, load="pump #2")
    ),
    "a state that names no command": lambda: (
        stud(max_ma=1).of(states=(State("rest", 12.0, {}),)).altered("voltages", -1, state="rest")
    ),
    "a stud that says nothing": lambda: stud(max_ma=None, max_wires=None),
    "conductors that a splice takes": lambda: splice(7.43),
    "a hundredth of a mm2 too much": lambda: splice(7.42),
    "a splice of gauges": lambda: splice(1.0, size="14 AWG"),
    "a splice of heavy gauges": lambda: splice(1.0, size="2/0 AWG"),
    "a splice of a wire not known": lambda: splice(1.0, size="not known"),
    "a splice beside a terminal of that number": lambda: splice(7.43).of(
        parts=(Part("splice", "*", None, 7.43, "S-1"), Part("terminal", "*", None, 0.5, "S-1"))
    ),
    "a splice of no part": lambda: grounded().of(parts=()),
    "a splice of one piece": lambda: grounded().without("cut_list", 2, 3),
    "a splice of two pieces": lambda: grounded().without("cut_list", 3),
}
