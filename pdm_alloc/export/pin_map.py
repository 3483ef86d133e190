"""The pin map alone, as a CSV file."""

import os
from pathlib import Path

from pdm_alloc.allocation.result import Allocation
from pdm_alloc.export.csv_table import csv_bytes
from pdm_alloc.tables.whole import write_file

__all__ = ["write_pin_map"]


def write_pin_map(allocation: Allocation, path: str | os.PathLike[str]) -> Path:
    """Write the pin map as CSV.

    Parameters
    ----------
    allocation : Allocation
        What is wired.
    path : path
        The file; its folder must exist. An existing file is replaced, whole or not at all.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    WriteError
        It could not be written.
    """
    return write_file(path, csv_bytes(allocation.pin_map()))
