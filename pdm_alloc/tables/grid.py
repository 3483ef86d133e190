"""A table before anything is known of its meaning: a header and rows of text, with the spreadsheet's row numbers."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import zip_longest

from pdm_alloc.tables.fault import Faults

__all__ = ["MOST_COLUMNS", "MOST_ROWS", "Grid", "grid_of"]

MOST_ROWS = 20_000
MOST_COLUMNS = 256
_MOST_BLANK = 1_100_000  # a spreadsheet's last row, about


@dataclass
class Grid:
    """One table as text.

    Parameters
    ----------
    table : str
        Its name.
    header_row : int
        Row of the header.
    header : list of str
        As written, without trailing empty cells.
    rows : list of (int, list of str)
        Row number and cells, as many as the header has; blank rows left out.
    """

    table: str
    header_row: int = 1
    header: list[str] = field(default_factory=list)
    rows: list[tuple[int, list[str]]] = field(default_factory=list)


def grid_of(table: str, records: Iterable[list[str]], faults: Faults, first: int = 1) -> Grid:
    """A grid from the records of a file.

    Parameters
    ----------
    table : str
        Its name.
    records : iterable of list of str
        From the first row on, blank ones included.
    faults : Faults
        Where cells beyond the header and tables that are too large are noted.
    first : int
        Row number of the first record.

    Returns
    -------
    Grid
        Without header where every row is blank.
    """
    grid = Grid(table)
    for number, record in _filled(table, records, faults, first):
        if not grid.header:
            grid.header_row, grid.header = number, _trimmed(record)
        elif len(grid.rows) >= MOST_ROWS:
            faults.add(
                table, number, None, None, f"has more than {MOST_ROWS:,} rows", "split it; no vehicle has so many"
            )
            break
        else:
            grid.rows.append((number, _fitted(table, number, record, len(grid.header), faults)))
    _drop_nameless(grid, faults)
    return grid


def _filled(table, records, faults, first) -> Iterator[tuple[int, list[str]]]:
    for number, record in enumerate(records, first):
        if number > _MOST_BLANK:
            faults.add(
                table, number, None, None, "reaches beyond the last row of a spreadsheet", "delete the blank rows"
            )
            return
        if any(cell and not cell.isspace() for cell in record[MOST_COLUMNS:]):
            faults.add(table, number, None, None, f"has more than {MOST_COLUMNS} columns", "delete the others")
            return
        if any(cell and not cell.isspace() for cell in record):
            yield number, record[:MOST_COLUMNS]


def _trimmed(record):
    last = max(i for i, cell in enumerate(record) if cell and not cell.isspace())
    return record[: last + 1]


def _fitted(table, number, record, width, faults):
    for cell in record[width:]:
        if cell and not cell.isspace():
            faults.add(
                table,
                number,
                None,
                cell,
                "stands beyond the last column that has a header",
                "give the column a header; put a cell with the separator in it (1,5) in quotation marks",
            )
            break
    return [cell for cell, _ in zip_longest(record[:width], range(width), fillvalue="")]


def _drop_nameless(grid, faults):
    nameless = [i for i, header in enumerate(grid.header) if not header or header.isspace()]
    for i in nameless:
        for number, cells in grid.rows:
            if cells[i] and not cells[i].isspace():
                faults.add(
                    grid.table,
                    number,
                    None,
                    cells[i],
                    f"stands in column {i + 1}, which has no header",
                    "give the column a header, or delete it",
                )
                break
    keep = [i for i in range(len(grid.header)) if i not in nameless]
    if nameless:
        grid.header = [grid.header[i] for i in keep]
        grid.rows = [(number, [cells[i] for i in keep]) for number, cells in grid.rows]
