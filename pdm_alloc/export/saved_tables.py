"""An allocation as tables and as JSON that read back to the same allocation."""

import json
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from fractions import Fraction
from hashlib import sha256
from itertools import groupby
from operator import itemgetter
from typing import Any, Literal

import pandas as pd
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from pdm_alloc.domain.module import Catalogue, Module, Unit, natural_key
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.export.saved_fit import (
    SavedSignals,
    altered,
    bought,
    misfits,
    saved_signals,
    side_of,
    signal_misfits,
    signal_settings,
    signal_tables,
)
from pdm_alloc.files.faults import Fault, InputError
from pdm_alloc.files.tables.vehicle_rules import huge_exponents, out_of_range
from pdm_alloc.files.write_tables import catalogue_tables, vehicle_tables
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.placed import PlacedCircuit

__all__ = [
    "ASSIGNMENTS",
    "SCHEMA_VERSION",
    "SETTINGS",
    "UNITS",
    "allocation_digest",
    "allocation_json",
    "allocation_schema",
    "circuits_of",
    "content_digest",
    "from_json",
    "is_digest",
    "saved_tables",
]

SETTINGS = ("name", "value")

UNITS = ("unit", "module", "place")

ASSIGNMENTS = ("load", "item", "module", "channel", "use", "command")


def saved_tables(allocation: Allocation) -> dict[str, pd.DataFrame]:
    """Tables that hold the whole of an allocation.

    Parameters
    ----------
    allocation : Allocation
        Any whose units have no two different modules of one name.

    Returns
    -------
    dict of str to DataFrame
        ``allocation``, ``units``, ``assignments``, then the vehicle's tables as ``vehicle/loads`` and
        the modules' as ``catalogue/modules``. Cells are text or whole numbers.

    Raises
    ------
    ValueError
        Two units have different modules of one name.
    """
    vehicle = {f"vehicle/{name}": table for name, table in vehicle_tables(allocation.vehicle).items()}
    modules = {f"catalogue/{name}": table for name, table in catalogue_tables(_catalogue(allocation)).items()}
    saved = saved_signals(allocation)
    boxes = {} if saved is None else signal_tables(saved)
    return {
        "allocation": _settings(allocation, [*vehicle, *modules], [] if saved is None else signal_settings(saved)),
        "units": pd.DataFrame([(u.label, u.module.name, u.place or "") for u in allocation.units], columns=list(UNITS)),
        "assignments": _assignments(allocation),
        **boxes,
        **vehicle,
        **modules,
    }


def _settings(allocation: Allocation, tables: list[str], signals: list[tuple[str, str]]) -> pd.DataFrame:
    rows: list[tuple[str, Any]] = [
        ("version", SCHEMA_VERSION),
        ("digest", allocation_digest(allocation)),
        ("tables", " ".join(tables)),
        ("vehicle", allocation.vehicle.name),
        ("outcome", allocation.outcome),
        ("strategy", allocation.strategy),
        ("gap", repr(allocation.gap)),
    ]
    rows += [(f"objective {name}", repr(value)) for name, value in allocation.objectives]
    rows += [(f"hash {table}", digest) for table, digest in allocation.vehicle.table_hashes]
    return pd.DataFrame([*rows, *signals], columns=list(SETTINGS), dtype=object)


def _catalogue(allocation: Allocation) -> Catalogue:
    modules: dict[str, Module] = {}
    for unit in allocation.units:
        if modules.setdefault(unit.module.name, unit.module) != unit.module:
            raise ValueError(f"two different modules are named {unit.module.name}: give them names of their own")
    boxes, keypads = bought(saved_signals(allocation))
    return Catalogue("modules", tuple(modules[n] for n in sorted(modules, key=natural_key)), (), boxes, keypads)


def _assignments(allocation: Allocation) -> pd.DataFrame:
    rows = [
        (load, item, circuit.unit, circuit.channel, circuit.use, circuit.command)
        for circuit in allocation.circuits
        for load, item in circuit.items
    ]
    return pd.DataFrame(rows, columns=list(ASSIGNMENTS))


