"""Tables of channels, voltages and settings of an allocation."""

from collections.abc import Mapping, Sequence
from math import ceil
from typing import TYPE_CHECKING, Any

import pandas as pd

from pdm_alloc.circuits.draws import CircuitDraw
from pdm_alloc.circuits.items import ItemType, load_types
from pdm_alloc.domain.module import Unit, natural_key
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.current import running_at_voltage_ma
from pdm_alloc.electrics.protection import Protected, time_above
from pdm_alloc.result.placed import Place, PlacedCircuit, WiredCircuit, place_of
from pdm_alloc.result.worst import limit_name, worst_sums

if TYPE_CHECKING:
    from pdm_alloc.result.allocation import Allocation

__all__ = [
    "LIMIT_KINDS",
    "SETTINGS",
    "assignments",
    "channels",
    "pin_map",
    "settings_table",
    "spare",
    "states",
    "tightest_headroom",
]

LIMIT_KINDS = ("channel", "inrush", "bank", "whole module", "whole module, peak", "voltage drop")

CHANNELS = (
    "module",
    "channel",
    "connector",
    "pins",
    "bank",
    "command",
    "loads",
    "items",
    "running_a",
    "limit_a",
    "headroom_pct",
    "inrush_a",
    "peak_a",
    "inrush_use_pct",
)

PIN_MAP = (
    "module",
    "connector",
    "pins",
    "channel",
    "command",
    "loads",
    "running_a",
    "inrush_a",
    "limit_a",
    "headroom_pct",
)


def channels(vehicle: Vehicle, units: Sequence[Unit], circuits: Sequence[PlacedCircuit]) -> pd.DataFrame:
    """A row a circuit, in the columns `CHANNELS`; currents in A, shares in per cent."""
    types = {t.load: t for t in load_types(vehicle)}
    rows = [_channel_row(vehicle, place_of(vehicle, units, c), c, types) for c in circuits]
    return pd.DataFrame(rows, columns=list(CHANNELS))


def _channel_row(
    vehicle: Vehicle, place: Place, circuit: PlacedCircuit, types: Mapping[str, ItemType]
) -> dict[str, object]:
    items = [(types[name], sum(n == name for n, _ in circuit.items)) for name in circuit.loads]
    draw = CircuitDraw(items, vehicle.settings.tolerance_loads)
    running, rating = draw.running_ma, place.rating
    return {
        "module": circuit.unit,
        "channel": circuit.channel,
        "connector": place.connector,
        "pins": place.pins,
        "bank": place.bank,
        "command": circuit.command,
        "loads": loads_text(vehicle, circuit),
        "items": len(circuit.items),
        "running_a": running / 1000,
        "limit_a": round(float(rating.rated_ma) / 1000, 3),
        "headroom_pct": round(100 * (1 - running / float(rating.rated_ma)), 1),
        "inrush_a": draw.peak_ma / 1000,
        "peak_a": rating.peak_ma / 1000,
        "inrush_use_pct": round(100 * draw.inrush_use(rating).worst, 1),
    }


def running_ma(vehicle: Vehicle, circuit: PlacedCircuit, volt: float) -> int:
    """Running current of a circuit at a voltage, mA."""
    reference = vehicle.settings.reference_v
    loads = [vehicle.load(name) for name, _ in circuit.items]
    return sum(running_at_voltage_ma(x.running_ma, x.volt_exponent, volt, reference) for x in loads)


def loads_text(vehicle: Vehicle, circuit: PlacedCircuit) -> str:
    """Loads of a circuit as a table writes them: ``Fog lamp x2; Fog switch lamp``."""
    number = {name: sum(n == name for n, _ in circuit.items) for name in circuit.loads}
    return "; ".join(f"{name} x{k}" if k > 1 else name for name, k in number.items())


def assignments(vehicle: Vehicle, circuits: Sequence[PlacedCircuit]) -> pd.DataFrame:
    """A row an item, in the order of the load table."""
    order = {load.name: n for n, load in enumerate(vehicle.loads)}
    rows = [(load, item, c.unit, c.channel) for c in circuits for load, item in c.items]
    rows.sort(key=lambda row: (order[row[0]], row[1]))
    return pd.DataFrame(rows, columns=["load", "item", "module", "channel"])


def spare(units: Sequence[Unit], circuits: Sequence[PlacedCircuit]) -> pd.DataFrame:
    """A row a free channel."""
    used = {(c.unit, name) for c in circuits for name in c.channels}
    rows = [
        (u.label, c.name, c.connector, " ".join(c.pins), c.bank or "", c.continuous_ma / 1000)
        for u in units
        for c in sorted(u.module.channels, key=lambda c: natural_key(c.name))
        if (u.label, c.name) not in used
    ]
    return pd.DataFrame(rows, columns=["module", "channel", "connector", "pins", "bank", "continuous_a"])


def states(vehicle: Vehicle, units: Sequence[Unit], circuits: Sequence[PlacedCircuit]) -> pd.DataFrame:
    """Current of every bank and module under its worst combination in every state against its limit, A."""
    rows = [
        (unit.label, limit_name(limit), state, round(ma / 1000, 3), limit.most_ma / 1000)
        for unit, limit, state, ma in worst_sums(vehicle, units, circuits)
    ]
    table = pd.DataFrame(rows, columns=["module", "subject", "state", "current_a", "limit_a"])
    table["headroom_pct"] = (100 * (1 - table.current_a / table.limit_a)).round(1)
    return table


