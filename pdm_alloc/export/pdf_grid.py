"""Tables laid out to print: sheets of the workbook, and tables and type on the page, no cell cut."""

import datetime
import importlib.util
import io
import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import pandas as pd

from pdm_alloc.domain.showing import shown_in
from pdm_alloc.export.drawings import glyphs
from pdm_alloc.export.lists import decimals, heading, records, shown, unit_of
from pdm_alloc.export.read_saved import SAVED_SHEETS
from pdm_alloc.export.saved_tables import saved_tables
from pdm_alloc.export.sheets import COVER, READ_SHEETS, Issue, Sheet, grouped_warnings, needed, sheets, title_block
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.care_rules import CAUTION

__all__ = [
    "BOX",
    "HEAD",
    "LINES",
    "Styles",
    "TableRow",
    "Type",
    "column_widths",
    "grid",
    "grids",
    "is_blank",
    "is_number",
    "paged",
    "record_bytes",
    "set_page",
    "set_type",
    "sheets_workbook",
    "width_of",
    "workbook_bytes",
]

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

_LONGEST_COLUMN = 32_000  # characters of a cell; the format ends at 32,767

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
    said = [(str(w["severity"]), f"{w['warning']} {w['remedy']}") for w in warnings]
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
        page.write_string(number, 1, value[:_LONGEST_COLUMN], styles.get(bold=what == "caution"))
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
        page.write_string(row, at, shown(value, name)[:_LONGEST_COLUMN], style)


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


BOX = "\N{BALLOT BOX}"

_SIZES = {"title": 18, "heading": 12, "body": 9, "caution": 9.5, "large": 8.5, "cell": 7, "small": 6}

_KEPT = "\n\N{NO-BREAK SPACE}"

_LONGEST = 8000  # characters of a cell: more would not fit a page, and stand in the workbook

_FAMILY = {"normal": "DejaVuSans", "bold": "DejaVuSans-Bold"}


class Type:
    """Paragraphs in the styles of the document.

    Parameters
    ----------
    normal, bold : str
        Names of fonts known to reportlab.
    unicode : bool
        Whether they have letters beyond Western European.
    """

    def __init__(self, normal: str, bold: str, unicode: bool):
        self.normal, self.bold, self.unicode = normal, bold, unicode
        self._styles: dict[tuple[str, bool, str], Any] = {}

    def paragraph(self, text: str, style: str = "cell", bold: bool = False, align: str = "left") -> Any:
        """Text of any content as a paragraph.

        Parameters
        ----------
        text : str
            Plain text; line ends are kept, and more than 8000 characters are cut with an ellipsis.
        style : str
            ``title``, ``heading``, ``body``, ``caution``, ``large``, ``cell`` or ``small``.
        bold : bool
            Bold type.
        align : str
            ``left``, ``right`` or ``center``.

        Returns
        -------
        reportlab.platypus.Paragraph
        """
        paragraph = needed("reportlab.platypus", "writes PDF").Paragraph
        return paragraph(self.marked_up(text), self._style(style, bold, align))

    def marked_up(self, text: str) -> str:
        """Plain text as a paragraph's markup, without characters the font or the markup cannot have."""
        shown = text if len(text) <= _LONGEST else text[: _LONGEST - 2].rstrip() + " …"
        plain = "".join(c if c.isprintable() or c in _KEPT else " " for c in shown)
        if not self.unicode:
            plain = plain.replace(BOX, "[ ]").replace("…", "...")
        return escape(self.shown(plain)).replace("\n", "<br/>")

    def shown(self, text: str) -> str:
        """Text with a question mark for every character that the font lacks."""
        return shown_in(text, glyphs(self.normal))

    def width(self, text: str, style: str = "cell", bold: bool = False) -> float:
        """Width of a line of text, points."""
        metrics = needed("reportlab.pdfbase.pdfmetrics", "writes PDF")
        return float(metrics.stringWidth(text, self.bold if bold else self.normal, _SIZES[style]))

    def _style(self, name: str, bold: bool, align: str) -> Any:
        key = (name, bold, align)
        if key not in self._styles:
            styles = needed("reportlab.lib.styles", "writes PDF")
            size = _SIZES[name]
            self._styles[key] = styles.ParagraphStyle(
                f"{name}{bold}{align}",
                fontName=self.bold if bold or name in ("title", "heading") else self.normal,
                fontSize=size,
                leading=size * 1.25,
                alignment={"left": 0, "center": 1, "right": 2}[align],
                spaceBefore=size * 0.8 if name == "heading" else 0,
                spaceAfter=size * 0.4 if name in ("title", "heading", "body") else 0,
            )
        return self._styles[key]


