"""Saved allocations read back equal, from JSON and from tables, and refuse what does not fit."""

import datetime
import json
import tempfile
import tracemalloc
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pdm_alloc.domain.module import Channel, Module, Unit, units_of
from pdm_alloc.export.paperwork import read_measurements
from pdm_alloc.export.pdf_grid import record_bytes
from pdm_alloc.export.read_saved import read_allocation
from pdm_alloc.export.saved_tables import (
    allocation_digest,
    allocation_json,
    allocation_schema,
    circuits_of,
    content_digest,
    from_json,
    saved_tables,
)
from pdm_alloc.export.sheets import Issue
from pdm_alloc.files.faults import InputError
from pdm_alloc.files.grids import csv_bytes
from pdm_alloc.files.tables.read_vehicle import read_plain
from tests.export.made_up import one_each, solved
from tests.strategies import examples, vehicles
from tests.tables.random_tables import vehicles_as_tables

DEMOS = [("rally_coupe", "middle-36"), ("expedition_truck", "compact-31")]
GOLDEN = Path(__file__).with_name("allocation_schema_v4.json")


def _write(tables, folder):
    for name, table in tables.items():
        file = folder / f"{name}.csv"
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(csv_bytes(table))


@pytest.mark.parametrize("demo", DEMOS, ids=lambda d: d[0])
def test_json_reads_back(demo, tmp_path):
    """The demonstration vehicles come back equal from JSON, objectives included."""
    made = solved(*demo)
    (tmp_path / "allocation.json").write_bytes(allocation_json(made))
    back = read_allocation(tmp_path / "allocation.json")
    assert back == made
    assert back.objectives == made.objectives
    assert back.channels.equals(made.channels)


@pytest.mark.parametrize("demo", DEMOS, ids=lambda d: d[0])
def test_tables_read_back(demo, tmp_path):
    """The same from CSV files."""
    made = solved(*demo)
    _write(saved_tables(made), tmp_path)
    back = read_allocation(tmp_path)
    assert back == made
    assert back.objectives == made.objectives


@given(st.data())
@settings(max_examples=examples(40, 400), deadline=None)
def test_any_vehicle_reads_back_from_json(data):
    """Random vehicles come back equal, and the document is the same every time."""
    vehicle = data.draw(vehicles())
    made = one_each(vehicle, data.draw(st.integers(1, 3)))
    content = allocation_json(made)
    assert from_json(content) == made
    assert allocation_json(from_json(content)) == content


def test_schema_is_that_of_its_version():
    """The schema does not change without a new version: a reader of today's files must know."""
    assert allocation_schema() == json.loads(GOLDEN.read_text())


def test_files_of_this_version_without_its_later_columns_are_read(tmp_path):
    """What feeds actuators and control units came after the version: files without them read, and are still guarded."""
    made = solved(*DEMOS[1])
    assert made.vehicle.signals
    document = json.loads(allocation_json(made))
    del document["vehicle"]["settings"]["control_unit_load"]
    for row in document["vehicle"]["signals"]:
        del row["fed_by"]
    document["digest"] = content_digest({key: document[key] for key in list(document)[3:]})
    assert from_json(json.dumps(document).encode()) == made
    _write(saved_tables(made), tmp_path)
    held = (tmp_path / "allocation.csv").read_text(encoding="utf-8")
    assert allocation_digest(made) in held
    (tmp_path / "allocation.csv").write_text(held.replace(allocation_digest(made), document["digest"]), "utf-8")
    assert read_allocation(tmp_path) == made
    document["vehicle"]["signals"][0]["count"] += 1
    with pytest.raises(InputError, match="was changed after it was written"):
        from_json(json.dumps(document).encode())


