"""Cells and columns of the editable table: what they are called and what they may hold."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations
from typing import Any

from pydantic.fields import FieldInfo

from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.files.cells import Cell, Number, Word, Words, YesNo
from pdm_alloc.files.faults import hint, nearest
from pdm_alloc.files.numbers import CellError, clean, has_controls, read_number
from pdm_alloc.files.rows import cell_of, columns_of
from pdm_alloc.files.tables.vehicle_rows import LoadRow

__all__ = ["BadCell", "Column", "Known", "load_columns", "plain_number", "read_cell"]


@dataclass(frozen=True)
class Known(Cell):
    """One name of a few, spelled as it is there.

    Parameters
    ----------
    names : tuple of str
        The names.
    """

    names: tuple[str, ...] = ()

    def accepts(self) -> str:
        """The names."""
        return f"one of {', '.join(self.names)}"

    def read(self, text: str) -> str:
        """The name; CellError where it is none of them."""
        said = clean(text)
        for name in self.names:
            if name.casefold() == said.casefold():
                return name
        raise CellError("is not known here", hint(said, self.names))


@dataclass(frozen=True, slots=True)
class Column:
    """One column of an editable table.

    Parameters
    ----------
    key, title : str
        Name in the table ``loads``; words over the column.
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
    asks : bool
        Whether a text that is none of `choices` is asked about before it is taken.
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
    asks: bool = False

    @property
    def unit(self) -> str:
        """Unit of a number; empty where there is none."""
        return self.cell.unit if isinstance(self.cell, Number) else ""

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
            return tuple(" ".join(some) for n in range(len(self.choices) + 1) for some in combinations(self.choices, n))
        return self.choices if isinstance(self.cell, (Word, Known)) else ()

    def as_state(self) -> dict:
        """The column as plain values for the browser."""
        names = ("key", "title", "kind", "unit", "hint", "meaning", "more", "width")
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
        near = nearest(clean(text), column.cell.names) if isinstance(column.cell, Known) else None
        raise BadCell(f"'{_short(text)}' {bad.message}{remedy}", near or "") from None


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
    return _known_or_new(column, str(value)) if column.asks else str(value)


def _known_or_new(column: Column, name: str) -> str:
    """The name as it is known; BadCell for one that is new, for it may be a slip."""
    for known in column.choices:
        if known.casefold() == name.casefold():
            return known
    near = nearest(name, column.choices) or ""
    question = f"; did you mean '{near}'?" if near else ""
    raise BadCell(f"'{_short(name)}' is a new {column.title}{question}", near, may_be_new=True)


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
}

_RARE = frozenset({"max_drop_pct", "tolerance_pct", "length_m", "min_v", "volt_exponent", "note"})

_HINTS = {"inrush_a": "by kind", "inrush_ms": "by kind", "volt_exponent": "by kind", "max_drop_pct": "usual"}

_UNIT_ENDS = ("_a", "_ms", "_pct", "_m", "_v")


def load_columns(vehicle: Vehicle) -> tuple[Column, ...]:
    """Every column of the table ``loads``, in its order.

    Parameters
    ----------
    vehicle : Vehicle
        Its commands and labels are suggested, its places offered.

    Returns
    -------
    tuple of Column
        For a `LoadGrid`.
    """
    return tuple(_column(name, info, vehicle) for name, info in columns_of(LoadRow).items())


def _column(name: str, info: FieldInfo, vehicle: Vehicle) -> Column:
    cell = _cell(name, info, vehicle)
    default = _default_text(info)
    return Column(
        name,
        _title(name),
        cell,
        _choices(name, cell, vehicle, info.is_required()),
        required=info.is_required(),
        unique=name in LoadRow.key,
        default=default,
        hint=_HINTS.get(name, ""),
        meaning=_meaning(info),
        more=name in _RARE,
        width=_WIDTHS.get(name, 6.0),
        asks=name == "command",
    )


def _title(name: str) -> str:
    return next((name.removesuffix(end) for end in _UNIT_ENDS if name.endswith(end)), name).replace("_", " ")


def _cell(name: str, info: FieldInfo, vehicle: Vehicle) -> Cell:
    if name == "place" and vehicle.places:
        return Known(tuple(place.name for place in vehicle.places))
    return cell_of(info)


def _choices(name: str, cell: Cell, vehicle: Vehicle, required: bool) -> tuple[str, ...]:
    if isinstance(cell, (Word, Words)):
        return ("", *cell.words) if required and isinstance(cell, Word) else cell.words
    if isinstance(cell, Known):
        return ("", *cell.names)
    return _suggested(name, vehicle)


def _suggested(name: str, vehicle: Vehicle) -> tuple[str, ...]:
    if name == "command":
        return tuple(command.name for command in vehicle.commands)
    return _distinct(load.separate for load in vehicle.loads) if name == "separate" else ()


def _distinct(labels: Iterable[str | None]) -> tuple[str, ...]:
    return tuple(sorted({label for label in labels if label}))


def _meaning(info: FieldInfo) -> str:
    extra: Any = info.json_schema_extra
    otherwise = extra.get("otherwise") if isinstance(extra, dict) else None
    return f"{info.description}; empty: {otherwise}" if otherwise else info.description or ""


def _default_text(info: FieldInfo) -> str:
    default = None if info.is_required() else info.default
    if isinstance(default, bool):
        return "yes" if default else "no"
    return "" if not default or isinstance(default, frozenset) else str(default)
