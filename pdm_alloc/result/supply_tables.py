"""Wires, drops, feeds and supply of an allocation as tables."""

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import pandas as pd

from pdm_alloc.circuits.draws import draws_ma, feed_currents_ma, for_at_once_ma
from pdm_alloc.circuits.items import ItemType, load_types
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.showing import counted
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.protection import Protected
from pdm_alloc.electrics.wire import NOT_KNOWN, Refused, WireChoice, wire_sizes
from pdm_alloc.harness.distribution import Feeder, Laid, StateSupply, drawn_ma, feed_mass_g, links, supply
from pdm_alloc.result.channel_tables import loads_text
from pdm_alloc.result.placed import WiredCircuit
from pdm_alloc.result.worst import at_once_a, surges_of

__all__ = [
    "DROPS",
    "FEEDS",
    "SUPPLY",
    "WIRES",
    "drops_table",
    "feed_drops_v",
    "feeds_asked",
    "feeds_table",
    "laid_links",
    "supply_table",
    "switched_on",
    "wires_table",
]

WIRES = (
    "module",
    "channel",
    "connector",
    "pins",
    "command",
    "loads",
    "length_m",
    "size",
    "parallel",
    "area_mm2",
    "ampacity_a",
    "trip_a",
    "drop_pct",
    "drop_load",
    "mass_g",
    "ambient_c",
    "bundle_wires",
    "ampacity_at",
    "note",
)

DROPS = ("load", "module", "channel", "length_m", "drop_v", "drop_pct", "limit_pct", "feed_drop_v", "wire")

_REASONS = {
    "rating": "no trip setting lies between the running current and the channel's rating",
    "heat": "the way is as hot as the insulation may be",
    "ampacity": "no wire carries the trip setting there",
    "drop": "no wire keeps the voltage drop",
    "contact": "its pins together do not bear the trip setting",
    "terminal": "the terminal does not take the wire it needs",
    "stall": "the terminal does not take a wire that outlasts a stalled motor",
}


def wires_table(vehicle: Vehicle, wired: Sequence[WiredCircuit]) -> pd.DataFrame:
    """A row a circuit, in the columns `WIRES`.

    Lengths are one way, trunk and branches; drop_pct is the largest of its loads, per cent of the
    system voltage; ambient_c is the hottest it passes, bundle_wires the loaded wires of its fullest bundle, ampacity_at
    where, at which ambient and with how many loaded wires it carries least, which is ampacity_a; trip_a is what all its
    conductors carry together, A; mass counts every conductor and the way back where it is a
    wire, g. Where a length is not known, so is the size: all but conductors and setting is empty.
    """
    return pd.DataFrame([_wires_table_row(vehicle, w) for w in wired], columns=list(WIRES))


def _wires_table_row(vehicle: Vehicle, w: WiredCircuit) -> dict[str, object]:
    made = w.made if isinstance(w.made, Protected) else None
    where = {
        "module": w.circuit.unit,
        "channel": w.circuit.channel,
        "connector": w.place.connector,
        "pins": w.place.pins,
        "command": w.circuit.command,
        "loads": loads_text(vehicle, w.circuit),
        "length_m": None if w.wire_m is None else round(w.wire_m, 2),
        "mass_g": None if w.mass_g is None else round(w.mass_g, 1),
        "ambient_c": w.ambient_c,
        "bundle_wires": w.bundle_wires,
        "ampacity_at": _ampacity_at(w),
        "note": _wires_table_note(vehicle, w),
    }
    return where | (_wire(w, made) if made is not None else {})


def _ampacity_at(w: WiredCircuit) -> str:
    if w.narrowest is None:
        return ""
    where, ambient_c, number = w.narrowest
    return f"{where}: {ambient_c:g} deg C, {counted(number, 'loaded wire')}"


def _wire(w: WiredCircuit, made: Protected) -> dict[str, object]:
    if made.wire.size.name == NOT_KNOWN:
        return {"size": NOT_KNOWN, "parallel": made.wire.parallel, "trip_a": made.trip_ma / 1000, "drop_load": ""}
    pct, load = max(((p, t.load) for (t, _), p in _drops(w, made) if p is not None), default=(None, ""))
    return {
        "size": made.wire.size.name,
        "parallel": made.wire.parallel,
        "area_mm2": round(made.wire.size.area_mm2, 3),
        "ampacity_a": round(made.wire.ampacity_a, 2),
        "trip_a": made.trip_ma / 1000,
        "drop_pct": None if pct is None else round(pct, 3),
        "drop_load": load,
    }


def _drops(w: WiredCircuit, made: Protected) -> Iterator[tuple[tuple[ItemType, int], float | None]]:
    return zip(w.members, made.wire.drops_pct, strict=True)


