"""Paperwork: every document written, rework from one revision to the next, and filled sheets taken back."""

import datetime
import os
import re
import unicodedata
import warnings
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from math import ceil
from pathlib import Path
from typing import Any

import pandas as pd

from pdm_alloc.domain.kinds import KINDS
from pdm_alloc.domain.vehicle import Load, Vehicle
from pdm_alloc.export.commissioning import COMMISSIONING, FILLED, commissioning, expected_current
from pdm_alloc.export.lists import Row, heading, records
from pdm_alloc.export.pdf_document import sheets_pdf
from pdm_alloc.export.pdf_grid import sheets_workbook
from pdm_alloc.export.read_saved import SAVED_FOLDER, SAVED_SHEETS, read_allocation
from pdm_alloc.export.saved_tables import allocation_json, saved_tables
from pdm_alloc.export.sheets import Issue, Sheet, available, sheets, title_block
from pdm_alloc.files.atomic import write_files
from pdm_alloc.files.cells import CellError, plain_header, read_number
from pdm_alloc.files.faults import Faults
from pdm_alloc.files.grids import Grid, csv_bytes, read_table
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.studies.signal_side import SignalSide
from pdm_alloc.studies.what_if import compare, rework

__all__ = [
    "OPEN",
    "OUTSIDE",
    "PROPOSAL",
    "TABLES_FOLDER",
    "WITHIN",
    "WRONG",
    "Measurements",
    "Reading",
    "Verdict",
    "changed_vehicle",
    "judge",
    "proposed_loads",
    "read_filled",
    "read_measurements",
    "rework_sheets",
    "safe_name",
    "write_documents",
    "write_rework",
]

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
    from pdm_alloc.files.sources import read_workbook

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


PROPOSAL = ("load", "count", "running_a", "measured_a", "change_pct", "why", "how")

Measured = tuple[PlacedCircuit, Verdict]


def proposed_loads(vehicle: Vehicle, measured: Sequence[Measured]) -> pd.DataFrame:
    """Loads whose running current should be changed.

    Parameters
    ----------
    vehicle : Vehicle
        As designed.
    measured : sequence of (PlacedCircuit, Verdict)
        Circuits measured while on.

    Returns
    -------
    DataFrame
        Columns `PROPOSAL`, currents of one item at the reference voltage, A. Those on circuits outside
        their tolerance, and those that were a guess (``tolerance_pct`` above 0). Loads that share a
        circuit are changed in proportion.
    """
    rows = [row for load in vehicle.loads if (row := _proposal(load, measured)) is not None]
    return pd.DataFrame(rows, columns=list(PROPOSAL))


def changed_vehicle(vehicle: Vehicle, proposal: pd.DataFrame) -> Vehicle:
    """The vehicle with the proposed running currents.

    Parameters
    ----------
    vehicle : Vehicle
        As designed.
    proposal : DataFrame
        Columns ``load`` and ``measured_a``.

    Returns
    -------
    Vehicle
        An inrush that was assumed follows the running current; one that was stated stays, unless the
        running current has passed it.
    """
    new = {row["load"]: ceil(round(1000 * row["measured_a"], 6)) for row in records(proposal)}
    loads = (_changed(load, new[load.name]) if load.name in new else load for load in vehicle.loads)
    return replace(vehicle, loads=tuple(loads))


def _proposal(load: Load, measured: Sequence[Measured]) -> Row | None:
    proposals = [(circuit, verdict, _items(load, circuit)) for circuit, verdict in measured if _items(load, circuit)]
    outside = any(verdict.word == OUTSIDE for _, verdict, _ in proposals)
    if not proposals or not (outside or load.tolerance_pct > 0):
        return None
    ratio = sum((verdict.ratio or 0) * items for _, verdict, items in proposals) / Fraction(
        sum(items for *_, items in proposals)
    )
    new_ma = ceil(load.running_ma * ratio)
    return {
        "load": load.name,
        "count": load.count,
        "running_a": load.running_ma / 1000,
        "measured_a": new_ma / 1000,
        "change_pct": round(100 * (new_ma / load.running_ma - 1), 1),
        "why": "outside tolerance" if outside else "was a guess",
        "how": _how(load, [circuit for circuit, *_ in proposals]),
    }


