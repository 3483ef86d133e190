"""A saved allocation read back: from JSON, from a folder of CSV files, or from the workbook."""

import math
import os
import tempfile
import warnings
from collections.abc import Collection, Iterable
from dataclasses import replace
from pathlib import Path

from pdm_alloc.domain.module import Catalogue, Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.export.saved_fit import misfits
from pdm_alloc.export.saved_signals import (
    BOXES,
    KEYPADS,
    SIGNAL_USES,
    side_of,
    signal_misfits,
    signals_from_rows,
)
from pdm_alloc.export.saved_tables import (
    ASSIGNMENTS,
    SCHEMA_VERSION,
    SETTINGS,
    UNITS,
    allocation_digest,
    circuits_of,
    from_json,
)
from pdm_alloc.files.atomic import MANIFEST, changed_files, reading
from pdm_alloc.files.csv_file import read_bytes_within, read_table, write_grid
from pdm_alloc.files.faults import Fault, Faults, InputError, hint
from pdm_alloc.files.grids import match_header
from pdm_alloc.files.numbers import plain_header
from pdm_alloc.files.tables.read_catalogue import read_catalogue
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from pdm_alloc.result.allocation import Allocation

__all__ = ["SAVED_FOLDER", "SAVED_SHEETS", "read_allocation"]

SAVED_FOLDER = "saved"


# Sheet of a workbook: file below the folder it is read from.
_VEHICLE = (
    *("loads", "commands", "inputs", "states", "supply", "places", "routes", "locked", "concessions", "settings"),
    *("signals", "messages", "grounds", "wire_colours", "parts", "removed", "fitted"),
)

_SIGNALS = {"boxes": BOXES, "keypads": KEYPADS, "signal_uses": SIGNAL_USES}

_CATALOGUE = ("modules", "channels", "banks", "derating", "control_units", "signal_pins", "keypads")

SAVED_SHEETS = {
    **{f"saved {name}": f"{name}.csv" for name in ("allocation", "units", "assignments", *_SIGNALS)},
    **{f"vehicle {name}": f"vehicle/{name}.csv" for name in _VEHICLE},
    **{f"catalogue {name}": f"catalogue/{name}.csv" for name in _CATALOGUE},
}

# What is meant to be written on: signs, ticks, measured values.
_FILLED = ("tables/commissioning.", "tables/dead_circuit_checks.", "tables/signal_commissioning.")

_PARTS = ("vehicle", "catalogue")

_COLUMNS = {"allocation": SETTINGS, "units": UNITS, "assignments": ASSIGNMENTS}


def read_allocation(path: str | os.PathLike[str]) -> Allocation:
    """Read a saved allocation.

    Parameters
    ----------
    path : path
        ``allocation.json``, the workbook, or the folder the documents were written to.

    Returns
    -------
    Allocation
        Equal to the one that was saved; its limits are not recounted here.

    Raises
    ------
    InputError
        It cannot be read or does not fit together; names every fault.
    """
    place = Path(path)
    if place.is_dir():
        with reading(place):
            return _from_folder(place)
    if place.suffix.lower() == ".xlsx":
        return _from_workbook(place)
    return from_json(read_bytes_within(place), place.name)


def _from_folder(place: Path) -> Allocation:
    if _has_tables(place):
        return _from_tables(place)
    if _has_tables(place / SAVED_FOLDER):
        return _from_tables(place / SAVED_FOLDER, _changed(place))
    if (place / "allocation.json").is_file():
        return read_allocation(place / "allocation.json")
    remedy = "give the folder the documents were written to"
    raise InputError([Fault(place.name, None, None, None, "has no saved allocation in it", remedy)])


def _has_tables(home: Path) -> bool:
    return (home / "assignments.csv").is_file() and (home / "vehicle").is_dir()


def _changed(place: Path) -> list[str]:
    """Saved tables that are not as they were written; a changed JSON is refused, a changed document is warned of."""
    changes = changed_files(place)
    if changes is None:
        why = "is missing or damaged: nothing tells whether these documents were written together"
        raise InputError([Fault(MANIFEST, None, None, None, why, "write the documents anew")])
    tables = [name for name in changes if name.startswith(f"{SAVED_FOLDER}/")]
    missing = [name for name in tables if changes[name] == "is missing"]
    refused = missing or [name for name in changes if name == "allocation.json"]
    if refused:
        remedy = "give the folder as it was written, or write the documents anew"
        raise InputError([Fault(name, None, None, None, changes[name], remedy) for name in refused])
    others = [name for name in changes if name not in tables and not name.startswith(_FILLED)]
    if others:
        warnings.warn(f"not as written with this allocation: {', '.join(others)}", stacklevel=4)
    return tables


def _from_workbook(file: Path) -> Allocation:
    """The sheets with tables, put in a folder and read like one: one way of reading, one set of checks."""
    from pdm_alloc.export.sheets import SHEETS
    from pdm_alloc.files.workbook_file import read_workbook

    faults = Faults()
    known: dict[str, tuple[str, ...]] = {plain_header(name): () for name in (*SAVED_SHEETS, *SHEETS)}
    grids = read_workbook(file, known, faults)
    faults.raise_if_any()
    saved = {target: grids.get(plain_header(sheet)) for sheet, target in SAVED_SHEETS.items()}
    if saved["assignments.csv"] is None:
        remedy = "give the workbook written beside it, whose name ends in _tables, or the folder of both"
        raise InputError([Fault(file.name, None, None, None, "has no saved allocation in it", remedy)])
    with tempfile.TemporaryDirectory() as folder:
        for target, grid in saved.items():
            if grid is not None:
                write_grid(grid, Path(folder) / target)
        return _from_folder(Path(folder))


