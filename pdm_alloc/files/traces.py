"""Logged traces from CSV files."""

import io
import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pdm_alloc.files.faults import Fault, InputError, hint

__all__ = ["Trace", "read_trace"]

LARGEST_BYTES = 200_000_000

_SCALES = {"us": 1e-6, "ms": 1e-3, "s": 1.0, "ma": 1e-3, "a": 1.0}

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """A logged current.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Times, s.
    current_a : ndarray, shape (n,)
        Currents, A.
    """

    time_s: Array
    current_a: Array


def read_trace(path: str | os.PathLike[str], time: str = "time_s", current: str = "current_a") -> Trace:
    """Read a trace from a CSV file with a header row.

    Comma, semicolon or tab between the columns; decimal point or comma; other columns are left alone.

    Parameters
    ----------
    path : path
        The file.
    time, current : str
        Headers of the two columns. An ending ``_us``, ``_ms``, ``_ma`` tells the unit; without one it
        is s and A.

    Returns
    -------
    Trace
        As logged.

    Raises
    ------
    InputError
        The file, a column or a cell cannot be used; names all of them.
    """
    file = Path(path)
    table = _table(file)
    missing = [name for name in (time, current) if name not in table.columns]
    if missing:
        raise InputError(_missing(file, name, table) for name in missing)
    times, time_faults = _numbers(file, table, time)
    currents, current_faults = _numbers(file, table, current)
    if time_faults or current_faults:
        raise InputError([*time_faults, *current_faults])
    return Trace(times, currents)


def _table(file: Path) -> pd.DataFrame:
    text = _text(file)
    header = text.partition("\n")[0]
    separator = max("\t;,", key=header.count)
    try:
        table = pd.read_csv(io.StringIO(text), sep=separator, dtype=str, keep_default_na=False, skip_blank_lines=False)
    except (pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        why = " ".join(str(error).split())
        raise InputError([Fault(file.name, None, None, None, "is no table", f"{why}; export it as CSV")]) from error
    table.columns = [str(name).strip() for name in table.columns]
    return table


def _text(file: Path) -> str:
    try:
        if file.stat().st_size > LARGEST_BYTES:
            remedy = f"cut it down to {LARGEST_BYTES // 1_000_000} MB around the switch-on"
            raise InputError([Fault(file.name, None, None, None, "is too large", remedy)])
        return file.read_bytes().decode("utf-8-sig").rstrip() + "\n"
    except OSError as error:
        raise InputError([Fault(file.name, None, None, None, f"cannot be read ({error.strerror})")]) from error
    except UnicodeDecodeError as error:
        raise InputError([Fault(file.name, None, None, None, "is not UTF-8 text", "export it as CSV UTF-8")]) from error


def _missing(file: Path, name: str, table: pd.DataFrame) -> Fault:
    return Fault(file.name, 1, name, None, "is missing", hint(name, list(table.columns)))


def _numbers(file: Path, table: pd.DataFrame, name: str) -> tuple[Array, list[Fault]]:
    cells = table[name].astype(str).str.strip().str.replace(",", ".", regex=False)
    values = pd.to_numeric(cells, errors="coerce").to_numpy(dtype=float)
    bad = np.flatnonzero(~np.isfinite(values))
    remedy = "give a number, such as 4.5"
    faults = [
        Fault(file.name, int(i) + 2, name, str(table[name].iloc[i]), "is not a number", remedy) for i in bad[:100]
    ]
    return values * _SCALES.get(name.lower().rpartition("_")[2], 1.0), faults
