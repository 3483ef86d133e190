"""Allocations kept under names in one file, and those saved inside the folder of a vehicle."""

import json
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import chain, count
from pathlib import Path
from typing import Any

from pdm_alloc.domain.showing import counted
from pdm_alloc.export.read_saved import SAVED_FOLDER, read_allocation
from pdm_alloc.export.saved_tables import allocation_json, from_json
from pdm_alloc.files.atomic import write_file
from pdm_alloc.files.csv_file import read_bytes_within
from pdm_alloc.files.faults import Fault, InputError
from pdm_alloc.files.plain import vehicle_plain
from pdm_alloc.result.allocation import Allocation, all_warnings
from pdm_alloc.result.channel_tables import tightest_headroom
from pdm_alloc.verify.check import violations

__all__ = ["Kept", "Shelf", "built_harness", "harnesses", "kept_file", "recounted"]

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
        given = all_warnings(self.allocation.vehicle, self.allocation.units, self.allocation.wired)
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
