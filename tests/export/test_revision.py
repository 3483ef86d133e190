"""The rework list from one revision to the next."""

import csv
import datetime
import io
from dataclasses import replace

import openpyxl
import pypdf
import pytest

import pdm_alloc as pa
from pdm_alloc.export.paperwork import rework_sheets
from tests.export.made_up import solved

pytestmark = pytest.mark.once

DATE = datetime.date(2026, 3, 2)


@pytest.fixture(scope="module")
def before():
    """A demonstration allocation, as built."""
    return solved("expedition_truck", "compact-31")


@pytest.fixture(scope="module")
def after(before):
    """The same with two circuits of one command exchanged."""
    one, two = (c for c in before.circuits if c.command == "brake lamps")
    swapped = {one: replace(one, items=two.items), two: replace(two, items=one.items)}
    return replace(before, circuits=tuple(swapped.get(c, c) for c in before.circuits))


def test_nothing_changed(before):
    """Two equal allocations ask for no work."""
    assert all(sheet.table.empty for sheet in rework_sheets(before, before))


def test_moved_pins_are_listed(before, after):
    """Each moved load is one line with the pins it leaves and the pins it goes to, and a column to tick."""
    todo, _ = rework_sheets(before, after)
    moved = todo.table[todo.table.action == "move wire"]
    assert set(moved.subject) == {"brake lamp left", "brake lamp right"}
    assert set(moved.from_pins) == set(moved.to_pins)
    assert (moved.from_pins != moved.to_pins).all()
    assert set(todo.table.done) == {""}


def test_documents_of_two_saved_allocations(before, after, tmp_path):
    """From two saved allocations: PDF, workbook and CSV that say the same, with cautions and both results."""
    pa.export.write_documents(before, tmp_path / "a", revision="A", date=DATE)
    pa.export.write_documents(after, tmp_path / "b", revision="B", date=DATE)
    written = pa.export.write_rework(tmp_path / "a", tmp_path / "b", tmp_path / "rework", revision="B", date=DATE)
    names = [path.name for path in written]
    assert names == [
        "expedition_truck_rework.pdf",
        "expedition_truck_rework.xlsx",
        "rework_list.csv",
        "all_changes.csv",
    ]
    rows = list(csv.DictReader(io.StringIO(written[2].read_text())))
    assert [row["action"] for row in rows].count("move wire") == 2
    pages = "".join(page.extract_text() for page in pypdf.PdfReader(written[0]).pages)
    for text in ("Rework of expedition_truck", "move wire", "brake lamp left", "a qualified person", "before: result"):
        assert text in pages
    book = openpyxl.load_workbook(written[1])
    assert book.sheetnames == ["Cover", "Rework list", "All changes"]
    assert book["Rework list"].max_row == len(rows) + 1


def test_same_bytes(before, after, tmp_path):
    """The same two allocations give the same files."""
    one = pa.export.write_rework(before, after, tmp_path / "one", date=DATE)
    two = pa.export.write_rework(before, after, tmp_path / "two", date=DATE)
    assert [path.read_bytes() for path in one] == [path.read_bytes() for path in two]
