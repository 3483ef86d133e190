"""What the command line prints to may be full, closed, gone or narrow; and people press Ctrl-C."""

import json
import os
import signal
import subprocess
import sys

import pytest

from pdm_alloc import commands
from pdm_alloc.cli import main
from tests.chain.small import NAMES, write_small

posix = pytest.mark.skipif(os.name != "posix", reason="signals and descriptors of POSIX")


@pytest.fixture
def car(tmp_path):
    return write_small(tmp_path)


def ran(*words, **how):
    """The command line in a process of its own."""
    environment = {**os.environ, **how.pop("environment", {})}
    command = [sys.executable, "-m", "pdm_alloc", *map(str, words)]
    return subprocess.run(command, stderr=subprocess.PIPE, env=environment, check=False, **how)


@posix
@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_reader_that_has_gone(car, unbuffered):
    """As with ``| head``: no word, and the code the shell knows for it, not that of an answer nobody read."""
    there, gone = os.pipe()
    os.close(there)
    with os.fdopen(gone, "wb") as nobody:
        done = ran("check", car, stdout=nobody, environment={"PYTHONUNBUFFERED": unbuffered})
    assert (done.returncode, done.stderr) == (141, b"")


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no such device")  # noqa: PTH110
def test_output_that_is_full(car):
    """One line, and not the code of an answer."""
    with open("/dev/full", "wb") as full:  # noqa: PTH123
        done = ran("check", car, stdout=full)
    assert done.returncode == 2
    assert done.stderr.decode().splitlines() == ["pdm-alloc: cannot print: No space left on device"]


@posix
@pytest.mark.parametrize("closed", [(1,), (0, 1, 2)])
def test_streams_that_were_never_open(car, tmp_path, closed):
    """Without them the work is done all the same, and no file is mistaken for one of them."""
    done = ran(
        *("allocate", car, "--module", "six", "--out", tmp_path / "out"),
        preexec_fn=lambda: [os.close(number) for number in closed],
    )
    assert done.returncode == 0
    assert b"Traceback" not in done.stderr
    assert json.loads((tmp_path / "out" / "allocation.json").read_bytes())["outcome"] == "proven best"


@pytest.mark.once
@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_letters_the_terminal_does_not_have(car, encoding):
    """Names are printed as well as can be; JSON stays JSON and has them in full."""
    environment = {"PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"}
    shown = ran("allocate", car, "--module", "six", stdout=subprocess.PIPE, environment=environment)
    assert (shown.returncode, shown.stderr) == (0, b"")
    assert b"pump" in shown.stdout
    told = ran("allocate", car, "--module", "six", "--json", stdout=subprocess.PIPE, environment=environment)
    assert told.returncode == 0
    assert {row["load"] for row in json.loads(told.stdout.decode(encoding))["assignments"]} == set(NAMES)


INTERRUPTED = """
import os, signal, sys
from pdm_alloc import cli
from pdm_alloc.studies import sizing
sizing.size = lambda *a, **k: os.kill(os.getpid(), signal.SIGINT)
sys.exit(cli.main(sys.argv[1:]))
"""


@posix
def test_interrupt_from_the_keyboard(car):
    """One line and the shell's code for it, wherever it comes."""
    command = [sys.executable, "-c", INTERRUPTED, "size", car]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (128 + signal.SIGINT, "", "pdm-alloc: interrupted\n")


def test_interrupt_is_not_an_answer(car, capsys, monkeypatch):
    """Neither of the codes that say something of the vehicle."""

    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(commands, "read_vehicle", interrupted)
    assert main(["check", car]) == 130
    assert capsys.readouterr().err == "pdm-alloc: interrupted\n"


def test_no_answer_is_told_to_machines_too(car, capsys):
    """JSON has the outcome also where there is neither an allocation nor a refusal."""
    assert main(["allocate", car, "--module", "six", "--json", "--time-limit", "0"]) == 3
    assert json.loads(capsys.readouterr().out)["outcome"] == "no answer in time"
