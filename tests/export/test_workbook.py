"""The workbook: every table complete, printable, harmless, and read back to the same allocation."""

import datetime
import io
import sys
import warnings
from dataclasses import replace

import openpyxl
import pytest

from pdm_alloc.export.lists import SIGNAL_NOTES, heading
from pdm_alloc.export.pdf_grid import record_bytes, workbook_bytes
from pdm_alloc.export.read_saved import SAVED_SHEETS, read_allocation
from pdm_alloc.export.sheets import COVER, READ_SHEETS, SHEETS, Issue, sheets
from pdm_alloc.files.faults import InputError
from tests.export.made_up import one_each, solved

DEMOS = [("rally_coupe", "middle-36"), ("expedition_truck", "compact-31")]
ISSUE = Issue("B", datetime.date(2026, 3, 1))


BOOKS = [(demo, write) for demo in DEMOS for write in (workbook_bytes, record_bytes)]


@pytest.fixture(scope="module", params=BOOKS, ids=lambda book: f"{book[0][0]}-{book[1].__name__}")
def made(request):
    """A demonstration allocation, one of its workbooks as bytes and as openpyxl reads it."""
    demo, write = request.param
    allocation = solved(*demo)
    content = write(allocation, ISSUE)
    return allocation, content, openpyxl.load_workbook(io.BytesIO(content))


@pytest.fixture(scope="module", params=DEMOS, ids=lambda demo: demo[0])
def kept(request):
    """A demonstration allocation and the workbook that keeps it."""
    allocation = solved(*request.param)
    content = record_bytes(allocation, ISSUE)
    return allocation, content, openpyxl.load_workbook(io.BytesIO(content))


def test_every_table_is_there_whole(made):
    """Each sheet has the headings with their units and every cell of its table."""
    allocation, _, book = made
    for sheet in (sheet for sheet in sheets(allocation) if sheet.name in book.sheetnames):
        rows = list(book[sheet.name].iter_rows(values_only=True))
        assert list(rows[0]) == [heading(name) for name in sheet.table.columns]
        assert len(rows) == len(sheet.table) + 1
        for written, row in zip(rows[1:], sheet.table.itertuples(index=False), strict=True):
            for cell, value in zip(written, row, strict=True):
                if isinstance(value, float) and value == value and value != float("inf"):
                    assert cell == pytest.approx(value)
                elif isinstance(value, str):
                    assert (cell or "") == value


def test_sheets_of_the_issue_are_there(made):
    """Eight sheets people read are in one workbook, all others in the second; those of signals where there are any."""
    _, _, book = made
    if "Bench sheet" in book.sheetnames:
        assert tuple(book.sheetnames) == tuple(name for name in READ_SHEETS if name not in SIGNAL_NOTES)
        assert len(book.sheetnames) == 8
    else:
        assert {COVER, *SHEETS} - set(READ_SHEETS[1:]) - set(SIGNAL_NOTES) <= set(book.sheetnames)
    assert book.sheetnames[0] == COVER


def test_ready_to_print(made):
    """Every sheet prints all its cells, as wide as a landscape page, with its headings repeated and frozen."""
    _, _, book = made
    for page in book:
        assert page.page_setup.orientation == "landscape"
        assert page.sheet_properties.pageSetUpPr.fitToPage
        assert page.page_setup.fitToWidth in (None, 1)  # 1 where it is not said
        assert page.page_setup.fitToHeight == 0
        assert page.print_title_rows == "$1:$1"
        corner = page.print_area.replace("$", "").rpartition(":")[2]
        last = page[corner]
        assert last.row >= page.max_row
        assert last.column >= page.max_column
        assert page.title == COVER or page.freeze_panes[1:] == "2"
        assert page.title == COVER or page.title in SAVED_SHEETS or "revision B" in page.oddHeader.right.text