def _items(load: Load, circuit: PlacedCircuit) -> int:
    return sum(name == load.name for name, _ in circuit.items)


def _how(load: Load, circuits: list[PlacedCircuit]) -> str:
    others = sorted({name for circuit in circuits for name in circuit.loads} - {load.name})
    where = ", ".join(f"{circuit.unit} {circuit.channel}" for circuit in circuits)
    return f"on {where}" + (f"; in proportion with {', '.join(others)}: measure each alone" if others else "")


def _changed(load: Load, running_ma: int) -> Load:
    multiple = Fraction(str(KINDS[load.kind].inrush_multiple))
    peak = ceil(running_ma * multiple) if load.inrush_assumed else load.inrush_ma
    return replace(load, running_ma=running_ma, inrush_ma=max(peak, running_ma))


@dataclass(frozen=True)
class Measurements:
    """What a filled commissioning sheet says.

    Parameters
    ----------
    allocation : Allocation
        What was measured.
    readings : tuple of Reading
        Rows that were filled in.
    """

    allocation: Allocation
    readings: tuple[Reading, ...]

    @cached_property
    def table(self) -> pd.DataFrame:
        """The sheet as filled in, with ``deviation_pct`` and a ``verdict`` in every row.

        The verdict is ``within`` or ``outside`` the tolerance at the voltage measured, ``wrong`` where
        the channel was on and should have been off or the reverse, or ``not measured``.
        """
        rows = [
            {**row, **_told(reading), "deviation_pct": verdict.deviation_pct, "verdict": verdict.word}
            for row, _, reading, verdict in self._judged
        ]
        return pd.DataFrame(rows)

    @property
    def outside(self) -> pd.DataFrame:
        """Rows of `table` that do not agree."""
        return self.table[self.table.verdict.isin((OUTSIDE, WRONG))].reset_index(drop=True)

    @cached_property
    def loads(self) -> pd.DataFrame:
        """Loads whose running current should be changed in the table ``loads``; see `proposed_loads`."""
        measured = [(circuit, verdict) for _, circuit, _, verdict in self._judged if verdict.ratio is not None]
        return proposed_loads(self.allocation.vehicle, measured)

    @property
    def vehicle(self) -> Vehicle:
        """The vehicle with the proposed running currents; see `changed_vehicle`."""
        return changed_vehicle(self.allocation.vehicle, self.loads)

    def summary(self) -> str:
        """One sentence: how many channels were measured, how many agree, how many loads should change."""
        rows = [verdict for row, _, _, verdict in self._judged if row["expected_a"] is not None]
        done = sum(verdict.word != OPEN for verdict in rows)
        return (
            f"{done} of {len(rows)} channels measured, {len(self.outside)} readings do not agree, "
            f"{len(self.loads)} loads to change"
        )

    @cached_property
    def _judged(self) -> list[tuple[Row, PlacedCircuit, Reading | None, Verdict]]:
        filled = {(reading.module, reading.channel, reading.step): reading for reading in self.readings}
        circuits = {(circuit.unit, circuit.channel): circuit for circuit in self.allocation.circuits}
        judged = []
        for row in records(commissioning(self.allocation)):
            circuit = circuits[row["module"], row["channel"]]
            reading = filled.get((row["module"], row["channel"], row["step"]))
            judged.append((row, circuit, reading, judge(self.allocation, circuit, row, reading)))
        return judged


def _told(reading: Reading | None) -> Row:
    if reading is None:
        return {}
    told: Row = {"seen": reading.seen, "measured_a": reading.measured_a, "measured_v": reading.measured_v}
    return told | ({"remark": reading.remark} if reading.remark else {})


