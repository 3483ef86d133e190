"""Tables on the page: columns as wide as they need to be, headings on every page, no cell cut."""

from collections.abc import Sequence
from typing import Any

import pandas as pd

from pdm_alloc.export.extra import needed
from pdm_alloc.export.heading import heading, shown, unit_of
from pdm_alloc.export.pdf.type import Type
from pdm_alloc.export.records import records
from pdm_alloc.export.workbook_style import is_number

__all__ = ["HEAD", "LINES", "column_widths", "grid"]

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
    liked = [max(_line(text, type_, style, n == 0) for n, text in enumerate(own)) + _PADDING for own in cells]
    least = [max(_word(text, type_, style, n == 0) for n, text in enumerate(own)) + _PADDING for own in cells]
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
