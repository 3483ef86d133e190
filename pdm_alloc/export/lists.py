"""Lists for the bench: pin map, wires, inputs, assumptions, signals and bus, with headings as people read them."""

import math
import os
from collections import defaultdict
from collections.abc import Hashable, Iterator, Mapping
from dataclasses import fields
from fractions import Fraction
from pathlib import Path
from string import ascii_lowercase
from typing import Any, cast

import pandas as pd

from pdm_alloc.domain.condition import condition_names
from pdm_alloc.domain.kinds import KINDS, Kind
from pdm_alloc.domain.module import Signal
from pdm_alloc.domain.showing import counted
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.signal_lines import TERMINATOR_OHM, TERMINATORS_OHM, limit_at
from pdm_alloc.files.atomic import write_file
from pdm_alloc.files.grids import csv_bytes
from pdm_alloc.files.tables.signal_tables import decimal
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.studies.signal_side import SignalSide
from pdm_alloc.studies.signal_wiring import KEPT_FREE, first_of_each, item_name

__all__ = [
    "ASSUMPTIONS",
    "CONTROL_NOTE",
    "INPUTS",
    "SIGNAL_NOTES",
    "SIGNAL_READ",
    "SIGNAL_STEPS",
    "UNITS",
    "WIRE_LIST",
    "WITH_SIGNALS",
    "Row",
    "assumptions",
    "bus_limits",
    "bus_messages",
    "bus_nodes",
    "decimals",
    "heading",
    "input_list",
    "labels",
    "not_cut",
    "readers_of",
    "records",
    "shown",
    "signal_side_of",
    "signal_steps",
    "signal_tables",
    "title_lines",
    "unit_of",
    "wire_list",
    "write_pin_map",
]

ASSUMPTIONS = ("subject", "assumed", "applies_to", "source")


def assumptions(allocation: Allocation) -> pd.DataFrame:
    """Settings in force, and values taken from the kind of a load because its row has none.

    Parameters
    ----------
    allocation : Allocation
        What is documented.

    Returns
    -------
    DataFrame
        Columns `ASSUMPTIONS`.
    """
    vehicle = allocation.vehicle
    rows = [*_inrush(vehicle), *_tolerances(vehicle), *_states(vehicle), *_settings(vehicle)]
    return pd.DataFrame(rows, columns=list(ASSUMPTIONS))


def _inrush(vehicle: Vehicle) -> list[tuple[str, str, str, str]]:
    rows = []
    for kind in KINDS.values():
        loads = [load.name for load in vehicle.loads if load.inrush_assumed and load.kind == kind.name]
        if loads:
            rows.append((f"inrush of {kind.name}", _said(kind), "; ".join(loads), kind.source))
    return rows


def _said(kind: Kind) -> str:
    if kind.inrush_multiple <= 1:
        return "none"
    return f"{kind.inrush_multiple:g} times running, 5 % of the excess left after {kind.inrush_ms:g} ms"


def _tolerances(vehicle: Vehicle) -> list[tuple[str, str, str, str]]:
    loads: dict[Fraction, list[str]] = defaultdict(list)
    for load in vehicle.loads:
        if load.tolerance_pct:
            loads[load.tolerance_pct].append(load.name)
    return [
        ("running current", f"may be off by {decimal(pct)} %", "; ".join(loads[pct]), "table loads, tolerance_pct")
        for pct in sorted(loads)
    ]


def _states(vehicle: Vehicle) -> list[tuple[str, str, str, str]]:
    if vehicle.states_given:
        return []
    return [("operating states", "one: everything on at the reference voltage", "all loads", "no table states")]


def _settings(vehicle: Vehicle) -> list[tuple[str, str, str, str]]:
    values = [(item.name, getattr(vehicle.settings, item.name)) for item in fields(vehicle.settings)]
    return [(name, decimal(value), "whole vehicle", "settings") for name, value in values if value is not None]


