"""CSV as spreadsheets of any locale export it: UTF-8 or UTF-16, comma, semicolon or tab."""

import codecs
import csv
import io
import re
from collections.abc import Collection, Iterator
from itertools import islice
from pathlib import Path

from pdm_alloc.tables.csv_cell import unmarked
from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.grid import MOST_TITLE_ROWS, Grid, grid_of
from pdm_alloc.tables.header import plain_header

__all__ = ["MOST_BYTES", "read_csv", "read_text"]

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
    text, separator = _separator(text, known)
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


def _bytes(path, table, faults, most):
    try:
        if not path.is_file():
            faults.add(table, None, None, path.name, "is not a file", "put a CSV file in its place")
            return None
        with path.open("rb") as file:
            data = file.read(most + 1)
    except OSError as error:
        faults.add(table, None, None, path.name, f"cannot be read ({error.strerror})", "see that you may read it")
        return None
    if len(data) > most:
        faults.add(
            table, None, None, path.name, f"is larger than {most / 1e6:g} MB", "no table of a vehicle is so large"
        )
        return None
    return data


def _separator(text, known) -> tuple[str, str]:
    """Text without the spreadsheet's own first line ``sep=;``, and the separator."""
    directive = _DIRECTIVE.match(text)
    if directive and directive[1] in _SEPARATORS:
        return text[directive.end() :], directive[1]
    return text, max(_SEPARATORS, key=lambda separator: _score(text, separator, known))


def _score(text, separator, known) -> tuple[int, int]:
    try:
        records = islice(csv.reader(io.StringIO(text), delimiter=separator), 100)
        heads = list(islice((record for record in records if any(map(str.strip, record))), MOST_TITLE_ROWS))
    except csv.Error:
        return (0, 0)
    # Lines of nothing but separators are a blank table, not one with an odd header.
    hits = max((sum(plain_header(cell) in known for cell in header[:300]) for header in heads), default=0)
    return hits, len(heads[0]) if heads else MOST_BYTES


def _records(text, separator, broken: list[tuple[int, csv.Error]]) -> Iterator[list[str]]:
    row = 0
    try:
        for record in csv.reader(io.StringIO(text), delimiter=separator, strict=True):
            row += 1
            yield [unmarked(cell) for cell in record]
    except csv.Error as error:
        broken.append((row + 1, error))
