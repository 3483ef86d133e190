"""What spreadsheets put on the clipboard."""

import pytest

from pdm_alloc.files.cells import Name, Number, Text
from pdm_alloc.panel.markup import Column, heading, read_clipboard

COLUMNS = (
    Column("load", "load", Name()),
    Column("running_a", "running current", Number()),
    Column("note", "note", Text()),
)


@pytest.mark.parametrize(
    ("text", "cells"),
    [
        ("a\tb\nc\td\n", [["a", "b"], ["c", "d"]]),
        ("a\tb\r\nc\td\r\n", [["a", "b"], ["c", "d"]]),
        ('"two\nlines"\tb', [["two\nlines", "b"]]),
        ('"5"" pipe"\tb', [['5" pipe', "b"]]),
        ('"a\ttab"\tb', [["a\ttab", "b"]]),
        ('"open quote\tb\nc\td', [['"open quote', "b"], ["c", "d"]]),
        ('6" lamp\tb', [['6" lamp', "b"]]),
        ("a\n\nb", [["a"], [""], ["b"]]),
        ("\t\t", []),
        ("", []),
    ],
)
def test_cells_come_apart_as_a_spreadsheet_joined_them(text, cells):
    """Tabs, line ends and quotes inside quoted cells stay; a stray quote is just a quote."""
    assert read_clipboard(text) == cells


def test_heading_line_is_known_by_its_names():
    """A first line that names columns, by key or title and in any order, says where its cells belong."""
    assert heading(["Running current", "LOAD", "maker"], COLUMNS) == ["running_a", "load", None]


@pytest.mark.parametrize("line", [["load"], ["Horn", "5", "note"], ["load", "a", "b", "c", "note"]])
def test_line_of_values_is_no_heading(line):
    """One word that happens to be a column name does not turn a row of values into a heading."""
    assert heading(line, COLUMNS) is None
