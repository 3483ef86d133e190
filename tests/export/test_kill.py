"""Killed at any moment, a folder holds the old documents or the new ones, whole; what is changed later is named."""

import json
import os
import random
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import pdm_alloc as pa
from pdm_alloc.files import atomic
from pdm_alloc.files.atomic import MANIFEST, WriteError, changed_files, reading, write_files, write_new
from tests.export.made_up import solved

posix = pytest.mark.skipif(sys.platform == "win32", reason="no such signal")
SETS = {word: {f"{'saved/' if n % 3 else ''}{n}.csv": f"{word} {n}".encode() * 200 for n in range(32)} for word in "AB"}
# Forks, so that a kill costs a millisecond and not the start of Python: the parent kills its children at random.
KILLS = """
import os, random, signal, sys, time
from pathlib import Path
from pdm_alloc.files.atomic import write_files
from tests.export.test_kill import SETS, state
folder, kills, chance = Path(sys.argv[1]), int(sys.argv[2]), random.Random(int(sys.argv[3]))
write_files(folder, SETS["A"])
begin = time.perf_counter(); write_files(folder, SETS["B"]); span = time.perf_counter() - begin
seen = []
for n in range(kills):
    hear, tell = os.pipe()
    child = os.fork()
    if not child:
        for word in "AB" * 500:  # far more than there is time for: every kill is to hit
            write_files(folder, SETS[word])
            os.write(tell, b".")
        os._exit(0)
    for _ in range(chance.randrange(4)):  # sets are counted, not timed: on a busy machine all kills would hit the first
        os.read(hear, 1)
    time.sleep(chance.uniform(0, span))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    os.close(hear), os.close(tell)
    seen.append(("left" if any(p.name.startswith(".pdm") for p in folder.iterdir()) else "clean") + " " + state(folder))
print("\\n".join(seen))
"""


def state(folder: Path) -> str:
    """The set that is read, or what is wrong with it."""
    with reading(folder):
        changes = changed_files(folder)
        words = {(folder / name).read_bytes()[:1].decode() for name in SETS["A"]}
        return "".join(sorted(words)) if changes == {} and len(words) == 1 else f"mixed {words} {changes}"


@posix
def test_kills_at_random_moments(tmp_path, nightly, second):
    """After a kill at any moment one set is read back, whole, and the manifest agrees: 50 kills, 1,000 nightly."""
    kills = 1000 if nightly else 10 if second else 50
    command = [sys.executable, "-c", KILLS, str(tmp_path / "out"), str(kills), "7"]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    seen = done.stdout.split("\n")[:-1]
    assert len(seen) == kills
    sets = {line.split(" ", 1)[1] for line in seen}
    assert sets <= {"A", "B"} and (second or len(sets) == 2)
    assert sum(line.startswith("left") for line in seen) > kills // 10  # the kills do hit
    write_files(tmp_path / "out", SETS["A"])
    assert not list((tmp_path / "out").rglob(".pdm-alloc*"))


@pytest.mark.parametrize("step", range(0, 120, 3))
def test_stopped_after_each_step(tmp_path, step):
    """Stopped after any one of its steps on the disk, with nothing tidied up, the old set is read or the new one."""
    out = tmp_path / "out"
    write_files(out, {"a": b"A", "b": b"A", "d/c": b"A"})
    child = os.fork() if hasattr(os, "fork") else pytest.skip("no fork")
    if not child:
        _count_down(step)
        write_files(out, {"a": b"B", "b": b"B", "e/f": b"B"}, ["d/c"])
        os._exit(0)
    os.waitpid(child, 0)
    with reading(out):
        content = {p.relative_to(out).as_posix(): p.read_bytes() for p in out.rglob("*") if p.is_file()}
        assert changed_files(out) == {}
    sets = [{"a": b"A", "b": b"A", "d/c": b"A"}, {"a": b"B", "b": b"B", "e/f": b"B"}]
    visible = {name: data for name, data in content.items() if not name.startswith(".pdm") and name != MANIFEST}
    assert visible in sets


def _count_down(steps: int) -> None:
    """End this process before its so-many-th call that changes the disk."""
    left = iter(range(steps, -1, -1))
    for owner, name in ((os, "fsync"), (os, "rename"), (os, "replace"), (os, "link"), (os, "unlink"), (os, "mkdir")):
        setattr(owner, name, _or_end(getattr(owner, name), left))


def _or_end(call, left):
    def counted(*arguments, **options):
        if next(left, 0) == 0:
            os._exit(9)
        return call(*arguments, **options)

    return counted


