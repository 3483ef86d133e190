"""Rows of a table as models: every cell checked, every fault noted."""

from dataclasses import dataclass
from typing import Any

from pdm_alloc.tables.cell import Collected, Odd
from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.grid import Grid
from pdm_alloc.tables.header import match_header
from pdm_alloc.tables.row import Row, cell_of, columns_of

__all__ = ["Line", "read_lines", "refuse_twins", "validated"]


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
    if grid is None or not grid.rows:
        return []
    columns = columns_of(model)
    required = [name for name, info in columns.items() if info.is_required()]
    found = match_header(grid, columns, required, faults)
    free = [name for name in found if name not in columns]
    lines = []
    for number, cells in grid.rows:
        texts = {name: cells[at] for name, at in found.items() if name not in free}
        extra = tuple((name, str(cells[found[name]])) for name in free)
        lines.append(Line(number, validated(model, texts, grid.table, number, faults), extra))
    refuse_twins(lines, model.key, grid.table, faults)
    return lines


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
    bare = {name: "" for name, info in columns.items() if info.is_required() and name not in given}
    collected = Collected()
    row = model.model_validate({**given, **bare}, context=collected)
    headers = {model.model_fields[name].alias or name: name for name in model.model_fields}
    header_of = {field: header for header, field in headers.items()}
    for field, text, error in collected.errors:
        header = header_of[field]
        if text or header in texts:
            remedy = error.remedy or f"give {cell_of(columns[header]).accepts()}"
            faults.add(table, number, header, text, error.message, remedy)
    return row


def refuse_twins(lines: list[Line], key: tuple[str, ...], table: str, faults: Faults) -> None:
    """Note rows whose key is there already, whatever its upper and lower case."""
    seen: dict[tuple, int] = {}
    for line in lines:
        parts = [getattr(line.values, name) for name in key]
        if not parts or None in parts:
            continue
        folded = tuple(part.casefold() if isinstance(part, str) else part for part in parts)
        if folded in seen:
            faults.add(
                table, line.number, key[-1], str(parts[-1]), f"is already in row {seen[folded]}", "give it another name"
            )
        seen.setdefault(folded, line.number)
