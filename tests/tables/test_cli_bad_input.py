import os
import subprocess
import sys
from pathlib import Path

import pytest

from pdm_alloc.cli import main
from tests.tables.bad_inputs import bad_inputs

CORPUS = bad_inputs()


def files_under(folder: Path) -> dict[str, bytes]:
    """Every file under a folder with what is in it."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("verb", ["check", "size", "allocate"])
@pytest.mark.parametrize("bad", CORPUS, ids=lambda bad: bad.name)
def test_command_refuses_with_the_message_and_writes_nothing(bad, verb, tmp_path, capsys):
    """Each bad input ends as its lines on standard error and exit code 2; no traceback, nothing printed or written."""
    vehicle, catalogue = bad.write(tmp_path)
    before = files_under(tmp_path)
    more = ["--module", "small", "--out", str(tmp_path / "out")] if verb == "allocate" else []
    assert main([verb, str(vehicle), "--catalogue", str(catalogue), *more]) == 2
    printed = capsys.readouterr()
    assert printed.err.strip() == bad.said
    assert not printed.out
    assert files_under(tmp_path) == before
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("name", ["milliamps", "settings with decimal comma", "bank misspelled"])
def test_process_refuses_with_the_message(name, tmp_path):
    """The same in a process of its own: exit code 2, the lines on standard error, no traceback."""
    bad = next(bad for bad in CORPUS if bad.name == name)
    vehicle, catalogue = bad.write(tmp_path)
    command = [sys.executable, "-m", "pdm_alloc.cli", "check", str(vehicle), "--catalogue", str(catalogue)]
    done = subprocess.run(command, capture_output=True, text=True, env={**os.environ, "PYTHONIOENCODING": "utf-8"})
    assert (done.returncode, done.stderr.strip(), done.stdout) == (2, bad.said, "")


def test_no_vehicle_at_all(tmp_path, capsys):
    """A path that does not exist is named as it was given."""
    assert main(["check", str(tmp_path / "nowhere")]) == 2
    error = capsys.readouterr().err.strip()
    assert error == f"{tmp_path / 'nowhere'}: does not exist; give a folder of CSV files, or an XLSX workbook"


def test_new_refuses_to_overwrite(tmp_path, capsys):
    """``new`` into a folder that has something in it: exit code 2, and what was there stays as it was."""
    folder = tmp_path / "mine"
    assert main(["new", str(folder)]) == 0
    (folder / "loads.csv").write_text("mine")
    before = files_under(tmp_path)
    capsys.readouterr()
    assert main(["new", str(folder)]) == 2
    assert "mine: is there already; name a folder that does not exist yet" in capsys.readouterr().err
    assert files_under(tmp_path) == before


def test_new_makes_a_vehicle_that_passes_check(tmp_path, capsys):
    """What ``new`` writes can be read as it is."""
    assert main(["new", str(tmp_path / "fresh")]) == 0
    assert main(["check", str(tmp_path / "fresh")]) == 0
    assert "fresh: no fault found." in capsys.readouterr().out
