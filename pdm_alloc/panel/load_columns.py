"""Columns of the panel's table, made from the schema of the table ``loads`` and the names the vehicle knows."""

from collections.abc import Iterable
from typing import Any

from pydantic.fields import FieldInfo

from pdm_alloc.panel.column import Column
from pdm_alloc.panel.known import Known
from pdm_alloc.tables.cell import Cell, Word, Words
from pdm_alloc.tables.row import cell_of, columns_of
from pdm_alloc.tables.vehicle_rows import LoadRow
from pdm_alloc.vehicle import Vehicle

__all__ = ["load_columns"]

_WIDTHS = {
    "load": 11.0,
    "command": 9.0,
    "count": 4.5,
    "kind": 8.0,
    "needs": 8.5,
    "importance": 7.0,
    "place": 8.0,
    "note": 16.0,
}
_RARE = frozenset({"max_drop_pct", "tolerance_pct", "length_m", "min_v", "volt_exponent", "note"})
_HINTS = {"inrush_a": "by kind", "inrush_ms": "by kind", "volt_exponent": "by kind", "max_drop_pct": "usual"}
_UNIT_ENDS = ("_a", "_ms", "_pct", "_m", "_v")


def load_columns(vehicle: Vehicle) -> tuple[Column, ...]:
    """Every column of the table ``loads``, in its order.

    Parameters
    ----------
    vehicle : Vehicle
        Its commands and labels are suggested, its places offered.

    Returns
    -------
    tuple of Column
        For a `LoadGrid`.
    """
    return tuple(_column(name, info, vehicle) for name, info in columns_of(LoadRow).items())


def _column(name: str, info: FieldInfo, vehicle: Vehicle) -> Column:
    cell = _cell(name, info, vehicle)
    default = _default_text(info)
    return Column(
        name,
        _title(name),
        cell,
        _choices(name, cell, vehicle),
        required=info.is_required(),
        unique=name in LoadRow.key,
        default=default,
        hint=_HINTS.get(name, ""),
        meaning=_meaning(info),
        more=name in _RARE,
        width=_WIDTHS.get(name, 6.0),
    )


def _title(name: str) -> str:
    return next((name.removesuffix(end) for end in _UNIT_ENDS if name.endswith(end)), name).replace("_", " ")


def _cell(name: str, info: FieldInfo, vehicle: Vehicle) -> Cell:
    if name == "place" and vehicle.places:
        return Known(tuple(place.name for place in vehicle.places))
    return cell_of(info)


def _choices(name: str, cell: Cell, vehicle: Vehicle) -> tuple[str, ...]:
    if isinstance(cell, (Word, Words)):
        return cell.words
    if isinstance(cell, Known):
        return ("", *cell.names)
    return _suggested(name, vehicle)


def _suggested(name: str, vehicle: Vehicle) -> tuple[str, ...]:
    if name == "command":
        return tuple(command.name for command in vehicle.commands)
    return _distinct(load.separate for load in vehicle.loads) if name == "separate" else ()


def _distinct(labels: Iterable[str | None]) -> tuple[str, ...]:
    return tuple(sorted({label for label in labels if label}))


def _meaning(info: FieldInfo) -> str:
    extra: Any = info.json_schema_extra
    otherwise = extra.get("otherwise") if isinstance(extra, dict) else None
    return f"{info.description}; empty: {otherwise}" if otherwise else info.description or ""


def _default_text(info: FieldInfo) -> str:
    default = None if info.is_required() else info.default
    if isinstance(default, bool):
        return "yes" if default else "no"
    return "" if not default or isinstance(default, frozenset) else str(default)
