"""Who may see the page: this machine's owner in pages of this server, and nobody else."""

import asyncio
import json
import signal
import subprocess
import urllib.error
import urllib.request
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from types import SimpleNamespace

import pytest

pytest.importorskip("voila", reason="the extra 'notebook' is not installed")

from tornado.httpclient import HTTPClientError, HTTPRequest
from tornado.httputil import HTTPHeaders
from tornado.web import HTTPError
from tornado.websocket import websocket_connect

from pdm_alloc.panel import page
from pdm_alloc.panel.page import MOST_KERNELS, is_local
from tests.browser.server import address_in_log, free_port, new_token, private_env, start

DATA = Path(__file__).parents[2] / "data"


@pytest.mark.parametrize(
    ("headers", "allowed"),
    [
        ({"Host": "127.0.0.1:8866"}, True),
        ({"Host": "localhost:8866"}, True),
        ({"Host": "LOCALHOST:8866", "Origin": "http://LOCALHOST:8866"}, True),
        ({"Host": "elsewhere.example:8866"}, False),
        ({"Host": "127.0.0.1.elsewhere.example:8866"}, False),
        ({"Host": "127.0.0.1:8866", "Origin": "http://127.0.0.1:8866"}, True),
        ({"Host": "127.0.0.1:8866", "Origin": "http://127.0.0.1:9999"}, False),
        ({"Host": "127.0.0.1:8866", "Origin": "http://elsewhere.example"}, False),
        ({"Host": "127.0.0.1:8866", "Origin": "null"}, False),
        ({"Host": "127.0.0.1:8866", "Sec-Websocket-Origin": "http://elsewhere.example"}, False),
    ],
)
def test_only_pages_of_this_server_on_this_machine_are_heard(headers, allowed):
    """A name that leads here from elsewhere, another port and a page from a file are all strangers."""
    request = SimpleNamespace(host=headers["Host"], headers=HTTPHeaders(headers))
    assert is_local(request) is allowed


class Kernels(page._Kernels):
    """The counting alone: a kernel is a number."""

    def __init__(self):
        super().__init__()
        self.alive, self.windows = [], {}

    def list_kernel_ids(self):
        return list(self.alive)

    async def shutdown_kernel(self, kernel_id, now=False):
        self.alive.remove(kernel_id)


@pytest.fixture
def kernels(monkeypatch):
    """A manager whose kernels cost nothing."""
    numbers = iter(range(100))

    async def started(self):
        self.alive.append(number := str(next(numbers)))
        return number

    monkeypatch.setattr(page.AsyncMappingKernelManager, "start_kernel", started)
    return Kernels()


def in_a_thread(coroutine):
    """What a coroutine returns, whatever loop runs in this thread after a browser test."""
    with ThreadPoolExecutor(1) as executor:
        return executor.submit(asyncio.run, coroutine).result()


async def asked(kernels, session, window=False):
    page._SESSION.set(session)
    kernel = await kernels.start_kernel()
    kernels._kernel_connections[kernel] = int(window)


def test_requests_of_one_session_leave_one_kernel(kernels):
    """Asking again and again, without ever opening the window, does not fill the memory."""
    for _ in range(8):
        in_a_thread(asked(kernels, "a"))
    assert len(kernels.alive) == 1


def test_no_request_starts_more_kernels_than_the_cap(kernels):
    """Strange sessions push out the oldest kernel without a window; one with a window is never ended for another."""
    in_a_thread(asked(kernels, "a", window=True))
    for n in range(8):
        in_a_thread(asked(kernels, f"b{n}"))
    assert len(kernels.alive) == MOST_KERNELS
    assert "0" in kernels.alive


def test_when_every_kernel_has_a_window_the_page_says_so(kernels):
    """The remedy is in the message."""
    for n in range(MOST_KERNELS):
        in_a_thread(asked(kernels, f"a{n}", window=True))
    with pytest.raises(HTTPError, match="close one"):
        in_a_thread(asked(kernels, "b"))


