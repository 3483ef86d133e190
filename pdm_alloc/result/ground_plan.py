"""Ground plan: the return of every load, switch and actuator, and the ground point it goes to."""

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from pdm_alloc.circuits.wiring import Wiring
from pdm_alloc.domain.bench import Ground
from pdm_alloc.domain.module import natural_key
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.circuit_protection import Protected
from pdm_alloc.electrics.wire import WireSize, resistance_ohm_per_m, wire_sizes
from pdm_alloc.program.lightest import Point, Return, assign_returns
from pdm_alloc.result.placed import WiredCircuit

__all__ = ["GROUND_PLAN", "GROUND_POINTS", "ReturnWire", "ground_plan_table", "ground_points_table", "returns"]

GROUND_PLAN = (
    *("use", "module", "channel", "load", "items", "place", "ground", "ground_place"),
    *("length_m", "size", "worst_a", "drop_pct", "note"),
)

GROUND_POINTS = ("ground", "place", "use", "stud", "returns", "state", "current_a", "max_a", "max_wires", "note")

# What a switch or sender draws through its return at most: pull-ups of modules and control units; common practice.
SENSOR_MA = 20

# What a return may drop where the wire out has used up the load's limit, per cent; common practice, no source.
RETURN_DROP_PCT = 1.0


@dataclass(frozen=True, slots=True)
class ReturnWire:
    """Identical returns that go to one ground point.

    Parameters
    ----------
    use : str
        ``power`` or ``sensor``.
    module, channel : str
        Of the circuit, or box and pin that feed an actuator; empty for a sensor.
    name : str
        Load, input or signal; in a vehicle with return wires the circuit's loads together.
    items : tuple of int
        Item numbers.
    place : str or None
        Where the returns start.
    state_ma : tuple of int
        What one carries in each state, mA.
    size : WireSize
        Of each conductor.
    conductors : int
        Side by side.
    ground : Ground or None
        Where they end; None: no point has been found, see `note`.
    length_m : float or None
        Of one, allowances included, m.
    drop_pct : float or None
        Voltage drop on it, per cent of the system voltage.
    origin : str
        Where it starts: ``load``, ``module`` (what a wire brings back there), ``switch``, or ``actuator`` of a box.
    """

    use: str
    module: str
    channel: str
    name: str
    items: tuple[int, ...]
    place: str | None
    state_ma: tuple[int, ...]
    size: WireSize
    conductors: int = 1
    left_pct: float = float("inf")
    running_a: float = 0.0
    ground: Ground | None = None
    length_m: float | None = None
    drop_pct: float | None = None
    note: str = ""
    origin: str = "load"


def returns(
    vehicle: Vehicle,
    wired: Sequence[WiredCircuit],
    switches: Sequence[tuple[str, str | None]] = (),
    actuators: Sequence[ReturnWire] = (),
    switched: Collection[str] = (),
) -> tuple[ReturnWire, ...]:
    """Returns of a vehicle with the ground points they go to.

    Parameters
    ----------
    vehicle : Vehicle
        With its ground points.
    wired : sequence of WiredCircuit
        Its circuits.
    switches : sequence of (str, str or None)
        Names and places of switches of the signal side that close to ground.
    actuators : sequence of ReturnWire
        Of actuators of the signal side that are driven high, without a ground point yet.
    switched : collection of str
        Loads that a control unit switches to ground: what they return goes to its pin.

    Returns
    -------
    tuple of ReturnWire
        Empty without ground points. The wire to its nearest point is as thick as the circuit's, or thicker
        where the drop out and back would pass the load's limit (1 % is always left for the way back); sensor returns go
        to sensor points only.
    """
    if not vehicle.grounds:
        return ()
    wanted = [*_power(vehicle, wired, switched), *_sensors(vehicle, switches), *actuators]
    ways = [dict(_ways(vehicle, Wiring(vehicle), one)) for one in wanted]
    asked = [
        Return(len(one.items), one.conductors, one.state_ma, {p: round(1000 * m) for p, (m, _) in way.items()})
        for one, way in zip(wanted, ways, strict=True)
    ]
    points = [Point(g.max_ma, g.max_wires) for g in vehicle.grounds]
    chosen = assign_returns(asked, points)
    return tuple(part for r, one in enumerate(wanted) for part in _parts(vehicle, one, r, ways[r], chosen))


