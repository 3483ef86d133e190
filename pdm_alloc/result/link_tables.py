"""Tables of the ground plan, battery cables, heat of modules, the parked vehicle and the voltage at loads."""

import math
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from pdm_alloc.circuits.draws import Wiring
from pdm_alloc.circuits.items import ItemType
from pdm_alloc.domain.condition import parse_condition
from pdm_alloc.domain.module import Unit, natural_key
from pdm_alloc.domain.vehicle import Ground, Load, State, Vehicle
from pdm_alloc.electrics.battery import parked_days
from pdm_alloc.electrics.current import module_heat_w, running_at_voltage_ma
from pdm_alloc.electrics.protection import Protected
from pdm_alloc.electrics.wire import (
    NOT_KNOWN,
    RULE_PACKS,
    Refused,
    WireChoice,
    WireSize,
    resistance_ohm_per_m,
    wire_sizes,
)
from pdm_alloc.harness.distribution import STARTER_DROP_PCT, Laid, LoadVoltage, battery_of, load_voltages
from pdm_alloc.program.lightest import Point, Return, assign_returns
from pdm_alloc.result.placed import PlacedCircuit, WiredCircuit
from pdm_alloc.result.supply_tables import feed_drops_v, laid_links

__all__ = [
    "GROUND_PLAN",
    "GROUND_POINTS",
    "HEAT",
    "LINKS",
    "NO_CABLE",
    "PARKED",
    "VOLTAGES",
    "ParkedDraw",
    "ReturnWire",
    "always_on",
    "ground_plan_table",
    "ground_points_table",
    "heat_table",
    "links_table",
    "parked_draws",
    "parked_for_days",
    "parked_table",
    "returns",
    "voltages",
    "voltages_table",
]

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
            elif returning := [(t, k) for t, k in w.members if not t.switched_low]:
                yield _together(w, w.made, returning)


def _each(vehicle: Vehicle, w: WiredCircuit, protected: Protected) -> Iterator[ReturnWire]:
    for (t, _), drop in zip(w.members, protected.wire.drops_pct, strict=True):
        items = tuple(n for load, n in w.circuit.items if load == t.load)
        left = vehicle.load(t.load).max_drop_pct - (drop or 0.0)
        size, conductors = protected.wire.size, protected.wire.parallel
        where = ("power", w.circuit.unit, w.circuit.channel, t.load, items, t.place)
        yield ReturnWire(*where, t.state_ma, size, conductors, left, t.running_ma / 1000)


def _together(w: WiredCircuit, protected: Protected, returning: Sequence[tuple[ItemType, int]]) -> ReturnWire:
    """Where returns are wires back to the module, they are there one wire a circuit."""
    sums = [sum(t.state_ma[n] * k for t, k in returning) for n in range(len(w.members[0][0].state_ma))]
    names = "; ".join(name for name in w.circuit.loads if name in {t.load for t, _ in returning})
    where = ("power", w.circuit.unit, w.circuit.channel, names, (1,), w.place.unit.place)
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


LINKS = (
    *("link", "module", "from", "to", "running_a", "peak_a", "seconds", "fuse_a", "fuse_within_m", "length_m"),
    *("size", "parallel", "area_mm2", "ampacity_a", "drop_pct", "limit_pct"),
    *("fault_a", "end_fault_a", "opens_s", "mass_g", "note"),
)

_LINK_NAMES = {
    "isolator": "battery to isolator",
    "feed": "module feed",
    "starter": "starter",
    "alternator": "alternator",
}

_NO_CURRENT = {
    "starter": "current not known: enter other_a of cranking in the table supply",
    "alternator": "current not known: enter charging_a in the table supply",
}

NO_CABLE = {
    "fuse": "no standard fuse is large enough",
    "heat": "the way is as hot as the insulation may be",
    "ampacity": "no single cable is large enough",
    "drop": "no single cable keeps the voltage drop",
}


