"""Small pieces of HTML, small pictures in it, and the texts of the load grid."""

import csv
import io
import re
from collections.abc import Container, Iterable, Iterator
from html import escape
from pathlib import Path
from typing import Any

import pandas as pd

from pdm_alloc.panel.grid.grid_cells import Column

__all__ = [
    "Html",
    "amount",
    "bar",
    "framed",
    "free_name",
    "heading",
    "plural",
    "read_clipboard",
    "rows_of",
    "said",
    "script_or_style",
    "section",
    "table",
    "tag",
]

_HERE = Path(__file__).parent


def script_or_style(*names: str) -> str:
    """Text of scripts or styles that lie in this folder, one behind the other."""
    return "\n".join((_HERE / name).read_text("utf-8") for name in names)


def tag(name: str, content: object, css: str = "", **attributes: object) -> "Html":
    """An element around escaped text, or around pieces that are HTML already.

    Parameters
    ----------
    name : str
        Name of the element.
    content : str or Html
        Text is escaped; what this module made is not.
    css : str
        Classes.
    attributes : object
        Further attributes, ``data_x`` for ``data-x``.

    Returns
    -------
    Html
    """
    more = {"class": css, **{key.replace("_", "-"): value for key, value in attributes.items()}}
    written = "".join(f' {key}="{escape(str(value))}"' for key, value in more.items() if value != "")
    return Html(f"<{name}{written}>{_safe(content)}</{name}>")


class Html(str):
    """Text that is HTML already."""

    __slots__ = ()


def _safe(content: object) -> str:
    if isinstance(content, (list, tuple)):
        return "".join(_safe(piece) for piece in content)
    return content if isinstance(content, Html) else escape(str(content))


def table(headings: Iterable[str], rows: Iterable[Iterable[object]], css: str = "", caption: str = "") -> Html:
    """A table with a heading line.

    Parameters
    ----------
    headings : iterable of str
        One a column; a heading that ends with a space marks numbers, set to the right.
    rows : iterable of iterable
        Cells, text or HTML.
    css : str
        Classes of the table.
    caption : str
        For screen readers.

    Returns
    -------
    Html
    """
    names = list(headings)
    sides = ["pdm-right" if name.endswith(" ") else "" for name in names]
    head = tag("tr", [tag("th", name.strip(), side, scope="col") for name, side in zip(names, sides, strict=True)])
    body = [tag("tr", [tag("td", cell, side) for cell, side in zip(row, sides, strict=True)]) for row in rows]
    parts = [tag("caption", caption)] if caption else []
    return tag("table", [*parts, tag("thead", head), tag("tbody", body)], f"pdm-table {css}".strip())


_MOST_ROWS = 15


def framed(caption: str, frame: pd.DataFrame) -> Html:
    """The first rows of a DataFrame under a heading, and how many more there are."""
    heads = [f"{name} " if pd.api.types.is_numeric_dtype(frame[name]) else str(name) for name in frame.columns]
    rows = [[_cell(value) for value in row] for row in frame.head(_MOST_ROWS).itertuples(index=False)]
    left = len(frame) - len(rows)
    more = [tag("p", f"and {left} more", "pdm-legend")] if left else []
    return tag("section", [tag("h4", caption), table(heads, rows, "", caption), *more], "pdm-section")


def _cell(value: Any) -> str:
    if isinstance(value, float):
        return "" if pd.isna(value) else amount(value)
    return "" if value is None or value is pd.NA else str(value)


def section(title: str, content: object, css: str = "") -> Html:
    """A heading and what belongs under it."""
    return tag("section", [tag("h3", title), content], f"pdm-section {css}".strip())


def said(words: str, is_fault: bool = False) -> Html:
    """What came of something that was asked for, read out by screen readers."""
    css = "pdm-said pdm-refusal" if is_fault else "pdm-said"
    return tag("div", f"\u26a0 {words}" if is_fault else words, css, role="status", aria_live="polite")


def amount(value: float, unit: str = "") -> str:
    """A number as a person writes it: three digits that matter.

    Parameters
    ----------
    value : float
        The number.
    unit : str
        Written after it.

    Returns
    -------
    str
    """
    text = f"{value:.0f}" if abs(value) >= 99.95 else f"{value:.1f}" if abs(value) >= 9.995 else f"{value:.2f}"
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} {unit}".rstrip()


def plural(number: int, word: str) -> str:
    """``1 channel``, ``2 channels``."""
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


_HEIGHT = 16
_FULL = 110  # where 100 % is, unless told otherwise
_MOST = 150  # per cent of that: room to show how far a limit is passed


