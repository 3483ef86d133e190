"""Cells and columns of the editable table, small pieces of HTML, and small pictures in it."""

import csv
import io
import re
from collections.abc import Container, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from html import escape
from itertools import combinations
from pathlib import Path
from typing import Any

import pandas as pd
from pydantic.fields import FieldInfo

from pdm_alloc.files.cells import (
    Cell,
    CellError,
    Name,
    Number,
    Text,
    Word,
    Words,
    YesNo,
    clean,
    has_controls,
    read_number,
)
from pdm_alloc.files.faults import nearest
from pdm_alloc.files.rows import Row, cell_of, columns_of

__all__ = [
    "BadCell",
    "Column",
    "Html",
    "amount",
    "bar",
    "columns_for",
    "framed",
    "free_name",
    "heading",
    "knowing",
    "plain_number",
    "plural",
    "read_cell",
    "read_clipboard",
    "rows_of",
    "said",
    "script_or_style",
    "section",
    "state_columns",
    "table",
    "tag",
]

_WORDS_LISTED = 5


@dataclass(frozen=True, slots=True)
class Column:
    """One column of an editable table.

    Parameters
    ----------
    key, title : str
        Name in its table; words over the column.
    cell : Cell
        Kind of cell: reads a text or says what is wrong with it.
    choices : tuple of str
        What a drop-down offers; for free text, what is suggested.
    required, unique : bool
        Whether a row counts only once this cell is filled; whether no two rows may hold the same.
    default : str
        Text of the cell in a new row, and of an emptied cell.
    hint : str
        Shown in grey while the cell is empty: what an empty cell means.
    meaning : str
        One sentence for whoever points at the heading.
    more : bool
        True: shown only on request.
    width : float
        Width of the cell, em.
    refers : str
        Table whose names are meant; empty where none is.
    asks : bool
        Whether a name that is none of `choices` is asked about and may be new; otherwise it is refused, where the
        column refers to a table.
    """

    key: str
    title: str
    cell: Cell
    choices: tuple[str, ...] = ()
    required: bool = False
    unique: bool = False
    default: str = ""
    hint: str = ""
    meaning: str = ""
    more: bool = False
    width: float = 6.0
    refers: str = ""
    asks: bool = False

    @property
    def unit(self) -> str:
        """Unit of a number; empty where there is none."""
        return self.cell.unit if isinstance(self.cell, Number) else ""

    @property
    def noun(self) -> str:
        """What a name in this column is the name of."""
        return self.refers.removesuffix("s") or self.title

    @property
    def kind(self) -> str:
        """What the cell is edited with: ``number``, ``choice``, ``check`` or ``text``."""
        if isinstance(self.cell, Number):
            return "number"
        if isinstance(self.cell, YesNo):
            return "check"
        return "choice" if self.options else "text"

    @property
    def options(self) -> tuple[str, ...]:
        """What the drop-down of this column offers, in order; empty where there is none."""
        if isinstance(self.cell, Words):
            if len(self.choices) > _WORDS_LISTED:  # twice as many sets with every word: these are typed
                return ()
            return tuple(" ".join(some) for n in range(len(self.choices) + 1) for some in combinations(self.choices, n))
        if self.refers and not self.asks:
            return ("", *self.choices)
        return self.choices if isinstance(self.cell, Word) else ()

    def as_state(self) -> dict:
        """The column as plain values for the browser."""
        names = ("key", "title", "kind", "unit", "hint", "meaning", "more", "width", "required")
        lists = {"options": list(self.options), "choices": list(self.choices)}
        return {**{name: getattr(self, name) for name in names}, **lists}


class BadCell(ValueError):
    """A text that its column does not accept; the message says why and what would be right.

    Parameters
    ----------
    message : str
        In words.
    near : str, optional
        The known name most like the text; empty where none is like it.
    may_be_new : bool
        Whether the text is taken once somebody says so.
    """

    def __init__(self, message: str, near: str = "", may_be_new: bool = False):
        super().__init__(message)
        self.near, self.may_be_new = near, may_be_new


def read_cell(column: Column, text: str) -> str:
    """The text a cell holds once what was typed is accepted.

    Parameters
    ----------
    column : Column
        The column the cell is in.
    text : str
        What was typed, chosen or pasted.

    Returns
    -------
    str
        The same in plain spelling (no unit, a decimal point, words in lower case and order); for an empty cell
        the column's default.

    Raises
    ------
    BadCell
        The column does not accept the text.
    """
    if not clean(text):
        return _emptied(column)
    try:
        return _plain(column, text)
    except CellError as bad:
        remedy = f"; {bad.remedy}" if bad.remedy else ""
        raise BadCell(f"'{_short(text)}' {bad.message}{remedy}") from None


def _emptied(column: Column) -> str:
    if column.required:
        raise BadCell(f"{column.title} must be given")
    return column.default