def read_measurements(path: str | os.PathLike[str], allocation: Allocation) -> Measurements:
    """Take back a commissioning sheet that has been filled in.

    Parameters
    ----------
    path : path
        ``commissioning.csv`` or the workbook, as written for this allocation, with values in the
        columns ``seen`` (on or off), ``measured_a`` and ``measured_v`` (empty: the reference voltage).
    allocation : Allocation
        What was measured.

    Returns
    -------
    Measurements
        What agrees, what does not, and the load table that follows.

    Raises
    ------
    InputError
        The sheet cannot be read, or belongs to another allocation; names every fault.
    """
    return Measurements(allocation, read_filled(path, commissioning(allocation)))


TABLES_FOLDER = "tables"
DRAWINGS_FOLDER = "drawings"

_LIBRARIES = ("reportlab", "xlsxwriter")


def write_documents(
    allocation: Allocation,
    folder: str | os.PathLike[str],
    *,
    revision: str = "",
    date: datetime.date | None = None,
    signals: SignalSide | None = None,
) -> list[Path]:
    """Write all documents of an allocation.

    ``<vehicle>.pdf`` for the wall and the binder, ``<vehicle>.xlsx`` with the eight sheets people read,
    ``<vehicle>_tables.xlsx`` with the others, ``pin_map.csv``, all tables in
    ``tables/``, labels for both ends of every wire as ``labels.csv`` and ``labels.pdf``,
    drawings as SVG and PDF in ``drawings/``, and the allocation itself, to be read back with
    `read_allocation`, as ``allocation.json`` and as tables in ``saved/``. Without the extra
    ``documents`` the PDF, the workbook and the tables of steps are left out, with a warning.

    Parameters
    ----------
    allocation : Allocation
        What is documented.
    folder : path
        Made if it does not exist; files of the same names are replaced, others stay.
    revision : str
        As the builder counts them.
    date : datetime.date, optional
        Default: today.
    signals : SignalSide, optional
        Signal side and bus, part of all these documents; default: that of the allocation. Where its boxes are not
        enough a warning says so, and nothing else of it is written.

    Returns
    -------
    list of Path
        The files.

    Raises
    ------
    WriteError
        One could not be written; the old files are still there.
    ValueError
        Two units have different modules of one name.
    """
    issue = Issue(revision, date or datetime.date.today())
    allocation = allocation if signals is None else allocation.with_signals(signals)
    files = {**_printed(allocation, issue), **_saved(allocation)}
    return write_files(folder, files, [f"{SAVED_FOLDER}/{name}" for name in SAVED_SHEETS.values()])


def _printed(allocation: Allocation, issue: Issue) -> dict[str, bytes]:
    pin_map = {"pin_map.csv": csv_bytes(allocation.pin_map())}
    if not available(*_LIBRARIES):
        text = "PDF, workbook and commissioning sheet are not written: pip install 'pdm_alloc[documents]'"
        warnings.warn(text, stacklevel=3)
        return pin_map
    from pdm_alloc.export.pdf_document import labels_pdf, pdf_bytes
    from pdm_alloc.export.pdf_grid import record_bytes, set_type, workbook_bytes
    from pdm_alloc.export.pdf_sheets import drawing_files, label_rows

    name = safe_name(allocation.vehicle.name)
    tables = {
        f"{TABLES_FOLDER}/{sheet.stem}.csv": csv_bytes(sheet.table.round(6))
        for sheet in sheets(allocation)
        if sheet.name != "Pin map"
    }
    documents = {f"{name}.pdf": pdf_bytes(allocation, issue), f"{name}.xlsx": workbook_bytes(allocation, issue)}
    documents[f"{name}_tables.xlsx"] = record_bytes(allocation, issue)
    documents["labels.pdf"] = labels_pdf(allocation, issue)
    documents["labels.csv"] = csv_bytes(pd.DataFrame(label_rows(allocation), columns=["label", "end", "to"]))
    drawn = drawing_files(allocation, set_type().normal)
    drawings = {f"{DRAWINGS_FOLDER}/{file}": content for file, content in drawn.items()}
    return {**documents, **pin_map, **tables, **drawings}


