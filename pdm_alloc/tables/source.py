"""The tables of a folder or a workbook, found by name."""

from dataclasses import dataclass, field
from pathlib import Path

from pdm_alloc.tables.csv_file import read_csv
from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.grid import Grid
from pdm_alloc.tables.header import plain_header

__all__ = ["Source", "open_source"]


@dataclass
class Source:
    """Where tables came from.

    Parameters
    ----------
    path : Path
        The folder or the workbook.
    name : str
        Its name without extension.
    grids : dict of str to Grid
        By table; an empty table is not among them.
    toml : Path or None
        ``settings.toml`` of a folder.
    """

    path: Path
    name: str
    grids: dict[str, Grid] = field(default_factory=dict)
    toml: Path | None = None


def open_source(path, known: dict[str, tuple[str, ...]], faults: Faults) -> Source:
    """The tables at a path.

    Parameters
    ----------
    path : str or Path
        A folder of CSV files, or an XLSX workbook.
    known : dict of str to tuple of str
        Columns by table.
    faults : Faults
        Where faults are noted.

    Returns
    -------
    Source
        With the tables that could be read.
    """
    place = Path(path)
    try:
        if place.is_dir():
            return _folder(place, known, faults)
        if place.is_file():
            return _file(place, known, faults)
        faults.add(
            place.name or str(path),
            None,
            None,
            None,
            "does not exist",
            "give a folder of CSV files or an XLSX workbook",
        )
    except (OSError, ValueError) as error:
        faults.add(place.name or str(path), None, None, None, f"cannot be read ({error})", "see that you may read it")
    return Source(place, place.stem)


def _file(place, known, faults):
    if place.suffix.lower() != ".xlsx":
        faults.add(
            place.name, None, None, None, "is not an XLSX workbook", "save it as .xlsx, or give the folder of CSV files"
        )
        return Source(place, place.stem)
    from pdm_alloc.tables.workbook import read_workbook

    return Source(place, place.stem, read_workbook(place, known, faults))


def _folder(place, known, faults):
    source = Source(place, place.resolve().name)
    for file in sorted(place.iterdir()):
        if file.name.startswith((".", "~")):
            continue
        if file.suffix.lower() == ".csv":
            _take_csv(source, file, known, faults)
        elif file.suffix.lower() == ".toml":
            _take_toml(source, file, known, faults)
    return source


def _take_csv(source, file, known, faults):
    table = plain_header(file.stem)
    if table.startswith("x_"):
        return
    if table not in known:
        faults.unknown(file.name, None, None, None, [f"{name}.csv" for name in known], "is not a table known here")
    elif table in source.grids:
        faults.add(table, None, None, file.name, "is there twice", "delete one of the two files")
    else:
        grid = read_csv(file, table, known[table], faults)
        source.grids.update({table: grid} if grid and grid.header else {})


def _take_toml(source, file, known, faults):
    if plain_header(file.stem) == "settings" and "settings" in known:
        source.toml = file
    elif not file.stem.startswith("x_"):
        faults.add(file.name, None, None, None, "is not a file known here", "the settings are in settings.toml")
