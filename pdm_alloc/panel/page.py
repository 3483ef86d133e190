"""The panel as a page in the browser, without network."""

import argparse
import json
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from pdm_alloc.domain.module import Catalogue
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.files.tables.read_catalogue import read_catalogue
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from pdm_alloc.panel.panel import Panel

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
    catalogue = named["catalogue"] or Path(named["vehicle"]).resolve().parent / "catalogue"
    return Panel.of_files(named["vehicle"], catalogue, named["module"]).box


_HERE = Path(__file__).parent

# Only what the panel needs; another extension of JupyterLab may be unfit for a page, or slow.
_EXTENSIONS = ("@jupyter-widgets/jupyterlab-manager", "@voila-dashboards/widgets-manager8", "anywidget")


def main(arguments: Sequence[str] | None = None) -> int:
    """Read the tables, then serve the page until it is interrupted.

    Parameters
    ----------
    arguments : sequence of str, optional
        As on the command line.

    Returns
    -------
    int
        0, or 2 where the tables cannot be used.
    """
    given = _parser().parse_args(arguments)
    try:
        from pdm_alloc.files.faults import InputError
    except ImportError as missing:
        return _refuse(missing)
    try:
        _, catalogue = read_both(given.vehicle, given.catalogue)
        given.module is None or catalogue[given.module]
    except InputError as faults:
        return _refuse(faults)
    except KeyError:
        return _refuse(f"'{given.module}' is no module of the catalogue: {', '.join(m.name for m in catalogue)}")
    return _serve(given)


def _refuse(why: object) -> int:
    print(why, file=sys.stderr)
    return 2


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="pdm-alloc panel", description=__doc__)
    parser.add_argument("vehicle", help="folder of CSV files, or an XLSX workbook")
    parser.add_argument("--catalogue", help="folder or workbook (default: the folder 'catalogue' beside the vehicle)")
    parser.add_argument("--module", help="module to begin with")
    parser.add_argument("--port", type=int, default=8866, help="port to serve at (default: 8866)")
    parser.add_argument("--dark", action="store_true", help="dark page")
    parser.add_argument("--no-browser", action="store_true", help="do not open a browser")
    return parser


def _serve(given: argparse.Namespace) -> int:
    try:
        from pdm_alloc.panel.page_server import PageServer
    except ModuleNotFoundError as missing:
        return _refuse(f"the page needs {missing.name}: pip install 'pdm_alloc[notebook]'")
    absolute = {
        key: value and str(Path(value).resolve())
        for key, value in (("vehicle", given.vehicle), ("catalogue", given.catalogue))
    }
    os.environ[VARIABLE] = json.dumps({**absolute, "module": given.module})
    os.environ["JUPYTER_PATH"] = os.pathsep.join(filter(None, (str(_HERE / "share"), os.environ.get("JUPYTER_PATH"))))
    PageServer.launch_instance(argv=_options(given, TEMPLATE))
    return 0


def _options(given: argparse.Namespace, template: str) -> list[str]:
    options = [str(_HERE / "page.ipynb"), f"--template={template}", f"--port={given.port}"]
    options += [f"--theme={'dark' if given.dark else 'light'}"]
    options += [f"--VoilaConfiguration.extension_allowlist={name}" for name in _EXTENSIONS]
    return [*options, "--no-browser"] if given.no_browser else options