def _saved(allocation: Allocation) -> dict[str, bytes]:
    tables = {f"{SAVED_FOLDER}/{name}.csv": csv_bytes(table) for name, table in saved_tables(allocation).items()}
    return {"allocation.json": allocation_json(allocation), **tables}


Saved = Allocation | str | os.PathLike[str]


def rework_sheets(before: Allocation, after: Allocation) -> tuple[Sheet, ...]:
    """The rework list, and all changes behind it.

    Parameters
    ----------
    before, after : Allocation
        As it is built; as it is to be.

    Returns
    -------
    tuple of Sheet
        ``Rework list``, with a column to tick, and ``All changes``.
    """
    todo = rework(before, after).assign(done="")
    first = "What is to be done at the vehicle, in this order. Battery disconnected first."
    return (
        Sheet("Rework list", todo, first),
        Sheet("All changes", compare(before, after), "Everything that is different, currents included."),
    )


def write_rework(
    before: Saved,
    after: Saved,
    folder: str | os.PathLike[str],
    *,
    revision: str = "",
    date: datetime.date | None = None,
) -> list[Path]:
    """Write what has to be done to get from one allocation to another.

    Parameters
    ----------
    before, after : Allocation or path
        As it is built; as it is to be. A path is read with `read_allocation`.
    folder : path
        Made if it does not exist.
    revision : str
        The new one.
    date : datetime.date, optional
        Default: today.

    Returns
    -------
    list of Path
        ``<vehicle>_rework.pdf``, ``<vehicle>_rework.xlsx``, ``rework_list.csv``, ``all_changes.csv``.

    Raises
    ------
    InputError
        A saved allocation cannot be read.
    WriteError
        A file could not be written; the old ones are still there.
    ModuleNotFoundError
        The extra ``documents`` is not installed.
    """
    old, new = _allocation(before), _allocation(after)
    issue = Issue(revision, date or datetime.date.today())
    made, block, name = rework_sheets(old, new), _block(old, new, issue), new.vehicle.name
    documents = {
        f"{safe_name(name)}_rework.pdf": sheets_pdf(f"Rework of {name}", made, name, block, issue),
        f"{safe_name(name)}_rework.xlsx": sheets_workbook(made, name, block, issue),
    }
    return write_files(folder, documents | {f"{sheet.stem}.csv": csv_bytes(sheet.table) for sheet in made})


def _allocation(saved: Saved) -> Allocation:
    return saved if isinstance(saved, Allocation) else read_allocation(saved)


def _block(old: Allocation, new: Allocation, issue: Issue) -> list[tuple[str, str]]:
    """Title block of the new revision, with what the old one was."""
    was = dict(title_block(old, issue))
    lines = [("before: " + what, was[what]) for what in ("modules", "result", "vehicle tables")]
    return [*title_block(new, issue), *lines]


LONGEST = 80

# Names that Windows keeps for devices, with or without an ending.
_DEVICES = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\..*)?$")


def safe_name(text: str, otherwise: str = "vehicle") -> str:
    """A file name, without ending, that every system takes and that stays in its folder.

    Parameters
    ----------
    text : str
        Any name.
    otherwise : str
        Used where nothing of the name is left.

    Returns
    -------
    str
        Letters, digits, ``-``, ``_`` and ``.`` inside; at most 80 bytes in UTF-8.
    """
    plain = unicodedata.normalize("NFC", text)
    name = re.sub(r"[^\w.-]+", "_", plain).strip("._- ")
    name = name.encode()[:LONGEST].decode(errors="ignore").rstrip("._- ") or otherwise
    return f"_{name}" if _DEVICES.match(name) else name
