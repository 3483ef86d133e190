"""A fingerprint of each table: the same for CSV and XLSX, and whatever the order of rows and columns."""

import json
from dataclasses import replace
from hashlib import sha256

from pdm_alloc.module import Catalogue
from pdm_alloc.tables.plain import Plain, catalogue_plain, vehicle_plain
from pdm_alloc.vehicle import Vehicle

__all__ = ["catalogue_hashes", "table_hashes", "vehicle_hashes"]


def table_hashes(tables: Plain) -> tuple[tuple[str, str], ...]:
    """SHA-256 of the content of each table.

    Parameters
    ----------
    tables : dict of str to list of dict of str to str
        As `pdm_alloc.tables.plain` makes them.

    Returns
    -------
    tuple of (str, str)
        Table and hexadecimal digest, sorted by table.
    """
    return tuple((table, _digest(rows)) for table, rows in sorted(tables.items()))


def _digest(rows):
    filled = [{column: cell for column, cell in row.items() if cell} for row in rows]
    lines = sorted(json.dumps(row, sort_keys=True) for row in filled)
    return sha256("\n".join(lines).encode()).hexdigest()


def vehicle_hashes(vehicle: Vehicle) -> Vehicle:
    """The vehicle with the fingerprints of its tables as they now are."""
    return replace(vehicle, table_hashes=table_hashes(vehicle_plain(vehicle)))


def catalogue_hashes(catalogue: Catalogue) -> Catalogue:
    """The catalogue with the fingerprints of its tables as they now are."""
    return replace(catalogue, table_hashes=table_hashes(catalogue_plain(catalogue)))
