"""Every file read and written: tables with their schemas, saved allocations, traces, measurements."""

from pdm_alloc.files.faults import Fault, InputError
from pdm_alloc.files.tables.read_catalogue import read_catalogue
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from pdm_alloc.files.tables.references import check_against
from pdm_alloc.files.write_tables import catalogue_tables, new_tables, vehicle_tables, write_catalogue, write_vehicle

__all__ = [
    "Fault",
    "InputError",
    "catalogue_tables",
    "check_against",
    "new_tables",
    "read_catalogue",
    "read_vehicle",
    "vehicle_tables",
    "write_catalogue",
    "write_vehicle",
]
