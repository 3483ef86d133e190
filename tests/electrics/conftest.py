"""Published rows, copied with source and status."""

import csv
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent / "published"


def rows(name, **wanted):
    """Rows of a published table as dicts of strings, those only whose columns have the wanted values."""
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return [row for row in csv.DictReader(file) if all(row[key] == value for key, value in wanted.items())]


@pytest.fixture
def published():
    """Function that reads a published table."""
    return rows
