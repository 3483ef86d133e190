"""A table before anything is known of its meaning, and CSV as spreadsheets of any locale export it."""

import codecs
import csv
import io
import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import chain, islice
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from pdm_alloc.files.cells import clean, plain_header
from pdm_alloc.files.faults import Fault, Faults, InputError

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "MOST_BYTES",
    "MOST_COLUMNS",
    "MOST_ROWS",
    "Grid",
    "csv_bytes",
    "csv_line",
    "grid_of",
    "is_free",
    "marked",
    "match_header",
    "plain_header",
    "read_bytes_within",
    "read_csv",
    "read_table",
    "read_text",
    "unmarked",
    "write_grid",
]

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


@lru_cache(maxsize=1024)
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


# White space, control characters, and what is printed as nothing at all: spreadsheets drop some of them.
_UNSEEN = (
    "\\s\\x00-\\x1f\\x7f-\\x9f\\u00ad\\u034f\\u061c\\u115f\\u1160\\u17b4\\u17b5\\u180b-\\u180f\\u200b-\\u200f\\u202a-\\u202e"
    "\\u2060-\\u206f\\u2800\\u3164\\ufe00-\\ufe0f\\ufeff\\uffa0\\ufff9-\\ufffb\\U0001d173-\\U0001d17a\\U000e0000-\\U000e0fff"
)

# = + - @, in their full width and small forms as well.
_SIGNS = "=+\\-@\uff1d\uff0b\uff0d\uff20\ufe66\ufe62\ufe63\ufe6b"

_START = f'(^|[;\\t\\n\\r])(["{_UNSEEN}]*)'

_RISKY = re.compile(f"{_START}('*[{_SIGNS}])")

_MARKED = re.compile(f"{_START}'('*[{_SIGNS}])")

_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)(e[+-]?\d+)?", re.ASCII | re.IGNORECASE)


def marked(cell: str) -> str:
    """The cell as it is written: text that starts like a formula gets an apostrophe, a plain number does not."""
    return cell if _NUMBER.fullmatch(cell) else _RISKY.sub(r"\1\2'\3", cell)


def unmarked(cell: str) -> str:
    """The cell as it was before `marked`."""
    return _MARKED.sub(r"\1\2\3", cell)


def csv_line(cells: Iterable[str]) -> str:
    """A row of CSV: text in quotes and marked, numbers and empty cells bare.

    Parameters
    ----------
    cells : iterable of str
        Not yet marked.

    Returns
    -------
    str
        With its line end.
    """
    return ",".join(map(_written, cells)) + "\n"


def _written(cell: str) -> str:
    if not cell or ("," not in cell and _NUMBER.fullmatch(cell)):
        return cell
    return '"' + marked(cell).replace('"', '""') + '"'


MOST_BYTES = 20_000_000
_SEPARATORS = ",;\t"

_DIRECTIVE = re.compile(r"sep=(.)\n", re.IGNORECASE)

_MARKS = {codecs.BOM_UTF8: "utf-8-sig", codecs.BOM_UTF16_LE: "utf-16", codecs.BOM_UTF16_BE: "utf-16"}


def read_csv(path: Path, table: str, known: Collection[str], faults: Faults) -> Grid | None:
    """A table from a CSV file.

    Parameters
    ----------
    path : Path
        The file.
    table : str
        Name of the table, for faults.
    known : collection of str
        Headers the table may have; they tell the separator and the row of the header.
    faults : Faults
        Where faults are noted.

    Returns
    -------
    Grid or None
        None where the file cannot be read at all.
    """
    text = read_text(path, table, faults)
    if text is None:
        return None
    text, separator = split_directive(text, known)
    broken: list[tuple[int, csv.Error]] = []
    grid = grid_of(table, _records(text, separator, broken), faults, known=known)
    for row, error in broken:
        grid.partial = True
        left_open = "unexpected end" in str(error)
        message = "has a quotation mark that is never closed" if left_open else f"is not CSV ({error})"
        faults.add(table, row, None, None, message, "double a quotation mark inside a quoted cell")
    return grid


def read_text(path: Path, table: str, faults: Faults, most: int = MOST_BYTES) -> str | None:
    """Text of a file with plain line ends; None, and a fault, where it cannot be had.

    Parameters
    ----------
    path : Path
        The file.
    table : str
        For faults.
    faults : Faults
        Where faults are noted.
    most : int
        Largest size, bytes.

    Returns
    -------
    str or None
        Decoded.
    """
    data = _bytes(path, table, faults, most)
    if data is None:
        return None
    encoding = next((name for mark, name in _MARKS.items() if data.startswith(mark)), "utf-8")
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        row = data[: error.start].count(b"\n") + 1 if encoding != "utf-16" else None
        faults.add(
            table,
            row,
            None,
            None,
            f"is not {encoding.removesuffix('-sig').upper()} text",
            "save it from the spreadsheet as 'CSV UTF-8'",
        )
        return None
    if "\0" in text:
        faults.add(table, None, None, None, "is not text (it has zero bytes in it)", "save it as 'CSV UTF-8'")
        return None
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _bytes(path: Path, table: str, faults: Faults, largest: int) -> bytes | None:
    try:
        if not path.is_file():
            faults.add(table, None, None, path.name, "is not a file", "put a CSV file in its place")
            return None
        with path.open("rb") as file:
            data = file.read(largest + 1)
    except OSError as error:
        faults.add(table, None, None, path.name, f"cannot be read ({error.strerror})", "see that you may read it")
        return None
    if len(data) > largest:
        faults.add(
            table, None, None, path.name, f"is larger than {largest / 1e6:g} MB", "no table of a vehicle is so large"
        )
        return None
    return data


