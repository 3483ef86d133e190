"""Names that break a page, a spreadsheet or a figure do neither."""

import csv
import datetime
import io
from dataclasses import replace

import matplotlib.mathtext
import openpyxl
import pandas as pd
import pypdf
import pytest
from hypothesis import given
from hypothesis import strategies as st

import pdm_alloc as pa
from pdm_alloc.export.pdf_document import pdf_bytes
from pdm_alloc.export.pdf_grid import record_bytes
from pdm_alloc.export.sheets import Issue
from pdm_alloc.files.grids import csv_bytes, csv_line, marked, unmarked
from tests.export.made_up import one_each, solved

ISSUE = Issue("A", datetime.date(2026, 3, 1))
SIGNS = "=+-@\uff1d\uff0b\uff0d\uff20"


def _renamed(load_name, command_name=None):
    """A demo vehicle whose first load, its note and its own columns hold the name."""
    vehicle = solved("expedition_truck", "compact-31").vehicle
    first = vehicle.loads[0]
    own = tuple((key, load_name) for key, _ in first.extra)
    load = replace(first, name=load_name, note=load_name, extra=own)
    return one_each(replace(vehicle, loads=(load, *vehicle.loads[1:])), 2)


@pytest.mark.once
@pytest.mark.parametrize("word", ["W" * 400, "\u6f22" * 400, "-".join(["abc"] * 100)])
def test_a_long_word_breaks(word):
    """A word of 400 letters, in a name and in the builder's own column, ends no document; the workbook has it."""
    allocation = _renamed(word)
    pages = pypdf.PdfReader(io.BytesIO(pdf_bytes(allocation, ISSUE))).pages
    assert len(pages) > 5
    book = openpyxl.load_workbook(io.BytesIO(record_bytes(allocation, ISSUE)), read_only=True)
    cells = [str(cell) for sheet in book for row in sheet.iter_rows(values_only=True) for cell in row if cell]
    assert any(word in cell for cell in cells)


def test_a_link_of_the_builder_survives():
    """A link in a column of the builder's own stays whole in the pin map and the workbook, and ends no document."""
    link = "https://example.org/" + "part/" * 60
    allocation = _renamed("lamp")
    loads = allocation.vehicle.loads
    loads = (replace(loads[0], extra=(("x_link", link),)), *(replace(x, extra=(("x_link", ""),)) for x in loads[1:]))
    allocation = one_each(replace(allocation.vehicle, loads=loads), 2)
    assert pdf_bytes(allocation, ISSUE)
    assert allocation.pin_map()["x_link"].str.contains(link, regex=False).any()
    book = openpyxl.load_workbook(io.BytesIO(record_bytes(allocation, ISSUE)), read_only=True)
    assert any(link in str(c) for sheet in book for row in sheet.iter_rows(values_only=True) for c in row if c)


def starts_formula(cell):
    """As a spreadsheet might see it: white space and what is not printed does not count."""
    seen = "".join(c for c in cell if c.isprintable() and c not in "\u3164\u115f\u2800\u200b").lstrip(' "')
    number = seen.lstrip("+-").replace(".", "", 1)
    return seen[:1] in SIGNS and bool(seen) and not number.isdigit()


@pytest.mark.parametrize("separator", ",;\t")
@pytest.mark.parametrize(
    "name",
    [
        "a;=cmd|' /C calc'!A0",
        "a\t=1+1",
        "a,=1+1",
        "x\n=1+1",
        "\uff1d1+1",
        "\u200b=1+1",
        "\ufeff@SUM(1)",
        "a; \u2060\uff0b1+1",
        '";=1+1',
        "a;-x",
    ],
)
def test_no_cell_starts_a_formula(name, separator):
    """However a spreadsheet parts the cells of a file, none of them starts as a formula; and the name comes back."""
    content = csv_bytes(pd.DataFrame([("load", name, 5, None)], columns=["kind", "name", "n", "empty"]))
    text = content.decode("utf-8-sig")
    for row in csv.reader(io.StringIO(text), delimiter=separator):
        assert not any(starts_formula(cell) for cell in row), row
    (_, (_, written, number, empty)) = csv.reader(io.StringIO(text))
    assert (unmarked(written), number, empty) == (name, "5", "")


@given(st.text("=+-@\uff1d;,\t\n\"' 1a.\u200b"))
def test_marks_go_away_again(text):
    """Any text comes back as it was."""
    assert unmarked(marked(text)) == text
    (row,) = csv.reader(io.StringIO(csv_line([text, "x"]), newline=""))
    assert [unmarked(cell) for cell in row] == [text, "x"]


def test_dollar_signs_are_no_formula(monkeypatch):
    """A name with dollar signs, even one that is no formula at all, is drawn as it is written."""

    def parsed(*_, **__):
        raise AssertionError("a name was taken for a formula")

    name = "lamp $\\frac{$ left"
    allocation = _renamed(name)
    monkeypatch.setattr(matplotlib.mathtext.MathTextParser, "parse", parsed)
    for draw in (pa.figures.headroom, pa.figures.loads, pa.figures.drop):
        axes = draw(allocation)
        assert axes.figure.png()
