import json
import os
import subprocess
import sys
import zipfile

import pytest

from pdm_alloc.files.faults import InputError
from pdm_alloc.files.grids import csv_line
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from tests.tables.good import VEHICLE, write_files
from tests.tables.raw_workbook import make_workbook, row, sheet

HEADER = row(1, "load", "command", "running_a", "kind")
MEASURE = """
import json, re, sys
from pathlib import Path
from pdm_alloc.files import InputError
from pdm_alloc.files.tables.read_vehicle import read_vehicle
try:
    read_vehicle(sys.argv[1])
    said = "read"
except InputError as error:
    said = str(error)
# Not ru_maxrss, which a process takes over from the one that started it.
kilobytes = int(re.search(r"VmHWM:\\s*(\\d+)", Path("/proc/self/status").read_text())[1])
print(json.dumps([said, kilobytes / 1024]))
"""


def measured(path):
    """What reading said, and megabytes it took at most; in a process of its own."""
    done = subprocess.run([sys.executable, "-c", MEASURE, str(path)], capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


def zip_bomb(path):
    """40 kB that unpack to 40 MB of one sheet."""
    return make_workbook(path, HEADER + " " * 40_000_000)


def many_rows(path):
    """A plain workbook of 21,000 rows."""
    return make_workbook(path, HEADER + "".join(row(n, f"l{n}", "c", 1.0, "led") for n in range(2, 21_002)))


def many_parts(path):
    """A workbook of 3,000 parts."""
    return make_workbook(path, HEADER, {f"xl/x{n}.xml": "<a/>" for n in range(3_000)})


def many_tags(path):
    """Millions of empty elements, cheap to write and dear to hold."""
    return make_workbook(path, HEADER + "<c/>" * 4_000_000)


def many_strings(path):
    """Millions of shared strings."""
    return make_workbook(path, HEADER, {"xl/sharedStrings.xml": "<sst>" + "<si/>" * 3_500_000 + "</sst>"})


def entities(path):
    """Entities within entities, which would grow a billionfold."""
    define = "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 10))
    text = f'<!DOCTYPE x [<!ENTITY a0 "ha">{define}]>' + sheet(row(1, "&a9;"))
    return make_workbook(path, "", {"xl/worksheets/sheet1.xml": text})


def nested(path):
    """A zip file within a zip file within a zip file."""
    content = b"0" * 1_000_000
    for depth in range(6):
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr(f"{depth}.zip", content)
        content = path.read_bytes()
    return path


def large_file(path):
    """30 MB that do not compress."""
    return make_workbook(path, HEADER, {"xl/media/noise.png": os.urandom(30_000_000)})


BOMBS = {
    zip_bomb: "has a sheet of more than 20 MB; a vehicle's tables are far smaller: copy them into a new workbook",
    many_rows: "loads, row 20002: has more than 20,000 rows; no vehicle has so many",
    many_parts: "has more than 2,000 parts; a vehicle's tables are far smaller: copy them into a new workbook",
    many_tags: "has too many cells; a vehicle's tables are far smaller: copy them into a new workbook",
    many_strings: "has too many cells; a vehicle's tables are far smaller: copy them into a new workbook",
    entities: "has definitions in it that no spreadsheet writes; open it in a spreadsheet and save it again",
    nested: "is not an XLSX workbook; save it as .xlsx",
    large_file: "is larger than 20 MB; a vehicle's tables are far smaller: copy them into a new workbook",
}


@pytest.mark.once
@pytest.mark.parametrize("bomb", BOMBS, ids=lambda bomb: bomb.__name__)
def test_workbook_that_would_take_too_much_is_refused_in_little(bomb, tmp_path):
    """Refused by one line, in under 300 MB."""
    path = bomb(tmp_path / "car.xlsx")
    said, megabytes = measured(path)
    assert said.removeprefix(f"{path}: ") == BOMBS[bomb]
    assert megabytes < 300


@pytest.mark.once
@pytest.mark.parametrize(
    ("content", "expected"),
    [
        ("load,command,running_a,kind\n" + "l,c,1,led\n" * 3_500_000, "loads: 'loads.csv' is larger than 20 MB"),
        (
            "load,command,running_a,kind\n" + "".join(f"l{n},c,1,led\n" for n in range(50_000)),
            "has more than 20,000 rows",
        ),
        ("load,command,running_a,kind" + ",x" * 5_000_000, "loads, row 1: has more than 1000 columns"),
        (
            "load,command,running_a,kind\nl,c,1,led\n" + "," * 15_000_000 + "x",
            "loads, row 3: has more than 1000 columns",
        ),
        (
            'load,command,running_a,kind\n"' + "l" * 15_000_000 + '",c,1,led\n',
            "loads, row 2: is not CSV (field larger than",
        ),
        (
            "load,command,running_a,kind\n" + "\n" * 15_000_000 + "l,c,1,led\n",
            "is beyond the last row of a spreadsheet",
        ),
        ("load,command,running_a,kind\n" + "l,c,no,led\n" * 20_000, "loads: has 39499 faults more"),
    ],
    ids=["large", "rows", "columns", "wide row", "long cell", "blank rows", "faults"],
)
def test_csv_that_would_take_too_much_is_refused_in_little(content, expected, tmp_path):
    """The same for CSV: under 500 MB and 10 s."""
    said, megabytes = measured(write_files(tmp_path / "car", {"loads.csv": content}))
    assert expected in said
    assert megabytes < 500


def test_settings_nested_deeply_are_refused(tmp_path):
    """TOML nested thousands deep is a fault, not an overflow of the stack."""
    files = {**VEHICLE, "settings.toml": "x = " + "[" * 20_000}
    with pytest.raises(InputError, match=r"settings: is not TOML \(nested too deeply\); write lines"):
        read_vehicle(write_files(tmp_path / "car", files))


@pytest.mark.once
def test_misspelled_names_by_the_thousand_do_not_take_hours(tmp_path):
    """Looking for the nearest name is bounded however many names there are and are missed."""
    loads = "load,command,running_a,kind,place\n" + "".join(f"load {n},c,1,led,place {n}x\n" for n in range(3_000))
    places = "place\n" + "".join(f"place {n}\n" for n in range(3_000))
    said, _ = measured(write_files(tmp_path / "car", {"loads.csv": loads, "places.csv": places}))
    assert "did you mean 'place 7'?" in said


def test_a_name_that_is_a_number_with_a_comma_stays_one_cell():
    """A command named 1,5 would be two cells where commas part cells, if it stood bare."""
    assert csv_line(["lamp", "1,5", "2.5"]) == '"lamp","1,5",2.5\n'
