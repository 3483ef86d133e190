import csv
import errno
import os

import openpyxl
import pytest

from pdm_alloc.files import atomic
from pdm_alloc.files.atomic import WriteError, write_file, write_new
from pdm_alloc.files.faults import InputError
from pdm_alloc.files.grids import marked, unmarked
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from pdm_alloc.files.write_tables import write_vehicle
from tests.tables.good import VEHICLE, write_files

RISKY = ["=1+1", "+cmd", "-", "@SUM(A1)", " =1+1", "\t=1", "'=1", "''+1", "-1+cmd|' /C calc'!A0"]


@pytest.mark.parametrize("text", RISKY)
def test_no_cell_of_csv_can_run_as_a_formula(text):
    """Text that a spreadsheet would run gets an apostrophe in front, and loses it on reading."""
    assert marked(text).lstrip()[0] == "'"
    assert unmarked(marked(text)) == text


@pytest.mark.parametrize("text", ["-1.5", "+2", "-0,5", "plain", "", "'quoted'", "a=b"])
def test_harmless_cells_stay_as_they_are(text):
    """Numbers keep their sign, and text that is no formula is left alone."""
    assert marked(text) == text
    assert unmarked(text) == text


def test_no_cell_of_a_workbook_is_a_formula(tmp_path):
    """Names and free cells that begin like formulas are text in the workbook, and read back."""
    rows = [["load", "command", "running_a", "kind", "x_part"], ["'=1+1", "'@on", "1", "led", "'=HYPERLINK(0)"]]
    folder = write_files(tmp_path / "car", {})
    with (folder / "loads.csv").open("w", newline="") as file:
        csv.writer(file).writerows(rows)
    vehicle = read_vehicle(folder)
    assert vehicle.loads[0].name == "=1+1"
    path = write_vehicle(vehicle, tmp_path / "car.xlsx")
    cells = [cell for line in openpyxl.load_workbook(path)["loads"].iter_rows() for cell in line]
    assert "=1+1" in [cell.value for cell in cells]
    assert "f" not in {cell.data_type for cell in cells}
    assert read_vehicle(path) == vehicle


def test_numbers_of_a_workbook_can_be_counted_with(tmp_path):
    """Currents and duties are numbers in the workbook; names that look like numbers are text."""
    vehicle = read_vehicle(write_files(tmp_path / "car", VEHICLE))
    book = openpyxl.load_workbook(write_vehicle(vehicle, tmp_path / "car.xlsx"))
    header = [cell.value for cell in book["loads"][1]]
    assert book["loads"].cell(2, header.index("running_a") + 1).value == 12
    assert book["states"]["C3"].value == 1
    assert book["locked"]["C2"].value == "3"


@pytest.mark.parametrize("name", ["there", "there.xlsx"])
def test_nothing_is_overwritten(name, tmp_path):
    """A vehicle is not written over anything that exists."""
    vehicle = read_vehicle(write_files(tmp_path / "car", VEHICLE))
    write_vehicle(vehicle, tmp_path / name)
    with pytest.raises(InputError, match="there already"):
        write_vehicle(vehicle, tmp_path / name)


@pytest.mark.parametrize("name", ["out", "out.xlsx"])
def test_two_processes_writing_one_place(name, tmp_path, monkeypatch):
    """What another process has put there in the meantime stays, and the second to come is told."""
    place = tmp_path / name
    put = atomic.put

    def meanwhile(file, content):
        put(file, content)
        theirs = place if place.suffix else place / "loads.csv"
        theirs.parent.mkdir(exist_ok=True)
        theirs.write_text("theirs")

    monkeypatch.setattr(atomic, "put", meanwhile)
    with pytest.raises(WriteError, match="|".join(map(os.strerror, (errno.EEXIST, errno.ENOTEMPTY)))):
        write_file(place, b"ours", new=True) if place.suffix else write_new(place, {"loads.csv": b"ours"})
    assert (place if place.suffix else place / "loads.csv").read_text() == "theirs"
    assert [path.name for path in tmp_path.iterdir()] == [name]


@pytest.mark.parametrize("name", ["out", "out.xlsx"])
def test_failure_leaves_nothing_behind(name, tmp_path, monkeypatch):
    """Where the last step fails, neither the vehicle nor a temporary folder is left."""
    from pathlib import Path

    vehicle = read_vehicle(write_files(tmp_path / "in" / "car", VEHICLE))

    def fail(*_):
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(Path, "rename", fail)
    monkeypatch.setattr(Path, "hardlink_to", fail)
    with pytest.raises(WriteError, match="Input/output error"):
        write_vehicle(vehicle, tmp_path / name)
    assert [path.name for path in tmp_path.iterdir()] == ["in"]


def test_text_outside_ascii_is_marked_as_utf8(tmp_path):
    """A spreadsheet knows UTF-8 by its mark; plain ASCII goes without."""
    loads = "load,command,running_a,kind\nÖlkühler,ignition,1,electronics\n"
    vehicle = read_vehicle(write_files(tmp_path / "car", {"loads.csv": loads}))
    folder = write_vehicle(vehicle, tmp_path / "out")
    assert (folder / "loads.csv").read_bytes().startswith(b"\xef\xbb\xbf")
    assert not (folder / "settings.csv").read_bytes().startswith(b"\xef\xbb\xbf")
    assert read_vehicle(folder) == vehicle