def pin_map(vehicle: Vehicle, circuits: Sequence[PlacedCircuit], channel_table: pd.DataFrame) -> pd.DataFrame:
    """Columns `PIN_MAP` and the loads' ``x_`` columns, several loads' values joined in the order of their names."""
    table = channel_table[list(PIN_MAP)].copy()
    values = {load.name: dict(load.extra) for load in vehicle.loads}
    for column in dict.fromkeys(name for load in vehicle.loads for name, _ in load.extra):
        cells = [[values[load].get(column, "") for load in c.loads] for c in circuits]
        table[column] = ["; ".join(dict.fromkeys(v for v in cell if v)) for cell in cells]
    return table


SETTINGS = (
    "module",
    "channel",
    "command",
    "loads",
    "running_a",
    "trip_a",
    "margin_pct",
    "window_ms",
    "above_ms",
    "stalled_a",
    "stall_trip_ms",
    "stall_damage_ms",
)


def settings_table(vehicle: Vehicle, wired: Sequence[WiredCircuit]) -> pd.DataFrame:
    """A row a circuit, in the columns `SETTINGS`; of two channels in parallel the currents are those of each.

    running_a is the largest draw at any voltage of any state it may be on in, tolerance and cold copper
    included, and of two channels in parallel the larger share of it; running_a of the pin map is as stated. trip_a
    is at least 1.25 times that, and more by what the module's own reading may be off. That quarter and the headroom
    of the channel are one margin, not two: with 20 per cent of headroom there always is a setting within the
    rating. margin_pct is how much more trip_a is; above_ms is how long the inrush exceeds trip_a, window_ms how
    long it may. stalled_a flows when its motors are stuck. Of all currents up to that, the one worst for the wire
    trips the channel after stall_trip_ms, and the wire would suffer after stall_damage_ms. Empty where nothing can
    stall.
    """
    rows = [_row(vehicle, w, w.made) for w in wired if isinstance(w.made, Protected)]
    return pd.DataFrame(rows, columns=list(SETTINGS)).astype(dict.fromkeys(SETTINGS[4:], float))


def _row(vehicle: Vehicle, w: WiredCircuit, protected: Protected) -> tuple[object, ...]:
    running, trip = ceil(w.running_ma * w.place.rating.share) / 1000, protected.trip_ma / w.each / 1000
    margin = 100 * (trip / running - 1) if running else float("inf")
    return (
        w.circuit.unit,
        w.circuit.channel,
        w.circuit.command,
        loads_text(vehicle, w.circuit),
        running,
        trip,
        round(margin, 1),
        protected.window_ms,
        round(_above_ms(w, protected), 1),
        *_stall(w, protected),
    )


def _above_ms(w: WiredCircuit, protected: Protected) -> float:
    """Above what the channel may read as its setting, as its window was chosen."""
    rating = w.place.rating
    level = float(protected.trip_ma / w.each * (1 - rating.trip_error_pct / 100) / rating.share)
    excess = [t.surge_ma * k / 1000 for t, k in w.members]
    return time_above(w.running_ma / 1000, excess, [t.tau_ms for t, _ in w.members], level / 1000)


def _stall(w: WiredCircuit, protected: Protected) -> tuple[object, ...]:
    if protected.stall is None or w.stalled_a is None:
        return (None, None, None)
    return (w.stalled_a / w.each, round(protected.stall.trip_ms, 1), round(protected.stall.damage_ms, 1))


def tightest_headroom(allocation: "Allocation") -> dict[str, tuple[float, str]]:
    """The least headroom of each kind of limit, and where it is.

    Parameters
    ----------
    allocation : Allocation
        Any.

    Returns
    -------
    dict of str to (float, str)
        Kind of `LIMIT_KINDS` to headroom, per cent, and channel and loads, bank and state, or load. Kinds without a
        limit are left out: banks where there are none, voltage drops where no length is known.
    """
    uses: dict[str, list[tuple[float, str]]] = {}
    for row in _rows(allocation.channels):
        where = f"channel {row['channel']}: {row['loads']}"
        uses.setdefault("channel", []).append((row["headroom_pct"], where))
        uses.setdefault("inrush", []).append((round(100 - row["inrush_use_pct"], 1), where))
    for row in _rows(allocation.headroom):
        kind = "bank" if row["subject"].startswith("bank ") else row["subject"]
        uses.setdefault(kind, []).append((row["headroom_pct"], f"{row['subject']} in {row['state']}"))
    for row in _rows(allocation.drops.dropna(subset=["drop_pct", "limit_pct"])):
        spent = row["drop_pct"] / row["limit_pct"]
        uses.setdefault("voltage drop", []).append((round(100 * (1 - spent), 1), row["load"]))
    return {kind: min(uses[kind], key=lambda use: use[0]) for kind in LIMIT_KINDS if kind in uses}


def _rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    return [dict(zip(table.columns, row, strict=True)) for row in table.itertuples(index=False)]
