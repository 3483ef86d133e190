"""The workbook: a sheet for each table of the documents, ready to print, and the saved allocation behind them."""

import datetime
import io
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from pdm_alloc.allocation.care import CAUTION
from pdm_alloc.allocation.result import Allocation
from pdm_alloc.export.extra import needed
from pdm_alloc.export.heading import heading, shown
from pdm_alloc.export.issue import Issue, title_block
from pdm_alloc.export.records import records
from pdm_alloc.export.saved_file import SAVED_SHEETS
from pdm_alloc.export.saved_tables import saved_tables
from pdm_alloc.export.sheets import COVER, Sheet, sheets
from pdm_alloc.export.workbook_style import Styles, is_number, set_page, width_of

__all__ = ["sheets_workbook", "workbook_bytes"]

TO_FILL_IN = ("seen", "measured_a", "measured_v", "remark", "found", "done")
_LONGEST = 32_000  # characters of a cell; the format ends at 32,767
_SAVED_NAMES = {file.removesuffix(".csv"): sheet for sheet, file in SAVED_SHEETS.items()}


def workbook_bytes(allocation: Allocation, issue: Issue) -> bytes:
    """The workbook of an allocation.

    Parameters
    ----------
    allocation : Allocation
        What is documented.
    issue : Issue
        Revision and date.

    Returns
    -------
    bytes
        XLSX; the same for the same allocation, revision and date. `read_allocation` reads it back.

    Raises
    ------
    ModuleNotFoundError
        xlsxwriter is not installed; names the extra that brings it.
    ValueError
        Two units have different modules of one name.
    """
    name = allocation.vehicle.name
    return sheets_workbook(sheets(allocation), name, title_block(allocation, issue), issue, saved_tables(allocation))


def sheets_workbook(
    made: Sequence[Sheet],
    vehicle: str,
    block: Sequence[tuple[str, str]],
    issue: Issue,
    saved: Mapping[str, pd.DataFrame] | None = None,
) -> bytes:
    """A workbook of sheets ready to print.

    Parameters
    ----------
    made : sequence of Sheet
        After the cover.
    vehicle : str
        Its name.
    block : sequence of (str, str)
        Title block.
    issue : Issue
        Revision and date.
    saved : mapping of str to DataFrame, optional
        Tables of a saved allocation, at the end.

    Returns
    -------
    bytes
        XLSX.
    """
    content = io.BytesIO()
    book = needed("xlsxwriter", "writes workbooks").Workbook(content, {"in_memory": True})
    book.set_properties(_properties(vehicle, issue))
    styles = Styles(book)
    _cover(book, styles, vehicle, [*block, *((sheet.name, sheet.note) for sheet in made)], issue.line(vehicle))
    for sheet in made:
        _sheet(book, styles, sheet, issue.line(vehicle))
    for name, table in (saved or {}).items():
        _saved(book, styles, _SAVED_NAMES[name], table)
    book.close()
    return content.getvalue()


def _properties(vehicle: str, issue: Issue) -> dict[str, Any]:
    return {
        "title": f"Wiring of {vehicle}",
        "subject": issue.line(vehicle),
        "author": "pdm_alloc",
        "created": datetime.datetime.combine(issue.date, datetime.time()),
    }


def _cover(book: Any, styles: Styles, vehicle: str, block: list[tuple[str, str]], foot: str) -> None:
    page = book.add_worksheet(COVER)
    page.set_column(0, 0, 20)
    page.set_column(1, 1, 110)
    page.write_string(0, 0, "Wiring", styles.title)
    page.write_string(0, 1, vehicle, styles.title)
    lines = [*(("caution", text) for text in CAUTION), *block]
    for number, (what, value) in enumerate(lines, 2):
        page.write_string(number, 0, what, styles.get(bold=True))
        page.write_string(number, 1, value[:_LONGEST], styles.get(bold=what == "caution"))
    set_page(page, COVER, foot, len(lines) + 2, 2)


def _sheet(book: Any, styles: Styles, sheet: Sheet, foot: str) -> None:
    page = book.add_worksheet(sheet.name)
    names = list(sheet.table.columns)
    for at, name in enumerate(names):
        page.set_column(at, at, width_of(name, sheet.table[name]))
        page.write_string(0, at, heading(name), styles.heading)
    for number, row in enumerate(records(sheet.table), 1):
        for at, name in enumerate(names):
            _write(page, number, at, row[name], name, styles.column(name, name in TO_FILL_IN))
    page.freeze_panes(1, _frozen(names))
    if names:
        page.autofilter(0, 0, max(len(sheet.table), 1), len(names) - 1)
    _guide(page, names, len(sheet.table))
    set_page(page, f"{sheet.name}: {sheet.note}", foot, len(sheet.table), len(names))


def _frozen(names: list[str]) -> int:
    """Columns that stay in sight: those that say which channel a row is about."""
    return 2 if names[:2] == ["module", "channel"] else 1


def _write(page: Any, row: int, at: int, value: Any, name: str, style: Any) -> None:
    """Text as text, never as a formula, a link or a number."""
    if is_number(value):
        page.write_number(row, at, value, style)
    else:
        page.write_string(row, at, shown(value, name)[:_LONGEST], style)


def _guide(page: Any, names: list[str], rows: int) -> None:
    """Cells a person fills in take what reads back: on or off, numbers above 0."""
    limit = {"validate": "decimal", "criteria": ">=", "value": 0, "error_message": "A number, as read from the meter."}
    rules = {"seen": {"validate": "list", "source": ["on", "off"]}, "measured_a": limit, "measured_v": limit}
    for at, name in enumerate(names):
        if name in rules and rows:
            page.data_validation(1, at, rows, at, rules[name])


def _saved(book: Any, styles: Styles, name: str, table: pd.DataFrame) -> None:
    """A table of the saved allocation: text in every cell, so that it reads back as it is."""
    page = book.add_worksheet(name)
    page.set_tab_color("#808080")
    for at, column in enumerate(table.columns):
        page.set_column(at, at, 16)
        page.write_string(0, at, str(column), styles.heading)
        for number, cell in enumerate(table[column], 1):
            page.write_string(number, at, str(cell), styles.get(text_wrap=False))
    page.freeze_panes(1, 0)
    set_page(page, f"{name}: read back by the program, not to be edited", "", len(table), len(table.columns))