def circuits_of(rows: list[dict[str, str]], units: tuple[Unit, ...]) -> tuple[PlacedCircuit, ...]:
    """Circuits from the rows of the table ``assignments``, in its order.

    Parameters
    ----------
    rows : list of dict of str to str
        Cells by column.
    units : tuple of Unit
        Fitted.

    Returns
    -------
    tuple of PlacedCircuit
        One for each channel or pair of channels.
    """
    place = itemgetter("module", "channel", "use", "command")
    first = {place(row): n for n, row in reversed(list(enumerate(rows)))}
    together = groupby(sorted(rows, key=lambda row: first[place(row)]), key=place)
    channels = {unit.label: frozenset(c.name for c in unit.module.channels) for unit in units}
    return tuple(
        PlacedCircuit(
            module,
            _channels(channel, use, channels.get(module, frozenset())),
            use,
            command,
            tuple(sorted((row["load"], int(row["item"])) for row in items)),
        )
        for (module, channel, use, command), items in together
    )


def _channels(text: str, use: str, known: frozenset[str]) -> tuple[str, ...]:
    """One channel, or two joined with ``+``, which may be in their names as well."""
    if use == "single":
        return (text,)
    parts = text.split("+")
    cuts = [("+".join(parts[:n]), "+".join(parts[n:])) for n in range(1, len(parts))]
    return next((cut for cut in cuts if known.issuperset(cut)), tuple(parts))


# Raise it with every change that a reader of the older form would not understand.
SCHEMA_VERSION = 4
_FORMAT = "pdm_alloc allocation"

_OF_THE_DOCUMENT = ("format", "version", "digest")


class _Saved(BaseModel):
    """An allocation saved by pdm_alloc: names and whole milliamps, duties in parts per million."""

    model_config = ConfigDict(extra="forbid", title="Allocation")

    format: Literal["pdm_alloc allocation"]
    version: Literal[4]
    digest: str = Field(description="SHA-256 of everything else in the document, see `allocation_digest`.")
    outcome: Literal["proven best", "best so far"]
    strategy: Literal["isolate", "spare"]
    gap: float
    objectives: tuple[tuple[str, float], ...]
    circuits: tuple[PlacedCircuit, ...] = Field(description="Loads wired together, with unit and channel or channels.")
    units: tuple[Unit, ...] = Field(description="Modules fitted.")
    vehicle: Vehicle = Field(description="All tables of the vehicle.")
    signals: SavedSignals | None = Field(description="Boxes, keypads, pins and the bus of its signal side.")


