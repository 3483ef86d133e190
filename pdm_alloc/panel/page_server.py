"""The server behind the page: this machine only, with a token, and never more kernels than windows."""

import asyncio
import contextlib
import os
import tempfile
import webbrowser
from contextvars import ContextVar
from pathlib import Path
from typing import Any, ClassVar
from urllib.parse import quote, urlsplit

from jupyter_server.services.kernels.kernelmanager import AsyncMappingKernelManager
from tornado.httputil import HTTPServerRequest, split_host_and_port
from tornado.web import HTTPError
from traitlets.config import Config
from voila.app import Voila
from voila.tornado.handler import TornadoVoilaHandler

__all__ = ["MOST_KERNELS", "PageServer", "is_local"]

MOST_KERNELS = 4
_IDLE_S = 600
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
                with contextlib.suppress(KeyError, HTTPError):  # it may end by itself meanwhile
                    await self.shutdown_kernel(kernel, now=True)
        if len(self.list_kernel_ids()) >= MOST_KERNELS:
            raise HTTPError(503, f"{MOST_KERNELS} windows are open already: close one, then load this page again")

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
    goes away ends its kernel; one that vanishes without a word leaves it to the sweep after ten minutes.
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
