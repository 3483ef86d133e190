"""The panel as a page: started by ``python -m pdm_alloc.panel``, shown by any browser, needs no network."""

import json
import os
from pathlib import Path

from pdm_alloc.module import Catalogue
from pdm_alloc.panel.panel import Panel
from pdm_alloc.tables.read_catalogue import read_catalogue
from pdm_alloc.tables.read_vehicle import read_vehicle
from pdm_alloc.vehicle import Vehicle

__all__ = ["TEMPLATE", "VARIABLE", "page", "read_both"]

VARIABLE = "PDM_ALLOC_PAGE"
TEMPLATE = "pdm_alloc"


def read_both(vehicle: str | Path, catalogue: str | Path | None) -> tuple[Vehicle, Catalogue]:
    """A vehicle and its catalogue.

    Parameters
    ----------
    vehicle : str or Path
        Folder or workbook.
    catalogue : str, Path or None
        Folder or workbook; None: the folder ``catalogue`` beside the vehicle.

    Returns
    -------
    tuple of Vehicle and Catalogue

    Raises
    ------
    InputError
        Tables that cannot be used.
    """
    beside = Path(vehicle).resolve().parent / "catalogue"
    return read_vehicle(vehicle), read_catalogue(beside if catalogue is None else catalogue)


def page() -> object:
    """The panel of the vehicle that was named when the page was started, for the one cell of the page.

    Returns
    -------
    Widget
        Without the picture for a saved notebook: a page is not saved.
    """
    named = json.loads(os.environ[VARIABLE])
    vehicle, catalogue = read_both(named["vehicle"], named["catalogue"])
    return Panel(vehicle, catalogue, named["module"]).box
