"""The cells a person has filled in on a commissioning sheet, and what each says of its channel."""

import os
from collections.abc import Hashable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import pandas as pd

from pdm_alloc.export.commissioning import COMMISSIONING, FILLED, expected_current
from pdm_alloc.export.lists import Row, heading
from pdm_alloc.files.csv_file import read_table
from pdm_alloc.files.faults import Faults
from pdm_alloc.files.grids import Grid
from pdm_alloc.files.numbers import CellError, plain_header, read_number
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.placed import PlacedCircuit

__all__ = ["OPEN", "OUTSIDE", "WITHIN", "WRONG", "Reading", "Verdict", "judge", "read_filled"]

_KEY = ("module", "channel", "step")

_SAME = ("command", "loads", "set", "expected")

_ON_OFF = {"on": "on", "off": "off", "yes": "on", "no": "off", "1": "on", "0": "off"}


@dataclass(frozen=True, slots=True)
class Reading:
    """One row that was filled in.

    Parameters
    ----------
    module, channel : str
        Where.
    step : int
        Of the channel's steps, from 1.
    seen : str
        ``on``, ``off`` or nothing.
    measured_a, measured_v : float or None
        Current, A; voltage at the module, V.
    remark : str
        Free text.
    """

    module: str
    channel: str
    step: int
    seen: str
    measured_a: float | None
    measured_v: float | None
    remark: str


def read_filled(path: str | os.PathLike[str], sheet: pd.DataFrame) -> tuple[Reading, ...]:
    """Rows of a commissioning sheet that have something filled in.

    Parameters
    ----------
    path : path
        CSV file or workbook.
    sheet : DataFrame
        The sheet as it was written.

    Returns
    -------
    tuple of Reading
        In the file's order.

    Raises
    ------
    InputError
        With every fault.
    """
    faults = Faults()
    grid = _grid(Path(path), faults)
    places = _places(grid, faults) if grid is not None else {}
    faults.raise_if_any()
    known = {tuple(str(row[name]) for name in _KEY): row for row in sheet.to_dict("records")}
    readings = list(_readings(grid, places, known, faults)) if grid is not None else []
    faults.raise_if_any()
    return tuple(readings)


def _grid(file: Path, faults: Faults) -> Grid | None:
    if file.suffix.lower() != ".xlsx":
        return read_table(file, {plain_header(name) for name in _headings()}, faults)
    from pdm_alloc.export.read_saved import SAVED_SHEETS
    from pdm_alloc.export.sheets import SHEETS
    from pdm_alloc.files.workbook_file import read_workbook

    grids = read_workbook(file, {plain_header(name): () for name in (*SHEETS, *SAVED_SHEETS)}, faults)
    if "commissioning" not in grids and not len(faults):
        faults.add(file.name, None, None, None, "has no sheet Commissioning", "give the workbook as it was written")
    return grids.get("commissioning")


def _headings() -> dict[str, str]:
    """Column by heading: both the plain names and those for people are known."""
    return {name: name for name in COMMISSIONING} | {heading(name): name for name in COMMISSIONING}


def _places(grid: Grid, faults: Faults) -> dict[str, int]:
    names = {plain_header(text): column for text, column in _headings().items()}
    places = {names[plain]: at for at, text in enumerate(grid.header) if (plain := plain_header(text)) in names}
    for column in (*_KEY, *_SAME, "measured_a"):
        if column not in places:
            faults.add(grid.table, grid.header_row, column, None, "is missing", "give the sheet as it was written")
    return places


def _readings(
    grid: Grid, places: dict[str, int], known: dict[tuple[str, ...], dict[Hashable, Any]], faults: Faults
) -> Iterator[Reading]:
    seen_before: set[tuple[str, ...]] = set()
    for number, cells in grid.rows:
        row = {name: cells[at].strip() for name, at in places.items()}
        key = tuple(row[name] for name in _KEY)
        written = known.get(key)
        if written is None or any(str(written[name]) != row[name] for name in _SAME):
            where = f"{row['module']} {row['channel']} step {row['step']}"
            remedy = "the sheet is of another allocation: read it with that one, or write the sheet anew"
            faults.add(grid.table, number, None, where, "is not a row of this sheet", remedy)
        elif key in seen_before:
            faults.add(grid.table, number, "step", row["step"], "appears twice", "delete one of the two rows")
        elif any(row.get(name) for name in FILLED[:3]):
            yield _reading(row, int(row["step"]), grid.table, number, faults)
        seen_before.add(key)


def _reading(row: dict[str, str], step: int, table: str, number: int, faults: Faults) -> Reading:
    seen = row.get("seen", "").casefold()
    if seen not in ("", *_ON_OFF):
        faults.add(table, number, "seen", seen, "is neither on nor off", "write on or off")
    amps = _number(row, "measured_a", "A", table, number, faults)
    volts = _number(row, "measured_v", "V", table, number, faults)
    return Reading(row["module"], row["channel"], step, _ON_OFF.get(seen, ""), amps, volts, row.get("remark", ""))


def _number(row: dict[str, str], column: str, unit: str, table: str, line: int, faults: Faults) -> float | None:
    text = row.get(column, "")
    if not text:
        return None
    try:
        value = float(read_number(text, unit))
    except CellError as error:
        faults.add(table, line, column, text, error.message, error.remedy)
        return None
    if value < 0 or (unit == "V" and value == 0):
        faults.add(table, line, column, text, "cannot be", "a reading is above 0; turn the clamp round")
        return None
    return value


WITHIN, OUTSIDE, WRONG, OPEN = "within", "outside", "wrong", "not measured"

# Above it a channel that should be off is not (electronics leak a little); common practice, no source.
LEAK_A = 0.05


@dataclass(frozen=True, slots=True)
class Verdict:
    """A reading compared with what was expected.

    Parameters
    ----------
    word : str
        ``within`` or ``outside`` the tolerance; ``wrong``: on where it should be off, or the reverse;
        ``not measured``.
    ratio : Fraction or None
        Measured over expected current at the voltage measured; None where there is none.
    """

    word: str
    ratio: Fraction | None = None

    @property
    def deviation_pct(self) -> float | None:
        """How far the current is off, per cent of what was expected."""
        return None if self.ratio is None else round(100 * float(self.ratio - 1), 1)


def judge(allocation: Allocation, circuit: PlacedCircuit, row: Row, reading: Reading | None) -> Verdict:
    """Compare a reading with its row of the sheet.

    Parameters
    ----------
    allocation : Allocation
        What was measured.
    circuit : PlacedCircuit
        Of the row.
    row : dict
        A row of the commissioning sheet.
    reading : Reading or None
        What was filled in there.

    Returns
    -------
    Verdict
        Limits are those at the voltage measured, or at the reference voltage where none was.
    """
    if reading is None:
        return Verdict(OPEN)
    if reading.seen and reading.seen != row["expected"]:
        return Verdict(WRONG)
    if reading.measured_a is None:
        return Verdict(WITHIN if row["expected_a"] is None else OPEN)
    if row["expected"] == "off":
        return Verdict(WITHIN if reading.measured_a <= LEAK_A else WRONG)
    return _compared(allocation, circuit, reading.measured_a, reading.measured_v)


def _compared(allocation: Allocation, circuit: PlacedCircuit, amps: float, volt: float | None) -> Verdict:
    expected = expected_current(allocation, circuit, volt or allocation.vehicle.settings.reference_v)
    measured = Fraction(str(amps)) * 1000
    within = expected.least_ma <= measured <= expected.most_ma
    return Verdict(WITHIN if within else OUTSIDE, measured / max(expected.expected_ma, 1))
