"""The panel as a page in the browser: this machine only, with a token, without network."""

import argparse
import asyncio
import contextlib
import json
import os
import sys
import tempfile
import webbrowser
from collections.abc import Sequence
from contextvars import ContextVar
from pathlib import Path
from typing import Any, ClassVar
from urllib.parse import quote, urlsplit

from jupyter_server.services.kernels.kernelmanager import AsyncMappingKernelManager
from tornado.httputil import HTTPServerRequest, split_host_and_port
from tornado.ioloop import IOLoop
from tornado.web import HTTPError
from traitlets.config import Config
from voila.app import Voila
from voila.tornado.handler import TornadoVoilaHandler

from pdm_alloc.domain.module import Catalogue
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.files.tables.read_catalogue import read_catalogue
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from pdm_alloc.panel.panel import Panel

__all__ = ["MOST_KERNELS", "TEMPLATE", "VARIABLE", "PageServer", "is_local", "page", "read_both"]

MOST_KERNELS = 4
_IDLE_S = 600
_GONE_S = 60  # after which a kernel whose page vanished is ended, at work or not
_NAMES = frozenset({"127.0.0.1", "localhost", "::1"})
_SESSION: ContextVar[str] = ContextVar("session", default="")


def is_local(request: HTTPServerRequest) -> bool:
    """True if a request names this machine as its host, and comes from a page of this server or from no page.

    Parameters
    ----------
    request : HTTPServerRequest
        With its headers. A page elsewhere can have its own name lead to this machine, so the name is checked and not
        only the address; the port of an Origin must be the port asked.

    Returns
    -------
    bool
    """
    host, _ = split_host_and_port(request.host.lower())
    origins = [request.headers[name] for name in ("Origin", "Sec-Websocket-Origin") if name in request.headers]
    return host.strip("[]") in _NAMES and all(urlsplit(origin).netloc == request.host for origin in origins)


def _guarded(handler: type) -> type:
    """The handler, asked only by requests that `is_local` accepts."""

    def prepare(self) -> Any:
        if not is_local(self.request):
            raise HTTPError(403, "only for pages of this server on this machine")
        self.set_header("Referrer-Policy", "no-referrer")  # the address may hold the token
        return handler.prepare(self)  # type: ignore[attr-defined]

    return type(handler.__name__, (handler,), {"prepare": prepare})


class _Page(TornadoVoilaHandler):
    """The page; its kernel belongs to the browser session that asks."""

    async def get(self, path=None):
        user = self.current_user
        _SESSION.set(user.username if user else "")
        return await super().get(path)


class _Kernels(AsyncMappingKernelManager):
    """Kernels, few: one per browser session waiting for its window, and `MOST_KERNELS` in all."""

    def __init__(self, **traits: Any):
        super().__init__(**traits)
        self._sessions: dict[str, str] = {}
        self._turn = asyncio.Lock()

    async def start_kernel(self, *arguments: Any, **options: Any) -> str:  # type: ignore[override]  # as its parent does
        """Start a kernel once there is room; HTTP error 503 where every kernel has a window."""
        async with self._turn:
            await self._make_room(_SESSION.get())
            kernel = await super().start_kernel(*arguments, **options)
            self._sessions[kernel] = _SESSION.get()
            return kernel

    async def _make_room(self, session: str) -> None:
        for kernel in self._windowless():
            if self._sessions[kernel] == session or len(self.list_kernel_ids()) >= MOST_KERNELS:
                await self._ended(kernel)
        if len(self.list_kernel_ids()) >= MOST_KERNELS:
            raise HTTPError(503, f"{MOST_KERNELS} windows are open already: close one, then load this page again")

    def notify_disconnect(self, kernel_id: str) -> None:
        """Notice that a page has gone; where none comes back its kernel does not solve its question to the end."""
        super().notify_disconnect(kernel_id)
        IOLoop.current().call_later(_GONE_S, self._end_if_alone, kernel_id)

    async def _end_if_alone(self, kernel_id: str) -> None:
        if kernel_id in self._windowless():
            await self._ended(kernel_id)

    async def _ended(self, kernel_id: str) -> None:
        with contextlib.suppress(KeyError, HTTPError):  # it may end by itself meanwhile
            await self.shutdown_kernel(kernel_id, now=True)

    def _windowless(self) -> list[str]:
        """Kernels without a window, oldest first."""
        alive = set(self.list_kernel_ids())
        self._sessions = {kernel: session for kernel, session in self._sessions.items() if kernel in alive}
        return [kernel for kernel in self._sessions if not self._kernel_connections.get(kernel)]


class PageServer(Voila):
    """Voila for one page: token, Host and Origin are checked, no file is served, kernels use sockets of files.

    Notes
    -----
    Kernels on TCP send what they print to whoever connects; sockets in a folder of the user's own do not. A page that
    goes away ends its kernel; that of one which vanishes without a word is ended a minute later, at work or not.
    """

    name = "voila"
    fixed: ClassVar[Config] = Config(
        {
            "Voila": {"auto_token": True, "ip": "127.0.0.1"},
            "VoilaConfiguration": {
                "attempt_fix_notebook": False,
                "file_allowlist": ["(?!)"],
                "multi_kernel_manager_class": _Kernels,
                "preheat_kernel": False,
                "progressive_rendering": False,
            },
            "KernelManager": {"transport": "ipc" if os.name == "posix" else "tcp"},
            "MappingKernelManager": {"cull_interval": 60, "cull_idle_timeout": _IDLE_S, "cull_connected": False},
            "IdentityProvider": {"cookie_options": {"samesite": "Strict", "httponly": True}},
        }
    )

    def initialize(self, argv: list[str] | None = None) -> None:
        """Read options; what keeps the page safe cannot be changed by them."""
        super().initialize(argv)
        self.update_config(self.fixed)
        self.voila_configuration.update_config(self.fixed)  # made before, and with a configuration of its own

    def init_settings(self) -> dict:
        """Settings of Voila, with the checks of Jupyter's handlers switched on."""
        return {**super().init_settings(), "allow_remote_access": False, "local_hostnames": sorted(_NAMES)}

    def init_handlers(self) -> list:
        """Handlers of Voila, every one of them guarded, the page with its kernels counted."""
        pages = {TornadoVoilaHandler: _Page}
        return [
            (pattern, _guarded(pages.get(handler, handler)), *more)
            for pattern, handler, *more in super().init_handlers()
        ]

    def launch_browser(self) -> None:
        """Open the page in the browser; the token goes there by a file only its owner reads, not by a command line."""
        address = f"{self.connection_url}?token={quote(self.identity_provider.token)}"
        with tempfile.NamedTemporaryFile("w", suffix=".html", dir=self.connection_dir, delete=False) as file:
            file.write(f'<!DOCTYPE html><meta http-equiv="refresh" content="0; url={address}"><title>pdm_alloc</title>')
        with contextlib.suppress(webbrowser.Error):
            webbrowser.get(self.browser or None).open(Path(file.name).as_uri())


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
        from pdm_alloc.panel.page import PageServer
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