def _plain(column: Column, text: str) -> str:
    if has_controls(text):
        raise CellError("has a control character in it", "retype the cell")
    value = column.cell.read(text)
    if isinstance(column.cell, Number):
        return plain_number(read_number(text, column.unit))
    if isinstance(column.cell, Words):
        return " ".join(word for word in column.choices if word in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return " ".join(value)
    return _known_or_new(column, str(value)) if column.refers or column.asks else str(value)


def _known_or_new(column: Column, name: str) -> str:
    """The name as it is known; BadCell for one that is not, for it may be a slip."""
    for known in column.choices:
        if known.casefold() == name.casefold():
            return known
    near = nearest(name, column.choices) or ""
    question = f"; did you mean '{near}'?" if near else ""
    what = f"is a new {column.noun}" if column.asks else f"is not in table {column.refers}"
    raise BadCell(f"'{_short(name)}' {what}{question}", near, may_be_new=column.asks)


def plain_number(value) -> str:
    """A number as a cell shows it: at most nine decimals, none that say nothing.

    Parameters
    ----------
    value : int, float or Fraction
        The number.

    Returns
    -------
    str
        With a decimal point and no exponent.
    """
    text = f"{float(value):.9f}"
    return text.rstrip("0").rstrip(".")


def _short(text: str, most: int = 40) -> str:
    line = clean(text)
    return line if len(line) <= most else line[: most - 3] + "..."


_WIDTHS = {
    "load": 11.0,
    "command": 9.0,
    "count": 4.5,
    "kind": 8.0,
    "needs": 8.5,
    "importance": 7.0,
    "place": 8.0,
    "note": 16.0,
    "condition": 24.0,
    "input": 10.0,
    "signal": 11.0,
    "message": 9.0,
    "box": 9.0,
    "keypad": 9.0,
    "functions": 16.0,
    "from": 9.0,
    "to": 9.0,
    "module": 9.0,
    "channel": 5.0,
    "compartment": 8.0,
    "contains": 8.0,
    "read_by": 8.0,
    "action": 7.0,
    "state": 9.0,
}

_RARE = {
    "loads": frozenset({"max_drop_pct", "tolerance_pct", "length_m", "min_v", "volt_exponent", "note"}),
    "channels": frozenset({"share_pct", "contact_a", "on_mohm", "contact_c", "turn_off_mj"}),
}

_HINTS = {"inrush_a": "by kind", "inrush_ms": "by kind", "volt_exponent": "by kind", "max_drop_pct": "usual"}

_UNIT_ENDS = ("_a", "_ms", "_pct", "_mm2", "_ma", "_mohm", "_mj", "_m", "_v", "_s", "_c", "_g")

# What the names in a column are the names of; "?": one that is new may become a row there.
_REFERS = {
    ("loads", "command"): "commands?",
    ("loads", "place"): "places?",
    ("inputs", "place"): "places?",
    ("routes", "from"): "places?",
    ("routes", "to"): "places?",
    ("states", "command"): "commands?",
    ("locked", "load"): "loads",
    ("locked", "module"): "modules",
    ("channels", "module"): "modules",
    ("banks", "module"): "modules",
    ("supply", "state"): "states",
}


def columns_for(model: type[Row], free: Iterable[str] = ()) -> tuple[Column, ...]:
    """Every column of a table, in its order.

    Parameters
    ----------
    model : type of Row
        Row model of the table.
    free : iterable of str
        Columns the rows have; those of the user's own travel through untouched.

    Returns
    -------
    tuple of Column
        For a `TableGrid`; the names it refers to are not known yet (`knowing`).
    """
    fields = columns_of(model)
    columns = tuple(_column(model, name, info) for name, info in fields.items())
    return (*columns, *(Column(name, name, Text(), more=True, width=8.0) for name in free if name not in fields))


def _column(model: type[Row], name: str, info: FieldInfo) -> Column:
    cell, refers = cell_of(info), _REFERS.get((model.table, name), "")
    default = _default_text(info)
    return Column(
        name,
        _title(name),
        cell,
        _choices(cell, default),
        required=info.is_required(),
        unique=(name,) == model.key,
        default=default,
        hint=_HINTS.get(name, ""),
        meaning=_meaning(info),
        more=name in _RARE.get(model.table, ()),
        width=_WIDTHS.get(name, 6.0),
        refers=refers.removesuffix("?"),
        asks=refers.endswith("?"),
    )


def state_columns(states: Iterable[str]) -> tuple[Column, ...]:
    """Columns of the table of states: the command, then its duty in each state.

    Parameters
    ----------
    states : iterable of str
        Names of the states, in order.

    Returns
    -------
    tuple of Column
    """
    command = Column("command", "command", Name(), required=True, unique=True, width=9.0, refers="commands", asks=True)
    meaning = "duty in this state, 0 to 1; empty: off"
    return (command, *(Column(s, s, Number("", 0, 1), meaning=meaning, width=max(5.0, 0.7 * len(s))) for s in states))


def knowing(columns: Iterable[Column], names: Mapping[str, tuple[str, ...]]) -> tuple[Column, ...]:
    """Columns that know names.

    Parameters
    ----------
    columns : iterable of Column
        Columns of a table.
    names : mapping of str to tuple of str
        Names by table; by column with a point before it, where labels are suggested that refer to no table.

    Returns
    -------
    tuple of Column
        A column that refers to no table given here stays as it is.
    """
    return tuple(_knowing(column, names) for column in columns)


def _knowing(column: Column, names: Mapping[str, tuple[str, ...]]) -> Column:
    known = names.get(column.refers or f".{column.key}")
    return column if known is None or known == column.choices else replace(column, choices=known)


def _title(name: str) -> str:
    return next((name.removesuffix(end) for end in _UNIT_ENDS if name.endswith(end)), name).replace("_", " ")


def _choices(cell: Cell, default: str) -> tuple[str, ...]:
    if isinstance(cell, (Word, Words)):
        return ("", *cell.words) if isinstance(cell, Word) and not default else cell.words
    return ()


def _meaning(info: FieldInfo) -> str:
    extra: Any = info.json_schema_extra
    otherwise = extra.get("otherwise") if isinstance(extra, dict) else None
    return f"{info.description}; empty: {otherwise}" if otherwise else info.description or ""


def _default_text(info: FieldInfo) -> str:
    default = None if info.is_required() else info.default
    if isinstance(default, bool):
        return "yes" if default else "no"
    return "" if not default or isinstance(default, (frozenset, tuple)) else str(default)


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