def links_table(vehicle: Vehicle, units: Sequence[Unit], wired: Sequence[WiredCircuit]) -> pd.DataFrame:
    """One row per battery cable, in the columns `LINKS`.

    seconds is how long its current flows in one go, empty for good; fuse_a the rating of the fuse at its start, empty
    where it has none; fuse_within_m the longest cable from the source to that fuse by the rule pack; fault_a and
    end_fault_a the current of a short at its start and end with copper cold, which the fuse must be able to break;
    opens_s the longest time the fuse takes on a short at the end. A, m, mm2, drop in per cent of the system voltage, g.
    """
    rows = [_link_row(vehicle, one) for one in laid_links(vehicle, units, wired)]
    numbers = [name for name in LINKS if name not in ("link", "module", "from", "to", "size", "note")]
    return pd.DataFrame(rows, columns=list(LINKS)).astype(dict.fromkeys(numbers, float))


def _link_row(vehicle: Vehicle, one: Laid) -> dict[str, object]:
    asked = one.demand
    row: dict[str, object] = {
        "link": _LINK_NAMES[asked.name],
        "module": one.module,
        "from": one.start or "",
        "to": one.end or "",
        "length_m": _rounded(asked.length_m, 2),
        "mass_g": _rounded(one.mass_g, 1),
        "limit_pct": asked.drop_pct,
        "note": _note(vehicle, one),
    }
    if one.link is None:
        return row
    faults = {name: _rounded(getattr(one.link, name), 0) for name in ("fault_a", "end_fault_a")}
    fuse = {
        "fuse_a": one.link.fuse_a,
        "fuse_within_m": one.link.fuse_within_m,
        "opens_s": _rounded(one.link.opens_s, 3),
    }
    demand = {"running_a": asked.running_a, "peak_a": asked.peak_a, "seconds": asked.seconds}
    return row | demand | fuse | faults | _cable(one.link.wire, asked.length_m)


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None or value == math.inf else round(value, digits)


def _cable(wire: WireChoice | Refused, length_m: float | None) -> dict[str, object]:
    """Its size; of a cable without a length only the area that its heating asks for at least."""
    if isinstance(wire, Refused):
        return {}
    return {
        "size": NOT_KNOWN if length_m is None else wire.size.name,
        "parallel": wire.parallel,
        "area_mm2": round(wire.size.area_mm2, 3),
        "ampacity_a": round(wire.ampacity_a, 1),
        "drop_pct": _rounded(wire.drops_pct[0], 3),
    }


def _note(vehicle: Vehicle, one: Laid) -> str:
    if one.link is None:
        return _NO_CURRENT.get(one.demand.name, "")
    notes = [NO_CABLE.get(one.link.wire.reason, one.link.wire.reason)] if isinstance(one.link.wire, Refused) else []
    if one.demand.name == "isolator" and vehicle.beside_ma:
        notes.append(f"with {vehicle.beside_ma / 1000:g} A drawn past the modules (other_a), which needs its own fuses")
    if one.demand.name == "starter":
        notes.append(f"other_a of {' and '.join(state.name for state in vehicle.starts)} is taken for it")
    if not one.demand.fused:
        notes.append("carries the starter, so it has no fuse: short, protected from chafing, terminals covered")
    elif one.link.fuse_a is not None:
        notes.append(f"distance of the fuse: {RULE_PACKS[vehicle.settings.rules].fuse_source}")
    if one.demand.name == "starter" and one.demand.drop_pct < STARTER_DROP_PCT:
        notes.append(f"{STARTER_DROP_PCT:g} % are allowed together with the cable to the isolator")
    if one.link.fault_a is None:
        notes.append("fault current not known: enter battery_ah or battery_mohm")
    if one.demand.length_m is None:
        wire = one.link.wire
        least = "" if isinstance(wire, Refused) else f", at least {wire.words} by its heating"
        notes.append(f"length not known, drop not judged{least}")
    return "; ".join(notes)


HEAT = ("module", "state", "mean_w", "top_w", "unknown_channels")


