"""Values of domain objects that no table could have given them: infinite, no number, or out of the column's range."""

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from fractions import Fraction
from typing import Any

from pdm_alloc.module import Channel, Module
from pdm_alloc.tables.catalogue_rows import ChannelRow, ModuleRow
from pdm_alloc.tables.cell import Number
from pdm_alloc.tables.fault import Fault
from pdm_alloc.tables.row import Row, cell_of, columns_of
from pdm_alloc.tables.settings_row import SettingsRow
from pdm_alloc.tables.vehicle_rows import LoadRow, PlaceRow, RouteRow, SupplyRow
from pdm_alloc.vehicle import Load, Place, Route, Settings, State

__all__ = ["huge_exponents", "out_of_range"]

LARGEST = 10**12
_HUGE = re.compile(r"\s*[+-]?[\d_.]+[eE][+-]?[\d_]{3,}\s*|\s*[+-]?[\d_.]{40,}\s*")
_ROWS: dict[type, type[Row]] = {
    Channel: ChannelRow,
    Load: LoadRow,
    Module: ModuleRow,
    Place: PlaceRow,
    Route: RouteRow,
    Settings: SettingsRow,
    State: SupplyRow,
}


def out_of_range(thing: Any, name: str, path: str = "") -> Iterator[Fault]:
    """A fault for each number that could not have been read from a table.

    Parameters
    ----------
    thing : dataclass, mapping, sequence or value
        Walked down to its numbers.
    name : str
        Of the file, for faults.
    path : str
        Where the thing stands in the document.

    Yields
    ------
    Fault
        With the path as its column.
    """
    if is_dataclass(thing) and not isinstance(thing, type):
        columns = columns_of(_ROWS[type(thing)]) if type(thing) in _ROWS else {}
        for field in fields(thing):
            value, here = getattr(thing, field.name), _under(path, field.name)
            kind = cell_of(columns[field.name]) if field.name in columns else None
            if isinstance(kind, Number) and isinstance(value, (float, Fraction)):
                yield from _of_column(value, kind, name, here)
            else:
                yield from out_of_range(value, name, here)
    elif isinstance(thing, Mapping):
        for key, value in thing.items():
            yield from out_of_range(value, name, _under(path, str(key)))
    elif isinstance(thing, (tuple, list)):
        for number, value in enumerate(thing):
            yield from out_of_range(value, name, _under(path, str(number)))
    elif isinstance(thing, (int, float, Fraction)) and not _is_finite(thing):
        remedy = "give the file as it was written"
        yield Fault(name, None, path, str(thing)[:40], "is no number that can be kept", remedy)


def huge_exponents(document: Any, name: str, path: str = "", exact: bool = False) -> Iterator[Fault]:
    """A fault for each exact number of a document whose digits, written out, would fill the memory.

    Parameters
    ----------
    document : dict, list or value
        As `json` loads it.
    name : str
        Of the file, for faults.
    path : str
        Where the value stands.
    exact : bool
        Whether a text there is an exact number, and not a name.

    Yields
    ------
    Fault
        With the path as its column.
    """
    if isinstance(document, dict):
        for key, value in document.items():
            yield from huge_exponents(value, name, _under(path, key), key.endswith("_pct") or key == "derating")
    elif isinstance(document, list):
        for number, value in enumerate(document):
            yield from huge_exponents(value, name, _under(path, str(number)), exact)
    elif exact and isinstance(document, str) and _HUGE.fullmatch(document):
        yield Fault(name, None, path, document[:40], "is no number that can be kept", "give the file as it was written")


def _under(path: str, name: str) -> str:
    return f"{path}.{name}" if path else name


def _is_finite(value: float | Fraction) -> bool:
    return math.isfinite(value) and abs(value) <= LARGEST


def _of_column(value: Any, kind: Number, name: str, path: str) -> Iterator[Fault]:
    low = value > kind.least if kind.above else value >= kind.least
    high = value < kind.most if kind.below else value <= kind.most
    if not (_is_finite(value) and low and high):
        yield Fault(name, None, path, str(value)[:40], "is out of range", f"give {kind.accepts()}")