def _wires_table_note(vehicle: Vehicle, w: WiredCircuit) -> str:
    if isinstance(w.made, Refused):
        return _REASONS[w.made.reason]
    notes = []
    if w.made.wire.parallel > w.place.rating.pins:
        notes.append("more conductors than pins: the terminal is not known")
    if w.circuit.use == "bridge":
        notes.append("out and back by wire")
    if w.most_together > w.bundle_wires:
        notes.append(f"split its bundle: no more than {w.bundle_wires} loaded wires together")
    missing = [t.load for (t, _), (_, length, _) in zip(w.members, w.runs, strict=True) if length is None]
    if missing:
        least = wire_sizes(vehicle.settings.wire_sizes)
        name = next(size.name for size in least if size.area_mm2 == w.made.wire.size.area_mm2)
        notes.append(f"length to {', '.join(missing)} not known, drop not judged; no thinner than {name}")
    return "; ".join(notes)


def drops_table(vehicle: Vehicle, units: Sequence[Unit], wired: Sequence[WiredCircuit]) -> pd.DataFrame:
    """A row a load and circuit, in the columns `DROPS`.

    drop_v and drop_pct are lost from module to load, V and per cent of the system voltage, empty where not judged;
    feed_drop_v is lost between battery and module on top, V, in the state in which the load is on and most is lost.
    """
    order = {load.name: n for n, load in enumerate(vehicle.loads)}
    lost = feed_drops_v(vehicle, units, wired)
    rows = [row for w in wired for row in _drop_rows(vehicle, w, _most_lost_v(vehicle, w, lost))]
    rows.sort(key=lambda row: order[row[0]])
    return pd.DataFrame(rows, columns=list(DROPS)).astype({"length_m": float, "drop_v": float, "drop_pct": float})


def _most_lost_v(vehicle: Vehicle, w: WiredCircuit, lost: Mapping[tuple[str, str], float]) -> float:
    on = [state.name for state in vehicle.states if state.is_on(w.circuit.command)]
    return max((lost[state, w.circuit.unit] for state in on), default=0.0)


def _drop_rows(vehicle: Vehicle, w: WiredCircuit, feed_v: float) -> Iterator[tuple[Any, ...]]:
    if isinstance(w.made, Refused):
        return
    wire = NOT_KNOWN if w.made.wire.size.name == NOT_KNOWN else w.made.wire.words
    for ((t, _), pct), (_, length, limit) in zip(_drops(w, w.made), w.runs, strict=True):
        volts = None if pct is None else round(pct * vehicle.settings.system_v / 100, 4)
        shown = (None if length is None else round(length, 2), volts, None if pct is None else round(pct, 3))
        yield (t.load, w.circuit.unit, w.circuit.channel, *shown, limit, round(feed_v, 4), wire)


SUPPLY = (
    "state",
    "supply_v",
    "mean_a",
    "running_a",
    "peak_a",
    "charging_a",
    "other_a",
    "balance_a",
    "minutes",
    "used_ah",
    "start_ah",
    "end_ah",
    "floor_minutes",
    "carried",
)


def supply_table(vehicle: Vehicle) -> pd.DataFrame:
    """A row a state, in the columns `SUPPLY`.

    Currents in A; mean_a counts duties, running_a and peak_a do not: the most that conditions let be on at once, and
    that at one change of one input (`at_once_a`), of the whole vehicle. `pdm_alloc.worst` asks what a limit of one
    module bears: there tolerance counts and what comes and goes counts by its heat. balance_a is
    charging less mean_a and other_a (drawn past the modules); used_ah is what is drawn less what is charged while the
    state lasts, Ah; start_ah and end_ah are the charge, carried from state to state; floor_minutes is the time from
    the start of the state until the battery is at its floor, min, empty where it is not drained or not known; carried
    is whether the state is, empty where that cannot be said.
    """
    largest = at_once_a(vehicle)
    rows = [_supply_table_row(one, *largest.get(one.state, (0.0, 0.0))) for one in supply(vehicle)]
    table = pd.DataFrame(rows, columns=list(SUPPLY))
    return table.astype(dict.fromkeys(SUPPLY[1:-1], float)).astype({"carried": "boolean"})


def _supply_table_row(one: StateSupply, running_a: float, peak_a: float) -> tuple[object, ...]:
    lasts = one.floor_minutes
    currents = (round(one.mean_a, 3), running_a, peak_a, one.charging_a, one.other_a, round(one.balance_a, 3))
    charge = (None if ah is None else round(ah, 3) for ah in (one.used_ah, one.start_ah, one.end_ah))
    left = None if lasts is None or lasts == math.inf else round(lasts, 1)
    return (one.state, one.supply_v, *currents, one.minutes, *charge, left, one.carried)


FEEDS = (
    "module",
    "place",
    "state",
    "running_a",
    "carries_a",
    "fuse_a",
    "length_m",
    "size",
    "parallel",
    "area_mm2",
    "ampacity_a",
    "drop_pct",
    "ohm",
    "mass_g",
    "note",
)


def feeds_table(vehicle: Vehicle, units: Sequence[Unit], wired: Sequence[WiredCircuit]) -> pd.DataFrame:
    """One row per unit, in the columns `FEEDS`: main fuse (A) and cable from the battery.

    state is that in which its loads draw most, all duties taken as 1: running_a. carries_a is what the
    feed is made to carry for long, as of `feed_currents_ma`; the fuse is at least running_a, and bears
    the inrush of any command on top.
    """
    feeder = Feeder(vehicle, switched_on(vehicle))
    asked = zip(units, feeds_asked(vehicle, units, wired), strict=True)
    return pd.DataFrame([_feed_row(feeder, unit, *one) for unit, one in asked], columns=list(FEEDS))


