"""Battery cables, heat of the modules, the parked vehicle and the voltage at every load as tables."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from pdm_alloc.domain.condition import parse_condition
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Load, State, Vehicle
from pdm_alloc.electrics.ampacity import RULE_PACKS
from pdm_alloc.electrics.battery import parked_days
from pdm_alloc.electrics.thermal import module_heat_w
from pdm_alloc.electrics.voltage import running_at_voltage_ma
from pdm_alloc.electrics.wire_choice import WireChoice
from pdm_alloc.harness.feed_cable import STARTER_DROP_PCT, Laid
from pdm_alloc.harness.supply import LoadVoltage, battery_of, load_voltages
from pdm_alloc.result.placed import PlacedCircuit, WiredCircuit
from pdm_alloc.result.supply_tables import feed_drops_v, laid_links

__all__ = [
    "HEAT",
    "LINKS",
    "PARKED",
    "VOLTAGES",
    "ParkedDraw",
    "always_on",
    "heat_table",
    "links_table",
    "parked_draws",
    "parked_for_days",
    "parked_table",
    "voltages",
    "voltages_table",
]

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

_REASONS = {
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
    return row | demand | fuse | faults | _cable(one.link.wire)


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None or value == math.inf else round(value, digits)


def _cable(wire: WireChoice | str) -> dict[str, object]:
    if isinstance(wire, str):
        return {}
    return {
        "size": wire.size.name,
        "parallel": wire.parallel,
        "area_mm2": round(wire.size.area_mm2, 3),
        "ampacity_a": round(wire.ampacity_a, 1),
        "drop_pct": _rounded(wire.drops_pct[0], 3),
    }


def _note(vehicle: Vehicle, one: Laid) -> str:
    if one.link is None:
        return _NO_CURRENT.get(one.demand.name, "")
    notes = [_REASONS.get(one.link.wire, one.link.wire)] if isinstance(one.link.wire, str) else []
    if not one.demand.fused:
        notes.append("carries the starter, so it has no fuse: short, protected from chafing, terminals covered")
    elif one.link.fuse_a is not None:
        notes.append(f"distance of the fuse: {RULE_PACKS[vehicle.settings.rules].fuse_source}")
    if one.demand.name == "starter" and one.demand.drop_pct < STARTER_DROP_PCT:
        notes.append(f"{STARTER_DROP_PCT:g} % are allowed together with the cable to the isolator")
    if one.link.fault_a is None:
        notes.append("fault current not known: enter battery_ah or battery_mohm")
    if one.demand.length_m is None:
        notes.append("length not known, drop not judged")
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
        drops = () if isinstance(w.made, str) else w.made.wire.drops_pct
        for (t, _), pct in zip(w.members, drops, strict=False):
            if pct is not None and t.running_ma:
                ohm = pct * vehicle.settings.system_v * 10 / t.running_ma
                ohms[t.load] = max(ohm, ohms.get(t.load) or 0.0)
    return ohms