def write_pin_map(allocation: Allocation, path: str | os.PathLike[str]) -> Path:
    """Write the pin map as CSV.

    Parameters
    ----------
    allocation : Allocation
        What is wired.
    path : path
        The file; its folder must exist. An existing file is replaced, whole or not at all.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    WriteError
        It could not be written.
    """
    return write_file(path, csv_bytes(allocation.pin_map()))


Row = dict[str, Any]


def records(table: pd.DataFrame) -> list[Row]:
    """Rows of a table.

    Parameters
    ----------
    table : DataFrame
        With text for column names.

    Returns
    -------
    list of dict
        Cells by column; an empty number is None.
    """
    rows = cast(list[Row], table.to_dict("records"))
    return [{name: None if _is_nan(value) else value for name, value in row.items()} for row in rows]


def _is_nan(value: Any) -> bool:
    return value is pd.NA or (isinstance(value, float) and value != value)


WIRE_LIST = (
    *("label", "module", "connector", "pins", "channel", "load", "items", "place"),
    *("wire", "length_m", "drop_pct", "limit_pct"),
)


def wire_list(allocation: Allocation) -> pd.DataFrame:
    """Runs from channels to loads.

    Parameters
    ----------
    allocation : Allocation
        What is wired.

    Returns
    -------
    DataFrame
        A row a load and circuit, columns `WIRE_LIST` and the loads' ``x_`` columns; lengths one way,
        m, empty where they are not known; drop in per cent of the system voltage.
    """
    drops = {(row["load"], row["module"], row["channel"]): row for row in records(allocation.drops)}
    places = {(row["module"], row["channel"]): row for row in records(allocation.channels)}
    marks = labels(allocation)
    rows = []
    for circuit in allocation.circuits:
        for load in circuit.loads:
            key = (circuit.unit, circuit.channel)
            run = drops.get((load, *key), {})
            rows.append({**places[key], **run, "label": marks[(*key, load)], **_load(allocation, circuit, load)})
    extra = dict.fromkeys(name for load in allocation.vehicle.loads for name, _ in load.extra)
    return pd.DataFrame(rows, columns=[*WIRE_LIST, *extra])


def _load(allocation: Allocation, circuit: PlacedCircuit, name: str) -> Row:
    load = allocation.vehicle.load(name)
    items = sum(each == name for each, _ in circuit.items)
    return {"load": name, "items": items, "place": load.place or "", **dict(load.extra)}


def labels(allocation: Allocation) -> dict[tuple[str, str, str], str]:
    """What to write on each wire.

    Parameters
    ----------
    allocation : Allocation
        What is wired.

    Returns
    -------
    dict of (str, str, str) to str
        By unit, channel and load: the channel, with a letter where several loads share it, and with the
        number of the unit in front where there are several: ``12``, ``12b``, ``2-12b``. No two alike.
    """
    numbers = {unit.label: f"{n}-" for n, unit in enumerate(allocation.units, 1)} if len(allocation.units) > 1 else {}
    return {
        (circuit.unit, circuit.channel, load): f"{numbers.get(circuit.unit, '')}{circuit.channel}{letter}"
        for circuit in allocation.circuits
        for load, letter in zip(circuit.loads, _letters(len(circuit.loads)), strict=True)
    }


def _letters(count: int) -> list[str]:
    """Nothing for one, a letter each for up to 26, numbers beyond."""
    if count == 1:
        return [""]
    return list(ascii_lowercase[:count]) if count <= len(ascii_lowercase) else [f".{n}" for n in range(1, count + 1)]


# Ending of a column's name: unit as printed, decimals.
UNITS: dict[str, tuple[str, int]] = {
    "a": ("A", 2),
    "ma": ("mA", 1),
    "v": ("V", 1),
    "m": ("m", 2),
    "mm": ("mm", 1),
    "mm2": ("mm²", 2),
    "ms": ("ms", 0),
    "us": ("µs", 0),
    "ohm": ("ohm", 0),
    "s": ("s", 0),
    "g": ("g", 0),
    "kg": ("kg", 2),
    "c": ("°C", 0),
    "ah": ("Ah", 1),
    "pct": ("%", 1),
    "minutes": ("min", 1),
}

# Columns that have a unit by their whole name, and columns whose name ends like a unit by chance.
_WHOLE = {"minutes": "minutes"}

