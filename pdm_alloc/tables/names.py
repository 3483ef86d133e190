"""Names of all tables there are: those of a vehicle and those of a catalogue may lie in one folder or workbook."""

from functools import cache

from pdm_alloc.tables.catalogue_rows import CATALOGUE_ROWS
from pdm_alloc.tables.cell import Number
from pdm_alloc.tables.row import cell_of, columns_of
from pdm_alloc.tables.vehicle_rows import VEHICLE_ROWS

__all__ = ["ALL_TABLES", "number_columns"]

ALL_TABLES = frozenset((*VEHICLE_ROWS, *CATALOGUE_ROWS, "states", "settings"))


@cache
def number_columns(table: str) -> frozenset[str]:
    """Columns of a table that hold numbers; none for the tables states and settings."""
    model = VEHICLE_ROWS.get(table) or CATALOGUE_ROWS.get(table)
    columns = columns_of(model) if model else {}
    return frozenset(name for name, info in columns.items() if isinstance(cell_of(info), Number))