def bar(
    use_pct: float, tick_pct: float | None = None, thin_pct: float | None = None, label: str = "", full: int = _FULL
) -> Html:
    """A bar of what is used of a limit.

    Parameters
    ----------
    use_pct : float
        Share of the limit in use, per cent; beyond 100 the bar is hatched.
    tick_pct : float, optional
        Where a tick stands, per cent.
    thin_pct : float, optional
        A second, thin bar below, per cent.
    label : str
        The same in words, for screen readers and the pointer.
    full : int
        Width of 100 %, pixels.

    Returns
    -------
    Html
        An SVG element.
    """
    tall = 9 if thin_pct is not None else 12
    shares = [(use_pct, 2, tall, "use"), *([(thin_pct, 12, 3, "inrush")] if thin_pct is not None else [])]
    parts = [f'<rect class="pdm-free" x="0" y="2" width="{full}" height="{tall}"/>']
    parts += [piece for pct, y, height, css in shares for piece in _filled(pct, y, height, css, full)]
    parts += [_line(tick_pct, "pdm-tick", full)] if tick_pct is not None else []
    parts.append(_line(100, "pdm-limit", full))
    width = round(_at(max(100, min(_MOST, max(pct for pct, *_ in shares))), full)) + 2
    head = f'<svg class="pdm-bar" role="img" width="{width}" height="{_HEIGHT}" viewBox="0 0 {width} {_HEIGHT}">'
    return Html(f"{head}<title>{escape(label)}</title>{''.join(parts)}</svg>")


def _filled(pct: float, y: int, height: int, css: str, full: int) -> list[str]:
    parts = [f'<rect class="pdm-{css}" x="0" y="{y}" width="{_at(min(pct, 100), full):.1f}" height="{height}"/>']
    if pct > 100:
        beyond = _at(min(pct, _MOST), full) - full
        parts.append(f'<rect class="pdm-over" x="{full}" y="{y}" width="{beyond:.1f}" height="{height}"/>')
    return parts


def _line(pct: float, css: str, full: int) -> str:
    x = _at(pct, full)
    return f'<line class="{css}" x1="{x:.1f}" x2="{x:.1f}" y1="0" y2="{_HEIGHT}"/>'


def _at(pct: float, full: int) -> float:
    return max(0.0, pct) * full / 100


def rows_of(frame: pd.DataFrame) -> Iterator[Any]:
    """Each row as an object with the columns as attributes, of whatever type the table has there."""
    yield from frame.itertuples(index=False)


def read_clipboard(text: str) -> list[list[str]]:
    """Rows of cells from tab-separated text with quoted cells, as spreadsheets copy it.

    Parameters
    ----------
    text : str
        Cells divided by tabs, rows by line ends of any kind; a cell with a tab, a line end or a quote in it
        is quoted, quotes inside doubled.

    Returns
    -------
    list of list of str
        One list a row; a last empty line is no row.
    """
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter="\t", strict=True))
    except csv.Error:
        # A text that merely begins with a quote is no quoted cell: take it as it stands.
        rows = [line.split("\t") for line in text.splitlines()]
    return [row or [""] for row in _without_last_blank(rows)]


def _without_last_blank(rows: list[list[str]]) -> list[list[str]]:
    while rows and not any(rows[-1]):
        rows = rows[:-1]
    return rows


def heading(row: list[str], columns: tuple[Column, ...]) -> list[str | None] | None:
    """Which column each cell of a heading line names.

    Parameters
    ----------
    row : list of str
        First line of what was pasted.
    columns : tuple of Column
        Columns of the table.

    Returns
    -------
    list of str or None, or None
        Column keys, None for a cell that names no column; None if the line is no heading: fewer than two of
        its cells, or fewer than half, name a column.
    """
    known = {name.casefold(): column.key for column in columns for name in (column.key, column.title)}
    keys = [known.get(cell.strip().casefold()) for cell in row]
    found = len(keys) - keys.count(None)
    return keys if found >= 2 and found * 2 >= len(keys) else None


def free_name(name: str, taken: Container) -> str:
    """The first of "name 2", "name 3", ... that is not taken; a number at the end of the name counts on.

    Parameters
    ----------
    name : str
        Name of what is copied.
    taken : container
        Names in use.

    Returns
    -------
    str
        A name that is not in use.
    """
    stem, number = _split(name)
    while f"{stem} {number}" in taken:
        number += 1
    return f"{stem} {number}"


def _split(name: str) -> tuple[str, int]:
    match = re.fullmatch(r"(.*\D) (\d{1,6})", name, re.ASCII)
    return (match[1], int(match[2]) + 1) if match else (name, 2)