def heat_table(vehicle: Vehicle, units: Sequence[Unit], circuits: Sequence[PlacedCircuit]) -> pd.DataFrame:
    """One row per module and state, in the columns `HEAT`: heat the module gives off, W.

    mean_w with duties, top_w with everything on that may be on, at whichever end of the span of voltage it is more;
    unknown_channels carry current without a known on_mohm, and the heat is empty.
    """
    rows = [
        (unit.label, state.name, *_heat(vehicle, unit, state, [c for c in circuits if c.unit == unit.label]))
        for unit in units
        for state in vehicle.states
    ]
    return pd.DataFrame(rows, columns=list(HEAT)).astype({"mean_w": float, "top_w": float})


def _heat(
    vehicle: Vehicle, unit: Unit, state: State, circuits: Sequence[PlacedCircuit]
) -> tuple[float | None, float | None, int]:
    on = [c for c in circuits if state.is_on(c.command)]
    unknown = sum(unit.module.channel(name).on_mohm is None for c in on for name in c.channels)
    if unknown:
        return (None, None, unknown)
    quiet = (unit.module.quiescent_ma or 0.0) / 1000 * state.span_v[-1]
    tops = [_heats(vehicle, unit, on, volts) for volts in state.span_v]
    means = [sum(w * state.duty_ppm[c.command] / 1e6 for w, c in zip(heats, on, strict=True)) for heats in tops]
    return (round(quiet + max(means), 2), round(quiet + max(map(sum, tops)), 2), 0)


def _heats(vehicle: Vehicle, unit: Unit, on: Sequence[PlacedCircuit], volts: float) -> list[float]:
    """Heat of each circuit's channels, W; of two in parallel the larger share flows through the first."""
    heats = []
    for circuit in on:
        channels = [unit.module.channel(name) for name in circuit.channels]
        amps = _amps(vehicle, circuit, volts)
        shares = [float(max(c.share_pct for c in channels)) / 100] if circuit.use == "pair" else [1.0]
        currents = [amps * shares[0], amps * (1 - shares[0])] if circuit.use == "pair" else [amps] * len(channels)
        heats.append(module_heat_w(currents, [c.on_mohm for c in channels]) or 0.0)
    return heats


def _amps(vehicle: Vehicle, circuit: PlacedCircuit, volts: float) -> float:
    reference = vehicle.settings.reference_v
    loads = [vehicle.load(name) for name, _ in circuit.items]
    return sum(running_at_voltage_ma(x.running_ma, x.volt_exponent, volts, reference) for x in loads) / 1000


@dataclass(frozen=True, slots=True)
class ParkedDraw:
    """What one box or load draws from the battery of the parked vehicle.

    Parameters
    ----------
    name : str
        Label of the module, or the load.
    draw_ma : float or None
        mA; None: not known.
    note : str
        Why it is counted.
    """

    name: str
    draw_ma: float | None
    note: str


def always_on(vehicle: Vehicle) -> tuple[Load, ...]:
    """Loads that draw with the vehicle parked: those whose command's condition holds with every input off.

    Parameters
    ----------
    vehicle : Vehicle
        Checked tables; a command without a condition is a switch of its own, off when parked.

    Returns
    -------
    tuple of Load
        In the order of the table.
    """
    conditions = {command.name: command.condition for command in vehicle.commands if command.condition.strip()}
    on = {name for name, text in conditions.items() if parse_condition(text).evaluate(frozenset())}
    return tuple(load for load in vehicle.loads if load.command in on)


def parked_draws(vehicle: Vehicle, units: tuple[Unit, ...]) -> tuple[ParkedDraw, ...]:
    """What the parked vehicle draws: quiescent current of the modules, then loads that are always on.

    Parameters
    ----------
    vehicle : Vehicle
        Checked tables.
    units : tuple of Unit
        Modules fitted.

    Returns
    -------
    tuple of ParkedDraw
        Loads at the system voltage.
    """
    boxes = [ParkedDraw(unit.label, unit.module.quiescent_ma, "module with every output off") for unit in units]
    loads = [ParkedDraw(x.name, _system_ma(vehicle, x), "always on") for x in always_on(vehicle)]
    return (*boxes, *loads)


def _system_ma(vehicle: Vehicle, load: Load) -> int:
    volts, reference = vehicle.settings.system_v, vehicle.settings.reference_v
    return running_at_voltage_ma(load.running_ma, load.volt_exponent, volts, reference) * load.count


