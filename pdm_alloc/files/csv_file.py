"""CSV as spreadsheets of any locale export it, and as no spreadsheet runs anything from."""

import codecs
import csv
import io
import re
from collections.abc import Collection, Iterable, Iterator
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pdm_alloc.files.faults import Fault, Faults, InputError
from pdm_alloc.files.grids import MOST_COLUMNS, MOST_TITLE_ROWS, Grid, grid_of
from pdm_alloc.files.numbers import plain_header

if TYPE_CHECKING:  # reading CSV needs neither, and a command line that loads them starts late
    import pandas as pd

__all__ = [
    "MOST_BYTES",
    "csv_bytes",
    "csv_line",
    "marked",
    "read_bytes_within",
    "read_csv",
    "read_table",
    "read_text",
    "unmarked",
    "write_grid",
]

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