def _from_tables(home: Path, changed: Collection[str] = ()) -> Allocation:
    faults = Faults()
    tables = {**_COLUMNS, **{n: cols for n, cols in _SIGNALS.items() if (home / f"{n}.csv").exists()}}
    rows = {name: _rows(home / f"{name}.csv", columns, faults) for name, columns in tables.items()}
    faults.raise_if_any()
    settings = {row["name"]: row["value"] for row in rows["allocation"]}
    _check_settings(settings, faults)
    _check_files(home, settings, faults)
    _check_items(rows["assignments"], faults)
    faults.raise_if_any()
    vehicle = _vehicle(home, settings)
    catalogue = read_catalogue(home / "catalogue")
    units = tuple(_units(catalogue, rows["units"]))
    kept = {**{name: [] for name in _SIGNALS}, **rows}
    signals = signals_from_rows(kept, catalogue.boxes, catalogue.keypads, settings)
    allocation = Allocation(
        vehicle,
        units,
        circuits_of(rows["assignments"], units),
        settings["strategy"],
        settings["outcome"],
        float(settings["gap"]),
        tuple((name, float(value)) for name, value in _under("objective", settings)),
    )
    wrong = [*misfits(allocation, "assignments"), *signal_misfits(signals, vehicle, "signal_uses")]
    if wrong:
        raise InputError(wrong)
    allocation = allocation.with_signals(side_of(signals, vehicle, units))
    if allocation_digest(allocation) != settings["digest"]:
        raise InputError([_altered(name) for name in changed or ("saved tables",)])
    return allocation


def _altered(name: str) -> Fault:
    remedy = "give the files as they were written, or write the documents anew"
    return Fault(name, None, None, None, "was changed after it was written", remedy)


def _rows(file: Path, columns: tuple[str, ...], faults: Faults) -> list[dict[str, str]]:
    grid = read_table(file, columns, faults)
    if grid is None:
        return []
    places = match_header(grid, columns, columns, faults)
    return [{name: cells[at] for name, at in places.items()} for _, cells in grid.rows]


def _check_settings(settings: dict[str, str], faults: Faults) -> None:
    wanted = {
        "outcome": ("proven best", "best so far"),
        "strategy": ("isolate", "spare"),
        "vehicle": (),
        "gap": (),
        "digest": (),
    }
    if settings.get("version") != str(SCHEMA_VERSION):
        remedy = f"this program reads version {SCHEMA_VERSION}: use the program that wrote it"
        faults.add("allocation", None, "version", settings.get("version"), "is not known here", remedy)
    for name, words in wanted.items():
        value = settings.get(name)
        if value is None or (words and value not in words):
            faults.add(
                "allocation",
                None,
                name,
                value,
                "is missing" if value is None else "is not known here",
                f"one of: {', '.join(words)}" if words else "give the file as it was written",
            )
    for name, value in [("gap", settings.get("gap", "0")), *_under("objective", settings)]:
        if not _is_number(value):
            faults.add("allocation", None, name, value, "is not a number", "give the file as it was written")


def _check_files(home: Path, settings: dict[str, str], faults: Faults) -> None:
    """A table left from an earlier allocation would be read with this one."""
    listed = set(settings.get("tables", "").split())
    present = {f"{file.parent.name}/{file.stem}" for part in _PARTS for file in (home / part).glob("*.csv")}
    for name in sorted(present - listed):
        faults.add(
            f"{name}.csv", None, None, None, "is not of this allocation", "delete it, or write the documents anew"
        )
    for name in sorted(listed - present):
        faults.add(f"{name}.csv", None, None, None, "is missing", "write the documents anew")


def _is_number(text: str) -> bool:
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False


def _check_items(rows: list[dict[str, str]], faults: Faults) -> None:
    for row in rows:
        if not row["item"].isdigit():
            faults.add("assignments", None, "item", row["item"], "is not a whole number", "count items from 1")
        if row["use"] not in ("single", "pair", "bridge"):
            faults.add("assignments", None, "use", row["use"], "is not known here", "single, pair or bridge")


def _under(word: str, settings: dict[str, str]) -> Iterable[tuple[str, str]]:
    return [(name.removeprefix(f"{word} "), value) for name, value in settings.items() if name.startswith(f"{word} ")]


def _vehicle(home: Path, settings: dict[str, str]) -> Vehicle:
    vehicle = read_vehicle(home / "vehicle")
    return replace(vehicle, name=settings["vehicle"], table_hashes=tuple(_under("hash", settings)))


def _units(catalogue: Catalogue, rows: list[dict[str, str]]) -> Iterable[Unit]:
    names = [module.name for module in catalogue]
    for row in rows:
        if row["module"] not in names:
            remedy = hint(row["module"], names)
            raise InputError([Fault("units", None, "module", row["module"], "is not in the table modules", remedy)])
        yield Unit(row["unit"], catalogue[row["module"]], row["place"] or None)