@pytest.mark.parametrize("comes_back", [False, True])
def test_a_kernel_whose_page_has_vanished_is_ended(kernels, monkeypatch, comes_back):
    """Also while it works on an answer that nobody waits for; not where the page is there again in time."""
    monkeypatch.setattr(page, "_GONE_S", 0.05)

    async def vanished():
        await asked(kernels, "a", window=True)
        kernels.notify_disconnect("0")
        if comes_back:
            kernels.notify_connect("0")
        await asyncio.sleep(0.2)  # what was due earlier is done earlier, however late both are

    in_a_thread(vanished())
    assert kernels.alive == (["0"] if comes_back else [])


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    """The page as the command serves it."""
    folder = tmp_path_factory.mktemp("page")
    arguments = ["-m", "pdm_alloc", "panel", str(DATA / "rally_coupe"), "--no-browser", f"--port={free_port()}"]
    server = start(arguments, private_env(folder, new_token()), folder, address_in_log)
    yield server
    server.stop()


def answer(server, path="", token=False, **headers):
    """Code and text of an answer; redirects are not followed."""

    class Stay(urllib.request.HTTPRedirectHandler):
        def redirect_request(self, *_):
            return None

    query = f"?token={server.token}" if token else ""
    request = urllib.request.Request(server.url + path + query, headers=headers)
    try:
        with urllib.request.build_opener(Stay).open(request, timeout=60) as reply:
            return reply.status, reply.read().decode()
    except urllib.error.HTTPError as refused:
        return refused.code, refused.read().decode()


def kernels_of(server):
    """Command lines of the kernels."""
    command = ["ps", "-ww", "--ppid", str(server.process.pid), "-o", "args="]
    lines = subprocess.run(command, capture_output=True, text=True).stdout.splitlines()
    return [line for line in lines if "ipykernel" in line]


STRANGERS = [
    ({}, False),
    ({"Authorization": "token " + "0" * 32}, False),
    ({"Host": "elsewhere.example"}, True),
    ({"Origin": "http://elsewhere.example"}, True),
]


@pytest.mark.once
@pytest.mark.parametrize(("headers", "token"), STRANGERS, ids=["no token", "wrong token", "Host", "Origin"])
def test_a_stranger_gets_neither_page_nor_kernel(server, headers, token):
    """Another user of the machine has no token; a page elsewhere, even with the token, has another Host or Origin."""
    code, text = answer(server, token=token, **headers)
    assert code in (302, 403)
    assert "rally_coupe" not in text
    assert kernels_of(server) == []


@pytest.mark.parametrize(
    "path", ["voila/files/page.py", "voila/files/../../../../etc/passwd", "voila/files/page.ipynb"]
)
def test_no_file_is_served(server, path):
    """Neither the package nor anything else of the file system can be read through the page."""
    code, _ = answer(server, path, token=True)
    assert code in (403, 404)


async def spoken(server, kernel, token, **headers):
    """Whether a websocket to a kernel opens."""
    url = f"{server.url.replace('http', 'ws', 1)}api/kernels/{kernel}/channels"
    request = HTTPRequest(url + (f"?token={server.token}" if token else ""), headers=headers)
    try:
        (await websocket_connect(request)).close()
    except HTTPClientError as refused:
        return refused.code
    return 101


@pytest.mark.once
def test_kernel_speaks_to_its_page_only(server):
    """The websocket asks for the same three things, and the kernel's own sockets are files, not ports."""
    code, text = answer(server, token=True)
    assert (code, "pdm_alloc" in text) == (200, True)
    (line,) = kernels_of(server)
    file = Path(line.split(" -f ")[1].split()[0])
    assert json.loads(file.read_text())["transport"] == "ipc"
    assert file.parent.stat().st_mode & 0o077 == 0
    kernel, host = file.stem.removeprefix("kernel-"), server.url.split("/")[2]
    tries = [
        (False, {}),
        (True, {"Host": "elsewhere.example"}),
        (True, {"Origin": "http://elsewhere.example"}),
        (True, {"Origin": f"http://{host}"}),
    ]
    codes = [in_a_thread(spoken(server, kernel, token, **headers)) for token, headers in tries]
    assert codes == [403, 403, 403, 101]


def test_what_keeps_the_page_safe_is_in_force():
    """Voila reads its configuration while it starts: what is fixed must have reached the part that starts kernels."""
    before = signal.getsignal(signal.SIGTERM)
    try:
        app = page.PageServer()
        app.initialize([str(Path(page.__file__).with_name("page.ipynb"))])
    finally:
        signal.signal(signal.SIGTERM, before)
    used = app.voila_configuration
    for name, value in page.PageServer.fixed["VoilaConfiguration"].items():
        assert getattr(used, name) == value, name
    assert used.multi_kernel_manager_class is page._Kernels
