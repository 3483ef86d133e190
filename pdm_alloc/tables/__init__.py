"""Tables of vehicles and catalogues: read, checked, written; the only place that knows their files."""

from pdm_alloc.tables.against import check_against
from pdm_alloc.tables.fault import Fault, InputError
from pdm_alloc.tables.new import new_tables
from pdm_alloc.tables.read_catalogue import read_catalogue
from pdm_alloc.tables.read_vehicle import read_vehicle
from pdm_alloc.tables.write import catalogue_tables, vehicle_tables, write_catalogue, write_vehicle

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