def test_a_move_that_fails_brings_the_old_set_back(tmp_path, monkeypatch):
    """A file that cannot be replaced (open in a spreadsheet) half-way: all old files are there again."""
    write_files(tmp_path, {"a": b"A", "b": b"A", "c": b"A"})
    move, calls = atomic._move, []

    def failing(staged, target):
        calls.append(target)
        if len(calls) == 2:
            raise PermissionError(13, "Permission denied", str(target))
        move(staged, target)

    monkeypatch.setattr(atomic, "_move", failing)
    with pytest.raises(WriteError, match="close the file where it is open") as caught:
        write_files(tmp_path, {"a": b"B", "b": b"B", "new": b"B"})
    assert caught.value.filename == str(tmp_path / "b")
    content = {p.name: p.read_bytes() for p in tmp_path.iterdir() if p.name != MANIFEST}
    assert content == {"a": b"A", "b": b"A", "c": b"A"}
    assert changed_files(tmp_path) == {}


def test_left_from_a_killed_writer(tmp_path):
    """What a killed writer had begun is deleted by the next one, and does not count as something in a folder."""
    left = tmp_path / "out" / ".pdm-alloc-0123456789ab"
    left.mkdir(parents=True)
    (left / "part").write_bytes(b"x")
    write_new(tmp_path / "out", {"a": b"A"})
    assert [p.name for p in (tmp_path / "out").iterdir()] == ["a"]


def test_interrupted_and_read_only(tmp_path):
    """Where an interrupted writing cannot be finished, the reader is told, and nothing mixed is read."""
    write_files(tmp_path, {"a": b"A"})
    (tmp_path / ".pdm-alloc-commit").mkdir()
    with pytest.raises(pa.InputError, match="was being written when the program was stopped"), reading(tmp_path):
        pass


@pytest.fixture(scope="module")
def documents(tmp_path_factory):
    folder = tmp_path_factory.mktemp("documents") / "out"
    pa.export.write_documents(solved("expedition_truck", "compact-31"), folder)
    return folder


@pytest.mark.once
def test_one_file_of_another_set_is_named(documents, tmp_path):
    """A saved table changed by hand, exchanged or deleted is named; one written on, where that is meant, is not."""
    out = tmp_path / "out"
    shutil.copytree(documents, out)
    assert pa.export.read_allocation(out) == solved("expedition_truck", "compact-31")
    sheet = out / "tables" / "commissioning.csv"
    sheet.write_bytes(sheet.read_bytes() + b"\n")
    pa.export.read_allocation(out)
    loads = out / "saved" / "vehicle" / "loads.csv"
    before = loads.read_bytes()
    loads.write_bytes(before.replace(b"2", b"3", 1))
    with pytest.raises(pa.InputError, match=r"saved/vehicle/loads\.csv: was changed after it was written"):
        pa.export.read_allocation(out)
    loads.unlink()
    with pytest.raises(pa.InputError, match=r"saved/vehicle/loads\.csv: is missing"):
        pa.export.read_allocation(out)
    loads.write_bytes(before)
    (out / "pin_map.csv").write_text("other")
    with pytest.warns(UserWarning, match=r"pin_map\.csv"):
        pa.export.read_allocation(out)
    (out / MANIFEST).unlink()
    with pytest.raises(pa.InputError, match=r"manifest\.json: is missing"):
        pa.export.read_allocation(out)


def test_saved_anew_by_a_spreadsheet(documents, tmp_path):
    """The same content in other bytes, as a spreadsheet of another locale saves it, is still the allocation."""
    out = tmp_path / "out"
    shutil.copytree(documents, out)
    units = out / "saved" / "units.csv"
    units.write_bytes(units.read_bytes().replace(b'"', b"").replace(b",", b";").replace(b"\n", b"\r\n"))
    assert pa.export.read_allocation(out) == solved("expedition_truck", "compact-31")


@pytest.mark.parametrize("content", [b"", b"[]", b"{", b'{"format": "pdm_alloc manifest", "sha256": 3}', b"[" * 90_000])
def test_damaged_manifest(tmp_path, content):
    """A manifest that is none is as none at all; paths in it cannot leave the folder."""
    (tmp_path / MANIFEST).write_bytes(content)
    assert changed_files(tmp_path) is None
    outside = {"format": "pdm_alloc manifest", "sha256": {"../x": "0", "/etc/passwd": "0", "a": "0"}}
    (tmp_path / MANIFEST).write_text(json.dumps(outside))
    assert changed_files(tmp_path) == {"a": "is missing"}


@pytest.mark.once
def test_changed_set_is_never_read_in_silence(documents, tmp_path, nightly, second):
    """One byte of a saved table or of the JSON changed: refused, or the very same allocation."""
    chance = random.Random(3)
    allocation = solved("expedition_truck", "compact-31")
    files = sorted(p for p in documents.rglob("*") if p.is_file() and ("saved" in p.parts or p.suffix == ".json"))
    for _ in range(600 if nightly else 10 if second else 40):
        out = tmp_path / "out"
        shutil.copytree(documents, out)
        file = out / chance.choice(files).relative_to(documents)
        content = bytearray(file.read_bytes())
        content[chance.randrange(len(content))] ^= 1 << chance.randrange(8)
        file.write_bytes(content)
        try:
            assert pa.export.read_allocation(out) == allocation
        except pa.InputError as error:
            assert "\n" not in str(error.faults[0])
        shutil.rmtree(out)
