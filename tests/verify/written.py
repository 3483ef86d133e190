"""Allocations with all their tables, one number of which is altered. All values invented."""

from dataclasses import dataclass, replace
from functools import cache

import pandas as pd

import pdm_alloc as pa
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import PPM, Ground, Load, Part, State, Vehicle
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.verify import battery_cables, copper, wires
from pdm_alloc.verify.assignment import Finding, Recount
from tests.wiring import small

MOTORS = tuple(
    Load(f"m{n}", "run", 5_000, kind="motor", inrush_ma=20_000, inrush_ms=300.0, place="right", volt_exponent=1.0)
    for n in range(3)
)
HEATER = Load("heater", "heat", 20_000, kind="heater", inrush_ma=20_000, place="left", volt_exponent=1.0)
ECU = Load("ecu", "run", 5_000, place="right", volt_exponent=-1.0, min_v=9.0)
ON = {"heat": PPM // 2, "run": PPM}
STATES = (
    State("drive", 12.0, ON, 60.0, 60.0),
    State("crank", 10.0, {"heat": 0, "run": PPM}, None, 0.1, 12.6, 240_000),
)
PLACED = {"battery_place": "source", "isolator_place": "joint", "starter_place": "left", "alternator_place": "right"}


@dataclass
class Tables:
    """An allocation and what is written about it."""

    vehicle: Vehicle
    units: tuple[Unit, ...]
    circuits: tuple[PlacedCircuit, ...]
    tables: dict[str, pd.DataFrame]

    def altered(self, table: str, row: int, **values) -> "Tables":
        """The same with values of one row, or of all where it is -1, changed."""
        frame = self.tables[table].copy()
        for column, value in values.items():
            frame[column] = frame[column].astype(object)
            frame.loc[frame.index if row < 0 else [row], column] = value
        return replace(self, tables=self.tables | {table: frame})

    def of(self, **changes) -> "Tables":
        """The same tables for a vehicle with other settings, or other parts of it."""
        known = {name: changes.pop(name) for name in tuple(changes) if hasattr(self.vehicle, name)}
        settings = replace(self.vehicle.settings, **changes)
        return replace(self, vehicle=replace(self.vehicle, settings=settings, **known))

    def on(self, **changes) -> "Tables":
        """The same tables on channels that differ."""
        unit = self.units[0]
        channels = tuple(replace(c, **changes) for c in unit.module.channels)
        return replace(self, units=(replace(unit, module=replace(unit.module, channels=channels)),))

    def without(self, table: str, *rows: int) -> "Tables":
        """The same with rows left out."""
        return replace(self, tables=self.tables | {table: self.tables[table].drop(index=list(rows))})

    def findings(self) -> list[Finding]:
        """What the recount says of wires, settings, battery cables, voltages, studs and splices."""
        recount, tables = Recount(self.vehicle, self.units, self.circuits), self.tables
        cables = battery_cables.cables_hold(recount, tables["links"])
        volts = battery_cables.voltages_hold(recount, tables["voltages"], tables["links"], tables["wires"])
        bench = copper.bench(Bench(self.vehicle, self.circuits, tables["ground_plan"], tables["cut_list"]))
        return [*wires.written(recount, tables["wires"], tables["settings"]), *cables, *volts, *bench]


@dataclass
class Bench:
    """Studs and splices of a vehicle."""

    vehicle: Vehicle
    circuits: tuple[PlacedCircuit, ...]
    ground_plan: pd.DataFrame
    cut_list: pd.DataFrame


NAMES = ("wires", "settings", "links", "voltages", "ground_plan", "cut_list")


def tabled(made) -> Tables:
    return Tables(made.vehicle, made.units, made.circuits, {name: getattr(made, name) for name in NAMES})


def circuit(channel, command, *loads, use="single"):
    return PlacedCircuit("box", tuple(channel.split("+")), use, command, tuple((name, 1) for name in loads))


@cache
def motors() -> Tables:
    """Three motors on three channels of a unit at the source, every circuit of its own."""
    unit = small.unit(number=3, place="source", max_wire_mm2=6.0)
    return tabled(pa.allocate(small.forked(*MOTORS), unit, strategy="isolate"))


@cache
def on_two(use, **channel) -> Tables:
    """A heater of 30 A on two paralleled channels, or a motor of 12 A on a bridge."""
    unit = small.unit(number=2, place="source", **{use: "x"}, **channel)
    needs = frozenset({"reversing"}) if use == "bridge" else frozenset()
    running = 12_000 if use == "bridge" else 30_000
    loads = [Load("heavy", "run", running, inrush_ma=running, place="left", needs=needs, max_drop_pct=20.0)]
    return tabled(pa.allocate(small.forked(*loads), unit, strategy="spare"))


@cache
def car() -> Tables:
    """Heater and computer on a module at the right, with isolator, starter and alternator."""
    vehicle = small.forked(HEATER, ECU, states=STATES, battery_ah=60.0, **PLACED)
    circuits = (circuit("1", "heat", "heater"), circuit("2", "run", "ecu"))
    return tabled(_made(vehicle, circuits))


def _made(vehicle, circuits):
    return Allocation(vehicle, (small.unit(place="right"),), circuits)


@cache
def two_modules() -> Tables:
    """The heater on a module at the left, the computer on one at the right."""
    vehicle = car().vehicle
    heater = replace(circuit("1", "heat", "heater"), unit="left box")
    units = (small.unit(place="left", label="left box"), small.unit(place="right"))
    return tabled(Allocation(vehicle, units, (heater, circuit("2", "run", "ecu"))))


@cache
def two_heaters() -> Tables:
    """The car with two heaters of 8 A on one channel."""
    made = car()
    heater = replace(HEATER, running_ma=8_000, inrush_ma=8_000, count=2)
    two = replace(made.circuits[0], items=(("heater", 1), ("heater", 2)))
    return tabled(_made(replace(made.vehicle, loads=(heater, ECU)), (two, made.circuits[1])))


@cache
def calm() -> Tables:
    """The same without a starter: the isolator cable has a fuse."""
    made = car()
    vehicle = replace(
        made.vehicle, states=STATES[:1], settings=replace(made.vehicle.settings, starter_place=None, rules="boat")
    )
    return tabled(_made(vehicle, made.circuits))


@cache
def grounded() -> Tables:
    """Two loads of one command on one channel and a third on another, returns on a stud at the joint."""
    loads = (
        replace(HEATER, name="front", command="run", running_ma=6_000, inrush_ma=6_000),
        replace(ECU, name="rear", running_ma=3_000, inrush_ma=3_000),
        replace(
            ECU, name="coil", command="coil", kind="solenoid", running_ma=1_000, inrush_ma=1_000, volt_exponent=1.0
        ),
    )
    states = (
        State("day", 12.0, {"run": PPM, "coil": 0}, None, None, 13.8),
        State("night", 11.0, {"run": 0, "coil": PPM}),
    )
    vehicle = small.forked(*loads, states=states, lowest_ambient_c=-20.0)
    grounds = (Ground("G", "joint", max_ma=20_000, max_wires=3), Ground("S", "right", use="sensor"))
    parts = (Part("splice", "*", None, 2.25, "S-1"),)
    vehicle = replace(vehicle, grounds=grounds, parts=parts)
    circuits = (circuit("1", "run", "front", "rear"), circuit("2", "coil", "coil"))
    return tabled(_made(vehicle, circuits))
