"""Text in a cell of the panel's table: what is taken, what is refused, and in which words."""

import pytest

from pdm_alloc.files.tables.catalogue_rows import CATALOGUE_ROWS
from pdm_alloc.files.tables.vehicle_rows import VEHICLE_ROWS, LoadRow, LockRow
from pdm_alloc.panel.markup import BadCell, columns_for, knowing, plain_number, read_cell

NAMES = {"commands": ("horn", "wipe"), "places": ("nose left", "Tail"), "loads": ("Horn",), ".separate": ("pair",)}
COLUMNS = {column.key: column for column in knowing(columns_for(LoadRow), NAMES)}


@pytest.mark.parametrize(
    ("column", "text", "plain"),
    [
        ("running_a", "7.5", "7.5"),
        ("running_a", " 7,5 ", "7.5"),
        ("running_a", "+0,250", "0.25"),
        ("running_a", "12\u00a0A", "12"),
        ("count", "2,0", "2"),
        ("count", "", "1"),
        ("kind", "LED", "led"),
        ("needs", "reversing, PWM", "pwm reversing"),
        ("needs", "", ""),
        ("share", "No", "no"),
        ("share", "x", "yes"),
        ("inrush_a", "", ""),
        ("load", "  left   lamp ", "left lamp"),
        ("place", "tail", "Tail"),
        ("note", "x\ty", "x\ty"),
    ],
)
def test_good_text_is_taken_in_plain_spelling(column, text, plain):
    """Decimal comma, units, stray spaces, capitals and empty cells are read as the builder means them."""
    assert read_cell(COLUMNS[column], text) == plain
    assert read_cell(COLUMNS[column], plain) == plain


@pytest.mark.parametrize(
    ("column", "text", "message"),
    [
        ("running_a", "abc", "'abc' is not a number; give a number in A, such as 4.5"),
        ("running_a", "4 mA", "'4 mA' is in mA; this column is in A"),
        ("running_a", "1.234,5", "'1.234,5' may or may not have thousands marked; "
         "write it with one decimal point or comma, as 1234.5"),
        ("running_a", "0", "'0' is too small; give a number above 0"),
        ("running_a", "", "running must be given"),
        ("load", " ", "load must be given"),
        ("kind", "", "kind must be given"),
        ("count", "1.5", "'1.5' is not a whole number; give a whole number"),
        ("kind", "moter", "'moter' is not a word known here; did you mean 'motor'?"),
        ("needs", "pwn", "'pwn' is not a word known here; did you mean 'pwm'?"),
        ("share", "maybe", "'maybe' is neither yes nor no; write yes or no"),
        ("place", "nose lift", "'nose lift' is a new place; did you mean 'nose left'?"),
        ("note", "a\x00b", "'a\x00b' has a control character in it; retype the cell"),
    ],
)  # fmt: skip
def test_bad_text_is_refused_in_words(column, text, message):
    """A refusal names what was found and what would be right, in the words the tables use."""
    with pytest.raises(BadCell) as refused:
        read_cell(COLUMNS[column], text)
    assert str(refused.value).startswith(message)


@pytest.mark.parametrize(("value", "text"), [(0.1, "0.1"), (120, "120"), (7.0, "7"), (1e-7, "0.0000001"), (0, "0")])
def test_numbers_are_shown_plainly(value, text):
    """No exponent, no trailing zeros, and no lost zeros of a hundred."""
    assert plain_number(value) == text


def test_columns_are_those_of_the_table():
    """Titles, units, drop-downs and suggestions come from the schema and the vehicle, not from the panel."""
    assert (COLUMNS["running_a"].title, COLUMNS["running_a"].unit, COLUMNS["running_a"].required) == (
        "running",
        "A",
        True,
    )
    assert COLUMNS["kind"].options[:3] == ("", "filament", "led") and COLUMNS["kind"].required
    assert COLUMNS["needs"].options[:3] == ("", "pwm", "reversing")
    assert "pwm reversing" in COLUMNS["needs"].options
    assert (COLUMNS["place"].kind, COLUMNS["place"].choices) == ("text", ("nose left", "Tail"))
    assert (COLUMNS["command"].kind, COLUMNS["command"].choices) == ("text", ("horn", "wipe"))
    assert COLUMNS["separate"].choices == ("pair",)
    assert [c.key for c in COLUMNS.values() if c.kind == "check"] == ["share"]
    assert COLUMNS["inrush_a"].hint == "by kind"
    assert COLUMNS["inrush_a"].meaning.endswith("; empty: the kind's multiple of running_a")


def test_name_of_another_table_is_refused_where_it_cannot_be_new():
    """A lock is about a load there is: it is chosen from a list, and another name is refused with the nearest."""
    column = next(c for c in knowing(columns_for(LockRow), NAMES) if c.key == "load")
    assert (column.kind, column.options) == ("choice", ("", "Horn"))
    assert read_cell(column, "horn") == "Horn"
    with pytest.raises(BadCell, match="'hrn' is not in table loads; did you mean 'Horn'") as refused:
        read_cell(column, "hrn")
    assert (refused.value.near, refused.value.may_be_new) == ("Horn", False)


def test_no_list_is_too_long_to_choose_from():
    """Sets of a few words are listed; of many words there would be thousands in every row, which stop a browser."""
    columns = [column for model in (*VEHICLE_ROWS.values(), *CATALOGUE_ROWS.values()) for column in columns_for(model)]
    assert max(len(column.options) for column in columns) <= 64
    functions = next(column for column in columns if column.key == "functions")
    assert functions.kind == "text" and "voltage_input" in functions.choices
