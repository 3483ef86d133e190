"""Files are whole or not there; names and cells do no harm."""

import errno
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.export.paperwork import safe_name
from pdm_alloc.files.atomic import MANIFEST, WriteError, write_file, write_files


def test_replaces_and_leaves_nothing_behind(tmp_path):
    """The new content takes the place of the old, and no unfinished file stays."""
    target = tmp_path / "pin map.csv"
    target.write_bytes(b"old")
    write_file(target, b"new")
    assert target.read_bytes() == b"new"
    assert [p.name for p in tmp_path.iterdir()] == ["pin map.csv"]


def test_follows_a_link(tmp_path):
    """A link to a file stays a link; the file it points to is replaced."""
    real = tmp_path / "real.csv"
    real.write_bytes(b"old")
    (tmp_path / "link.csv").symlink_to(real)
    write_file(tmp_path / "link.csv", b"new")
    assert (tmp_path / "link.csv").is_symlink()
    assert real.read_bytes() == b"new"


def test_set_of_files(tmp_path):
    """A set is written into a folder that may be new; other files there stay."""
    folder = tmp_path / "out" / "deep"
    folder.mkdir(parents=True)
    (folder / "mine.txt").write_text("kept")
    made = write_files(folder, {"a.csv": b"a", "b.csv": b"b"})
    assert [p.read_bytes() for p in made] == [b"a", b"b"]
    assert sorted(p.name for p in folder.iterdir()) == ["a.csv", "b.csv", MANIFEST, "mine.txt"]


@pytest.mark.parametrize(
    ("code", "said"), [(errno.ENOSPC, "disk is full"), (errno.EROFS, "read-only"), (errno.EACCES, "not allowed")]
)
def test_trouble_while_writing_keeps_the_old_files(tmp_path, monkeypatch, code, said):
    """A disk that fills up half-way leaves every old file of the set, and the message is one line."""
    write_files(tmp_path, {"a": b"old a", "b": b"old b"})
    calls = []

    def failing(handle):
        calls.append(handle)
        if len(calls) == 2:
            raise OSError(code, os.strerror(code))

    monkeypatch.setattr(os, "fsync", failing)
    with pytest.raises(WriteError, match=said) as caught:
        write_files(tmp_path, {"a": b"new a", "b": b"new b"})
    assert "\n" not in str(caught.value)
    assert str(tmp_path / "b") in str(caught.value)
    content = {p.name: p.read_bytes() for p in tmp_path.iterdir() if p.name != MANIFEST}
    assert content == {"a": b"old a", "b": b"old b"}


@pytest.mark.parametrize("make", ["folder", "file", "nothing"])
def test_impossible_targets(tmp_path, make):
    """A folder of that name, a file where a folder should be, no folder at all: one clear line each."""
    target = {"folder": tmp_path / "d", "file": tmp_path / "f" / "x", "nothing": tmp_path / "none" / "x"}[make]
    (tmp_path / "d").mkdir()
    (tmp_path / "f").write_text("")
    with pytest.raises(WriteError, match="cannot write"):
        write_file(target, b"")


@pytest.mark.skipif(sys.platform == "win32" or os.geteuid() == 0, reason="root may write anywhere")
def test_read_only_folder(tmp_path):
    """A folder one may not write to is said in one line."""
    tmp_path.chmod(0o500)
    with pytest.raises(WriteError, match="not allowed"):
        write_file(tmp_path / "x", b"")
    tmp_path.chmod(0o700)


WRITER = """
import sys
from pdm_alloc.files.atomic import write_files
size = 3_000_000
n = 0
while True:
    n = (n + 1) % 250
    content = bytes([n]) * size
    write_files(sys.argv[1], {"a": content, "b": content})
    if n == 1: print("going", flush=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no such signal")
@pytest.mark.parametrize("delay", [0.0, 0.011, 0.023, 0.047, 0.08])
def test_kill_leaves_old_or_new(tmp_path, delay):
    """Whenever the process is killed, each file is there and is one version from end to end."""
    process = subprocess.Popen([sys.executable, "-c", WRITER, str(tmp_path)], stdout=subprocess.PIPE)
    assert process.stdout.readline().strip() == b"going"
    time.sleep(delay)
    process.send_signal(signal.SIGKILL)
    process.wait()
    for name in "ab":
        content = (tmp_path / name).read_bytes()
        assert len(content) == 3_000_000
        assert len(set(content)) == 1
    write_file(tmp_path / "a", b"after")
    assert (tmp_path / "a").read_bytes() == b"after"


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("Kit car 7", "Kit_car_7"),
        ("../../etc/passwd", "etc_passwd"),
        ("C:\\cars\\x", "C_cars_x"),
        ("Käfer", "Käfer"),
        ("nul", "_nul"),
        ("com1.old", "_com1.old"),
        ("...", "vehicle"),
        ("", "vehicle"),
        ("a\nb\0c", "a_b_c"),
        ("v1.2", "v1.2"),
    ],
)
def test_safe_names(text, name):
    """Names people give become names every system takes."""
    assert safe_name(text) == name


@given(st.text())
def test_safe_name_can_be_written(text):
    """Whatever the name, it is short, stays in its folder and can be encoded."""
    name = safe_name(text)
    assert 0 < len(name.encode()) <= 81
    assert Path(name).name == name
    assert not name.startswith(".")
