"""Lists for the bench: pin map, wires, inputs, assumptions, with headings as people read them."""

import math
import os
from dataclasses import fields
from pathlib import Path
from string import ascii_lowercase
from typing import Any, cast

import pandas as pd

from pdm_alloc.domain.kinds import KINDS, Kind
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.files.atomic import write_file
from pdm_alloc.files.csv_file import csv_bytes
from pdm_alloc.files.tables.signal_tables import decimal
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.placed import PlacedCircuit

__all__ = [
    "ASSUMPTIONS",
    "UNITS",
    "WIRE_LIST",
    "Row",
    "assumptions",
    "decimals",
    "heading",
    "labels",
    "records",
    "shown",
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
    return [
        ("running current", f"may be off by {decimal(load.tolerance_pct)} %", load.name, "table loads, tolerance_pct")
        for load in vehicle.loads
        if load.tolerance_pct
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

# Headings that say more than the name of the column does.
_SAID = {
    "window_ms": "inrush time, ms",
    "above_ms": "time above trip, ms",
    "stalled_a": "stall current, A",
    "stall_damage_ms": "wire damage time at stall, ms",
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
    return UNITS[ending][1] if ending else None


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
