"""The tables of a folder or a workbook, found by name; a workbook is looked over before it is unpacked."""

import datetime
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from hashlib import sha256
from itertools import zip_longest
from pathlib import Path
from typing import Any

from pdm_alloc.files.atomic import reading
from pdm_alloc.files.cells import CellError, Exact, Number, Odd, is_unit, plain_header
from pdm_alloc.files.faults import Faults, InputError, nearest
from pdm_alloc.files.grids import MOST_COLUMNS, Grid, grid_of, read_csv
from pdm_alloc.files.rows import cell_of, columns_of
from pdm_alloc.files.tables.catalogue_rows import CATALOGUE_ROWS
from pdm_alloc.files.tables.vehicle_rows import VEHICLE_ROWS

__all__ = [
    "ALL_TABLES",
    "MOST_UNPACKED",
    "Source",
    "digest",
    "inspect_archive",
    "is_catalogue",
    "number_columns",
    "open_source",
    "read_workbook",
    "table_files",
]

ALL_TABLES = frozenset((*VEHICLE_ROWS, *CATALOGUE_ROWS, "states", "settings"))

_Known = Mapping[str, tuple[str, ...]]  # columns by table


@cache
def number_columns(table: str) -> frozenset[str]:
    """Columns of a table that hold numbers; none for the tables states and settings."""
    model = VEHICLE_ROWS.get(table) or CATALOGUE_ROWS.get(table)
    columns = columns_of(model) if model else {}
    return frozenset(name for name, info in columns.items() if isinstance(cell_of(info), Number))


_WANTED = "give a folder of CSV files, or an XLSX workbook"


@dataclass
class Source:
    """Where tables came from.

    Parameters
    ----------
    name : str
        Of the folder or the workbook, without extension.
    grids : dict of str to Grid
        By table; an empty table is not among them.
    broken : set of str
        Tables that are there but could not be read.
    toml : Path or None
        ``settings.toml`` of a folder.
    workbooks : list of str
        Names of workbooks in the folder, none of which is read.
    """

    name: str
    grids: dict[str, Grid] = field(default_factory=dict)
    broken: set[str] = field(default_factory=set)
    toml: Path | None = None
    workbooks: list[str] = field(default_factory=list)

    def require(self, table: str, why: str, faults: Faults) -> None:
        """Note a table that is missing or has nothing in it."""
        if table in self.broken or (table in self.grids and self.grids[table].rows):
            return
        if table in self.grids:
            faults.add(table, None, None, None, "has no rows", why)
        else:
            why += f"; or give the path of the workbook {self.workbooks[0]}" if self.workbooks else ""
            passed = [note.table for note in faults.notes if note.table not in self.grids and note.row is None]
            why += f"; the sheets there are have other names: {', '.join(passed[:8])}" if passed else ""
            faults.add(table, None, None, None, "is missing or empty", why)


def open_source(path: str | Path, known: _Known, faults: Faults) -> Source:
    """The tables at a path.

    Parameters
    ----------
    path : str or Path
        A folder of CSV files, or an XLSX workbook.
    known : dict of str to tuple of str
        Columns by table.
    faults : Faults
        Where faults of tables are noted.

    Returns
    -------
    Source
        With the tables that could be read.

    Raises
    ------
    InputError
        There is no folder and no workbook that can be opened at all.
    """
    place = Path(path)
    try:
        if place.is_dir():
            with reading(place):
                return _folder(place, known, faults)
        if place.is_file():
            with reading(place.resolve().parent):
                return _file(place, known, faults)
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError.of(str(path), None, None, None, f"cannot be read ({_why(error)})", _WANTED) from error
    raise InputError.of(str(path), None, None, None, "does not exist", _WANTED)


def is_catalogue(path: str | Path) -> bool:
    """Whether a folder holds a catalogue and no vehicle, as the names of its files tell; False for a workbook."""
    place = Path(path)
    names = {plain_header(file.stem) for file in place.glob("*.[cC][sS][vV]")} if place.is_dir() else set()
    return bool(names & {"modules", "channels"}) and "loads" not in names


def _why(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error)


def _file(place: Path, known: _Known, faults: Faults) -> Source:
    if place.suffix.lower() != ".xlsx":
        raise InputError.of(str(place), None, None, None, "is not an XLSX workbook", f"save it as .xlsx; {_WANTED}")
    return Source(place.stem, read_workbook(place, known, faults))


def _folder(place: Path, known: _Known, faults: Faults) -> Source:
    source = Source(place.resolve().name)
    for file in sorted(place.iterdir()):
        if file.name.startswith((".", "~")):
            continue
        if file.suffix.lower() == ".csv":
            _take_csv(source, file, known, faults)
        elif file.suffix.lower() == ".toml":
            _take_toml(source, file, known, faults)
        elif file.suffix.lower() == ".xlsx":
            source.workbooks.append(file.name)
    return source


