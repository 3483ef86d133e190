"""A Jupyter server for one test run: everything it reads or writes is in one folder, its port its own choice."""

import contextlib
import json
import os
import re
import secrets
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from dataclasses import dataclass
from pathlib import Path

PRIVATE = (
    "JUPYTER_CONFIG_DIR",
    "JUPYTER_DATA_DIR",
    "JUPYTER_RUNTIME_DIR",
    "JUPYTERLAB_SETTINGS_DIR",
    "JUPYTERLAB_WORKSPACES_DIR",
    "IPYTHONDIR",
)
START_S = 240  # a busy machine takes half a minute
TRIES = 2
STOP_S = 20


def private_env(folder: Path, token: str) -> dict[str, str]:
    """Environment in which Jupyter knows no folder but ours; the token is in it and not on the command line."""
    env = dict(os.environ, JUPYTER_TOKEN=token, JUPYTER_NO_CONFIG="", PYTHONDONTWRITEBYTECODE="1")
    for name in PRIVATE:
        env[name] = str(folder / name.lower())
        Path(env[name]).mkdir(parents=True)
    return env


def call(url: str, token: str, method: str = "GET") -> bytes:
    """Answer of the server."""
    request = urllib.request.Request(url, method=method, headers={"Authorization": f"token {token}"})
    with urllib.request.urlopen(request, timeout=60) as answer:
        return answer.read()


@dataclass
class Server:
    """A running server: its process, its address with a slash at the end, its token and its log."""

    process: subprocess.Popen
    url: str
    token: str
    log: Path
    vehicle: Path | None = None

    @property
    def page(self) -> str:
        """Address with the token."""
        return f"{self.url}?token={self.token}"

    def end_kernels(self) -> None:
        """Ask a Jupyter server to end all kernels: one whose page is gone solves on."""
        for kernel in json.loads(call(self.url + "api/kernels", self.token)):
            with contextlib.suppress(OSError):
                call(f"{self.url}api/kernels/{kernel['id']}", self.token, "DELETE")

    def kill_kernels(self) -> None:
        """Kill all kernels, as the machine would, short of memory."""
        command = ["ps", "-ww", "--ppid", str(self.process.pid), "-o", "pid=,args="]
        lines = subprocess.run(command, capture_output=True, text=True).stdout.splitlines()
        for line in (line for line in lines if "ipykernel" in line):
            with contextlib.suppress(ProcessLookupError):
                os.kill(int(line.split()[0]), signal.SIGKILL)

    def stop(self) -> None:
        """Ask it to end, with its kernels; then tell it to; then end it."""
        ways = [signal.SIGINT, signal.SIGTERM, signal.SIGKILL]
        with contextlib.suppress(OSError):  # a server of pages knows no such word
            call(self.url + "api/shutdown", self.token, "POST")
            ways.insert(0, None)
        for number in ways:
            if number is not None:
                with contextlib.suppress(ProcessLookupError):
                    os.killpg(self.process.pid, number)
            with contextlib.suppress(subprocess.TimeoutExpired):
                self.process.wait(STOP_S)
                return


def start(arguments: list[str], env: dict[str, str], folder: Path, find) -> Server:
    """Start a server and wait until it answers; `find` gives its address, or None while it has none.

    One that ends by itself, or is still silent after `START_S`, is started once more.
    """
    for left in reversed(range(TRIES)):
        try:
            return _started(arguments, env, folder / f"server_{left}.log", find)
        except RuntimeError:
            if not left:
                raise
    raise AssertionError


def _started(arguments: list[str], env: dict[str, str], log: Path, find) -> Server:
    with log.open("w") as out:
        process = subprocess.Popen(
            [sys.executable, *arguments], env=env, stdout=out, stderr=subprocess.STDOUT, start_new_session=True
        )
    server = Server(process, "", env["JUPYTER_TOKEN"], log)
    try:
        server.url = _wait(server, find)
    except BaseException:
        server.stop()
        raise
    return server


def _wait(server: Server, find) -> str:
    end = time.monotonic() + START_S
    while time.monotonic() < end:
        if server.process.poll() is not None:
            break
        url = find(server)
        if url:
            return url
        time.sleep(0.05)
    said = "is silent" if server.process.poll() is None else f"ended with {server.process.returncode}"
    raise RuntimeError(f"the server did not start, it {said}:\n{server.log.read_text(errors='replace')[-4000:]}")


def address_in_runtime_file(server: Server, env: dict[str, str]) -> str | None:
    """The address a Jupyter server has written down, once it answers there."""
    file = Path(env["JUPYTER_RUNTIME_DIR"]) / f"jpserver-{server.process.pid}.json"
    try:
        url = json.loads(file.read_text())["url"]
        call(url + "api/status", server.token)
    except (OSError, ValueError):
        return None
    return url


def address_in_log(server: Server) -> str | None:
    """The address a page server has logged; it takes the next port by itself where the first is gone."""
    found = re.findall(r"^http://127\.0\.0\.1:\d+/", server.log.read_text(errors="replace"), re.MULTILINE)
    return found[-1] if found and _answers(found[-1]) else None


def _answers(url: str) -> bool:
    try:
        urllib.request.urlopen(url + "voila/static/", timeout=60).close()
    except urllib.error.HTTPError:
        return True
    except OSError:
        return False
    return True


def free_port() -> int:
    """A port nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def new_token() -> str:
    """A token nobody guesses."""
    return secrets.token_hex(16)
