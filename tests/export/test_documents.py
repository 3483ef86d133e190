"""All documents in one folder: complete, whole or old, read back, and light to import."""

import csv
import datetime
import io
import re
import subprocess
import sys
import warnings
from dataclasses import replace

import openpyxl
import pypdf
import pytest

import pdm_alloc as pa
from pdm_alloc.domain.condition import condition_names
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Lock
from pdm_alloc.export import paperwork
from pdm_alloc.export.lists import heading, input_list, labels, shown, wire_list
from pdm_alloc.export.sheets import grouped_warnings
from pdm_alloc.files.grids import csv_bytes
from tests.export.made_up import one_each, solved

DEMO = ("expedition_truck", "compact-31")
DATE = datetime.date(2026, 3, 1)


@pytest.fixture(scope="module")
def allocation():
    """One demonstration allocation."""
    return solved(*DEMO)


@pytest.fixture(scope="module")
def folder(allocation, tmp_path_factory):
    """Its documents."""
    home = tmp_path_factory.mktemp("out") / "new"
    pa.export.write_documents(allocation, home, revision="B", date=DATE)
    return home


def test_no_warning_is_lost_on_paper(allocation):
    """Lines of one rule are put together with every sentence, and a warning never turns into a danger beside one."""
    on = {state.name: state for state in allocation.vehicle.states}
    lowest = min(on.values(), key=lambda state: state.supply_v)
    named = [x for x in allocation.vehicle.loads if lowest.is_on(x.command)]
    grave = {named[0].name: "vital", named[1].name: "needed"}
    loads = tuple(
        replace(x, min_v=2 * lowest.supply_v, importance=grave[x.name]) if x.name in grave else x
        for x in allocation.vehicle.loads
    )
    starved = replace(allocation, vehicle=replace(allocation.vehicle, loads=loads))
    paper = grouped_warnings(starved).to_dict("records")
    for line in starved.warnings.itertuples():
        assert any(w["severity"] == line.severity and line.sentence in w["warning"] for w in paper)
        assert any(w["remedy"] == line.remedy for w in paper)
    assert {
        w["severity"] for w in paper if any(name in w["warning"] and " needs " in w["warning"] for name in grave)
    } == {
        "danger",
        "warning",
    }
    assert sum(len(w["warning"]) for w in paper) < 1.1 * sum(map(len, starved.warnings.sentence))


def _names(home):
    return {str(path.relative_to(home)) for path in home.rglob("*") if path.is_file()}


def test_everything_is_there(allocation, folder):
    """PDF, workbook, pin map, JSON, a CSV file a table, and nothing unfinished."""
    names = _names(folder)
    assert {"expedition_truck.pdf", "expedition_truck.xlsx", "pin_map.csv", "allocation.json"} <= names
    for stem in (
        "wire_list",
        "channel_settings",
        "input_list",
        "supply_check",
        "warnings",
        "spare_channels",
        "commissioning",
    ):
        assert f"tables/{stem}.csv" in names
    assert not any(name.endswith(".part") for name in names)
    assert len(pypdf.PdfReader(folder / "expedition_truck.pdf").pages) > 5
    assert "Pin map" in openpyxl.load_workbook(folder / "expedition_truck_tables.xlsx", read_only=True).sheetnames


def test_no_number_on_paper_has_the_dust_of_binary_arithmetic(folder):
    """A length of 6.548 m is not written as 6.548000000000001, in no table of the binder."""
    for file in (folder / "tables").glob("*.csv"):
        assert not re.findall(r"\d\.\d{7,}", file.read_text(encoding="utf-8-sig")), file.name


@pytest.mark.parametrize("part", ["", "allocation.json", "saved", "expedition_truck_tables.xlsx"])
def test_reads_back(allocation, folder, part):
    """Folder, JSON, tables and workbook all hold the same allocation."""
    assert pa.export.read_allocation(folder / part) == allocation


def test_pin_map_is_complete(allocation, folder):
    """The pin map as CSV has every circuit and the loads' own columns."""
    rows = list(csv.DictReader(io.StringIO((folder / "pin_map.csv").read_text(encoding="utf-8-sig"))))
    table = allocation.pin_map()
    assert list(rows[0]) == list(table.columns)
    assert [row["pins"] for row in rows] == table.pins.tolist()
    assert [float(row["running_a"]) for row in rows] == table.running_a.tolist()
    assert any(row["x_wire_label"] for row in rows)


def test_pin_map_alone(allocation, tmp_path, folder):
    """The pin map alone is the same file."""
    path = pa.export.write_pin_map(allocation, tmp_path / "map.csv")
    assert path.read_bytes() == (folder / "pin_map.csv").read_bytes()


def test_same_files_again(allocation, folder, tmp_path):
    """Writing again gives the same bytes in every file, JSON and PDF included."""
    pa.export.write_documents(allocation, tmp_path, revision="B", date=DATE)
    assert _names(tmp_path) == _names(folder)
    for name in _names(folder):
        assert (tmp_path / name).read_bytes() == (folder / name).read_bytes(), name


