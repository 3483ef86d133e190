"""Everything that goes to the bench, written to a folder."""

import datetime
import os
import warnings
from pathlib import Path

from pdm_alloc.allocation.result import Allocation
from pdm_alloc.export.csv_table import csv_bytes
from pdm_alloc.export.extra import available
from pdm_alloc.export.issue import Issue
from pdm_alloc.export.name import safe_name
from pdm_alloc.export.saved import allocation_json
from pdm_alloc.export.saved_file import SAVED_FOLDER, SAVED_SHEETS
from pdm_alloc.export.saved_tables import saved_tables
from pdm_alloc.export.sheets import sheets
from pdm_alloc.tables.whole import write_files

__all__ = ["TABLES_FOLDER", "write_documents"]

TABLES_FOLDER = "tables"
_LIBRARIES = ("reportlab", "xlsxwriter")


def write_documents(
    allocation: Allocation,
    folder: str | os.PathLike[str],
    *,
    revision: str = "",
    date: datetime.date | None = None,
) -> list[Path]:
    """Write all documents of an allocation.

    ``<vehicle>.pdf`` for the wall and the binder, ``<vehicle>.xlsx`` with every table ready to print,
    ``pin_map.csv``, the other tables in ``tables/``, and the allocation itself, to be read back with
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
    files = {**_printed(allocation, issue), **_saved(allocation)}
    return write_files(folder, files, [f"{SAVED_FOLDER}/{name}" for name in SAVED_SHEETS.values()])


def _printed(allocation: Allocation, issue: Issue) -> dict[str, bytes]:
    pin_map = {"pin_map.csv": csv_bytes(allocation.pin_map())}
    if not available(*_LIBRARIES):
        text = "PDF, workbook and commissioning sheet are not written: pip install 'pdm_alloc[documents]'"
        warnings.warn(text, stacklevel=3)
        return pin_map
    from pdm_alloc.export.pdf import pdf_bytes
    from pdm_alloc.export.workbook import workbook_bytes

    name = safe_name(allocation.vehicle.name)
    tables = {f"{TABLES_FOLDER}/{sheet.stem}.csv": csv_bytes(sheet.table) for sheet in sheets(allocation)[1:]}
    documents = {f"{name}.pdf": pdf_bytes(allocation, issue), f"{name}.xlsx": workbook_bytes(allocation, issue)}
    return {**documents, **pin_map, **tables}


def _saved(allocation: Allocation) -> dict[str, bytes]:
    tables = {f"{SAVED_FOLDER}/{name}.csv": csv_bytes(table) for name, table in saved_tables(allocation).items()}
    return {"allocation.json": allocation_json(allocation), **tables}
