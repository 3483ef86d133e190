"""The workbook: a sheet for each table of the documents, ready to print."""

import datetime
import io
import re
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from pdm_alloc.export.lists import decimals, heading, records, shown
from pdm_alloc.export.read_saved import SAVED_SHEETS
from pdm_alloc.export.saved_tables import saved_tables
from pdm_alloc.export.sheets import COVER, READ_SHEETS, Issue, Sheet, grouped_warnings, needed, sheets, title_block
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.care_rules import CAUTION

__all__ = ["Styles", "is_number", "record_bytes", "set_page", "sheets_workbook", "width_of", "workbook_bytes"]

NARROWEST, WIDEST = 7, 44

_HEADER = 120  # characters of a name in a printed header, which must not pass 255 altogether
_A4 = 9


class Styles:
    """Formats of a workbook, made when first asked for: black and white, readable when copied."""

    def __init__(self, book: Any):
        self._book = book
        self._made: dict[tuple[tuple[str, Any], ...], Any] = {}

    def get(self, **properties: Any) -> Any:
        """The format with these properties, on top of those of every cell."""
        key = tuple(sorted(properties.items()))
        if key not in self._made:
            base = {"font_name": "Arial", "font_size": 9, "valign": "top", "text_wrap": True}
            self._made[key] = self._book.add_format(base | properties)
        return self._made[key]

    @property
    def title(self) -> Any:
        """Of the cover's title."""
        return self.get(bold=True, font_size=16, text_wrap=False)

    @property
    def heading(self) -> Any:
        """Of a column's heading."""
        return self.get(bold=True, bottom=2, bg_color="#E6E6E6", valign="bottom")

    def column(self, name: str, filled_in: bool = False) -> Any:
        """Of the cells of a column; bordered and open to editing where a person writes into them."""
        properties: dict[str, Any] = {"bottom": 4}
        digits = decimals(name)
        if digits is not None:
            properties["num_format"] = "0" + ("." + "0" * digits if digits else "")
        if filled_in:
            properties |= {"border": 1, "locked": False}
        return self.get(**properties)


def is_number(value: Any) -> bool:
    """Whether a cell is written as a number: finite, and no yes or no."""
    return isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) != float("inf")


def width_of(name: str, cells: pd.Series) -> float:
    """Width of a column, in characters: its longest cell, within bounds, and no word of the heading cut."""
    longest = max((len(line) for cell in cells for line in shown(cell, name).splitlines()), default=0)
    words = max(len(word) for word in heading(name).split() or [""])
    return max(NARROWEST, words + 2, min(WIDEST, longest + 2))


def set_page(page: Any, title: str, foot: str, rows: int, columns: int) -> None:
    """Printing: landscape A4, as wide as the page, headings on every page, title above, page number below."""
    page.set_landscape()
    page.set_paper(_A4)
    page.fit_to_pages(1, 0)
    page.set_margins(left=0.5, right=0.5, top=0.8, bottom=0.7)
    page.repeat_rows(0)
    page.print_area(0, 0, max(rows, 1), max(columns - 1, 0))
    page.set_header(f"&L&B{_safe(title)}&R{_safe(foot)}")
    page.set_footer("&LDesign values: check by measurement&RPage &P of &N")


def _safe(text: str) -> str:
    """Text for a printed header, where & starts a code; the writer takes even && before a G for a picture."""
    text = re.sub(r"&(?=G|\[Picture\])", "& ", text)
    return text[:_HEADER].replace("&", "&&").replace("\n", " ")


TO_FILL_IN = ("seen", "measured_a", "measured_v", "measured", "remark", "found", "done")

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
        XLSX: the sheets people read; the same for the same allocation, revision and date.

    Raises
    ------
    ModuleNotFoundError
        xlsxwriter is not installed; names the extra that brings it.
    """
    made = [sheet for sheet in sheets(allocation) if sheet.name in READ_SHEETS]
    warnings = grouped_warnings(allocation).to_dict("records")
    said = [(str(w["severity"]), f"{w['warning']} {w['remedy']} ({w['subjects']})") for w in warnings]
    return sheets_workbook(made, allocation.vehicle.name, [*title_block(allocation, issue), *said], issue)


def record_bytes(allocation: Allocation, issue: Issue) -> bytes:
    """The workbook with the other tables and the saved allocation, which `read_allocation` reads back.

    Parameters
    ----------
    allocation : Allocation
        What is documented.
    issue : Issue
        Revision and date.

    Returns
    -------
    bytes
        XLSX; the same for the same allocation, revision and date.

    Raises
    ------
    ModuleNotFoundError
        xlsxwriter is not installed; names the extra that brings it.
    ValueError
        Two units have different modules of one name.
    """
    made = [sheet for sheet in sheets(allocation) if sheet.name not in READ_SHEETS]
    block = title_block(allocation, issue)
    return sheets_workbook(made, allocation.vehicle.name, block, issue, saved_tables(allocation))


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
