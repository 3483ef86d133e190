"""Cells and columns of the editable table: what they are called and what they may hold."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

from pydantic.fields import FieldInfo

from pdm_alloc.files.cells import Cell, Name, Number, Text, Word, Words, YesNo
from pdm_alloc.files.faults import nearest
from pdm_alloc.files.numbers import CellError, clean, has_controls, read_number
from pdm_alloc.files.rows import Row, cell_of, columns_of

__all__ = ["BadCell", "Column", "columns_for", "knowing", "plain_number", "read_cell", "state_columns"]


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
