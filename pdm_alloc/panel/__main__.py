"""``python -m pdm_alloc.panel VEHICLE``: the panel as a page in the browser, without network."""

import argparse
import json
import os
import sys
from collections.abc import Sequence
from pathlib import Path

_HERE = Path(__file__).parent
# Only what the panel needs; another extension of JupyterLab may be unfit for a page, or slow.
_EXTENSIONS = ("@jupyter-widgets/jupyterlab-manager", "@voila-dashboards/widgets-manager8", "anywidget")
# A kernel outlives the page that started it, unless it is looked after.
_CULLING = ("cull_interval=60", "cull_idle_timeout=600", "cull_connected=False")


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
        from pdm_alloc.panel import page
        from pdm_alloc.tables.fault import InputError
    except ImportError as missing:
        return _refuse(missing)
    try:
        _, catalogue = page.read_both(given.vehicle, given.catalogue)
        given.module is None or catalogue[given.module]
    except InputError as faults:
        return _refuse(faults)
    except KeyError:
        return _refuse(f"'{given.module}' is no module of the catalogue: {', '.join(m.name for m in catalogue)}")
    return _serve(given, page)


def _refuse(why: object) -> int:
    print(why, file=sys.stderr)
    return 2


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m pdm_alloc.panel", description=__doc__)
    parser.add_argument("vehicle", help="folder of CSV files, or an XLSX workbook")
    parser.add_argument("--catalogue", help="folder or workbook (default: the folder 'catalogue' beside the vehicle)")
    parser.add_argument("--module", help="module to begin with")
    parser.add_argument("--port", type=int, default=8866, help="port to serve at (default: 8866)")
    parser.add_argument("--dark", action="store_true", help="dark page")
    parser.add_argument("--no-browser", action="store_true", help="do not open a browser")
    return parser


def _serve(given: argparse.Namespace, page) -> int:
    try:
        from voila.app import Voila
    except ModuleNotFoundError as missing:
        return _refuse(f"the page needs {missing.name}: pip install 'pdm_alloc[notebook]'")
    absolute = {
        key: value and str(Path(value).resolve())
        for key, value in (("vehicle", given.vehicle), ("catalogue", given.catalogue))
    }
    os.environ[page.VARIABLE] = json.dumps({**absolute, "module": given.module})
    os.environ["JUPYTER_PATH"] = os.pathsep.join(filter(None, (str(_HERE / "share"), os.environ.get("JUPYTER_PATH"))))
    Voila.launch_instance(argv=_options(given, page.TEMPLATE))
    return 0


def _options(given: argparse.Namespace, template: str) -> list[str]:
    options = [str(_HERE / "page.ipynb"), f"--template={template}", f"--port={given.port}", "--Voila.ip=127.0.0.1"]
    options += [f"--theme={'dark' if given.dark else 'light'}", "--VoilaConfiguration.attempt_fix_notebook=False"]
    options += ["--preheat_kernel=True", "--pool_size=1"]
    options += [f"--VoilaConfiguration.extension_allowlist={name}" for name in _EXTENSIONS]
    options += [f"--MappingKernelManager.{setting}" for setting in _CULLING]
    return [*options, "--no-browser"] if given.no_browser else options


if __name__ == "__main__":
    sys.exit(main())
