"""Rows of a table as models: every cell checked, every fault noted."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from pdm_alloc.tables.cell import Cell, Collected, Number, Odd
from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.grid import Grid
from pdm_alloc.tables.header import match_header
from pdm_alloc.tables.marks import NumberCell, settle
from pdm_alloc.tables.number import CellError
from pdm_alloc.tables.row import Row, cell_of, columns_of

__all__ = ["Line", "extra_text", "read_lines", "refuse_twins", "validated"]


@dataclass(frozen=True, slots=True)
class Line:
    """One row: its number, its values (None where a cell is at fault) and its free columns."""

    number: int
    values: Any
    extra: tuple[tuple[str, str], ...] = ()


def read_lines(grid: Grid | None, model: type[Row], faults: Faults) -> list[Line]:
    """Rows of a grid as models.

    Parameters
    ----------
    grid : Grid or None
        None: no such table.
    model : type of Row
        What a row must be.
    faults : Faults
        Where faults are noted.

    Returns
    -------
    list of Line
        In the table's order.
    """
    if grid is None:
        return []
    columns = columns_of(model)
    required = [name for name, info in columns.items() if info.is_required()]
    found = match_header(grid, columns, required, faults)
    _settle_marks(grid, {name: at for name, at in found.items() if name in columns}, columns, faults)
    lines = [_line(number, cells, found, model, grid.table, faults) for number, cells in grid.rows]
    refuse_twins(lines, model.key, grid.table, faults)
    return lines


def _settle_marks(grid: Grid, found: dict[str, int], columns: dict, faults: Faults) -> None:
    kinds = {name: kind for name in found if isinstance(kind := cell_of(columns[name]), Number)}
    places = [
        (cells, found[name], NumberCell(number, name, kind, cells[found[name]]))
        for number, cells in grid.rows
        for name, kind in kinds.items()
    ]
    settle(grid.table, [cell for _, _, cell in places], faults)
    for cells, at, cell in places:
        cells[at] = cell.text


def _line(number, cells, found, model, table, faults) -> Line:
    columns = columns_of(model)
    texts = {name: cells[at] for name, at in found.items() if name in columns}
    free = [(name, cells[at]) for name, at in found.items() if name not in columns]
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
    collected = Collected()
    row = model.model_validate({**given, **bare}, context=collected)
    for field, text, error in collected.errors:
        header = model.model_fields[field].alias or field
        if text or header in texts:
            remedy = error.remedy or f"give {cell_of(columns[header]).accepts()}"
            faults.add(table, number, header, text, error.message, remedy)
    return row


def refuse_twins(lines: Iterable[Line], key: tuple[str, ...], table: str, faults: Faults) -> None:
    """Note rows whose key is there already, whatever its upper and lower case."""
    seen: dict[tuple, int] = {}
    for line in lines if key else ():
        parts = [getattr(line.values, name) for name in key]
        if None in parts:
            continue
        folded = tuple(part.casefold() if isinstance(part, str) else part for part in parts)
        if folded in seen:
            value = ", ".join(f"{part:g}" if isinstance(part, float) else part for part in parts)
            faults.add(table, line.number, key[-1], value, f"is already in row {seen[folded]}", "give it once")
        seen.setdefault(folded, line.number)