_FINER = {"transmission_ms": 2, "response_ms": 2}  # a frame takes a fraction of a millisecond

# Headings that say more than the name of the column does.
_SAID = {
    "window_ms": "inrush time, ms",
    "above_ms": "time above trip, ms",
    "stalled_a": "stall current, A",
    "stall_damage_ms": "wire damage time at stall, ms",
    "mean_a": "average, A",
    "floor_minutes": "time to battery floor, min",
    "carried": "battery lasts",
}


def unit_of(column: str) -> str | None:
    """Unit of a column as printed.

    Parameters
    ----------
    column : str
        Name in a table, such as ``running_a``.

    Returns
    -------
    str or None
        ``A``; None where the column has none.
    """
    ending = _ending(column)
    return UNITS[ending][0] if ending else None


def heading(column: str) -> str:
    """Heading of a column.

    Parameters
    ----------
    column : str
        Name in a table; ``x_`` in front of a column of the user's own is left out.

    Returns
    -------
    str
        Words, then the unit.
    """
    if column in _SAID:
        return _SAID[column]
    ending = _ending(column)
    words = column.removeprefix("x_")
    if ending and column not in _WHOLE:
        words = words[: -len(ending) - 1]
    unit = f", {UNITS[ending][0]}" if ending and column not in _WHOLE else ""
    return words.replace("_", " ") + unit


def decimals(column: str) -> int | None:
    """Decimals a number of the column is shown with; None where the column has no unit."""
    ending = _ending(column)
    return _FINER.get(column, UNITS[ending][1]) if ending else None


def shown(value: Any, column: str) -> str:
    """A cell as text for people.

    Parameters
    ----------
    value : object
        Number, text, yes or no; None and nan are shown as nothing.
    column : str
        Name of its column.

    Returns
    -------
    str
        Numbers with the column's decimals, trailing zeros kept so that columns line up.
    """
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    digits = decimals(column)
    if isinstance(value, float) and math.isinf(value):
        return "no limit"
    if isinstance(value, (int, float)) and digits is not None:
        return f"{value:.{digits}f}"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _ending(column: str) -> str | None:
    if column.startswith("x_"):
        return None
    if column in _WHOLE:
        return _WHOLE[column]
    ending = column.rpartition("_")[2]
    return ending if ending in UNITS and "_" in column else None


# Only where a vehicle has a signal side; the first two are read at the bench.
SIGNAL_NOTES = {
    "Signal commissioning": "Before and at the first power-up of the control unit. Empty limits: as the maker states.",
    "Bus": "Nodes in the order of the trunk; terminators at both ends only. Stub: from the trunk to the node.",
    "Bus limits": "The bus against published limits.",
    "Bus messages": "Longest transmission and worst-case response of each message, bit stuffing included.",
    "Sensor supplies": "Current of each 5 V supply and sensor ground of a box against its limit.",
    "Signal pin map": "One row per pin in use. Length: to the sensor or actuator.",
}

# Notes of sheets that hold both sides, where there are two.
WITH_SIGNALS = {
    "Bench sheet": "One row per pin, as it leaves the module or control unit. Length: of the piece at the pin. "
    "Inrush time: as set.",
    "Input list": "What reads each input: the module, a control unit, or a key of a keypad; others arrive as messages.",
}

# On paper a box has pages of its own.
CONTROL_NOTE = "One row per pin, as it leaves the control unit. Length: of the piece at the pin."

SIGNAL_READ = ("Signal commissioning", "Bus")


def signal_side_of(allocation: Allocation) -> SignalSide | None:
    """The signal side beside an allocation; None: it has none, or its boxes are not enough."""
    return allocation.signals if isinstance(allocation.signals, SignalSide) and allocation.signals else None


INPUTS = ("input", "kind", "place", "module_input", "read_by", "used_by", "note")