@pytest.mark.once
def test_table_of_an_earlier_allocation_does_not_stay(allocation, tmp_path):
    """A table the new allocation does not have is removed, so that it is not read with it; other files stay."""
    load = allocation.vehicle.loads[0]
    (circuit,) = (c for c in allocation.circuits if (load.name, 1) in c.items)
    lock = Lock(load.name, circuit.unit, circuit.channel)
    locked = one_each(replace(allocation.vehicle, locked=(replace(lock, module="made-up", channel="1"),)), 3)
    pa.export.write_documents(locked, tmp_path)
    assert (tmp_path / "saved" / "vehicle" / "locked.csv").exists()
    (tmp_path / "saved" / "notes.txt").write_text("mine")
    pa.export.write_documents(allocation, tmp_path)
    assert not (tmp_path / "saved" / "vehicle" / "locked.csv").exists()
    assert (tmp_path / "saved" / "notes.txt").read_text() == "mine"
    assert pa.export.read_allocation(tmp_path / "saved") == allocation
    (tmp_path / "saved" / "vehicle" / "locked.csv").write_text("load,module,channel\n")
    with pytest.raises(pa.InputError, match=r"locked\.csv: is not of this allocation"):
        pa.export.read_allocation(tmp_path / "saved")


@pytest.mark.once
def test_vehicle_name_cannot_leave_the_folder(allocation, tmp_path):
    """A name with slashes and dots becomes a plain file name in the folder."""
    named = replace(allocation, vehicle=replace(allocation.vehicle, name="../../etc/van: no. 1"))
    written = pa.export.write_documents(named, tmp_path / "out")
    assert (tmp_path / "out" / "etc_van_no._1.pdf") in written
    assert [path.name for path in tmp_path.iterdir()] == ["out"]
    assert pa.export.read_allocation(tmp_path / "out").vehicle.name == "../../etc/van: no. 1"


def test_without_the_extra(allocation, tmp_path, monkeypatch):
    """Without the libraries of the extra the core's files are written, and one line says what is not."""
    monkeypatch.setitem(sys.modules, "reportlab", None)
    with pytest.warns(UserWarning, match=r"pdm_alloc\[documents\]"):
        pa.export.write_documents(allocation, tmp_path)
    assert "pin_map.csv" in _names(tmp_path)
    assert not any(name.endswith((".pdf", ".xlsx")) for name in _names(tmp_path))
    assert pa.export.read_allocation(tmp_path) == allocation


@pytest.mark.once
def test_disk_full_leaves_the_old_documents(allocation, tmp_path, monkeypatch):
    """A disk that fills up while the fifth file is written leaves all old ones."""
    pa.export.write_documents(allocation, tmp_path, revision="A", date=DATE)
    before = {name: (tmp_path / name).read_bytes() for name in _names(tmp_path)}
    calls = []

    def full(handle):
        calls.append(handle)
        if len(calls) > 4:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(pa.export.WriteError, match="the disk is full") as caught:
        pa.export.write_documents(allocation, tmp_path, revision="B", date=DATE)
    assert caught.value.strerror.startswith("the disk is full")
    assert {name: (tmp_path / name).read_bytes() for name in _names(tmp_path)} == before


# Made once and written again and again, so that the kill comes while files are written.
WRITER = """
import itertools, os, signal, sys, time
import pdm_alloc as pa
from pdm_alloc.export import paperwork
made = []
keep = lambda folder, files, outdated=(): made.append((files, list(outdated)))
write, paperwork.write_files = paperwork.write_files, keep
allocation = pa.export.read_allocation(sys.argv[1])
for revision in "AB":
    pa.export.write_documents(allocation, sys.argv[2], revision=revision)
write(sys.argv[2], *made[0])
for line in sys.stdin:
    child = os.fork()
    if not child:
        for n in itertools.count(1):
            write(sys.argv[2], *made[n % 2])
    time.sleep(float(line))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    print("killed", flush=True)
"""


@pytest.mark.once
@pytest.mark.skipif(sys.platform == "win32", reason="no such signal")
def test_kill_while_writing(allocation, folder, tmp_path):
    """Killed at any moment, every document can still be opened and the allocation still be read."""
    out = tmp_path / "out"
    command = [sys.executable, "-c", WRITER, str(folder / "allocation.json"), str(out)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1) as process:
        for delay_s in (0.005, 0.017, 0.041):
            process.stdin.write(f"{delay_s}\n")
            assert process.stdout.readline() == "killed\n"
            check_readable(out, allocation)


def check_readable(out, allocation):
    for part in ("allocation.json", "saved", "expedition_truck_tables.xlsx"):
        assert pa.export.read_allocation(out / part) == allocation
    text = pypdf.PdfReader(out / "expedition_truck.pdf").pages[0].extract_text()
    assert "revision A" in text or "revision B" in text
    assert len(list(csv.reader((out / "pin_map.csv").open(encoding="utf-8-sig")))) == len(allocation.circuits) + 1


