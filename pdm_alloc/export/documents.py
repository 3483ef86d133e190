"""Everything that goes to the bench, and from one revision to the next, written to a folder."""

import datetime
import os
import re
import unicodedata
import warnings
from pathlib import Path

import pandas as pd

from pdm_alloc.export.pdf_document import sheets_pdf
from pdm_alloc.export.read_saved import SAVED_FOLDER, SAVED_SHEETS, read_allocation
from pdm_alloc.export.saved_tables import allocation_json, saved_tables
from pdm_alloc.export.sheets import Issue, Sheet, available, sheets, title_block
from pdm_alloc.export.workbook import sheets_workbook
from pdm_alloc.files.atomic import write_files
from pdm_alloc.files.csv_file import csv_bytes
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.studies.comparison import compare
from pdm_alloc.studies.signals.signal_side import SignalSide
from pdm_alloc.studies.what_if import rework

__all__ = ["TABLES_FOLDER", "rework_sheets", "safe_name", "write_documents", "write_rework"]

TABLES_FOLDER = "tables"
DRAWINGS_FOLDER = "drawings"

_LIBRARIES = ("reportlab", "xlsxwriter")


def write_documents(
    allocation: Allocation,
    folder: str | os.PathLike[str],
    *,
    revision: str = "",
    date: datetime.date | None = None,
    signals: SignalSide | None = None,
) -> list[Path]:
    """Write all documents of an allocation.

    ``<vehicle>.pdf`` for the wall and the binder, ``<vehicle>.xlsx`` with the eight sheets people read,
    ``<vehicle>_tables.xlsx`` with the others, ``pin_map.csv``, all tables in
    ``tables/``, labels for both ends of every wire as ``labels.csv`` and ``labels.pdf``,
    drawings as SVG and PDF in ``drawings/``, and the allocation itself, to be read back with
    `read_allocation`, as ``allocation.json`` and as tables in ``saved/``. Without the extra
    ``documents`` the PDF, the workbook and the tables of steps are left out, with a warning.

    Parameters
    ----------
    allocation : Allocation
        What is documented.
    folder : path
        Made if it does not exist; files of the same names are replaced, others stay.
    revision : str
        As the builder counts them.
    date : datetime.date, optional
        Default: today.
    signals : SignalSide, optional
        Signal side and bus, part of all these documents; default: that of the allocation. Where its boxes are not
        enough a warning says so, and nothing else of it is written.

    Returns
    -------
    list of Path
        The files.

    Raises
    ------
    WriteError
        One could not be written; the old files are still there.
    ValueError
        Two units have different modules of one name.
    """
    issue = Issue(revision, date or datetime.date.today())
    allocation = allocation if signals is None else allocation.with_signals(signals)
    files = {**_printed(allocation, issue), **_saved(allocation)}
    return write_files(folder, files, [f"{SAVED_FOLDER}/{name}" for name in SAVED_SHEETS.values()])


def _printed(allocation: Allocation, issue: Issue) -> dict[str, bytes]:
    pin_map = {"pin_map.csv": csv_bytes(allocation.pin_map())}
    if not available(*_LIBRARIES):
        text = "PDF, workbook and commissioning sheet are not written: pip install 'pdm_alloc[documents]'"
        warnings.warn(text, stacklevel=3)
        return pin_map
    from pdm_alloc.export.pdf_document import labels_pdf, pdf_bytes
    from pdm_alloc.export.pdf_grid import set_type
    from pdm_alloc.export.pdf_sheets import drawing_files, label_rows
    from pdm_alloc.export.workbook import record_bytes, workbook_bytes

    name = safe_name(allocation.vehicle.name)
    tables = {
        f"{TABLES_FOLDER}/{sheet.stem}.csv": csv_bytes(sheet.table)
        for sheet in sheets(allocation)
        if sheet.name != "Pin map"
    }
    documents = {f"{name}.pdf": pdf_bytes(allocation, issue), f"{name}.xlsx": workbook_bytes(allocation, issue)}
    documents[f"{name}_tables.xlsx"] = record_bytes(allocation, issue)
    documents["labels.pdf"] = labels_pdf(allocation, issue)
    documents["labels.csv"] = csv_bytes(pd.DataFrame(label_rows(allocation), columns=["label", "end", "to"]))
    drawn = drawing_files(allocation, set_type().normal)
    drawings = {f"{DRAWINGS_FOLDER}/{file}": content for file, content in drawn.items()}
    return {**documents, **pin_map, **tables, **drawings}


