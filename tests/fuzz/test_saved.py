"""Saved allocations damaged in every way: read back, or refused in words."""

import json
import tempfile
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

import pdm_alloc as pa
from pdm_alloc.export.read_saved import Kept, Shelf, read_allocation
from pdm_alloc.export.saved_tables import allocation_json, from_json, saved_tables
from pdm_alloc.files.faults import InputError
from pdm_alloc.files.grids import csv_bytes
from pdm_alloc.files.tables.read_catalogue import read_catalogue
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from tests.fuzz.mutate import altered_documents, damaged, many
from tests.fuzz.refused import refused_in_words
from tests.tables.good import CATALOGUE, VEHICLE, write_files

MORE = "".join(f"large,{n},X1,{n},,25,140,100,pwm,,{'two' if n < 4 else ''},6\n" for n in range(2, 9))


def _allocation():
    """Of the small good vehicle on a large module, with a pair of channels and places."""
    channels = {"channels.csv": CATALOGUE["channels.csv"].replace(",25,100,100,", ",25,140,100,") + MORE}
    with tempfile.TemporaryDirectory() as folder:
        vehicle = read_vehicle(write_files(Path(folder) / "car", {**VEHICLE, "locked.csv": ""}))
        catalogue = read_catalogue(write_files(Path(folder) / "catalogue", {**CATALOGUE, **channels}))
    return pa.allocate(vehicle, [pa.Unit("front", catalogue["large"], "dash"), catalogue["small"]])


MADE = _allocation()
CONTENT = allocation_json(MADE)
DOCUMENT = json.loads(CONTENT)
_FILE = {"format": "pdm_alloc kept allocations", "version": 1, "built": "a"}
KEPT = json.dumps(_FILE | {"kept": [{"name": name, "allocation": DOCUMENT} for name in ("a", "b")]}).encode()
TABLES = {f"{name}.csv": csv_bytes(table) for name, table in saved_tables(MADE).items()}


def _content(allocation) -> dict:
    """All that is saved of an allocation but the name of its folder; circuits have no order."""
    document = json.loads(allocation_json(allocation))
    document["vehicle"].pop("name", None)
    return document | {"circuits": sorted(document["circuits"], key=json.dumps)}


def reads_or_refuses(read, *arguments):
    """The allocation as it was saved, which can be recounted and shown, or faults of one line each."""
    try:
        allocation = read(*arguments)
    except InputError as error:
        refused_in_words(error)
        return
    assert _content(allocation) == _content(MADE)  # a value that is another one now would be believed
    pa.verify(allocation)
    assert len(allocation.channels) == len(allocation.circuits)
    assert allocation.summary()


@given(altered_documents(DOCUMENT))
@many(250)
def test_altered_document(document):
    """Any value of the document replaced, left out, doubled or moved."""
    reads_or_refuses(from_json, json.dumps(document).encode())


@given(st.one_of(damaged(KEPT), altered_documents(json.loads(KEPT)).map(lambda d: json.dumps(d).encode())))
@example(KEPT.replace(b"pdm_alloc allocation", b"\xed\xa0\x80pdm_alloc allocation", 1))
@many(40)
def test_damaged_kept_file(content):
    """Of a damaged file each allocation is the one that was kept, or cannot be used; keeping another loses neither."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "kept.json"
        file.write_bytes(content)
        try:
            shelf = Shelf(file)
        except InputError as error:
            refused_in_words(error)
            return
        assert all(one.why or _content(one.allocation) == _content(MADE) for one in shelf.kept)
        shelf.put([*shelf.kept, Kept("more", MADE)], shelf.built)
        assert [one.document for one in Shelf(file).kept[:-1]] == [one.document for one in shelf.kept[:-1]]


def test_names_of_two_lines_are_told_in_one():
    """A name that only a damaged document can have stands in the remedy too."""
    document = json.loads(CONTENT)
    document["units"][0]["label"] = "a\nb"
    reads_or_refuses(from_json, json.dumps(document).encode())


@given(damaged(CONTENT))
@example(b"[" * 100_000)
@example(CONTENT.replace(b'"gap": 0.0', b'"gap": 1e999'))
@many(120)
def test_damaged_document(content):
    """Bytes of the document damaged."""
    reads_or_refuses(from_json, content)


@pytest.mark.parametrize("name", sorted(TABLES))
def test_damaged_table(name):
    """Bytes of one of the saved tables damaged."""

    @given(damaged(TABLES[name]))
    @many(12)
    def check(content):
        with tempfile.TemporaryDirectory() as folder:
            for file, good in {**TABLES, name: content}.items():
                path = Path(folder) / file
                path.parent.mkdir(exist_ok=True)
                path.write_bytes(good)
            reads_or_refuses(read_allocation, folder)

    check()


@given(st.sampled_from(sorted(TABLES)))
@many(len(TABLES))
def test_missing_table(name):
    """One of the saved tables lost."""
    with tempfile.TemporaryDirectory() as folder:
        for file, good in TABLES.items():
            path = Path(folder) / file
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(good)
        (Path(folder) / name).unlink()
        with pytest.raises(InputError):
            read_allocation(folder)


def _with(path, value):
    document = json.loads(CONTENT)
    *way, last = path
    place = document
    for key in way:
        place = place[key]
    place[last] = value
    return json.dumps(document).encode()


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("gap",), "nan"),
        (("gap",), 1e30),
        (("vehicle", "loads", 0, "volt_exponent"), 1e308),
        (("vehicle", "loads", 0, "inrush_ms"), "inf"),
        (("vehicle", "loads", 0, "running_ma"), 10**30),
        (("vehicle", "loads", 0, "tolerance_pct"), "1e999999999"),
        (("vehicle", "states", 0, "supply_v"), 1e300),
        (("vehicle", "routes", 0, "length_m"), -1.0),
        (("units", 0, "module", "channels", 0, "peak_ms"), 10**30),
    ],
)
def test_number_no_table_could_hold_is_refused(path, value):
    """Not a number, infinite, 10^30, an exponent that fills the memory: a fault that names the field."""
    with pytest.raises(InputError) as refusal:
        from_json(_with(path, value))
    assert ".".join(map(str, path)) in str(refusal.value)


@pytest.mark.parametrize(
    "path",
    [
        ("vehicle", "settings", "return_path"),
        ("vehicle", "settings", "wire_sizes"),
        ("vehicle", "settings", "rules"),
        ("vehicle", "settings", "battery_chemistry"),
        ("vehicle", "loads", 0, "importance"),
        ("vehicle", "commands", 0, "action"),
    ],
)
def test_word_no_table_could_hold_is_refused(path):
    """Documents asked for later would end with an internal error: the field is named on reading."""
    with pytest.raises(InputError) as refusal:
        from_json(_with(path, "1e308"))
    assert ".".join(map(str, path)) in str(refusal.value)