def feeds_asked(vehicle: Vehicle, units: Sequence[Unit], wired: Sequence[WiredCircuit]) -> list[tuple[int, str, int]]:
    """What each unit's feed is made to carry for long, mA; the state its loads draw most in, and what they draw, mA."""
    every = draws_ma(vehicle, load_types(vehicle))
    carried = feed_currents_ma(vehicle, units, max(every, default=0))
    rows = []
    for unit, ma in zip(units, carried, strict=True):
        members = [pair for w in wired if w.circuit.unit == unit.label for pair in w.members]
        state, running = _worst_state(vehicle, members)
        rows.append((max(ma, for_at_once_ma(running)), state, running))
    return rows


def laid_links(vehicle: Vehicle, units: Sequence[Unit], wired: Sequence[WiredCircuit]) -> tuple[Laid, ...]:
    """Every battery cable of a vehicle with its modules: isolator, feeds, starter, alternator."""
    asked = feeds_asked(vehicle, units, wired)
    feeds = [(unit.label, unit.place, ma) for unit, (ma, _, _) in zip(units, asked, strict=True)]
    return links(vehicle, feeds, switched_on(vehicle))


def switched_on(vehicle: Vehicle) -> tuple[tuple[int, float], ...]:
    """What feeds bear above running when one input changes, mA, and for how long, s: `surges_of`, once each."""
    return tuple(dict.fromkeys((surge.excess_ma, surge.seconds) for surge in surges_of(vehicle)))


def feed_drops_v(
    vehicle: Vehicle, units: Sequence[Unit], wired: Sequence[WiredCircuit]
) -> dict[tuple[str, str], float]:
    """What is lost between battery and each module, V.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : sequence of Unit
        What is fitted.
    wired : sequence of WiredCircuit
        Its circuits.

    Returns
    -------
    dict of (str, str) to float
        By state and label: isolator cable and feed, copper at the insulation's class, with all on that may be on in
        that state, at its sustained voltage. A cable of unknown length loses nothing.
    """
    laid = laid_links(vehicle, units, wired)
    ohms = {(one.demand.name, one.module): one.link.hot_ohm or 0.0 for one in laid if one.link is not None}
    on = {unit.label: Counter[str]() for unit in units}
    for w in wired:
        on[w.circuit.unit].update(name for name, _ in w.circuit.items)
    lost: dict[tuple[str, str], float] = {}
    for state in vehicle.states:
        drawn = {label: drawn_ma(vehicle, state, counts) / 1000 for label, counts in on.items()}
        net = max(0.0, sum(drawn.values()) + state.other_ma / 1000 - (state.charging_a or 0.0))
        trunk_v = net * ohms.get(("isolator", ""), 0.0)
        lost |= {(state.name, label): trunk_v + amps * ohms.get(("feed", label), 0.0) for label, amps in drawn.items()}
    return lost


def _feed_row(feeder: Feeder, unit: Unit, carries: int, state: str, running_ma: int) -> dict[str, object]:
    feed, length = feeder.feed(carries, unit.place, state), feeder.length_m(unit.place)
    mass = feed_mass_g(feed.wire, length, feeder.rules)
    row = {
        "module": unit.label,
        "place": unit.place or "",
        "state": state,
        "running_a": running_ma / 1000,
        "carries_a": carries / 1000,
        "fuse_a": feed.fuse_a,
        "length_m": None if length is None else round(length, 2),
        "ohm": None if feed.ohm is None else round(feed.ohm, 6),
        "mass_g": None if mass is None else round(mass, 1),
        "note": _harness_tables_note(feed.wire, length),
    }
    return row | (_cable(feed.wire) if isinstance(feed.wire, WireChoice) else {})


def _cable(wire: WireChoice) -> dict[str, object]:
    pct = wire.drops_pct[0]
    return {
        "size": wire.size.name,
        "parallel": wire.parallel,
        "area_mm2": round(wire.size.area_mm2, 3),
        "ampacity_a": round(wire.ampacity_a, 1),
        "drop_pct": None if pct is None else round(pct, 3),
    }


def _harness_tables_note(wire: WireChoice | Refused, length: float | None) -> str:
    if isinstance(wire, Refused):
        return "no standard fuse is large enough" if wire.reason == "fuse" else "no single cable is large enough"
    return "" if length is not None else "length from the battery not known, drop not judged"


def _worst_state(vehicle: Vehicle, members: Sequence[tuple[ItemType, int]]) -> tuple[str, int]:
    """State in which some items draw most, all duties taken as 1, and what they draw, mA."""
    sums = [sum(t.state_ma[n] * k for t, k in members) for n in range(len(vehicle.states))]
    worst = max(range(len(sums)), key=lambda n: sums[n])
    return vehicle.states[worst].name, sums[worst]