def _take_csv(source: Source, file: Path, known: _Known, faults: Faults) -> None:
    table = plain_header(file.stem)
    if table.startswith("x_") or (table in ALL_TABLES and table not in known):
        return
    if table not in known:
        names = [f"{name}.csv" for name in known]
        otherwise = "start its name with x_ to keep it unread"
        faults.unknown(file.name, None, None, None, names, "is not a table known here", otherwise)
    elif table in source.grids:
        source.broken.add(table)
        faults.add(table, None, None, file.name, "appears twice", "delete one of the two files")
    else:
        _take_grid(source, table, read_csv(file, table, known[table], faults))


def _take_grid(source: Source, table: str, grid: Grid | None) -> None:
    if grid is None or grid.partial:
        source.broken.add(table)
    if grid is not None and grid.header:
        source.grids[table] = grid


def _take_toml(source: Source, file: Path, known: _Known, faults: Faults) -> None:
    if plain_header(file.stem) == "settings" and "settings" in known:
        source.toml = file
    elif not file.stem.startswith("x_"):
        faults.add(file.name, None, None, None, "is not a file known here", "the settings are in settings.toml")


def digest(path: str | Path) -> str:
    """A digest of the files of a vehicle or a catalogue: equal while nobody has changed them.

    Parameters
    ----------
    path : str or Path
        Folder or workbook.

    Returns
    -------
    str
        SHA-256 in hexadecimal digits, over names and contents of the tables.
    """
    place = Path(path)
    files = sorted(table_files(place)) if place.is_dir() else [place]
    total = sha256()
    for file in files:
        total.update(file.name.encode() + b"\0" + sha256(file.read_bytes()).digest())
    return total.hexdigest()


def table_files(folder: Path) -> Iterator[Path]:
    """Files of a folder that hold tables."""
    for file in folder.iterdir():
        if file.suffix.lower() in (".csv", ".toml") and not file.name.startswith((".", "~")) and file.is_file():
            yield file


MOST_PACKED = 20_000_000
MOST_UNPACKED = 50_000_000
MOST_PART = 20_000_000
MOST_PARTS = 2_000

# An element or an attribute takes some 100 bytes once parsed; these many are 20,000 rows of 25 columns and more.
MOST_TAGS = 3_000_000
MOST_ATTRIBUTES = 5_000_000

_FORMULA = re.compile(rb"<(?:\w+:)?f[\s/>]")

_SMALLER = "a vehicle's tables are far smaller: copy them into a new workbook"


def inspect_archive(path: Path) -> bool:
    """Refuse a workbook that is none, or that would take too much memory.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    bool
        Whether any sheet has a formula.

    Raises
    ------
    CellError
        What is wrong with the file.
    """
    if path.stat().st_size > MOST_PACKED:
        raise CellError(f"is larger than {MOST_PACKED / 1e6:g} MB", _SMALLER)
    try:
        with zipfile.ZipFile(path) as archive:
            _check_sizes(archive.infolist())
            return _check_parts(archive)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, ValueError) as error:
        if isinstance(error, CellError):
            raise
        raise CellError("is not an XLSX workbook", "save it as .xlsx, without a password") from error


def _check_sizes(parts: list[zipfile.ZipInfo]) -> None:
    if len(parts) > MOST_PARTS:
        raise CellError(f"has more than {MOST_PARTS:,} parts", _SMALLER)
    if sum(part.file_size for part in parts) > MOST_UNPACKED:
        raise CellError(f"unpacks to more than {MOST_UNPACKED / 1e6:g} MB", _SMALLER)
    if any(part.file_size > MOST_PART for part in parts):
        raise CellError(f"has a sheet of more than {MOST_PART / 1e6:g} MB", _SMALLER)
    if not any(part.filename == "[Content_Types].xml" for part in parts):
        raise CellError("is not an XLSX workbook", "save it as .xlsx")


def _check_parts(archive: zipfile.ZipFile) -> bool:
    tags = attributes = 0
    formula = False
    for part in archive.infolist():
        if not part.filename.lower().endswith((".xml", ".rels")):
            continue
        data = archive.read(part)
        tags, attributes = tags + data.count(b"<"), attributes + data.count(b"=")
        if tags > MOST_TAGS or attributes > MOST_ATTRIBUTES:
            raise CellError("has too many cells", _SMALLER)
        if b"<!" in data.replace(b"\0", b"").replace(b"<!--", b""):
            raise CellError(
                "has definitions in it that no spreadsheet writes", "open it in a spreadsheet and save it again"
            )
        formula = formula or ("sheets/" in part.filename and _FORMULA.search(data) is not None)
    return formula


_ANEW = "open it in a spreadsheet and save it again as .xlsx"

# Text a cell adds to its number, as the format 0 "mA" does.
_QUOTED = re.compile(r'"([^"]*)"|\\(.)')

_LIKE_A_TABLE = 0.75

_DATES = (datetime.date, datetime.time, datetime.timedelta)