@cache
def set_type() -> Type:
    """The fonts of the document: those that come with matplotlib, or the plain ones every PDF reader has.

    Returns
    -------
    Type
        Registered with reportlab.
    """
    files = _font_files()
    if not files:
        return Type("Helvetica", "Helvetica-Bold", unicode=False)
    metrics = needed("reportlab.pdfbase.pdfmetrics", "writes PDF")
    fonts = needed("reportlab.pdfbase.ttfonts", "writes PDF")
    for name, file in files.items():
        metrics.registerFont(fonts.TTFont(name, str(file)))
    metrics.registerFontFamily(_FAMILY["normal"], **{k: _FAMILY[k] for k in ("normal", "bold")})
    return Type(_FAMILY["normal"], _FAMILY["bold"], unicode=True)


def _font_files() -> dict[str, Path]:
    """Font files of matplotlib, found without importing it, which would take a second."""
    spec = importlib.util.find_spec("matplotlib")
    if spec is None or not spec.origin:
        return {}
    folder = Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"
    files = {name: folder / f"{name}.ttf" for name in _FAMILY.values()}
    return files if all(file.is_file() for file in files.values()) else {}


_PADDING = 7.5  # points, both sides of a cell together

# Thin lines and one light grey: black and white printers and copies keep them.
LINES: tuple[tuple[Any, ...], ...] = (
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("LEFTPADDING", (0, 0), (-1, -1), 3.5),
    ("RIGHTPADDING", (0, 0), (-1, -1), 3.5),
    ("TOPPADDING", (0, 0), (-1, -1), 1.6),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 1.8),
    ("LINEBELOW", (0, 0), (-1, -1), 0.25, "#999999"),
)

HEAD: tuple[tuple[Any, ...], ...] = (
    ("BACKGROUND", (0, 0), (-1, 0), "#E6E6E6"),
    ("LINEBELOW", (0, 0), (-1, 0), 0.8, "#000000"),
    ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
)


_NARROWEST = 24  # points of a column on average: in less no word can be read

_REPEATED = 3  # leading columns that say which row it is


