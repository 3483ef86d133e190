"""A vehicle from tables of text that no file holds: the way back from `pdm_alloc.tables.plain`."""

from pdm_alloc.tables.cell import Exact
from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.grid import Grid
from pdm_alloc.tables.plain import Plain, headers
from pdm_alloc.tables.read_vehicle import vehicle_of
from pdm_alloc.tables.source import Source
from pdm_alloc.vehicle import Vehicle

__all__ = ["read_plain"]


def read_plain(tables: Plain, name: str) -> Vehicle:
    """The vehicle in tables of text, checked as `pdm_alloc.tables.read_vehicle` checks files.

    Parameters
    ----------
    tables : dict of str to list of dict of str to str
        Rows by table, cells by column, as `pdm_alloc.tables.plain.vehicle_plain` makes them.
    name : str
        Name of the vehicle, where the settings give it none.

    Returns
    -------
    Vehicle
        Equal to the one the tables were made of.

    Raises
    ------
    InputError
        With every fault of every table; the header counts as row 1.
    """
    grids = {table: _grid(table, rows) for table, rows in tables.items() if rows}
    return vehicle_of(Source(name, grids), Faults())


def _grid(table: str, rows: list[dict[str, str]]) -> Grid:
    columns = headers(rows)
    cells = [(number, [_text(row.get(column, "")) for column in columns]) for number, row in enumerate(rows, start=2)]
    return Grid(table, 1, columns, cells)


def _text(value: object) -> str:
    """Text as it is; a number of a data frame with the decimal point Python gives it."""
    return value if isinstance(value, str) else Exact(value)