def parked_for_days(vehicle: Vehicle, units: tuple[Unit, ...]) -> float | None:
    """Days from a full battery to its floor, parked; None: battery or a quiescent current is not known.

    Parameters
    ----------
    vehicle : Vehicle
        Checked tables.
    units : tuple of Unit
        Modules fitted.

    Returns
    -------
    float or None
        Days, inf where nothing is drawn; self-discharge and cold are not counted.
    """
    battery, draws = battery_of(vehicle.settings), [one.draw_ma for one in parked_draws(vehicle, units)]
    known = [ma for ma in draws if ma is not None]
    if battery is None or len(known) < len(draws):
        return None
    return parked_days(battery, math.fsum(known))


PARKED = ("draws", "draw_ma", "days", "note")


def parked_table(vehicle: Vehicle, units: Sequence[Unit]) -> pd.DataFrame:
    """What the parked vehicle draws, in the columns `PARKED`: modules, loads always on, and all together.

    draw_ma in mA, empty where not known; days until a full battery is at its floor, empty where the battery or a draw
    is not known or nothing is drawn.
    """
    draws = parked_draws(vehicle, tuple(units))
    rows: list[tuple[object, ...]] = [(one.name, one.draw_ma, None, one.note) for one in draws]
    known = [one.draw_ma for one in draws if one.draw_ma is not None]
    unknown = [one.name for one in draws if one.draw_ma is None]
    note = f"quiescent current of {', '.join(unknown)} not known" if unknown else "self-discharge and cold not counted"
    days = parked_for_days(vehicle, tuple(units))
    rows.append(("all together", sum(known), None if days is None else _rounded(days, 1), note))
    return pd.DataFrame(rows, columns=list(PARKED)).astype({"draw_ma": float, "days": float})


VOLTAGES = ("state", "load", "importance", "supply_v", "module_v", "load_v", "min_v", "enough", "judged")


def voltages_table(vehicle: Vehicle, units: Sequence[Unit], wired: Sequence[WiredCircuit]) -> pd.DataFrame:
    """A row a state and load that is on in it, in the columns `VOLTAGES`, V.

    supply_v is the state's, at the battery; module_v is less by what isolator cable and feed lose, as far as their
    lengths are known, with all on that may be on in that state. judged tells whether the wire's length was known;
    where it was not, load_v is module_v. enough is empty where min_v is.
    """
    rows = [
        (one.state, one.load, one.importance, one.supply_v, *_volts(one), one.min_v, one.enough, one.judged)
        for one in voltages(vehicle, units, wired)
    ]
    return pd.DataFrame(rows, columns=list(VOLTAGES)).astype({"min_v": float, "enough": "boolean"})


def _volts(one: LoadVoltage) -> tuple[float, float]:
    return round(one.module_v, 3), round(one.load_v, 3)


def voltages(vehicle: Vehicle, units: Sequence[Unit], wired: Sequence[WiredCircuit]) -> tuple[LoadVoltage, ...]:
    """Voltage of every load in every state it is on in, behind isolator cable, feed and the wire it has."""
    lost, feed_v = feed_drops_v(vehicle, units, wired), dict[tuple[str, str], float]()
    for w in wired:
        for state in vehicle.states:
            for load in w.circuit.loads:  # of items on several modules the worse
                key, volts = (state.name, load), lost.get((state.name, w.circuit.unit), 0.0)
                feed_v[key] = max(volts, feed_v.get(key, 0.0))
    return load_voltages(vehicle, _ohms(vehicle, wired), feed_v)


def _ohms(vehicle: Vehicle, wired: Sequence[WiredCircuit]) -> dict[str, float | None]:
    """Resistance that counts for each load: its drop over its current, the worst where its items are split."""
    ohms: dict[str, float | None] = {}
    for w in wired:
        drops = () if isinstance(w.made, Refused) else w.made.wire.drops_pct
        for (t, _), pct in zip(w.members, drops, strict=False):
            if pct is not None and t.running_ma:
                ohm = pct * vehicle.settings.system_v * 10 / t.running_ma
                ohms[t.load] = max(ohm, ohms.get(t.load) or 0.0)
    return ohms