def grids(table: pd.DataFrame, type_: Type, width: float, style: str = "cell") -> list[Any]:
    """A table as one flowable, or as several below each other where it has more columns than a page can show.

    Parameters
    ----------
    table : DataFrame
        Columns named with their unit at the end.
    type_ : Type
        Fonts.
    width : float
        Of the page between its margins, points.
    style : str
        Of its cells.

    Returns
    -------
    list of reportlab.platypus.Table
        The leading columns, which name the row, are repeated in each.
    """
    room = int(width // _NARROWEST)
    if table.shape[1] <= room:
        return [grid(table, type_, width, style)]
    step = room - _REPEATED
    starts = range(_REPEATED, table.shape[1], step)
    parts = [table.iloc[:, [*range(_REPEATED), *range(at, min(at + step, table.shape[1]))]] for at in starts]
    return [grid(part, type_, width, style) for part in parts]


def grid(table: pd.DataFrame, type_: Type, width: float, style: str = "cell") -> Any:
    """A table as a flowable that may run over several pages.

    Parameters
    ----------
    table : DataFrame
        Columns named with their unit at the end.
    type_ : Type
        Fonts.
    width : float
        Of the page between its margins, points.
    style : str
        Of its cells: ``cell``, or ``large`` to be read from a step away.

    Returns
    -------
    reportlab.platypus.Table
    """
    names = [str(name) for name in table.columns]
    texts = [[shown(row[name], name) for name in names] for row in records(table)]
    numeric = [unit_of(name) is not None or all(is_number(v) for v in table[name]) for name in names]
    align = ["right" if is_numeric and len(table) else "left" for is_numeric in numeric]
    head = [
        type_.paragraph(heading(name), style, bold=True, align=side) for name, side in zip(names, align, strict=True)
    ]
    body = [[type_.paragraph(text, style, align=side) for text, side in zip(row, align, strict=True)] for row in texts]
    widths = column_widths([heading(name) for name in names], texts, type_, width, style)
    tall = any(_lines(row, widths, type_, style) > _TALL for row in texts)
    return paged([TableRow(cells) for cells in body], widths, (*LINES, *HEAD), head, is_tall=tall)


@dataclass(frozen=True, slots=True)
class TableRow:
    """A row of a table on paper.

    Parameters
    ----------
    cells : list
        Paragraphs, or lists of them.
    style : callable, optional
        From its place in the table to commands of its own.
    """

    cells: list[Any]
    style: Callable[[int], Sequence[tuple[Any, ...]]] = lambda _: ()


_WINDOW = 72  # rows of the smallest type at least: more than any page holds


def paged(
    rows: Sequence[TableRow],
    widths: Sequence[float],
    style: Sequence[tuple[Any, ...]],
    head: list[Any] | None = None,
    is_tall: bool = False,
) -> Any:
    """A table that may run over any number of pages, in time that grows with its rows.

    reportlab lays all rows that are left again at each page; this shows it no more of them than a page can hold.

    Parameters
    ----------
    rows : sequence of TableRow
        Below the head.
    widths : sequence of float
        Of the columns, points.
    style : sequence of tuple
        Commands for the whole table.
    head : list, optional
        Cells repeated on every page.
    is_tall : bool
        Whether a row may be parted over two pages.

    Returns
    -------
    reportlab.platypus.Flowable
    """
    top = [] if head is None else [head]
    shown_rows = [*top, *(row.cells for row in rows[:_WINDOW])]
    commands = [command for at, row in enumerate(rows[:_WINDOW], len(top)) for command in row.style(at)]
    layout = {"repeatRows": len(top), "hAlign": "LEFT", "splitInRow": int(is_tall), "style": [*style, *commands]}
    first = _counted()(shown_rows, colWidths=widths, **layout)
    if len(rows) <= _WINDOW:
        return first

    def after(left: list[list[Any]]) -> Any:
        """What comes after a page: rows of the first window that are left on it, then all others."""
        at = _WINDOW - len(left)
        kept = [TableRow(cells, row.style) for cells, row in zip(left, rows[at:_WINDOW], strict=True)]
        return paged([*kept, *rows[_WINDOW:]], widths, style, head, is_tall)

    return _windowed()(first, len(top), after)


@cache
def _counted() -> Any:
    """A table that remembers its rows, also once it is parted."""

    class Counted(needed("reportlab.platypus", "writes PDF").Table):  # type: ignore[misc]
        def __init__(self, data: list[list[Any]], *args: Any, **options: Any):
            self.rows = data
            super().__init__(data, *args, **options)

    return Counted


@cache
def _windowed() -> Any:
    """The first rows of a long table, which fill a page and more, and how to go on after it."""

    class Windowed(needed("reportlab.platypus", "writes PDF").Flowable):  # type: ignore[misc]
        def __init__(self, first: Any, heads: int, after: Callable[[list[list[Any]]], Any]):
            super().__init__()
            self._first, self._heads, self._after = first, heads, after

        def wrap(self, width: float, height: float) -> tuple[float, float]:
            return (self._first.wrap(width, height)[0], math.inf)

        def split(self, width: float, height: float) -> list[Any]:
            parts = self._first.split(width, height)
            return [parts[0], self._after(parts[1].rows[self._heads :])] if len(parts) > 1 else []

    return Windowed


_TALL = 20  # lines of a row, about: only such a row may be parted over two pages, where it might fit on none


def _lines(row: Sequence[str], widths: Sequence[float], type_: Type, style: str) -> float:
    """Lines of the tallest cell, about."""
    return max((_parts(text, type_, style, width) for text, width in zip(row, widths, strict=True)), default=1.0)


def _parts(text: str, type_: Type, style: str, width: float) -> float:
    return text.count("\n") + type_.width(text, style) / max(1.0, width - _PADDING)


def column_widths(
    heads: Sequence[str], rows: Sequence[Sequence[str]], type_: Type, width: float, style: str = "cell"
) -> list[float]:
    """Widths of the columns of a table: short ones as they like, long ones what is left; words break last.

    Of ten cells of a column the longest one does not claim room that another column needs for most of its own.

    Parameters
    ----------
    heads : sequence of str
        Headings.
    rows : sequence of sequence of str
        Cells.
    type_ : Type
        Fonts.
    width : float
        Room altogether, points.
    style : str
        Of the cells.

    Returns
    -------
    list of float
        Points, together no more than `width`.
    """
    cells = [[head, *(row[at] for row in rows)] for at, head in enumerate(heads)]
    lines = [[_line(text, type_, style, n == 0) + _PADDING for n, text in enumerate(texts)] for texts in cells]
    liked, usual = [max(column) for column in lines], [_of_ten(column) for column in lines]
    least = [max(_word(text, type_, style, n == 0) for n, text in enumerate(texts)) + _PADDING for texts in cells]
    if sum(least) >= width:  # then words break, the longest first
        return _shared(least, [0.0] * len(least), width)
    usual = [max(pair) for pair in zip(usual, least, strict=True)]
    return _shared(liked, usual, width) if sum(usual) <= width else _shared(usual, least, width)


def _of_ten(widths: Sequence[float]) -> float:
    """Width within which nine of ten are."""
    return sorted(widths)[math.ceil(0.9 * len(widths)) - 1]


def _shared(liked: list[float], least: list[float], width: float) -> list[float]:
    """What each likes, up to a level at which all are full: short columns stay on one line, long ones wrap."""
    low, high = 0.0, width
    for _ in range(40):
        level = (low + high) / 2
        used = sum(min(like, max(floor, level)) for like, floor in zip(liked, least, strict=True))
        low, high = (level, high) if used <= width else (low, level)
    return [min(like, max(floor, low)) for like, floor in zip(liked, least, strict=True)]


def _line(text: str, type_: Type, style: str, bold: bool) -> float:
    return max((type_.width(line, style, bold) for line in text.splitlines()), default=0.0)


def _word(text: str, type_: Type, style: str, bold: bool) -> float:
    return max((type_.width(word, style, bold) for word in text.split()), default=0.0)


def is_blank(cells: pd.Series) -> bool:
    """Whether a column says nothing: the user has given no table for it."""
    return all(cell is None or cell == "" or cell != cell for cell in cells)
