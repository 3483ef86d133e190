"""Rows of a table as models: every cell checked, every fault noted."""

import re
from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache, lru_cache, partial
from typing import Any, ClassVar, TypeVar, cast

from pydantic import BaseModel, ConfigDict, Field
from pydantic.fields import FieldInfo

from pdm_alloc.files.cells import Cell, CellError, Collected, Exact, Number, Odd, Word, clean
from pdm_alloc.files.faults import Faults
from pdm_alloc.files.grids import Grid, match_header

__all__ = [
    "Line",
    "Memory",
    "NumberCell",
    "Row",
    "cell_of",
    "column",
    "columns_of",
    "extra_text",
    "read_lines",
    "refuse_twins",
    "settle",
    "unmistakable",
    "validated",
]


class Row(BaseModel):
    """One row of a table: a field a column, each with its kind of cell, its meaning and an example."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)

    table: ClassVar[str] = ""
    key: ClassVar[tuple[str, ...]] = ()


def column(
    meaning: str, example: str = "", otherwise: str | None = None, default: Any = None, name: str | None = None
) -> Any:
    """A field of a row model.

    Parameters
    ----------
    meaning : str
        For the column guide.
    example : str
        For the example row of the blank table.
    otherwise : str, optional
        What an empty cell means, for the column guide; None: the cell must not be empty.
    default : object
        Value of an empty cell.
    name : str, optional
        Header, where the field's own name is none Python allows.
    """
    more: dict[str, Any] = {"otherwise": otherwise or ""}
    if otherwise is None:
        return Field(description=meaning, examples=[example], json_schema_extra=more, alias=name)
    return Field(default, description=meaning, examples=[example], json_schema_extra=more, alias=name)


@cache
def columns_of(model: type[Row]) -> dict[str, FieldInfo]:
    """Fields of a row model by the header of their column.

    Parameters
    ----------
    model : type of Row
        One table's model.

    Returns
    -------
    dict of str to FieldInfo
        In the order a table has them.
    """
    return {info.alias or name: info for name, info in model.model_fields.items()}


def cell_of(info: FieldInfo) -> Cell:
    """The kind of cell of a field."""
    return next(item for item in info.metadata if isinstance(item, Cell))


_MARKED = re.compile(r"[+-]?\d*([.,])\d+([^\d.,'].*)?", re.ASCII)

_THREE_DIGITS = re.compile(r"([+-]?[1-9]\d{0,2})([.,])(\d{3})(?!e[+-]?\d)([^\d.,'].*)?", re.ASCII | re.IGNORECASE)

_MARK_NAMES = {".": "decimal point", ",": "decimal comma"}


@dataclass
class NumberCell:
    """One cell of a column of numbers: where it stands, what may stand there, its text."""

    row: int | None
    column: str
    kind: Number
    text: str


def unmistakable(text: str) -> str:
    """A number with a decimal point so that nobody takes the point for one of thousands: 2.345 becomes 2.3450."""
    return f"{text}0" if _THREE_DIGITS.fullmatch(text) else text


_Readings = dict[tuple[str, str, str], list[NumberCell]]  # cells by column, reason and text


T = TypeVar("T")


class Memory:
    """What was made of each part of some tables the last time; only what is made of something else is made anew.

    Attributes
    ----------
    checked : dict
        By check that noted nothing: the rows it was done with, and which of their columns it read.
    """

    def __init__(self) -> None:
        self.checked: dict[object, tuple[Any, Any]] = {}
        self._made: dict[object, tuple[tuple[object, ...], Any]] = {}

    def once(self, key: object, make: Callable[[], T], *of: object, faults: Faults | None = None) -> T:
        """What was made the last time, where it was made of the same objects; what `make` makes of them otherwise.

        Parameters
        ----------
        key : hashable
            What it is.
        make : callable
            Makes it of `of` and of nothing else that changes.
        of : object
            Compared by identity.
        faults : Faults, optional
            Where faults are noted meanwhile; what had a fault or a note is made anew, so that it is noted again.

        Returns
        -------
        object
            As made; whoever has it changes nothing in it.
        """
        known = self._made.get(key)
        if known is not None and len(known[0]) == len(of) and all(a is b for a, b in zip(known[0], of, strict=True)):
            return cast(T, known[1])
        before = faults.said if faults else 0
        made = make()
        if (faults.said if faults else 0) == before:
            self._made[key] = of, made
        return made

    def same(self, key: object, value: T) -> T:
        """A value, as the object of the last time where it is equal to that: `once` compares by identity."""
        known = self._made.get(key)
        if known is None or known[1] != value:
            known = self._made[key] = (), value
        return known[1]


def settle(table: str, cells: list[NumberCell], faults: Faults) -> None:
    """Give each cell whose mark can mean two things the text that means one, or the text with that said.

    Parameters
    ----------
    table : str
        Name of the table, for notes.
    cells : list of NumberCell
        Every cell of its columns of numbers; their texts are replaced.
    faults : Faults
        Where it is noted how a cell is read.
    """
    matches = [(cell, _match(cell.text)) for cell in cells]
    doubtful = [(cell, match) for cell, match in matches if match]
    if not doubtful:
        return
    by_column: dict[str, list[str]] = defaultdict(list)
    for cell, match in matches:
        if match is None and not isinstance(cell.text, Exact):
            by_column[cell.column].append(cell.text)
    marks = {column: _decimal_marks(texts) for column, texts in by_column.items()}
    everywhere = frozenset().union(*marks.values())
    readings: _Readings = defaultdict(list)
    for cell, match in doubtful:
        how = _reason(match[2], marks.get(cell.column, frozenset()), everywhere)
        _replace(cell, match, how, bool(everywhere - {match[2]}), readings)
    _tell(table, readings, faults)


def _match(text: str) -> re.Match[str] | None:
    if "." not in text and "," not in text:
        return None
    return None if isinstance(text, (Exact, Odd)) else _THREE_DIGITS.fullmatch(clean(text))


def _decimal_marks(texts: Iterable[str]) -> frozenset[str]:
    matches = (_MARKED.fullmatch(clean(text)) for text in texts)
    return frozenset(match[1] for match in matches if match)


def _reason(mark: str, column: frozenset[str], table: frozenset[str]) -> str:
    """What shows the mark to be the decimal mark; empty where nothing does."""
    if column == {mark}:
        return f"a {_MARK_NAMES[mark]}, as in other cells of the column"
    return f"a {_MARK_NAMES[mark]}, as in other cells of the table" if not column and table == {mark} else ""


def _replace(cell: NumberCell, match: re.Match[str], how: str, is_doubtful: bool, readings: _Readings) -> None:
    """Its range settles a cell as a decimal only in a table that has no other decimal mark."""
    whole, _, decimals, unit = match.groups()
    decimal, thousands = f"{whole}.{decimals}", f"{whole}{decimals}"
    fits = [_reads(cell.kind, text, unit) for text in (decimal, thousands)]
    original = cell.text
    if how or (fits == [True, False] and not is_doubtful):
        text, reason = decimal, f"with {how}" if how else "since the column allows no other reading"
    elif fits == [False, True]:
        text, reason = thousands, "since the column allows no other reading"
    else:
        cell.text = Odd(original, f"may be {thousands} or {decimal}", f"write {thousands} or {unmistakable(decimal)}")
        return
    cell.text = Exact(f"{text}{unit or ''}")
    readings[cell.column, reason, text if text == thousands else ""].append(
        NumberCell(cell.row, cell.column, cell.kind, f"{original}\n{text}")
    )


def _reads(kind: Number, text: str, unit: str | None) -> bool:
    try:
        kind.read(f"{text}{unit or ''}")
    except CellError:
        return False
    return True


def _tell(table: str, readings: _Readings, faults: Faults) -> None:
    for (column, reason, _), cells in readings.items():
        original, text = cells[0].text.split("\n")
        more = f", and so in {len(cells) - 1} rows more" if len(cells) > 1 else ""
        faults.note(table, cells[0].row, column, original, f"is read as {text}, {reason}{more}")


@dataclass(frozen=True, slots=True)
class Line:
    """One row: its number, its values (None where a cell is at fault) and its free columns."""

    number: int
    values: Any
    extra: tuple[tuple[str, str], ...] = ()


def read_lines(grid: Grid | None, model: type[Row], faults: Faults, memory: Memory | None = None) -> list[Line]:
    """Rows of a grid as models.

    Parameters
    ----------
    grid : Grid or None
        None: no such table.
    model : type of Row
        What a row must be.
    faults : Faults
        Where faults are noted.
    memory : Memory, optional
        Of the last reading; only for a grid whose numbers are exact, since others are read by what stands beside them.

    Returns
    -------
    list of Line
        In the table's order.
    """
    memory = memory or Memory()
    return memory.once(("lines", model), partial(_lines, grid, model, faults, memory), grid, faults=faults)


def _lines(grid: Grid | None, model: type[Row], faults: Faults, memory: Memory) -> list[Line]:
    if grid is None:
        return []
    faults.ask(grid.table, grid.header_row)
    columns = columns_of(model)
    required = [name for name, info in columns.items() if info.is_required()]
    positions = match_header(grid, columns, required, faults, _explained(columns))
    _settle_marks(grid, {name: at for name, at in positions.items() if name in columns}, columns, faults)
    header = memory.same(("header", model), tuple(positions.items()))
    line = partial(_line, positions=positions, model=model, table=grid.table, faults=faults)
    lines = [
        memory.once((model, number), partial(line, number, cells), cells, header, faults=faults)
        for number, cells in grid.rows
    ]
    refuse_twins(lines, model.key, grid.table, faults)
    return lines


def _explained(columns: dict[str, FieldInfo]) -> dict[str, str]:
    """Remedy by required column whose words have examples: nobody can guess such words from the name of the column."""
    cells = {name: cell_of(info) for name, info in columns.items() if info.is_required()}
    words = {name: cell for name, cell in cells.items() if isinstance(cell, Word) and cell.examples}
    return {name: f"add this column, with one word in each row: {cell.accepts()}" for name, cell in words.items()}


def _settle_marks(grid: Grid, positions: dict[str, int], columns: dict[str, FieldInfo], faults: Faults) -> None:
    kinds = {name: kind for name in positions if isinstance(kind := cell_of(columns[name]), Number)}
    places = [
        (cells, positions[name], NumberCell(number, name, kind, cells[positions[name]]))
        for number, cells in grid.rows
        for name, kind in kinds.items()
        if not isinstance(cells[positions[name]], Exact)  # it says nothing of others, and they nothing of it
    ]
    settle(grid.table, [cell for _, _, cell in places], faults)
    for cells, at, cell in places:
        cells[at] = cell.text


def _line(
    number: int, cells: list[str], positions: dict[str, int], model: type[Row], table: str, faults: Faults
) -> Line:
    faults.at_row(table, number)
    columns = columns_of(model)
    texts = {name: cells[at] for name, at in positions.items() if name in columns}
    free = [(name, cells[at]) for name, at in positions.items() if name not in columns]
    extra = tuple((name, extra_text(table, number, name, text, faults)) for name, text in free)
    return Line(number, validated(model, texts, table, number, faults), extra)


def extra_text(table: str, number: int, column: str, text: str, faults: Faults) -> str:
    """The text of a free cell, untouched; what no file can hold is noted."""
    try:
        Cell.check_text(text)
    except CellError as error:
        faults.add(table, number, column, text, error.message, error.remedy)
    return str(text)


def validated(model: type[Row], texts: dict[str, str], table: str, number: int | None, faults: Faults) -> Any:
    """One row as a model; a cell at fault is noted and becomes None.

    Parameters
    ----------
    model : type of Row
        What the row must be.
    texts : dict of str to str
        Cells by column; a required column that is missing altogether has been noted before.
    table : str
        For faults.
    number : int or None
        Row number, for faults.
    faults : Faults
        Where faults are noted.

    Returns
    -------
    Row
        The model.
    """
    columns = columns_of(model)
    given = {name: text for name, text in texts.items() if isinstance(text, Odd) or (text and not text.isspace())}
    bare = {name: "" for name, info in columns.items() if name not in given and info.is_required()}
    cells = {**given, **bare}
    is_odd = any(isinstance(text, Odd) for text in cells.values())
    row, errors = (
        _modelled(model, cells) if is_odd else _known(model, tuple((name, type(t), t) for name, t in cells.items()))
    )
    for field, text, error in errors:
        header = model.model_fields[field].alias or field
        if text or header in texts:
            remedy = error.remedy or f"give {cell_of(columns[header]).accepts()}"
            faults.add(table, number, header, text, error.message, remedy)
    return row


_Errors = tuple[tuple[str, str, CellError], ...]  # field, text, what is wrong


def _modelled(model: type[Row], cells: dict[str, str]) -> tuple[Any, _Errors]:
    collected = Collected()
    row = model.model_validate(cells, context=collected)
    return row, tuple(collected.errors)


@lru_cache(maxsize=4096)
def _known(model: type[Row], cells: tuple[tuple[str, type, str], ...]) -> tuple[Any, _Errors]:
    """As `_modelled`, once: of a table that is edited, every row but one is as it was. Texts equal in all but type."""
    return _modelled(model, {name: text for name, _, text in cells})


def refuse_twins(lines: Iterable[Line], key: tuple[str, ...], table: str, faults: Faults) -> None:
    """Note rows whose key is there already, whatever its upper and lower case."""
    seen: dict[tuple[Any, ...], int] = {}
    for line in lines if key else ():
        parts = [getattr(line.values, name) for name in key]
        if None in parts:
            continue
        folded = tuple(part.casefold() if isinstance(part, str) else part for part in parts)
        if folded in seen:
            value = ", ".join(f"{part:g}" if isinstance(part, float) else part for part in parts)
            faults.add(table, line.number, key[-1], value, f"is already in row {seen[folded]}", "give it once")
        seen.setdefault(folded, line.number)