def _saved(allocation: Allocation) -> dict[str, bytes]:
    tables = {f"{SAVED_FOLDER}/{name}.csv": csv_bytes(table) for name, table in saved_tables(allocation).items()}
    return {"allocation.json": allocation_json(allocation), **tables}


Saved = Allocation | str | os.PathLike[str]


def rework_sheets(before: Allocation, after: Allocation) -> tuple[Sheet, ...]:
    """The rework list, and all changes behind it.

    Parameters
    ----------
    before, after : Allocation
        As it is built; as it is to be.

    Returns
    -------
    tuple of Sheet
        ``Rework list``, with a column to tick, and ``All changes``.
    """
    todo = rework(before, after).assign(done="")
    first = "What is to be done at the vehicle, in this order. Battery disconnected first."
    return (
        Sheet("Rework list", todo, first),
        Sheet("All changes", compare(before, after), "Everything that is different, currents included."),
    )


def write_rework(
    before: Saved,
    after: Saved,
    folder: str | os.PathLike[str],
    *,
    revision: str = "",
    date: datetime.date | None = None,
) -> list[Path]:
    """Write what has to be done to get from one allocation to another.

    Parameters
    ----------
    before, after : Allocation or path
        As it is built; as it is to be. A path is read with `read_allocation`.
    folder : path
        Made if it does not exist.
    revision : str
        The new one.
    date : datetime.date, optional
        Default: today.

    Returns
    -------
    list of Path
        ``<vehicle>_rework.pdf``, ``<vehicle>_rework.xlsx``, ``rework_list.csv``, ``all_changes.csv``.

    Raises
    ------
    InputError
        A saved allocation cannot be read.
    WriteError
        A file could not be written; the old ones are still there.
    ModuleNotFoundError
        The extra ``documents`` is not installed.
    """
    old, new = _allocation(before), _allocation(after)
    issue = Issue(revision, date or datetime.date.today())
    made, block, name = rework_sheets(old, new), _block(old, new, issue), new.vehicle.name
    documents = {
        f"{safe_name(name)}_rework.pdf": sheets_pdf(f"Rework of {name}", made, name, block, issue),
        f"{safe_name(name)}_rework.xlsx": sheets_workbook(made, name, block, issue),
    }
    return write_files(folder, documents | {f"{sheet.stem}.csv": csv_bytes(sheet.table) for sheet in made})


def _allocation(saved: Saved) -> Allocation:
    return saved if isinstance(saved, Allocation) else read_allocation(saved)


def _block(old: Allocation, new: Allocation, issue: Issue) -> list[tuple[str, str]]:
    """Title block of the new revision, with what the old one was."""
    was = dict(title_block(old, issue))
    lines = [("before: " + what, was[what]) for what in ("modules", "result", "vehicle tables")]
    return [*title_block(new, issue), *lines]


LONGEST = 80

# Names that Windows keeps for devices, with or without an ending.
_DEVICES = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\..*)?$")


def safe_name(text: str, otherwise: str = "vehicle") -> str:
    """A file name, without ending, that every system takes and that stays in its folder.

    Parameters
    ----------
    text : str
        Any name.
    otherwise : str
        Used where nothing of the name is left.

    Returns
    -------
    str
        Letters, digits, ``-``, ``_`` and ``.`` inside; at most 80 bytes in UTF-8.
    """
    plain = unicodedata.normalize("NFC", text)
    name = re.sub(r"[^\w.-]+", "_", plain).strip("._- ")
    name = name.encode()[:LONGEST].decode(errors="ignore").rstrip("._- ") or otherwise
    return f"_{name}" if _DEVICES.match(name) else name
