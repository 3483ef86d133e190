"""The wires of an allocation as tables: one row a circuit, one row a load."""

from collections.abc import Iterator, Sequence
from typing import Any

import pandas as pd

from pdm_alloc.allocation.tables import loads_text
from pdm_alloc.allocation.wired import WiredCircuit
from pdm_alloc.circuits.items import ItemType
from pdm_alloc.electrics.protect import Protected
from pdm_alloc.vehicle import Vehicle

__all__ = ["DROPS", "WIRES", "drops_table", "wires_table"]

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
    "note",
)
DROPS = ("load", "module", "channel", "length_m", "drop_v", "drop_pct", "limit_pct", "wire")

_REASONS = {
    "rating": "no trip setting lies between the running current and the channel's rating",
    "heat": "the way is as hot as the insulation may be",
    "ampacity": "no wire carries the trip setting there",
    "drop": "no wire keeps the voltage drop",
    "terminal": "the terminal does not take the wire it needs",
    "stall": "the terminal does not take a wire that outlasts a stalled motor",
}


def wires_table(vehicle: Vehicle, wired: Sequence[WiredCircuit]) -> pd.DataFrame:
    """A row a circuit, in the columns `WIRES`.

    Lengths are one way, trunk and branches; drop_pct is the largest of its loads, per cent of the
    system voltage; bundle_wires are the loaded wires together it is chosen for; trip_a is what all
    its conductors carry together, A; mass counts every conductor and the way back where it is a
    wire, g. Empty where a length is not known.
    """
    return pd.DataFrame([_row(vehicle, w) for w in wired], columns=list(WIRES))


def _row(vehicle: Vehicle, w: WiredCircuit) -> dict[str, object]:
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
        "note": _note(w),
    }
    return where | (_wire(w, made) if made is not None else {})


def _wire(w: WiredCircuit, made: Protected) -> dict[str, object]:
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
    return zip(w.some, made.wire.drops_pct, strict=True)


def _note(w: WiredCircuit) -> str:
    if isinstance(w.made, str):
        return _REASONS[w.made]
    notes = []
    if w.made.wire.parallel > w.place.rating.pins:
        notes.append("more conductors than pins: the terminal is not known")
    if w.circuit.use == "bridge":
        notes.append("out and back by wire")
    if w.most_together > w.bundle_wires:
        notes.append(f"split its bundle: no more than {w.bundle_wires} loaded wires together")
    missing = [t.load for (t, _), (_, length, _) in zip(w.some, w.runs, strict=True) if length is None]
    if missing:
        notes.append(f"length to {', '.join(missing)} not known, drop not judged")
    return "; ".join(notes)


def drops_table(vehicle: Vehicle, wired: Sequence[WiredCircuit]) -> pd.DataFrame:
    """A row a load and circuit, in the columns `DROPS`; drop in V and per cent of the system voltage, or not judged."""
    order = {load.name: n for n, load in enumerate(vehicle.loads)}
    rows = [row for w in wired for row in _drop_rows(vehicle, w)]
    rows.sort(key=lambda row: order[row[0]])
    return pd.DataFrame(rows, columns=list(DROPS)).astype({"length_m": float, "drop_v": float, "drop_pct": float})


def _drop_rows(vehicle: Vehicle, w: WiredCircuit) -> Iterator[tuple[Any, ...]]:
    if isinstance(w.made, str):
        return
    wire = w.made.wire.size.name if w.made.wire.parallel == 1 else f"{w.made.wire.parallel} x {w.made.wire.size.name}"
    for ((t, _), pct), (_, length, limit) in zip(_drops(w, w.made), w.runs, strict=True):
        volts = None if pct is None else round(pct * vehicle.settings.system_v / 100, 4)
        shown = (None if length is None else round(length, 2), volts, None if pct is None else round(pct, 3))
        yield (t.load, w.circuit.unit, w.circuit.channel, *shown, limit, wire)