def input_list(vehicle: Vehicle, readers: Mapping[str, str] | None = None) -> pd.DataFrame:
    """Every input of a vehicle.

    Parameters
    ----------
    vehicle : Vehicle
        Its table ``inputs``, and names only its conditions have, which count as switches.
    readers : mapping of str to str, optional
        Pin or key that reads an input, by its name.

    Returns
    -------
    DataFrame
        Columns `INPUTS`; ``module_input`` says whether it takes an input of a module.
    """
    read = readers or {}
    commands = {command.name: condition_names(command.condition) for command in vehicle.commands}
    listed = [(i.name, i.kind, i.place or "", i.read_by, i.note) for i in vehicle.inputs]
    known = {name for name, *_ in listed}
    others = sorted({name for names in commands.values() for name in names} - known)

    def used(name: str) -> str:
        return "; ".join(c for c, names in commands.items() if name in names)

    rows = [
        (name, kind, place, _on_module(kind, by), read.get(name, _SAID_OF.get(by or "", "")), used(name), note)
        for name, kind, place, by, note in [*listed, *((name, "switch", "", None, "") for name in others)]
    ]
    return pd.DataFrame(rows, columns=list(INPUTS))


_SAID_OF = {"module": "module", "control_unit": "control unit", "keypad": "keypad"}


def not_cut(inputs: pd.DataFrame) -> str:
    """A sentence, with a space before it, on wires that the cut list lacks; empty where it has all.

    Parameters
    ----------
    inputs : DataFrame
        As `input_list` gives it.

    Returns
    -------
    str
        A module's input without a name in the table ``signal_pins`` is no end that a wire could be cut to.
    """
    bare = inputs["module_input"] & inputs["read_by"].isin(["", "module"])
    number = counted(int(bare.sum()), "input")
    return f" Without the wires to {number} of the module, as its pins have no names." if bare.any() else ""


def _on_module(kind: str, read_by: str | None) -> bool:
    return kind != "bus" and read_by not in ("control_unit", "keypad")


def readers_of(side: SignalSide | None) -> dict[str, str]:
    """Pin or key that reads each input, by its name."""
    if side is None:
        return {}
    inputs = {one.name for one in side.vehicle.inputs}
    pins = {row["signal"]: f"{row['box']} {row['connector']} {row['pin']}" for row in side.pin_map().to_dict("records")}
    return {name: " ".join(pin.split()) for name, pin in pins.items() if name in inputs} | side.keys()


SIGNAL_STEPS = ("box", "pin", "signal", "read", "least", "most", "unit", "measured", "done")

# What a 5 V supply of sensors may be off by, and what a wire and a contact may have, ohm: common practice, no source.
SUPPLY_V = (4.75, 5.25)
CONTACT_OHM = 1.0

# A sensor of 0 to 5 V that is whole reads neither end; as above.
SENSOR_V = (0.25, 4.75)

COIL_PCT = 20  # a coil of a stated current, cold to warm and tolerance; common practice, no source


def signal_steps(side: SignalSide) -> pd.DataFrame:
    """What is to be read at every pin of the boxes, unplugged first and then with power.

    Parameters
    ----------
    side : SignalSide
        Whose boxes are enough.

    Returns
    -------
    DataFrame
        Columns `SIGNAL_STEPS`: limits in the unit of the row, empty where the sensor's maker states them; ``measured``
        and ``done`` are for the person who checks.
    """
    rows = [*_bus_steps(side), *_unplugged(side), *_supplied(side), *_powered(side)]
    return pd.DataFrame([(*row, None, "") for row in rows], columns=list(SIGNAL_STEPS))


Step = tuple[str, str, str, str, float | None, float | None, str]


def _bus_steps(side: SignalSide) -> Iterator[Step]:
    """Two terminators side by side are half of one."""
    if side.bus is not None and len(side.bus.trunk.terminators) == 2:
        low, high = (ohm / 2 for ohm in TERMINATORS_OHM)
        at = side.bus.trunk.terminators[0]
        yield (at, "bus", "bus", "everything off: resistance between the two wires of the bus", low, high, "ohm")


