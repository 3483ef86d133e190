"""Documents on a full disk, in a folder that is none, by two at once: all of a set, or what was there before."""

import contextlib
import errno
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

import pdm_alloc as pa
from pdm_alloc.cli import main
from pdm_alloc.files.atomic import MANIFEST, WriteError, write_files
from tests.chain.small import write_small

posix = pytest.mark.skipif(os.name != "posix", reason="limits, signals and locks of POSIX")
OLD = {"a.csv": b"old a", "deep/b.csv": b"old b", "deep/deeper/c.csv": b"old c"}
NEW = {name: content.replace(b"old", b"new") for name, content in OLD.items()} | {"d.csv": b"new d"}


def contents(folder):
    files = [p for p in Path(folder).rglob("*") if p.is_file() and p.name != MANIFEST]
    return {str(p.relative_to(folder)): p.read_bytes() for p in files}


def allocate(car, out, **more):
    """The command line in a process of its own."""
    command = [sys.executable, "-m", "pdm_alloc", "allocate", car, "--module", "six", "--out", str(out)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **more)


@pytest.mark.parametrize("there", [OLD, {}], ids=["over old files", "in a new folder"])
@pytest.mark.parametrize("call", ["fsync", "replace", "link"])
@pytest.mark.parametrize("which", [0, 1, 2, 3, 6])
@pytest.mark.parametrize("error", [OSError(errno.ENOSPC, "full"), KeyboardInterrupt()], ids=["full", "interrupted"])
def test_whole_set_or_none_of_it(tmp_path, monkeypatch, there, call, which, error):
    """Wherever writing is stopped, also while files take their places, all old files are there, or all new ones."""
    home = tmp_path / "out"
    if there:
        write_files(home, there)
    calls = iter(range(100))
    owner, name = {"fsync": (os, "fsync"), "replace": (Path, "replace"), "link": (Path, "hardlink_to")}[call]
    honest = getattr(owner, name)

    def failing(*arguments):
        if next(calls) == which:
            raise error
        return honest(*arguments)

    monkeypatch.setattr(owner, name, failing)
    try:
        write_files(home, NEW)
        assert contents(home) == NEW
    except (WriteError, KeyboardInterrupt) as stop:
        if isinstance(stop, KeyboardInterrupt) and contents(home) == NEW:
            return  # it came after the switch
        assert contents(tmp_path) == {f"out/{name}": content for name, content in there.items()}
        assert home.exists() == bool(there)


def test_a_file_that_is_open_elsewhere_takes_no_other_with_it(tmp_path, monkeypatch):
    """On Windows a workbook that is open cannot be replaced: then the other documents stay old as well."""
    write_files(tmp_path, OLD)
    honest = Path.replace

    def refused(self, target):
        if str(target).endswith("c.csv") and self.parent.name == "new":
            raise PermissionError(errno.EACCES, "open")
        return honest(self, target)

    monkeypatch.setattr(Path, "replace", refused)
    with pytest.raises(WriteError, match="close the file where it is open"):
        write_files(tmp_path, NEW)
    assert contents(tmp_path) == OLD


@pytest.mark.once
@posix
def test_files_that_may_not_grow(tmp_path):
    """A real limit of the system: one line that names the file, code 2, and the folder as it was."""
    resource = pytest.importorskip("resource")
    car, out = write_small(tmp_path), tmp_path / "out"
    out.mkdir()
    (out / "mine.txt").write_text("kept")
    run = allocate(car, out, preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (3000, 3000)))
    _, said = run.communicate()
    assert run.returncode == 2
    assert said.startswith(f"pdm-alloc: {out}")
    assert len(said.splitlines()) == 1
    assert contents(out) == {"mine.txt": b"kept"}
    assert [p.name for p in out.iterdir()] == ["mine.txt"]


@pytest.mark.parametrize("where", ["car/loads.csv", "car/loads.csv/out", "/proc/none", "/dev/null/out"])
def test_folders_nobody_can_write_to(tmp_path, capsys, where):
    """A file in the place of the folder, a system that takes no files: one line, code 2."""
    if where.startswith("/") and os.name != "posix":
        pytest.skip("paths of POSIX")
    car = write_small(tmp_path)
    before = contents(tmp_path)
    assert main(["allocate", car, "--module", "six", "--out", str(tmp_path / where)]) == 2
    said = capsys.readouterr().err
    assert said.startswith("pdm-alloc: ")
    assert len(said.splitlines()) == 1
    assert contents(tmp_path) == before


def test_new_where_there_is_something(tmp_path, capsys):
    """Blank tables go nowhere where something is, nor where nothing can be."""
    (tmp_path / "file").write_text("mine")
    for where in ("file", "file/below"):
        assert main(["new", str(tmp_path / where)]) == 2
        assert len(capsys.readouterr().err.splitlines()) == 1
    assert contents(tmp_path) == {"file": b"mine"}


@pytest.mark.once
@posix
def test_two_at_once(tmp_path):
    """Two processes write their documents to one folder: it holds all of one of them, read in either form."""
    car, out = write_small(tmp_path), tmp_path / "out"
    runs = [allocate(car, out, env={**os.environ, "PYTHONHASHSEED": str(n)}) for n in range(2)]
    assert [run.wait() for run in runs] == [0, 0]
    assert pa.export.read_allocation(out) == pa.export.read_allocation(out / "allocation.json")
    assert not [name for name in contents(out) if name.endswith(".part")]


WRITER = """
import sys
from pdm_alloc.files.atomic import write_files
for n in range(40):
    write_files(sys.argv[1], {f"{i % 3}/{i}": f"{sys.argv[2]} {n}".encode() for i in range(12)})
"""


@posix
def test_sets_are_never_mixed(tmp_path):
    """However two writers overlap, the last files come from one of them; the next writer finds a free folder."""
    command = [sys.executable, "-c", WRITER, str(tmp_path)]
    runs = [subprocess.Popen([*command, name]) for name in ("one", "two")]
    assert [run.wait() for run in runs] == [0, 0]
    assert len(set(contents(tmp_path).values())) == 1
    assert len(contents(tmp_path)) == 12


@posix
def test_killed_while_holding_the_folder(tmp_path):
    """A process that is killed holds nothing any more: the next one writes its set."""
    run = subprocess.Popen([sys.executable, "-c", WRITER, str(tmp_path), "one"])
    while not any(tmp_path.iterdir()):  # not what is in it: that is moved about meanwhile
        assert run.poll() is None
        time.sleep(0.001)
    run.send_signal(signal.SIGKILL)
    run.wait()
    write_files(tmp_path, {"0/0": b"after", "1/1": b"after"})
    assert {contents(tmp_path)[name] for name in ("0/0", "1/1")} == {b"after"}


@posix
def test_terminated_while_it_works(tmp_path):
    """A process that is told to end leaves the documents that were there."""
    car, out = write_small(tmp_path), tmp_path / "out"
    assert allocate(car, out).wait() == 0
    before = contents(out)
    begun = (
        "from pdm_alloc.cli import program; print('begun', flush=True); program()"  # Python itself has begun by then
    )
    words = ["allocate", car, "--module", "six", "--out", str(out)]
    run = subprocess.Popen(
        [sys.executable, "-c", begun, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert run.stdout.readline() == "begun\n"
    time.sleep(0.3)
    with contextlib.suppress(ProcessLookupError):
        run.send_signal(signal.SIGINT)
    run.communicate()
    assert run.returncode in (0, 130, -signal.SIGINT)
    assert json.loads((out / "allocation.json").read_bytes()) == json.loads(before["allocation.json"])
    assert set(contents(out)) == set(before)
