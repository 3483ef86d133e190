"""A table before anything is known of its meaning: headers matched to columns, rows of text, row numbers."""

import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import chain, islice
from types import MappingProxyType

from pdm_alloc.files.faults import Faults
from pdm_alloc.files.numbers import clean, plain_header

__all__ = ["MOST_COLUMNS", "MOST_ROWS", "Grid", "grid_of", "is_free", "match_header", "plain_header"]

MOST_ROWS = 20_000
MOST_COLUMNS = 1_000
MOST_TITLE_ROWS = 20
_NO_REMEDIES: Mapping[str, str] = MappingProxyType({})
_MOST_BLANK = 1_100_000  # a spreadsheet's last row, about

_Record = tuple[int, list[str]]  # number and cells of a row


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
    partial : bool
        Whether reading broke off, so that rows may be missing.
    """

    table: str
    header_row: int = 1
    header: list[str] = field(default_factory=list)
    rows: list[tuple[int, list[str]]] = field(default_factory=list)
    partial: bool = False


def grid_of(
    table: str, records: Iterable[list[str]], faults: Faults, first: int = 1, known: Collection[str] = ()
) -> Grid:
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
    known : collection of str
        Columns the table may have: rows above the first that has them are titles and are passed over.

    Returns
    -------
    Grid
        Without header where every row is blank.
    """
    grid = Grid(table)
    beyond: list[tuple[int, str]] = []
    rows = _without_titles(table, _filled(grid, records, faults, first), known, faults)
    for number, record in _without_remarks(table, rows, faults):
        if not grid.header:
            grid.header_row, grid.header = number, _trimmed(record)
        elif len(grid.rows) >= MOST_ROWS:
            _break_off(grid, number, f"has more than {MOST_ROWS:,} rows", "no vehicle has so many", faults)
            break
        else:
            beyond += [(number, cell) for cell in record[len(grid.header) :] if not _is_blank(cell)][:1]
            grid.rows.append((number, _fitted(record, len(grid.header))))
    if beyond:
        _refuse_beyond(table, beyond, faults)
    _drop_nameless(grid, faults)
    return grid


def _is_blank(cell: str) -> bool:
    return not cell or cell.isspace()


def _filled(grid: Grid, records: Iterable[list[str]], faults: Faults, first: int) -> Iterator[_Record]:
    for number, record in enumerate(records, first):
        if number > _MOST_BLANK:
            _break_off(grid, number, "is beyond the last row of a spreadsheet", "delete the blank rows", faults)
            return
        if not all(map(_is_blank, record[MOST_COLUMNS:])):
            _break_off(
                grid, number, f"has more than {MOST_COLUMNS} columns", "delete those that are not needed", faults
            )
            return
        if not all(map(_is_blank, record)):
            yield number, record[:MOST_COLUMNS]


def _without_titles(table: str, rows: Iterator[_Record], known: Collection[str], faults: Faults) -> Iterator[_Record]:
    """From the header on: the first row, unless it has no known column and one of the next has enough of them."""
    head = list(islice(rows, MOST_TITLE_ROWS))
    hits = [len({plain_header(cell) for cell in record if cell} & set(known)) for _, record in head]
    enough = min(2, len(known))
    start = (
        next((at for at, count in enumerate(hits) if count >= enough), 0) if enough and not (hits and hits[0]) else 0
    )
    for number, record in head[:start]:
        title = next(cell for cell in record if not _is_blank(cell))
        faults.note(table, number, None, title, "stands above the header and is passed over")
    return chain(head[start:], rows)


# "#lamp" and "# lamp" are commented out; "#1 lamp" is a name.
_COMMENTED = re.compile(r"\s*#(?!\d)")


def _without_remarks(table: str, rows: Iterable[_Record], faults: Faults) -> Iterator[_Record]:
    """Without rows below the header whose first cell starts with #: a remark, or a row commented out."""
    has_header = False
    for number, record in rows:
        filled = [cell for cell in record if not _is_blank(cell)]
        if _COMMENTED.match(record[0]) and (has_header or len(filled) == 1):
            what = "is a remark" if len(filled) == 1 else "is commented out"
            faults.note(table, number, None, record[0], f"{what} and is passed over")
        else:
            has_header = True
            yield number, record


def _break_off(grid: Grid, number: int, message: str, remedy: str, faults: Faults) -> None:
    grid.partial = True
    faults.add(grid.table, number, None, None, message, remedy)


def _trimmed(record: list[str]) -> list[str]:
    last = max(i for i, cell in enumerate(record) if not _is_blank(cell))
    return record[: last + 1]


def _fitted(record: list[str], width: int) -> list[str]:
    return [*record[:width], *[""] * (width - len(record))]


def _refuse_beyond(table: str, beyond: list[tuple[int, str]], faults: Faults) -> None:
    """One fault for all rows, since it is most often one header that is missing."""
    (number, cell), more = beyond[0], len(beyond) - 1
    message = "stands beyond the last column that has a header"
    message += f", and so in {more} rows more" if more else ""
    remedy = "give the column a header; a cell with the separator in it (1,5) needs quotation marks"
    faults.add(table, number, None, cell, message, remedy)


def _drop_nameless(grid: Grid, faults: Faults) -> None:
    nameless = [i for i, header in enumerate(grid.header) if _is_blank(header)]
    for i in nameless:
        first = next(((number, cells[i]) for number, cells in grid.rows if not _is_blank(cells[i])), None)
        if first:
            message, remedy = f"stands in column {i + 1}, which has no header", "give the column a header, or delete it"
            faults.add(grid.table, first[0], None, first[1], message, remedy)
    keep = [i for i in range(len(grid.header)) if i not in nameless]
    if nameless:
        grid.header = [grid.header[i] for i in keep]
        grid.rows = [(number, [cells[i] for i in keep]) for number, cells in grid.rows]


def is_free(header: str) -> bool:
    """Whether a column travels through untouched (``x_...``)."""
    return clean(header).casefold().startswith("x_")


def match_header(
    grid: Grid,
    columns: Iterable[str],
    required: Iterable[str],
    faults: Faults,
    remedies: Mapping[str, str] = _NO_REMEDIES,
) -> dict[str, int]:
    """Where each column of a table stands.

    Parameters
    ----------
    grid : Grid
        The table.
    columns : iterable of str
        Those it may have.
    required : iterable of str
        Those it must have.
    faults : Faults
        Where unknown, missing and double columns are noted.
    remedies : mapping of str to str
        What to do about a missing column, by column; default: add it.

    Returns
    -------
    dict of str to int
        Position by column; free columns (``x_...``) under their header as written.
    """
    known = tuple(columns)
    positions: dict[str, int] = {}
    for position, header in enumerate(grid.header):
        plain = plain_header(header)
        name = plain if plain in known else clean(header)
        if name.casefold() in {other.casefold() for other in positions}:
            faults.add(
                grid.table, grid.header_row, clean(header), None, "appears twice", "delete one of the two columns"
            )
        elif plain in known or is_free(header):
            positions[name] = position
        else:
            otherwise = f"known: {', '.join(known)}; columns of your own start with x_"
            faults.unknown(
                grid.table, grid.header_row, None, clean(header), known, "is not a column of this table", otherwise
            )
    for name in required:
        if name not in positions:
            faults.add(grid.table, grid.header_row, name, None, "is missing", remedies.get(name, "add this column"))
    return positions
