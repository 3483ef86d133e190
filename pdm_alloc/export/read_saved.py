"""A saved allocation read back from JSON, CSV or the workbook, and allocations kept under names in one file."""

import json
import math
import os
import tempfile
import warnings
from collections.abc import Collection, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import chain, count
from pathlib import Path
from typing import Any

from pdm_alloc.domain.module import Catalogue, Unit
from pdm_alloc.domain.showing import counted
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.export.saved_fit import (
    BOXES,
    KEYPADS,
    SIGNAL_USES,
    misfits,
    side_of,
    signal_misfits,
    signals_from_rows,
)
from pdm_alloc.export.saved_tables import (
    ASSIGNMENTS,
    SCHEMA_VERSION,
    SETTINGS,
    UNITS,
    allocation_json,
    circuits_of,
    from_json,
    is_digest,
)
from pdm_alloc.files.atomic import MANIFEST, changed_files, reading, write_file
from pdm_alloc.files.cells import plain_header
from pdm_alloc.files.faults import Fault, Faults, InputError, hint
from pdm_alloc.files.grids import match_header, read_bytes_within, read_table, write_grid
from pdm_alloc.files.plain import vehicle_plain
from pdm_alloc.files.tables.read_catalogue import read_catalogue
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from pdm_alloc.result.allocation import Allocation, all_warnings
from pdm_alloc.result.channel_tables import tightest_headroom
from pdm_alloc.verify.check import violations

__all__ = [
    "SAVED_FOLDER",
    "SAVED_SHEETS",
    "Kept",
    "Shelf",
    "built_harness",
    "harnesses",
    "kept_file",
    "read_allocation",
    "recounted",
]

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
    from pdm_alloc.files.sources import read_workbook

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
    if not is_digest(allocation, settings["digest"]):
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


_FORMAT, _VERSION = "pdm_alloc kept allocations", 1


@dataclass(frozen=True)
class Kept:
    """An allocation under a name.

    Parameters
    ----------
    name : str
        Unique among those kept.
    allocation : Allocation or None
        None: what is on disk cannot be used.
    why : str
        Why it cannot.
    document : mapping, optional
        As it is on disk, so that what cannot be used is not lost.
    """

    name: str
    allocation: Allocation | None
    why: str = ""
    document: Mapping[str, Any] | None = None

    @property
    def plain(self) -> Mapping[str, Any]:
        """Its entry in the file."""
        if self.allocation is None:
            return {"name": self.name, "allocation": self.document}
        given = {"conditions": list(self.allocation.conditions)} if self.allocation.conditions else {}
        return {"name": self.name, "allocation": json.loads(allocation_json(self.allocation)), **given}

    @cached_property
    def tables(self) -> dict[str, list[dict[str, str]]]:
        """Tables of its vehicle as texts."""
        return {} if self.allocation is None else vehicle_plain(self.allocation.vehicle)

    @property
    def verdict(self) -> str:
        """Enough, or what it is enough under."""
        if self.allocation is None:
            return ""
        given = "; ".join(self.allocation.conditions)
        return f"enough if: {given}" if given else f"enough, {self.allocation.outcome}"

    @cached_property
    def warnings(self) -> str:
        """How many warnings of each severity."""
        if self.allocation is None:
            return ""
        beside = self.allocation.signals.care() if self.allocation.signals else ()
        given = all_warnings(self.allocation.vehicle, self.allocation.units, self.allocation.wired, beside)
        numbers = [(sum(w.severity == word for w in given), word) for word in ("danger", "warning", "note")]
        return ", ".join(counted(n, word) for n, word in numbers if n) or "none"

    @cached_property
    def headroom(self) -> dict[str, tuple[float, str]]:
        """As `tightest_headroom`."""
        return {} if self.allocation is None else tightest_headroom(self.allocation)


def _checked(name: str, document: Any) -> Kept:
    """An allocation read back: whole, unchanged, and every limit recounted."""
    try:
        allocation = from_json(json.dumps(document).encode(), name)
        return Kept(name, recounted(allocation, name), document=document)
    except InputError as error:
        return Kept(name, None, str(error.faults[0]), document)


def recounted(allocation: Allocation, name: str) -> Allocation:
    """The same allocation; InputError where the independent recount finds that it breaks a limit."""
    findings = violations(allocation.vehicle, allocation.units, allocation.circuits)
    if findings:
        what = f"breaks a limit: channel {findings[0].channel}, {findings[0].message}"
        raise InputError([Fault(name, None, None, None, what, "allocate again")])
    return allocation