def test_importing_is_light():
    """Importing the documents loads none of the libraries of the extra."""
    code = (
        "import sys, pdm_alloc.export.paperwork, pdm_alloc.export.read_saved;"
        "print([m for m in ('reportlab', 'xlsxwriter', 'scipy', 'matplotlib') if m in sys.modules])"
    )
    assert subprocess.check_output([sys.executable, "-c", code], text=True).strip() == "[]"


def test_names_of_the_package():
    """Every name offered by the package can be had, also after its modules were imported."""
    for name in pa.export.__all__:
        assert callable(getattr(pa.export, name)), name
    assert paperwork.write_documents is pa.export.write_documents
    with pytest.raises(AttributeError):
        pa.export.no_such_name


def test_labels_are_unique(allocation):
    """No two wires have one label; several units are told apart."""
    assert len(set(labels(allocation).values())) == sum(len(c.loads) for c in allocation.circuits)
    other = Unit("second", allocation.units[0].module)
    both = replace(
        allocation,
        units=(*allocation.units, other),
        circuits=(*allocation.circuits, *(replace(c, unit="second") for c in allocation.circuits)),
    )
    made = labels(both)
    assert len(set(made.values())) == len(made) == 2 * len(labels(allocation))


def test_wire_list_has_every_run(allocation):
    """A row for each load on each channel, with what and how many, and the length where it is known."""
    table = wire_list(allocation)
    assert table.label.is_unique
    counts = table.groupby("load")["items"].sum()
    assert counts.to_dict() == {load.name: load.count for load in allocation.vehicle.loads}
    drops = {(r.load, r.module, r.channel): r.length_m for r in allocation.drops.itertuples()}
    for row in table.itertuples():
        known = drops[row.load, row.module, row.channel]
        assert row.length_m == known or (row.length_m != row.length_m and known != known) or row.length_m is None


def test_input_list(allocation):
    """Every input is listed with the commands that ask for it; those no table describes count as switches."""
    table = input_list(allocation.vehicle).set_index("input")
    assert set(table.index) >= {item.name for item in allocation.vehicle.inputs}
    for item in allocation.vehicle.inputs:
        assert table.loc[item.name, "module_input"] == (item.kind != "bus")
    bare = input_list(replace(allocation.vehicle, inputs=())).set_index("input")
    assert set(bare.kind) == {"switch"}
    command = next(c for c in allocation.vehicle.commands if c.condition)
    used = {name for name, text in bare.used_by.items() if command.name in text.split("; ")}
    assert used == condition_names(command.condition)


@pytest.mark.parametrize(
    ("column", "said"),
    [
        ("running_a", "running, A"),
        ("headroom_pct", "headroom, %"),
        ("x_wire_label", "wire label"),
        ("x_length_m", "length m"),
        ("minutes", "minutes"),
        ("floor_minutes", "time to battery floor, min"),
        ("a", "a"),
        ("area_mm2", "area, mm²"),
    ],
)
def test_headings(column, said):
    """A heading has words and the unit of its column."""
    assert heading(column) == said


@pytest.mark.parametrize(
    ("value", "column", "said"),
    [
        (1, "running_a", "1.00"),
        (None, "running_a", ""),
        (float("inf"), "floor_minutes", "no limit"),
        (True, "x", "yes"),
    ],
)
def test_shown(value, column, said):
    """Numbers have their column's decimals; nothing is shown as nothing."""
    assert shown(value, column) == said


def test_csv_cells():
    """Numbers keep their digits, nothing is empty, text that could be run is guarded, letters of any alphabet stay."""
    import pandas as pd

    table = pd.DataFrame({"name": ["=1", "größer", None], "n": [0.1, 2.0, float("nan")], "yes": [True, False, True]})
    content = csv_bytes(table)
    assert content.startswith(b"\xef\xbb\xbf")
    rows = list(csv.reader(io.StringIO(content.decode("utf-8-sig"))))
    assert rows[1:] == [["'=1", "0.1", "yes"], ["größer", "2", "no"], ["", "", "yes"]]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert not csv_bytes(pd.DataFrame({"a": ["x"]})).startswith(b"\xef")


RISKY = ["=1+1", "+1+1", "-2+3", "@SUM(A1)", "\t=1", "\r=1", " =1", "'=1", "''=1", "-", "=", "plain", "'q'"]


@pytest.mark.parametrize("text", RISKY)
def test_no_csv_cell_can_be_run(tmp_path, text):
    """A cell that a spreadsheet could run is marked, and reads back as it was."""
    import pandas as pd

    from pdm_alloc.files.faults import Faults
    from pdm_alloc.files.grids import read_table

    (tmp_path / "t.csv").write_bytes(csv_bytes(pd.DataFrame({"name": ["x", text], "other": ["y", "z"]})))
    written = list(csv.reader((tmp_path / "t.csv").open(newline="")))[2][0]
    assert written.strip()[:1] not in ("=", "+", "-", "@")
    grid = read_table(tmp_path / "t.csv", ("name", "other"), Faults())
    assert grid.rows[1][1][0] == text.replace("\r", "\n")
