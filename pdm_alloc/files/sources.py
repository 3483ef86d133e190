"""The tables of a folder or a workbook, found by name."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from hashlib import sha256
from pathlib import Path

from pdm_alloc.files.atomic import reading
from pdm_alloc.files.cells import Number, plain_header
from pdm_alloc.files.faults import Faults, InputError
from pdm_alloc.files.grids import Grid, read_csv
from pdm_alloc.files.rows import cell_of, columns_of
from pdm_alloc.files.tables.catalogue_rows import CATALOGUE_ROWS
from pdm_alloc.files.tables.vehicle_rows import VEHICLE_ROWS

__all__ = ["ALL_TABLES", "Source", "digest", "is_catalogue", "number_columns", "open_source", "table_files"]

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
    from pdm_alloc.files.workbook_file import read_workbook

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
