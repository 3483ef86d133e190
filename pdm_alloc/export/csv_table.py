"""Tables as CSV files that no spreadsheet can run anything from, and such files read back."""

import csv
import io
from collections.abc import Collection
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pdm_alloc.tables.csv_cell import csv_line, unmarked
from pdm_alloc.tables.csv_file import read_text
from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.grid import Grid, grid_of
from pdm_alloc.tables.header import plain_header

__all__ = ["csv_bytes", "read_table"]


def csv_bytes(table: pd.DataFrame) -> bytes:
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
