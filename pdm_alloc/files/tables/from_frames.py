"""A vehicle or a catalogue from DataFrames, through the same checks as from files."""

from collections.abc import Iterable, Mapping, Set
from fractions import Fraction
from numbers import Integral, Real
from typing import TYPE_CHECKING, Any

from pdm_alloc.domain.module import Catalogue
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.files.faults import Faults, hint
from pdm_alloc.files.grids import Grid, grid_of
from pdm_alloc.files.rows import unmistakable
from pdm_alloc.files.sources import Source
from pdm_alloc.files.tables.read_catalogue import CATALOGUE_COLUMNS, catalogue_of
from pdm_alloc.files.tables.read_vehicle import vehicle_of
from pdm_alloc.files.tables.signal_tables import decimal
from pdm_alloc.files.tables.vehicle_rows import VEHICLE_ROWS

__all__ = ["catalogue", "cell_text", "vehicle"]

if TYPE_CHECKING:
    import pandas as pd


def vehicle(
    loads: "pd.DataFrame",
    *,
    commands: "pd.DataFrame | None" = None,
    inputs: "pd.DataFrame | None" = None,
    states: "pd.DataFrame | None" = None,
    supply: "pd.DataFrame | None" = None,
    places: "pd.DataFrame | None" = None,
    routes: "pd.DataFrame | None" = None,
    locked: "pd.DataFrame | None" = None,
    concessions: "pd.DataFrame | None" = None,
    grounds: "pd.DataFrame | None" = None,
    wire_colours: "pd.DataFrame | None" = None,
    parts: "pd.DataFrame | None" = None,
    removed: "pd.DataFrame | None" = None,
    fitted: "pd.DataFrame | None" = None,
    settings: Mapping[str, object] | None = None,
    name: str = "vehicle",
    **others: "pd.DataFrame | None",
) -> Vehicle:
    """A vehicle from DataFrames, checked as `pdm_alloc.read_vehicle` checks files.

    Parameters
    ----------
    loads : DataFrame
        Required.
    commands, inputs, states, supply, places, routes, locked, concessions : DataFrame, optional
        The other tables of the vehicle.
    grounds, wire_colours, parts, removed, fitted : DataFrame, optional
        The tables of the bench. Columns and units of all as in the files; missing values are empty cells. A named
        index counts as a column.
    settings : mapping of str to object, optional
        Values by setting, as in ``settings.toml``.
    name : str
        Name of the vehicle, where the settings give it none.
    others : DataFrame
        The further optional tables of a vehicle, by name: signals, messages and so on.

    Returns
    -------
    Vehicle
        Equal to the one read from files with the same cells.

    Raises
    ------
    InputError
        With every fault of every table; rows are counted as in the file the frame would be saved to:
        the header is row 1, the frame's first row is row 2.
    TypeError
        A table is no DataFrame, or the settings are no mapping.
    """
    tables = {
        "loads": loads,
        "commands": commands,
        "inputs": inputs,
        "states": states,
        "supply": supply,
        "places": places,
        "routes": routes,
        "locked": locked,
        "concessions": concessions,
        "grounds": grounds,
        "wire_colours": wire_colours,
        "parts": parts,
        "removed": removed,
        "fitted": fitted,
        **_known("vehicle", others, VEHICLE_ROWS),
    }
    faults = Faults()
    source = _source(name, tables, faults)
    if settings:
        source.grids["settings"] = _settings_grid(settings, faults)
    return vehicle_of(source, faults)


def catalogue(
    modules: "pd.DataFrame",
    channels: "pd.DataFrame",
    *,
    banks: "pd.DataFrame | None" = None,
    derating: "pd.DataFrame | None" = None,
    name: str = "catalogue",
    **others: "pd.DataFrame | None",
) -> Catalogue:
    """A catalogue from DataFrames, checked as `pdm_alloc.read_catalogue` checks files.

    Parameters
    ----------
    modules, channels, banks, derating : DataFrame
        Columns and units as in the files; `modules` and `channels` are required.
    name : str
        Name of the catalogue.
    others : DataFrame
        The further optional tables of a catalogue, by name: control_units, signal_pins, keypads.

    Returns
    -------
    Catalogue

    Raises
    ------
    InputError
        With every fault of every table; rows are counted as in the file the frame would be saved to.
    TypeError
        A table is no DataFrame.
    """
    tables = {
        "modules": modules,
        "channels": channels,
        "banks": banks,
        "derating": derating,
        **_known("catalogue", others, CATALOGUE_COLUMNS),
    }
    faults = Faults()
    return catalogue_of(_source(name, tables, faults), faults)


def _known(verb: str, others: Mapping[str, Any], tables: Iterable[str]) -> Mapping[str, Any]:
    names = list(tables)
    unknown = [table for table in others if table not in names]
    if unknown:
        raise TypeError(f"{verb}() knows no table {unknown[0]!r}: {hint(unknown[0], names)}")
    return others


def _source(name: str, tables: Mapping[str, Any], faults: Faults) -> Source:
    source = Source(name)
    for table, frame in tables.items():
        if frame is None:
            continue
        grid = _grid(table, frame, faults)
        if grid.partial:
            source.broken.add(table)
        if grid.header:
            source.grids[table] = grid
    return source


def _grid(table: str, frame: Any, faults: Faults) -> Grid:
    import pandas as pd

    if not isinstance(frame, pd.DataFrame):
        raise TypeError(f"{table} must be a DataFrame with one row per line of the table, not {type(frame).__name__}")
    named = [level for level in frame.index.names if level is not None]
    whole = frame.reset_index(level=named) if named else frame
    header = [cell_text(column) for column in whole.columns]
    cells = whole.itertuples(index=False, name=None)
    return grid_of(table, [header, *([_frame_cell(value) for value in row] for row in cells)], faults)


def _settings_grid(settings: Mapping[str, object], faults: Faults) -> Grid:
    if not isinstance(settings, Mapping):
        raise TypeError(f"settings must be a mapping of setting to value, not {type(settings).__name__}")
    rows = [[str(key), cell_text(value)] for key, value in settings.items() if value is not None]
    return grid_of("settings", [["setting", "value"], *rows], faults)


def cell_text(value: object) -> str:
    """The text somebody would type for a value.

    Parameters
    ----------
    value : object
        Text, number, yes or no as a bool, words as an iterable of text; None is an empty cell.

    Returns
    -------
    str
        A float as its shortest decimal, so that 0.1 is read as a tenth and not as its nearest binary fraction; one
        digit more where 1.001 could be a thousand and one.
    """
    if value is None or isinstance(value, (str, bool)):
        return decimal(value)
    if isinstance(value, Integral):
        return str(int(value))
    if isinstance(value, Real):
        return unmistakable(decimal(value if isinstance(value, Fraction) else float(value)))
    if isinstance(value, Iterable):
        words = [str(word) for word in value]
        return " ".join(sorted(words) if isinstance(value, Set) else words)
    return _yes_no(value) or str(value)


def _yes_no(value: object) -> str:
    """Of an array library's own bool, which is none of Python's."""
    return {"True": "yes", "False": "no"}.get(str(value), "")


def _frame_cell(value: object) -> str:
    """As `cell_text`, with every missing value an empty cell: a frame has no other way to leave a cell out."""
    return "" if str(value) in ("nan", "<NA>", "NaT") and not isinstance(value, str) else cell_text(value)