def _items(side: SignalSide) -> Iterator[tuple[Signal, str, str, str, Mapping[Hashable, Any]]]:
    """Signal, name, box, pin or pins, and row of everything wired."""
    rows = [row for row in side.pin_map().to_dict("records") if row["wire"] != KEPT_FREE]
    for row in first_of_each(rows):
        signal = next(s for s in side.signals_placed if s.name == row["signal"])
        pins = [r for r in rows if (r["box"], r["signal"], r["item"]) == (row["box"], row["signal"], row["item"])]
        text = ", ".join(f"{r['connector']} {r['pin']}".strip() for r in pins)
        yield signal, item_name(signal, row["item"]), str(row["box"]), text, row


def _to_ground(side: SignalSide, row: Mapping[Hashable, Any]) -> str:
    return f"to {side.wires.shared_pin(row['box'], row['ground'])[0]}" if row["ground"] else "to ground"


def _unplugged(side: SignalSide) -> Iterator[Step]:
    """With the connector off its box."""
    for signal, name, box, pins, row in _items(side):
        to = _to_ground(side, row)
        made = _RESISTANCE.get(signal.kind)
        if made is not None:
            yield (box, pins, name, f"unplugged: {made[0].format(to=to)}", *made[1:], "ohm")
        elif signal.kind in ("low_side", "high_side", "injector") and signal.current_ma:
            ohm = side.vehicle.settings.reference_v / signal.current_ma * 1000
            low, high = (round(ohm * (1 + sign * COIL_PCT / 100), 1) for sign in (-1, 1))
            end = "its supply" if signal.kind != "high_side" else "ground"
            yield (box, pins, name, f"unplugged: resistance from pin to {end}", low, high, "ohm")


# What is read with the connector unplugged, by kind: what to do, least and most, ohm; empty: the sensor's maker says.
_RESISTANCE: dict[str, tuple[str, float | None, float | None]] = {
    "resistance": ("resistance from pin {to}, as its maker states at this temperature", None, None),
    "switch_to_ground": ("resistance from pin to ground, switch closed; open it: above 100 kohm", 0.0, CONTACT_OHM),
    "frequency_pair": ("resistance between the two pins, as its maker states; neither to ground", None, None),
    "full_bridge": ("resistance between the two pins; neither to ground", CONTACT_OHM / 2, None),
    "half_bridge": ("resistance from pin to ground", CONTACT_OHM / 2, None),
}


def _supplied(side: SignalSide) -> Iterator[Step]:
    for row in side.supplies().to_dict("records"):
        where = (str(row["box"]), side.wires.shared_pin(row["box"], row["pin"])[0])
        if row["function"] == "supply_5v" and row["sensors"]:
            name = f"5 V of {counted(row['sensors'], 'sensor')}"
            yield (*where, name, "power on, sensors plugged: voltage from pin to sensor ground", *SUPPLY_V, "V")
        elif row["sensors"]:
            name = f"ground of {counted(row['sensors'], 'sensor')}"
            yield (*where, name, "everything off: resistance from pin to battery negative", 0.0, CONTACT_OHM, "ohm")


def _powered(side: SignalSide) -> Iterator[Step]:
    volts = side.vehicle.settings.system_v
    for signal, name, box, pins, row in _items(side):
        to = _to_ground(side, row)
        if signal.kind == "voltage":
            text = f"power on: voltage from pin {to}; it follows what is measured"
            yield (box, pins, name, text, *SENSOR_V, "V")
        elif signal.kind == "switch_to_battery":
            yield (box, pins, name, "power on, switch closed: voltage to ground; open: 0", 0.9 * volts, None, "V")
        elif signal.kind == "frequency":
            yield (box, pins, name, "power on, turned by hand: voltage steps between low and high", None, None, "V")
    for signal in (s for s in side.signals_placed if s.rule.is_output):
        rows = [row for row in side.pin_map().to_dict("records") if row["signal"] == signal.name]
        pins = ", ".join(f"{row['connector']} {row['pin']}".strip() for row in rows)
        boxes = ", ".join(dict.fromkeys(row["box"] for row in rows))
        each = " in turn, and no other" if signal.count > 1 else ", and no other"
        yield (boxes, pins, signal.name, f"output test of the box: it works{each}", None, None, "")