def allocation_json(allocation: Allocation) -> bytes:
    """An allocation as a JSON document.

    Parameters
    ----------
    allocation : Allocation
        Any.

    Returns
    -------
    bytes
        UTF-8; the same for the same allocation.
    """
    content = _content(allocation)
    document = {"format": _FORMAT, "version": SCHEMA_VERSION, "digest": content_digest(content), **content}
    return (json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()


def allocation_digest(allocation: Allocation) -> str:
    """What tells whether an allocation read back is the one that was saved, whatever form it was saved in.

    Parameters
    ----------
    allocation : Allocation
        Any.

    Returns
    -------
    str
        SHA-256 of its content, hexadecimal.
    """
    return content_digest(_content(allocation))


def is_digest(allocation: Allocation, digest: str) -> bool:
    """Whether an allocation is the one a digest was taken of, by this form of the version or an earlier one."""
    return _is_of(_content(allocation), digest)


# Of the vehicle, by part: optional, and not in files of this version written before they were.
_LATER = {"settings": "control_unit_load", "signals": "fed_by"}


def _is_of(content: Mapping[str, Any], digest: str) -> bool:
    vehicle = dict(content["vehicle"])
    for part, key in _LATER.items():
        vehicle[part] = _lacking(vehicle[part], key)
    return digest in (content_digest(content), content_digest({**content, "vehicle": vehicle}))


def _lacking(part: Any, key: str) -> Any:
    if isinstance(part, Mapping):
        return {name: value for name, value in part.items() if name != key or value is not None}
    return [_lacking(row, key) for row in part]


def _complete(vehicle: Mapping[str, Any]) -> None:
    for part, key in _LATER.items():
        for row in [vehicle[part]] if isinstance(vehicle[part], dict) else vehicle[part]:
            row.setdefault(key, None)


def _content(allocation: Allocation, signals: SavedSignals | None = None) -> dict[str, Any]:
    """With the signal side of the allocation, or that which was read and has no allocation yet."""
    names = [name for name in _Saved.model_fields if name not in (*_OF_THE_DOCUMENT, "signals")]
    kept = saved_signals(allocation) if signals is None else signals
    return {**{name: _plain(getattr(allocation, name)) for name in names}, "signals": _plain(kept)}


def content_digest(content: Mapping[str, Any]) -> str:
    """SHA-256 of the content of a document, hexadecimal.

    The order of keys and of circuits does not count, and whole numbers are the same with and without a point."""
    circuits = sorted(json.dumps(circuit, sort_keys=True) for circuit in content["circuits"])
    text = json.dumps(_even({**content, "circuits": circuits}), sort_keys=True, ensure_ascii=False)
    return sha256(text.encode()).hexdigest()


def _even(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _even(item) for key, item in value.items()}
    if isinstance(value, (tuple, list)):
        return [_even(item) for item in value]
    return int(value) if isinstance(value, float) and value.is_integer() else value


def allocation_schema() -> dict[str, Any]:
    """JSON Schema of the document.

    Returns
    -------
    dict
        As `json` would load it.
    """
    return _Saved.model_json_schema()


def from_json(content: bytes, name: str = "allocation.json") -> Allocation:
    """The allocation in a JSON document.

    Parameters
    ----------
    content : bytes
        As `allocation_json` gives it.
    name : str
        Of the file, for faults.

    Returns
    -------
    Allocation
        Equal to the one that was written.

    Raises
    ------
    InputError
        The document is not one of ours, of another version, damaged, or does not fit together.
    """
    document = _loaded(content, name)
    huge = list(huge_exponents(document, name))
    if huge:
        raise InputError(huge[:100])
    try:
        saved = _Saved.model_validate(document)
    except ValidationError as error:
        raise InputError([_fault(name, item) for item in error.errors()[:100]]) from error
    values = {key: getattr(saved, key) for key in _Saved.model_fields if key not in _OF_THE_DOCUMENT}
    strays = list(out_of_range(values, name))
    if strays:
        raise InputError(strays[:100])
    allocation = Allocation(**{**values, "signals": None})
    held = _content(allocation, saved.signals)
    kept = json.loads(json.dumps({**{key: document[key] for key in _OF_THE_DOCUMENT}, **held}))
    fit = [*misfits(allocation, name), *signal_misfits(saved.signals, saved.vehicle, name)]
    _complete(document["vehicle"])
    faults = [*altered(name, document, kept), *fit]
    if faults:
        raise InputError(faults[:100])
    if not _is_of(held, saved.digest):
        raise _refusal(name, "was changed after it was written", "give it as it was written, or allocate again")
    return allocation.with_signals(side_of(saved.signals, saved.vehicle, saved.units))


def _plain(value: Any) -> Any:
    """Domain objects as JSON has them; sets sorted, so that the document is the same every time."""
    if is_dataclass(value):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, (tuple, list)):
        return [_plain(item) for item in value]
    if isinstance(value, frozenset):
        return sorted(value)
    return str(value) if isinstance(value, Fraction) else value


def _loaded(content: bytes, name: str) -> dict[str, Any]:
    try:
        document = json.loads(
            content.decode("utf-8-sig"), parse_float=_finite, parse_int=_whole, parse_constant=_finite
        )
        if b"\\u" in content:  # half a character can be written so, and then by no file be held
            json.dumps(document, ensure_ascii=False).encode()
    except (ValueError, RecursionError) as error:
        raise _refusal(name, "is not JSON", f"give the file as it was written ({error})") from error
    if not isinstance(document, dict) or document.get("format") != _FORMAT:
        raise _refusal(
            name, "is not a saved allocation", "give the allocation.json that was written with the documents"
        )
    if document.get("version") != SCHEMA_VERSION:
        version = " ".join(str(document.get("version")).split())[:20]
        remedy = f"this program reads version {SCHEMA_VERSION}: use the program that wrote it"
        raise _refusal(name, f"has version {version}", remedy)
    return document


def _finite(text: str) -> float:
    """JSON has no word for what is infinite or no number, and Python would take both."""
    if math.isfinite(value := float(text)):
        return value
    raise ValueError(f"{text[:20]} is no number that can be kept")


def _whole(text: str) -> int:
    _finite(text)
    return int(text)


def _refusal(name: str, message: str, remedy: str) -> InputError:
    return InputError([Fault(name, None, None, None, message, remedy)])


def _fault(name: str, item: Any) -> Fault:
    path = ".".join(map(str, item["loc"]))
    if "missing" in item["type"]:
        return Fault(name, None, path, None, "is missing", "give the file as it was written")
    message = item["msg"][:1].lower() + item["msg"][1:]
    return Fault(name, None, path, str(item["input"])[:60], f"cannot be read: {message}")
