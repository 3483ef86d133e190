"""From one revision to the next: what is to be done at the vehicle, and everything that changed, as documents."""

import datetime
import os
from pathlib import Path

from pdm_alloc.allocation.result import Allocation
from pdm_alloc.export.csv_table import csv_bytes
from pdm_alloc.export.issue import Issue, title_block
from pdm_alloc.export.name import safe_name
from pdm_alloc.export.pdf import sheets_pdf
from pdm_alloc.export.saved_file import read_allocation
from pdm_alloc.export.sheets import Sheet
from pdm_alloc.export.workbook import sheets_workbook
from pdm_alloc.tables.whole import write_files
from pdm_alloc.what_if.compare import compare
from pdm_alloc.what_if.rework import rework

__all__ = ["rework_sheets", "write_rework"]

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