class Shelf:
    """Allocations by name, in a file where there is one.

    Parameters
    ----------
    file : Path or None
        None: they last as long as this object.

    Attributes
    ----------
    kept : tuple of Kept
        In the order kept.
    built : str
        Name of the one that is built; empty: none is.
    """

    def __init__(self, file: Path | None):
        self._file = file
        self._content: bytes | None = None
        self.kept: tuple[Kept, ...] = ()
        self.built = ""
        self.read()

    def __getitem__(self, name: str) -> Kept | None:
        """The one of that name; None where there is none."""
        return next((kept for kept in self.kept if kept.name == name), None)

    def read(self) -> None:
        """Read the file again where it has changed: another window may have kept some since."""
        if self._file is None or not self._file.is_file():
            return
        content = read_bytes_within(self._file)
        if content == self._content:
            return
        known = {json.dumps(kept.document, sort_keys=True): kept for kept in self.kept if kept.document}
        document = _document(content, self._file.name)
        self.kept = tuple(_given(entry, known) for entry in document["kept"])
        self.built = str(document.get("built", ""))
        self._content = content

    def put(self, kept: Sequence[Kept], built: str) -> None:
        """Have these kept instead; WriteError where the file cannot be written, and nothing has changed."""
        built = built if any(one.name == built and one.allocation for one in kept) else ""
        plain = {"format": _FORMAT, "version": _VERSION, "built": built, "kept": [one.plain for one in kept]}
        content = json.dumps(plain).encode()  # escaped: what cannot be used may hold what no UTF-8 can
        if self._file is not None:
            write_file(self._file, content)
        self.kept, self.built, self._content = tuple(kept), built, content

    def free(self, name: str) -> str:
        """The name, or the first of "name 2", "name 3", ... that is not taken."""
        names = {kept.name for kept in self.kept}
        numbered = (f"{name} {n}" for n in count(2))
        return next(free for free in chain([name], numbered) if free not in names)


def _given(entry: Mapping[str, Any], known: Mapping[str, Kept]) -> Kept:
    """One of those kept, with what it is enough under: no saved allocation says so itself."""
    name, document = str(entry.get("name")), entry.get("allocation")
    kept = _known(known, name, document) or _checked(name, document)
    given = entry.get("conditions", [])
    if kept.allocation is None or not isinstance(given, list):
        return kept
    return replace(kept, allocation=replace(kept.allocation, conditions=tuple(map(str, given))))


def _known(known: Mapping[str, Kept], name: str, document: Any) -> Kept | None:
    kept = known.get(json.dumps(document, sort_keys=True))
    return kept and Kept(name, kept.allocation, kept.why, document)


def _document(content: bytes, name: str) -> dict[str, Any]:
    try:
        document: dict[str, Any] = json.loads(content)
        if document["format"] == _FORMAT and document["version"] == _VERSION and _is_list(document["kept"]):
            return document
    except (ValueError, RecursionError, KeyError, TypeError):
        pass
    remedy = "delete it, or put it back as it was written"
    raise InputError([Fault(name, None, None, None, "does not hold kept allocations", remedy)])


def _is_list(entries: Any) -> bool:
    return isinstance(entries, list) and all(isinstance(entry, dict) for entry in entries)


def harnesses(home: Path) -> tuple[str, ...]:
    """Saved allocations inside the folder of a vehicle, as paths from there; what leads out of it is not there.

    Parameters
    ----------
    home : Path
        Folder, or workbook: then the folder of its documents is looked into.

    Returns
    -------
    tuple of str
        Folders documents were written to, and allocations as JSON, at most two folders deep; sorted.
    """
    root = _root(home)
    below = [file for pattern in ("*", "*/*", "*/*/*") for file in root.glob(pattern)] if root.is_dir() else []
    named = {file.parent for file in below if file.name == "allocation.json" and file.parent != root}
    named |= {file.parent.parent for file in below if file.parent.name == SAVED_FOLDER and file.name == "units.csv"}
    named |= {file for file in below if file.suffix == ".json" and file.parent not in named | {root / SAVED_FOLDER}}
    named = {path for path in named if path.is_dir() or (_is_inside(path, root) and _is_saved(path))}
    inside = [path for path in named if path != root and _is_inside(path, root) and not path.name.startswith(".")]
    return tuple(sorted(path.relative_to(root).as_posix() for path in inside if path.name != "manifest.json"))


def _is_saved(file: Path) -> bool:
    """True if a file says of itself that it is a saved allocation."""
    with suppress(InputError):
        return b"pdm_alloc allocation" in read_bytes_within(file)[:200]
    return False


def _root(home: Path) -> Path:
    return home if home.is_dir() else home.with_name(f"{home.stem}_documents")


def _is_inside(path: Path, root: Path) -> bool:
    """True if neither the path nor anything in it is, or is a link to, something outside."""
    parts = [path, *(path.rglob("*") if path.is_dir() else ())]
    return all(part.resolve().is_relative_to(root.resolve()) for part in parts)


def built_harness(home: Path, name: str) -> Allocation:
    """A saved allocation inside the folder of a vehicle, every limit recounted.

    Parameters
    ----------
    home : Path
        Folder or workbook of the vehicle.
    name : str
        One of `harnesses`.

    Returns
    -------
    Allocation

    Raises
    ------
    InputError
        There is none of that name, it cannot be read, or it breaks a limit.
    """
    if name not in harnesses(home):
        raise InputError([Fault(name, None, None, None, "is no saved allocation in the folder of this vehicle")])
    return recounted(read_allocation(_root(home) / name), name)


def kept_file(home: Path) -> Path:
    """Where the allocations kept of a vehicle are: beside its files, hidden."""
    return home / ".panel_kept.json" if home.is_dir() else home.with_name(f".{home.name}.panel_kept.json")
