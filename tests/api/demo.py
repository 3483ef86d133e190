"""The demo, read and allocated once."""

from functools import cache
from pathlib import Path

import pdm_alloc as pa

__all__ = ["DATA", "allocation", "car", "catalogue"]

DATA = Path(__file__).parents[2] / "data"


@cache
def car():
    return pa.read_vehicle(DATA / "rally_coupe")


@cache
def catalogue():
    return pa.read_catalogue(DATA / "catalogue")


@cache
def allocation():
    return pa.allocate(car(), catalogue()["middle-36"])
