"""Tables and type on the page: columns as wide as they need to be, no cell cut."""

import importlib.util
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import pandas as pd

from pdm_alloc.domain.showing import shown_in
from pdm_alloc.export.drawings import glyphs
from pdm_alloc.export.lists import Row, heading, records, shown, unit_of
from pdm_alloc.export.sheets import Sheet, needed
from pdm_alloc.export.workbook import is_number

__all__ = ["BOX", "HEAD", "LINES", "Type", "column_widths", "grid", "grids", "is_blank", "on_paper", "set_type"]

BOX = "\N{BALLOT BOX}"

_SIZES = {"title": 18, "heading": 12, "body": 9, "caution": 9.5, "large": 8.5, "cell": 7, "small": 6}

_KEPT = "\n\N{NO-BREAK SPACE}"

_SETTINGS_A_ROW = 10
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
    make = needed("reportlab.platypus", "writes PDF").Table
    return make([head, *body], colWidths=widths, repeatRows=1, hAlign="LEFT", splitInRow=1, style=[*LINES, *HEAD])


def column_widths(
    heads: Sequence[str], rows: Sequence[Sequence[str]], type_: Type, width: float, style: str = "cell"
) -> list[float]:
    """Widths of the columns of a table: short ones as they like, long ones what is left; words break last.

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
    liked = [max(_line(text, type_, style, n == 0) for n, text in enumerate(texts)) + _PADDING for texts in cells]
    least = [max(_word(text, type_, style, n == 0) for n, text in enumerate(texts)) + _PADDING for texts in cells]
    if sum(least) >= width:  # then words break, the longest first
        return _shared(least, [0.0] * len(least), width)
    return _shared(liked, least, width)


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


# Said elsewhere on paper, or only of use to a program.
_LEFT_OUT = {
    "Cut list": ("role", "module", "channel", "mass_g", "loads"),
    "Battery cables": (
        "seconds",
        "area_mm2",
        "limit_pct",
        "opens_s",
        "end_fault_a",
        "parallel",
        "ampacity_a",
        "mass_g",
    ),
    "Shopping list": ("note",),
    "Ground plan": ("note", "use", "max_wires"),
    "Channel settings": ("command",),
}


def on_paper(sheet: Sheet) -> pd.DataFrame:
    """The table of a sheet as it is printed.

    Parameters
    ----------
    sheet : Sheet
        With at least one row.

    Returns
    -------
    DataFrame
        With boxes to tick, operating states side by side, and without columns that would crowd the page.
    """
    whole = _narrow(sheet.table) if sheet.name == "Cut list" else sheet.table
    table = whole.drop(columns=list(_LEFT_OUT.get(sheet.name, ())), errors="ignore")
    if "done" in table:
        return _to_tick(table)
    if sheet.name == "Assumptions":
        return _settings_together(table)
    if sheet.name == "Limits by state":
        return _states_side_by_side(table)
    return table.loc[:, [not is_blank(table[name]) for name in table]] if sheet.name in _LEFT_OUT else table


def _narrow(table: pd.DataFrame) -> pd.DataFrame:
    """Ends with their place and note, size and colour in one; battery cables have a sheet of their own."""
    rows = records(table)
    made = {
        "from": [_at(row["from"], row["from_place"] if row["role"] == "feed" else "") for row in rows],
        "to": [_at(row["to"], row["to_place"]) + _noted(row) for row in rows],
        "size": [f"{row['size'].removesuffix(' mm2')} {row['colour']}".strip() for row in rows],
    }
    narrow = table.assign(**made).drop(columns=["note", "colour", "from_place", "to_place"])
    return narrow.set_axis(["wire" if name == "size" else name for name in narrow], axis="columns")


def _noted(row: Row) -> str:
    return f" ({row['note']})" if row["note"] and row["role"] != "feed" else ""


def _at(name: str, place: str) -> str:
    """An end of a wire and its place, where the name does not say it already; pins are all at their module."""
    return f"{name}, {place}" if place and place not in name else name


def _settings_together(table: pd.DataFrame) -> pd.DataFrame:
    """Settings in a few rows: name and value of each."""
    is_setting = table["source"] == "settings"
    texts = [f"{row['subject']} {row['assumed']}" for row in records(table[is_setting])]
    parts = ["; ".join(texts[n : n + _SETTINGS_A_ROW]) for n in range(0, len(texts), _SETTINGS_A_ROW)]
    rows = [("settings", text, "whole vehicle", "settings") for text in parts]
    return pd.concat([table[~is_setting], pd.DataFrame(rows, columns=table.columns)], ignore_index=True)


def is_blank(cells: pd.Series) -> bool:
    """Whether a column says nothing: the user has given no table for it."""
    return all(cell is None or cell == "" or cell != cell for cell in cells)


def _to_tick(table: pd.DataFrame) -> pd.DataFrame:
    spaces = {"found": "." * 20} if "found" in table else {}
    return table.assign(done=BOX, **spaces)


def _states_side_by_side(table: pd.DataFrame) -> pd.DataFrame:
    said = [f"{row['current_a']:.1f} A, {row['headroom_pct']:.0f} % left" for row in records(table)]
    what = ["module", "subject", "limit_a"]
    return table.assign(said=said).pivot_table("said", what, "state", aggfunc="first", sort=False).reset_index()