def read_workbook(path: Path, known: Mapping[str, tuple[str, ...]], faults: Faults) -> dict[str, Grid]:
    """Tables of a workbook.

    Parameters
    ----------
    path : Path
        The file.
    known : dict of str to tuple of str
        Columns by table.
    faults : Faults
        Where faults are noted.

    Returns
    -------
    dict of str to Grid
        By table; empty sheets, and sheets whose names start with ``x_``, are left out.

    Raises
    ------
    InputError
        The file cannot be read at all.
    """
    try:
        has_formula = inspect_archive(path)
        _refuse_charts_only(path)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return _read(path, known, has_formula, faults)
    except CellError as error:
        raise InputError.of(str(path), None, None, None, error.message, error.remedy) from error
    # A damaged workbook makes the reader fail in a hundred ways, none of which is a fault of this program.
    except Exception as error:
        what = f"cannot be read as a workbook ({(str(error) or type(error).__name__).splitlines()[0]})"
        raise InputError.of(str(path), None, None, None, what, _ANEW) from error


def _refuse_charts_only(path: Path) -> None:
    with zipfile.ZipFile(path) as archive:
        names = archive.namelist()
    if any(name.startswith("xl/chartsheets/") for name in names) and not any(
        name.startswith("xl/worksheets/") for name in names
    ):
        raise CellError("has no sheet with cells", "copy the tables into a workbook with a sheet for each")


def _read(path: Path, known: _Known, has_formula: bool, faults: Faults) -> dict[str, Grid]:
    import openpyxl

    grids: dict[str, Grid] = {}
    with path.open("rb") as file, path.open("rb") as again:
        book = openpyxl.load_workbook(file, read_only=True, data_only=True, keep_links=False)
        formulas = openpyxl.load_workbook(again, read_only=True, keep_links=False) if has_formula else None
        for sheet in book.worksheets:
            table = plain_header(sheet.title)
            if table.startswith("x_") or (table in ALL_TABLES and table not in known):
                continue
            grid = grid_of(
                table, _records(sheet, formulas[sheet.title] if formulas else None), faults, known=known.get(table, ())
            )
            _take(grids, table, grid, sheet.title, known, faults)
        book.close()
    return grids


def _take(grids: dict[str, Grid], table: str, grid: Grid, title: str, known: _Known, faults: Faults) -> None:
    if not grid.header:
        return
    if table in grids:
        faults.add(table, None, None, title, "appears twice", "delete one of the two sheets")
    elif table not in known and nearest(table, known, _LIKE_A_TABLE) is None:
        faults.note(title, None, None, None, "is a sheet with another name than any table has and is passed over")
    elif table not in known:
        faults.unknown(
            title, None, None, None, known, "is not a table known here", "start its name with x_ to keep it unread"
        )
    else:
        grids[table] = grid


def _records(sheet: Any, formulas: Any) -> Iterator[list[str]]:
    rows = _rows(sheet)
    if formulas is None:
        return ([_as_text(cell) for cell in row] for row in rows)
    return (
        [_with_formula(*pair) for pair in zip_longest(row, other)] for row, other in zip_longest(rows, _rows(formulas))
    )


def _rows(sheet: Any) -> Iterator[tuple[Any, ...]]:
    from openpyxl.cell.read_only import EMPTY_CELL

    # The size a sheet states for itself may be a lie: only the cells count.
    sheet.reset_dimensions()
    width, blank = 0, None
    for row in sheet.iter_rows(min_row=1, max_col=MOST_COLUMNS + 1):
        # Rows that are not there at all are one and the same object, and there may be a million.
        if row is blank:
            yield ()
            continue
        # Rows come padded to the full width; few cells of it are there, and looking at each would take seconds.
        if not set(map(id, row[width:])) <= {id(EMPTY_CELL)}:
            width = max(at for at, cell in enumerate(row, 1) if cell is not EMPTY_CELL)
        blank = row
        yield row[:width]


def _with_formula(cell: Any, formula: Any) -> str:
    text = _as_text(cell)
    if text == "" and formula is not None and formula.value is not None:
        return Odd(str(formula.value), "is a formula without a value", "open the workbook in a spreadsheet and save it")
    return text


def _as_text(cell: Any) -> str:
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, (int, float)):
        return _number(value, cell.number_format)
    if isinstance(value, _DATES):
        return Odd(
            _iso(value),
            "is a date",
            "the spreadsheet has made one of what was typed: format the cell as text or number",
        )
    return str(value).replace("\r\n", "\n").replace("\r", "\n")


def _iso(value: object) -> str:
    return str(value).removesuffix(" 00:00:00")


def _number(value: int | float, shown_as: str | None) -> str:
    """A number as its cell shows it, per cent or unit included, without what floating point leaves behind."""
    positive = (shown_as or "").split(";")[0]
    shown = _QUOTED.sub("", positive)
    if "%" in shown:
        return Exact(f"{value * 100:.13g} %")
    text = str(int(value)) if isinstance(value, int) or value.is_integer() else f"{value:.15g}"
    added = "".join(match[1] or match[2] for match in _QUOTED.finditer(positive)).strip()
    return Exact(f"{text} {added}" if is_unit(added) else text)