def _power(vehicle: Vehicle, wired: Sequence[WiredCircuit], switched: Collection[str]) -> Iterator[ReturnWire]:
    by_wire = vehicle.settings.return_path == "wire"
    for w in wired:
        if isinstance(w.made, Protected) and w.circuit.use != "bridge":
            if not by_wire:
                yield from (one for one in _each(vehicle, w, w.made) if one.name not in switched)
            elif not set(w.circuit.loads) <= set(switched):
                yield _together(w, w.made)


def _each(vehicle: Vehicle, w: WiredCircuit, protected: Protected) -> Iterator[ReturnWire]:
    for (t, _), drop in zip(w.members, protected.wire.drops_pct, strict=True):
        items = tuple(n for load, n in w.circuit.items if load == t.load)
        left = vehicle.load(t.load).max_drop_pct - (drop or 0.0)
        size, conductors = protected.wire.size, protected.wire.parallel
        where = ("power", w.circuit.unit, w.circuit.channel, t.load, items, t.place)
        yield ReturnWire(*where, t.state_ma, size, conductors, left, t.running_ma / 1000)


def _together(w: WiredCircuit, protected: Protected) -> ReturnWire:
    """Where returns are wires back to the module, they are there one wire a circuit."""
    sums = [sum(t.state_ma[n] * k for t, k in w.members) for n in range(len(w.members[0][0].state_ma))]
    where = ("power", w.circuit.unit, w.circuit.channel, "; ".join(w.circuit.loads), (1,), w.place.unit.place)
    wire, amps = (protected.wire.size, protected.wire.parallel), w.running_ma / 1000
    return ReturnWire(*where, tuple(sums), *wire, float("inf"), amps, origin="module")


def _sensors(vehicle: Vehicle, switches: Sequence[tuple[str, str | None]]) -> Iterator[ReturnWire]:
    """Switches and senders with a wire of their own; a key of a keypad has none."""
    size = wire_sizes(vehicle.settings.wire_sizes)[0]
    carried = (SENSOR_MA,) * len(vehicle.states)
    wired = [(one.name, one.place) for one in vehicle.inputs if one.kind != "bus" and one.read_by != "keypad"]
    for name, place in [*wired, *switches]:
        where = ("sensor", "", "", name, (1,), place)
        yield ReturnWire(*where, carried, size, running_a=SENSOR_MA / 1000, origin="switch")


_Way = tuple[float, WireSize]


def _ways(vehicle: Vehicle, wiring: Wiring, one: ReturnWire) -> Iterator[tuple[int, _Way]]:
    """Number of each point it may go to, length of wire (m), and the size that keeps the drop there."""
    for number, ground in enumerate(vehicle.grounds):
        length = _length_m(vehicle, wiring, one, ground)
        size = None if ground.use != one.use or length is None else _size(vehicle, one, length)
        if length is not None and size is not None:
            yield number, (length, size)


def _size(vehicle: Vehicle, one: ReturnWire, length_m: float) -> WireSize | None:
    """The circuit's size, or the next that keeps what is left of the load's drop, and 1 % at least."""
    allowed = max(one.left_pct, RETURN_DROP_PCT)
    thicker = [s for s in wire_sizes(vehicle.settings.wire_sizes) if s.area_mm2 >= one.size.area_mm2]
    return next((size for size in thicker if _drop_pct(vehicle, one, length_m, size) <= allowed + 1e-9), None)


