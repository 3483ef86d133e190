"""Tables of vehicles and catalogues: read, checked, written; the only place that knows their files."""

from pdm_alloc.tables.fault import Fault, InputError
from pdm_alloc.tables.read_catalogue import read_catalogue
from pdm_alloc.tables.read_vehicle import read_vehicle

__all__ = ["Fault", "InputError", "read_catalogue", "read_vehicle"]
