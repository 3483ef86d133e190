"""Names of all tables there are: those of a vehicle and those of a catalogue may lie in one folder or workbook."""

from pdm_alloc.tables.catalogue_rows import CATALOGUE_ROWS
from pdm_alloc.tables.vehicle_rows import VEHICLE_ROWS

__all__ = ["ALL_TABLES"]

ALL_TABLES = frozenset((*VEHICLE_ROWS, *CATALOGUE_ROWS, "states", "settings"))