def bus_nodes(side: SignalSide) -> pd.DataFrame:
    """The trunk, a row per node: node, place, section to the next (m), stub (m), terminator (ohm)."""
    table = side.trunk()
    placed = table.assign(place=[side.nodes[node] or "" for node in table["node"]])
    return placed[["node", "place", "section_m", "stub_m", "terminator_ohm"]]


def bus_limits(side: SignalSide) -> pd.DataFrame:
    """The bus against published limits: what, is, at most, source."""
    assert side.bus is not None
    trunk, limit = side.bus.trunk, limit_at(side.kbit)
    rows = [
        ("bit rate", f"{side.kbit} kbit/s", "", "settings, bus_kbit"),
        ("trunk", f"{trunk.length_m:.2f} m", f"{limit.trunk_m:g} m", limit.trunk_source),
        ("longest stub", f"{max(trunk.stubs_m):.2f} m", f"{limit.stub_m:g} m", limit.stub_source),
        ("all stubs", f"{sum(trunk.stubs_m):.2f} m", f"{limit.stubs_m:g} m", limit.stubs_source),
        ("terminators", f"{len(trunk.terminators)} of {TERMINATOR_OHM:g} ohm", "2, 108 to 132 ohm", "ISO 11898-2"),
    ]
    if side.bus.load is not None:
        rows.append(("load", f"{100 * side.bus.load:.1f} %", "100 %", "frames at their longest, with bit stuffing"))
    return pd.DataFrame(rows, columns=["subject", "is", "at_most", "source"])


def bus_messages(side: SignalSide) -> pd.DataFrame:
    """Messages by priority: bytes, period (ms), priority, longest transmission, worst response, deadline (ms)."""
    known = {message.name: message for message in side.vehicle.messages}
    times = () if side.bus is None else side.bus.times
    told = [(known[t.message].size, known[t.message].period_us / 1000, known[t.message].priority) for t in times]
    timed = [(*map(_ms, (t.transmission_us, t.response_us, t.deadline_us)), t.is_in_time) for t in times]
    rows = [(t.message, *a, *b) for t, a, b in zip(times, told, timed, strict=True)]
    columns = ["message", "bytes", "period_ms", "priority", "transmission_ms", "response_ms", "deadline_ms", "in_time"]
    return pd.DataFrame(rows, columns=columns)


def _ms(us: float | None) -> float | None:
    return None if us is None else us / 1000


def _supplies(side: SignalSide) -> pd.DataFrame:
    """Currents in whole mA: of a pin that bears 100 mA two decimals of an ampere would hide a sensor."""
    table = side.supplies()
    pins = [side.wires.shared_pin(box, pin)[0] for box, pin in zip(table["box"], table["pin"], strict=True)]
    amps = {f"{name}_ma": (1000 * table[f"{name}_a"]).round().astype(int) for name in ("current", "limit")}
    named = table.assign(pin=pins, function=table["function"].map(_SHARED), **amps)
    return named[["box", "pin", "function", "sensors", "current_ma", "limit_ma", "headroom_pct"]]


_SHARED = {"supply_5v": "5 V supply", "sensor_ground": "sensor ground"}


def signal_tables(side: SignalSide) -> dict[str, pd.DataFrame]:
    """Tables of the sheets of a signal side, by name."""
    tables = {"Signal commissioning": signal_steps(side), "Signal pin map": side.pin_map()}
    if side.bus is not None:
        sent = {"Bus messages": bus_messages(side)} if side.bus.times else {}
        tables |= {"Bus": bus_nodes(side), "Bus limits": bus_limits(side), **sent}
    return tables | {"Sensor supplies": _supplies(side)}


def title_lines(side: SignalSide) -> list[tuple[str, str]]:
    """Lines of the title block: boxes and keypads with their places, and what came of it."""
    boxes = [(box.label, box.place) for box in side.boxes if box.box.role != "module"]
    boxes += [(label, place) for label, place, _ in side.pads()]
    named = ", ".join(f"{name} at {place}" if place else name for name, place in boxes)
    return [("control units", named or "none"), ("signals", side.summary())]