def test_cover_has_cautions_title_block_and_hashes(made):
    """The first sheet says what to take care of, which revision this is, and from which tables it was made."""
    allocation, _, book = made
    said = {row[0]: row[1] for row in book[COVER].iter_rows(values_only=True)}
    cautions = [row[1] for row in book[COVER].iter_rows(values_only=True) if row[0] == "caution"]
    assert any("a qualified person" in text for text in cautions)
    assert any("main fuse" in text for text in cautions)
    assert (said["revision"], said["date"]) == ("B", "2026-03-01")
    for table, digest in allocation.vehicle.table_hashes:
        assert f"{table} {digest[:12]}" in said["vehicle tables"]


def test_headings_are_not_cut(made):
    """A column is at least as wide as the longest word of its heading."""
    allocation, _, book = made
    for sheet in (sheet for sheet in sheets(allocation) if sheet.name in book.sheetnames):
        page = book[sheet.name]
        for cell in page[1]:
            width = page.column_dimensions[cell.column_letter].width
            assert width >= max(len(word) for word in cell.value.split())


def test_reads_back(kept, tmp_path):
    """The workbook is the allocation: it reads back equal."""
    allocation, content, _ = kept
    (tmp_path / "book.xlsx").write_bytes(content)
    back = read_allocation(tmp_path / "book.xlsx")
    assert back == allocation
    assert back.objectives == allocation.objectives


def test_reads_back_after_a_spreadsheet_saved_it(kept, tmp_path):
    """Opening and saving it elsewhere changes nothing that matters."""
    allocation, _, book = kept
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book.save(tmp_path / "book.xlsx")
    assert read_allocation(tmp_path / "book.xlsx") == allocation


def test_same_bytes(kept):
    """The same allocation, revision and date give the same file; another revision another."""
    allocation, content, _ = kept
    assert record_bytes(allocation, ISSUE) == content
    assert record_bytes(allocation, Issue("C", ISSUE.date)) != content


def test_names_that_would_be_formulas():
    """No cell of ours is a formula or a link, whatever the names."""
    vehicle = solved(*DEMOS[1]).vehicle
    bad = ['=HYPERLINK("http://x","y")', "+1+1", "@SUM(A1)", "-2", "http://example.invalid/", "{=1}", "007", "1e5"]
    loads = tuple(replace(x, name=n, note=n, extra=(("x_=1+1", n),)) for x, n in zip(vehicle.loads, bad, strict=False))
    allocation = one_each(replace(vehicle, loads=loads, locked=()), 3)
    book = openpyxl.load_workbook(io.BytesIO(record_bytes(allocation, Issue("=1+1", ISSUE.date))))
    cells = [cell for page in book for row in page.iter_rows() for cell in row if cell.value is not None]
    assert {cell.data_type for cell in cells} <= {"s", "n"}
    assert not any(cell.hyperlink for cell in cells)
    texts = {cell.value for cell in cells if cell.data_type == "s"}
    assert set(bad) <= texts


def test_vehicle_with_ampersands_in_a_printed_header():
    """An ampersand is a code in a printed header; a name with one is printed as it is, and a long one cut."""
    vehicle = replace(solved(*DEMOS[1]).vehicle, name="Fish & chips van &P " + "x" * 300)
    book = openpyxl.load_workbook(io.BytesIO(record_bytes(one_each(vehicle, 3), ISSUE)))
    header = book["Pin map"].oddHeader.right.text
    assert "Fish && chips van &&P" in header
    assert len(header) < 255


def test_missing_library_is_one_clear_line(monkeypatch):
    """Without xlsxwriter the message names the extra."""
    monkeypatch.setitem(sys.modules, "xlsxwriter", None)
    with pytest.raises(ModuleNotFoundError, match=r"pdm_alloc\[documents\]"):
        workbook_bytes(solved(*DEMOS[1]), ISSUE)


def test_workbook_for_people_says_where_the_other_is(tmp_path):
    """The workbook without the saved allocation is refused by its name, with the one to give instead."""
    (tmp_path / "coupe.xlsx").write_bytes(workbook_bytes(solved(*DEMOS[0]), ISSUE))
    with pytest.raises(InputError, match=r"coupe\.xlsx: has no saved allocation in it; .* ends in _tables"):
        read_allocation(tmp_path / "coupe.xlsx")