def _edited(change):
    document = json.loads(allocation_json(solved(*DEMOS[1])))
    change(document)
    return json.dumps(document).encode()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda d: d.update(version=3), "has version 3; this program reads version 4"),
        (lambda d: d.update(format="other"), "is not a saved allocation"),
        (lambda d: d.update(extra=1), "extra inputs"),
        (
            lambda d: d["vehicle"]["loads"][0].update(colour="red"),
            "vehicle.loads.0.colour: 'red' cannot be read: unexpected",
        ),
        (lambda d: d["vehicle"]["loads"][0].update(running_ma="5 A"), "vehicle.loads.0.running_ma"),
        (lambda d: d["vehicle"]["loads"][0].update(share="no"), "is taken for False"),
        (lambda d: d["vehicle"]["loads"][0].pop("command"), "vehicle.loads.0.command: is missing"),
        (lambda d: d["vehicle"]["loads"][0].pop("share"), "vehicle.loads.0.share: is missing"),
        (lambda d: d["circuits"].pop(), "not wired"),
        (lambda d: d["circuits"].append(d["circuits"][0]), "wired 2 times"),
        (lambda d: d["circuits"][0].update(unit="compact-32"), "did you mean 'compact-31'"),
        (lambda d: d["circuits"][0].update(channels=["99"]), "is no channel of compact-31"),
        (lambda d: d["circuits"][0].update(channels=d["circuits"][1]["channels"]), "has 2 circuits"),
        (lambda d: d["circuits"][0].update(command="nothing"), "does not switch"),
        (lambda d: d["circuits"][0]["items"].append(["no such load", 1]), "is no load of the vehicle"),
        (lambda d: d.update(outcome="failed"), "outcome"),
        (lambda d: d["vehicle"]["loads"][0].update(note="other"), "was changed after it was written"),
        (lambda d: d.update(gap=0.25), "was changed after it was written"),
        (lambda d: d.update(gap="nan"), "is no number that can be kept"),
        (lambda d: d.update(gap=10**30), "no number that can be kept"),
        (lambda d: d["units"][0]["module"].update(mass_g=1e308), "is out of range"),
        (lambda d: d["vehicle"]["settings"].update(reference_v="inf"), "is out of range"),
    ],
)
def test_altered_json_is_refused(change, said):
    """A document of another version, with keys nobody knows, or whose parts do not fit, is refused in words."""
    with pytest.raises(InputError, match=said):
        from_json(_edited(change))


@pytest.mark.parametrize("content", [b"", b"[]", b"{", b"\xff\xfe", b"null", b"[" * 100_000, b'{"format": 1}'])
def test_no_json_is_refused(content):
    """Bytes that are no document of ours never end in a traceback."""
    with pytest.raises(InputError):
        from_json(content)


@pytest.mark.parametrize(
    ("file", "old", "new", "said"),
    [
        ("allocation.csv", '"version",4', '"version",9', "is not known here"),
        ("allocation.csv", '"gap",0.0', '"gap",small', "is not a number"),
        ("allocation.csv", '"gap",0.0', '"gap",nan', "is not a number"),
        ("allocation.csv", '"gap",0.0', '"gap",0.25', "was changed after it was written"),
        ("vehicle/loads.csv", '"invented"', '"changed"', "was changed after it was written"),
        ("allocation.csv", "isolate", "scatter", "one of: isolate, spare"),
        ("assignments.csv", ',"single",', ',"double",', "single, pair or bridge"),
        ("assignments.csv", '"load","item"', '"load","part"', "part"),
        ("units.csv", '"compact-31","compact-31"', '"compact-31","compact-13"', "did you mean 'compact-31'"),
        ("vehicle/loads.csv", '\n"tyre compressor",', '\n"tyre compresser",', "is no load of the vehicle"),
    ],
)
def test_altered_tables_are_refused(tmp_path, file, old, new, said):
    """Tables that were edited into something that does not fit are refused in words."""
    _write(saved_tables(solved(*DEMOS[1])), tmp_path)
    text = (tmp_path / file).read_text()
    assert old in text
    (tmp_path / file).write_text(text.replace(old, new))
    with pytest.raises(InputError, match=said):
        read_allocation(tmp_path)


def test_nothing_there(tmp_path):
    """An empty folder and a file that does not exist are refused in words."""
    with pytest.raises(InputError, match="no saved allocation"):
        read_allocation(tmp_path)
    with pytest.raises(InputError, match="cannot be read"):
        read_allocation(tmp_path / "none.json")


def test_names_that_would_be_formulas(tmp_path):
    """Names that a spreadsheet would run come back as they were."""
    made = solved(*DEMOS[1])
    load = made.vehicle.loads[0]
    vehicle = replace(made.vehicle, loads=(replace(load, name="=HYPERLINK(1)", note="'+1"), *made.vehicle.loads[1:]))
    made = one_each(vehicle, 2)
    tables = saved_tables(made)
    _write(tables, tmp_path)
    lines = b"".join(file.read_bytes() for file in tmp_path.rglob("*.csv"))
    assert b"\n=HYPERLINK" not in lines
    assert b",=HYPERLINK" not in lines
    back = read_allocation(tmp_path)
    assert {x.name: x.note for x in back.vehicle.loads}["=HYPERLINK(1)"] == "'+1"
    assert set(back.circuits) == set(made.circuits)