def _length_m(vehicle: Vehicle, wiring: Wiring, one: ReturnWire, ground: Ground) -> float | None:
    """Of a return at the module only what lies beyond its place is more wire than the circuit has already."""
    length = wiring.lengths.wire_m(one.place, ground.place)
    beyond = one.origin == "module"
    return length - 2 * wiring.lengths.end_m if beyond and length is not None else length


def _drop_pct(vehicle: Vehicle, one: ReturnWire, length_m: float, size: WireSize) -> float:
    hot = resistance_ohm_per_m(size, vehicle.settings.insulation_c)
    return 100 * hot * length_m * one.running_a / one.conductors / vehicle.settings.system_v


def _parts(
    vehicle: Vehicle, one: ReturnWire, r: int, way: Mapping[int, _Way], chosen: Mapping[tuple[int, int], int]
) -> Iterator[ReturnWire]:
    """A return wire of several items is shared out over the points in the order of its items."""
    items = list(one.items)
    for (number, p), count in sorted(chosen.items()):
        if number == r:
            here, items = items[:count], items[count:]
            length, size = way[p]
            drop = round(_drop_pct(vehicle, one, length, size), 3)
            there = replace(one, ground=vehicle.grounds[p], length_m=length, drop_pct=drop, size=size)
            yield replace(there, items=tuple(here))
    if items:
        yield replace(one, items=tuple(items), note=_why(vehicle, one, way))


def _why(vehicle: Vehicle, one: ReturnWire, way: Mapping[int, _Way]) -> str:
    if one.place is None:
        return "its place is not known: take it to the nearest ground point"
    if not any(g.use == one.use for g in vehicle.grounds):
        return f"no {one.use} ground in table grounds"
    if way:
        return "every ground point in reach is full: add one, or a larger stud"
    return f"no {one.use} ground can be reached within its voltage drop: add one nearer to {one.place}"


def ground_plan_table(plan: Sequence[ReturnWire]) -> pd.DataFrame:
    """A row per return, in the columns `GROUND_PLAN`: lengths in m, worst current of one in A, drop in per cent."""
    return pd.DataFrame([_row(one) for one in plan], columns=list(GROUND_PLAN))


def _row(one: ReturnWire) -> tuple[object, ...]:
    ground = ("", "") if one.ground is None else (one.ground.name, one.ground.place)
    size = one.size.name if one.conductors == 1 else f"{one.conductors} x {one.size.name}"
    length = None if one.length_m is None else round(one.length_m, 2)
    worst = max(one.state_ma, default=0) / 1000
    head = (one.use, one.module, one.channel, one.name, len(one.items), one.place or "", *ground)
    return (*head, length, size, worst, one.drop_pct, one.note)


def ground_points_table(vehicle: Vehicle, plan: Sequence[ReturnWire]) -> pd.DataFrame:
    """A row per ground point, in the columns `GROUND_POINTS`: its worst state and the current then, A."""
    rows = [_point_row(vehicle, ground, [one for one in plan if one.ground == ground]) for ground in vehicle.grounds]
    return pd.DataFrame(rows, columns=list(GROUND_POINTS)).sort_values("ground", key=lambda c: c.map(natural_key))


def _point_row(vehicle: Vehicle, ground: Ground, here: Sequence[ReturnWire]) -> tuple[object, ...]:
    sums: Counter[str] = Counter({state.name: 0 for state in vehicle.states})
    for one in here:
        for state, ma in zip(vehicle.states, one.state_ma, strict=True):
            sums[state.name] += ma * len(one.items)
    worst, ma = max(sums.items(), key=lambda pair: pair[1])
    number = sum(len(one.items) * one.conductors for one in here)
    limit = None if ground.max_ma is None else ground.max_ma / 1000
    head = (ground.name, ground.place, ground.use, ground.stud, number, worst if here else "", ma / 1000)
    return (*head, limit, ground.max_wires, ground.note)