def split_directive(text: str, known: Collection[str]) -> tuple[str, str]:
    """Text without the spreadsheet's own first line ``sep=;``, and the separator."""
    directive = _DIRECTIVE.match(text)
    if directive and directive[1] in _SEPARATORS:
        return text[directive.end() :], directive[1]
    return text, max(_SEPARATORS, key=lambda separator: _score(text, separator, known))


def _score(text: str, separator: str, known: Collection[str]) -> tuple[int, int]:
    try:
        records = islice(csv.reader(io.StringIO(text), delimiter=separator), 100)
        heads = list(islice((record for record in records if any(map(str.strip, record))), MOST_TITLE_ROWS))
    except csv.Error:
        return (0, 0)
    # Lines of nothing but separators are a blank table, not one with an odd header.
    hits = max((sum(plain_header(cell) in known for cell in header[:300]) for header in heads), default=0)
    return hits, len(heads[0]) if heads else MOST_BYTES


def _records(text: str, separator: str, broken: list[tuple[int, csv.Error]]) -> Iterator[list[str]]:
    row = 0
    try:
        for record in csv.reader(io.StringIO(text), delimiter=separator, strict=True):
            row += 1
            beyond = (cell for cell in record[MOST_COLUMNS:] if cell and not cell.isspace())
            yield [*map(unmarked, record[:MOST_COLUMNS]), *islice(beyond, 1)]
    except csv.Error as error:
        broken.append((row + 1, error))


def csv_bytes(table: "pd.DataFrame") -> bytes:
    """A table as CSV.

    Parameters
    ----------
    table : DataFrame
        Its index is left out; None and nan are empty cells.

    Returns
    -------
    bytes
        UTF-8, marked as such only where it has to be; comma, decimal point, a header row.
    """
    rows = table.itertuples(index=False, name=None)
    lines = [map(str, table.columns), *(map(_cell, row) for row in rows)]
    content = "".join(map(csv_line, lines))
    return content.encode("utf-8" if content.isascii() else "utf-8-sig")


def _cell(value: Any) -> str:
    import numpy as np
    import pandas as pd

    if value is None or value is pd.NA or (isinstance(value, float) and np.isnan(value)):
        return ""
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    if isinstance(value, (float, np.floating)):
        number = float(value)
        return repr(int(number)) if number.is_integer() and abs(number) < 1e15 else repr(number)
    return str(value).replace("\r\n", "\n").replace("\r", "\n")


def read_table(path: Path, known: Collection[str], faults: Faults) -> Grid | None:
    """A table of ours, perhaps saved anew by a spreadsheet of another locale.

    Parameters
    ----------
    path : Path
        The file.
    known : collection of str
        Columns it may have; they tell the separator.
    faults : Faults
        Where faults are noted.

    Returns
    -------
    Grid or None
        None where it cannot be read at all.
    """
    text = read_text(path, path.stem, faults)
    if text is None:
        return None
    separator = max(",;\t", key=lambda sign: _matches(text, sign, known))
    records = csv.reader(io.StringIO(text), delimiter=separator)
    try:
        return grid_of(path.stem, [[unmarked(cell) for cell in record] for record in records], faults)
    except csv.Error as error:
        faults.add(path.stem, None, None, None, f"is not CSV ({error})", "save it from the spreadsheet as CSV")
        return None


def _matches(text: str, separator: str, known: Collection[str]) -> int:
    header = next(csv.reader(io.StringIO(text.lstrip("\n")), delimiter=separator), [])
    return sum(plain_header(cell) in known for cell in header)


LARGEST_SAVED_BYTES = 100_000_000


def read_bytes_within(file: Path) -> bytes:
    """All of a saved file; InputError where it cannot be read or is larger than any allocation."""
    try:
        if file.stat().st_size > LARGEST_SAVED_BYTES:
            raise InputError([Fault(file.name, None, None, None, "is too large", "no allocation is so large")])
        return file.read_bytes()
    except OSError as error:
        why = f"cannot be read ({error.strerror})"
        raise InputError([Fault(file.name, None, None, None, why, "see that it is there and may be read")]) from error


def write_grid(grid: Grid, target: Path) -> None:
    """Write a table as a CSV file in a folder that is made where it is missing."""
    import pandas as pd

    target.parent.mkdir(parents=True, exist_ok=True)
    rows = [cells for _, cells in grid.rows]
    target.write_bytes(csv_bytes(pd.DataFrame(rows, columns=grid.header, dtype=object)))


def records(text: str, separator: str) -> Iterator[tuple[str, list[str]]]:
    """Each record as it is written, with its cells."""
    lines = list(io.StringIO(text))
    reader, start = csv.reader(io.StringIO(text), delimiter=separator), 0
    for cells in reader:
        yield "".join(lines[start : reader.line_num]), cells
        start = reader.line_num


def decimal_commas(separator: str, text: str) -> bool:
    """True where numbers are written with a decimal comma."""
    return separator != "," and bool(re.search(r"\d,\d", text)) and not re.search(r"\d\.\d", text)