def test_channel_names_with_a_plus():
    """Two channels written as one cell are told apart even where their names have a plus in them."""
    names = ("a+b", "c", "a", "b+c")
    module = Module("m", 1, 1, tuple(Channel(n, 1, 1, 1.0) for n in names))
    row = {"load": "x", "item": "1", "module": "m", "use": "pair", "command": "k"}
    (one,) = circuits_of([{**row, "channel": "a+b+c"}], (Unit("m", module),))
    assert one.channels in {("a", "b+c"), ("a+b", "c")}
    assert set(one.channels) <= set(names)
    (alone,) = circuits_of([{**row, "channel": "a+b", "use": "single"}], (Unit("m", module),))
    assert alone.channels == ("a+b",)


def test_two_modules_of_one_name():
    """Tables cannot tell two different modules of one name apart, and say so; JSON can."""
    made = one_each(solved(*DEMOS[1]).vehicle)
    other = replace(made.units[0].module, total_ma=1)
    made = replace(made, units=(*made.units, Unit("second", other)))
    assert from_json(allocation_json(made)) == made
    with pytest.raises(ValueError, match="two different modules are named made-up"):
        saved_tables(made)


def test_several_units_of_one_module(tmp_path):
    """Two units of one module keep their labels and places."""
    made = one_each(solved(*DEMOS[1]).vehicle)
    label, place = "made-up #2", made.vehicle.places[0].name
    made = replace(made, units=(*made.units, Unit(label, made.units[0].module, place)))
    _write(saved_tables(made), tmp_path)
    assert read_allocation(tmp_path).units[1] == made.units[1]
    assert units_of(made.units) == made.units


@given(vehicles_as_tables(), st.integers(1, 3))
@settings(max_examples=examples(25, 250), deadline=None)
def test_any_tables_read_back(tables, per_channel):
    """Vehicles of any names, notes and columns come back equal from CSV files and from JSON."""
    made = one_each(replace(read_plain(tables, "vehicle"), locked=()), per_channel)
    assert from_json(allocation_json(made)) == made
    with tempfile.TemporaryDirectory() as folder:
        _write(saved_tables(made), Path(folder))
        assert read_allocation(folder) == made


@given(vehicles_as_tables())
@settings(max_examples=10, deadline=None)
def test_any_tables_read_back_from_a_workbook(tables):
    """The same from the workbook."""
    made = one_each(replace(read_plain(tables, "vehicle"), locked=()), 2)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "book.xlsx"
        file.write_bytes(record_bytes(made, Issue("A", datetime.date(2026, 3, 1))))
        assert read_allocation(file) == made


def _bomb(path, size=80_000_000):
    """A workbook of a few kilobytes that unpacks to a great many."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        with archive.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as part:
            for _ in range(size // 1_000_000):
                part.write(b" " * 1_000_000)


@pytest.mark.parametrize("reader", [read_allocation, lambda path: read_measurements(path, solved(*DEMOS[1]))])
def test_zip_bomb_is_refused_in_bounded_memory(tmp_path, reader):
    """A workbook that would fill the memory is refused before it is unpacked."""
    _bomb(tmp_path / "bomb.xlsx")
    solved(*DEMOS[1])
    tracemalloc.start()
    with pytest.raises(InputError, match=r"bomb\.xlsx"):
        reader(tmp_path / "bomb.xlsx")
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 30_000_000


@pytest.mark.once
def test_workbook_of_many_rows_is_refused(tmp_path):
    """A table of 100,000 rows is no saved allocation, and is refused in words."""
    tables = saved_tables(solved(*DEMOS[1]))
    _write(tables, tmp_path)
    row = ",".join(map(str, tables["assignments"].iloc[0]))
    with (tmp_path / "assignments.csv").open("a") as file:
        file.write(f"{row}\n" * 100_000)
    with pytest.raises(InputError, match="rows"):
        read_allocation(tmp_path)


def test_large_json_is_refused(tmp_path, monkeypatch):
    """A JSON file larger than any allocation is refused before it is read."""
    monkeypatch.setattr("pdm_alloc.files.grids.LARGEST_SAVED_BYTES", 10)
    (tmp_path / "allocation.json").write_text(" " * 11)
    with pytest.raises(InputError, match="too large"):
        read_allocation(tmp_path / "allocation.json")
