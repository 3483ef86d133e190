"""The table behind the grid: good values are never lost to bad ones."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.files.cells import Name, Number, YesNo
from pdm_alloc.panel.markup import Column, free_name
from pdm_alloc.panel.sheet import ROW_LIMIT, sheet_of
from pdm_alloc.panel.table_grid import History

COLUMNS = (
    Column("load", "load", Name(), required=True, unique=True),
    Column("running_a", "running", Number("A", above=True, most=100), required=True),
    Column("share", "share", YesNo(), default="yes"),
)
LOADS = ({"load": "Horn", "running_a": "5", "x_part": "17"}, {"load": "Wiper", "running_a": "6"})
NOT_A_NUMBER = "'abc' is not a number; give a number in A, such as 4.5"


@pytest.fixture
def sheet():
    return sheet_of(LOADS, COLUMNS)


def values(sheet, column):
    return [row.values[column] for row in sheet.rows]


def test_bad_cell_is_marked_and_last_good_value_stays(sheet):
    """A refused text stays visible as a draft, is marked, and changes no value."""
    bad = sheet.edited([(1, "running_a", "abc")])
    assert values(bad, "running_a") == ["5", "6"]
    assert bad.rows[0].drafts == {"running_a": "abc"}
    assert bad.marks == {1: {"running_a": NOT_A_NUMBER}}


def test_emptied_required_cell_keeps_its_value(sheet):
    """Clearing a cell that must be filled is a refusal like any other."""
    empty = sheet.edited([(1, "running_a", "")])
    assert values(empty, "running_a") == ["5", "6"]
    assert empty.marks[1]["running_a"] == "running must be given"


def test_bad_cell_made_good_loses_its_mark(sheet):
    """Putting the text right takes it over and clears draft and mark."""
    good = sheet.edited([(1, "running_a", "abc")]).edited([(1, "running_a", "7,5")])
    assert (values(good, "running_a"), good.marks, good.rows[0].drafts) == (["7.5", "6"], {}, {})


def test_reverting_brings_the_last_good_value_back(sheet):
    """Escape on a bad cell drops the text and leaves the value."""
    assert sheet.edited([(1, "running_a", "abc")]).reverted(1, "running_a") == sheet


def test_name_in_use_is_refused_until_it_is_free(sheet):
    """A second Horn waits as a draft, and is taken as soon as the first is called something else."""
    twice = sheet.edited([(2, "load", "Horn")])
    assert values(twice, "load") == ["Horn", "Wiper"]
    assert twice.marks == {2: {"load": "'Horn' is already in row 1; each load only once"}}
    assert values(twice.edited([(1, "load", "Air horn")]), "load") == ["Air horn", "Horn"]


def test_names_swapped_in_one_paste_are_taken(sheet):
    """A sorted table pasted over itself moves names about; none of them is used twice in the end."""
    swapped = sheet.pasted(1, "load", "Wiper\t6\nHorn\t5\n")
    assert (values(swapped, "load"), values(swapped, "running_a"), swapped.marks) == (["Wiper", "Horn"], ["6", "5"], {})


@given(st.lists(st.lists(st.sampled_from(["a", "b", "c", "d", ""]), min_size=4, max_size=4), max_size=4))
def test_names_stay_unique_whatever_is_pasted(pastes):
    """No series of pastes, however clashing, leaves two rows with one name or loses a name for nothing."""
    sheet = sheet_of([{"load": name, "running_a": "1"} for name in "abcd"], COLUMNS)
    for names in pastes:
        sheet = sheet.pasted(1, "load", "\n".join([*names, "z"]).removesuffix("\nz"))
        held = values(sheet, "load")
        assert len(set(held)) == 4
        assert "" not in held
        refused = {row.drafts.get("load") for row in sheet.rows} - {None, ""}
        assert refused <= set(held)


def test_new_row_counts_only_when_complete(sheet):
    """A new row is shown and marked, but is no load before its required cells are filled."""
    added = sheet.added(after=1)
    assert [row.key for row in added.rows] == [1, 3, 2]
    assert set(added.marks[3]) == {"load", "running_a"}
    assert len(added.complete) == 2
    full = added.edited([(3, "load", "Pump"), (3, "running_a", "8")])
    assert [row["load"] for row in full.complete] == ["Horn", "Pump", "Wiper"]
    assert full.complete[1]["share"] == "yes"


def test_copy_takes_everything_but_the_name(sheet):
    """A copied row stands below with a free name and the columns the table does not show."""
    copied = sheet.copied(1).copied(1)
    assert values(copied, "load") == ["Horn", "Horn 3", "Horn 2", "Wiper"]
    assert copied.rows[1].values["x_part"] == "17"
    assert copied.complete[1]["running_a"] == "5"


def test_pasting_grows_the_table_and_reads_by_name_under_a_heading(sheet):
    """A pasted heading in another order puts cells where they belong; rows beyond the end are new ones."""
    text = "running_a\tmaker\tload\n1,5\tours\tHorn\n9\tours\tFan\n4\tours\tPump\n"
    pasted = sheet.pasted(1, "load", text)
    assert (values(pasted, "load"), values(pasted, "running_a")) == (["Horn", "Fan", "Pump"], ["1.5", "9", "4"])
    assert pasted.marks == {}


def test_pasting_into_an_empty_row_writes_over_nothing(sheet):
    """A row added for what comes next takes the first pasted row; the others get rows of their own below it."""
    pasted = sheet.added(after=1).pasted(3, "load", "Fan\t9\nPump\t4\n")
    assert values(pasted, "load") == ["Horn", "Fan", "Pump", "Wiper"]


def test_pasting_over_filled_rows_writes_over_them(sheet):
    """As in a spreadsheet."""
    assert values(sheet.pasted(1, "load", "Fan\t9\nPump\t4\nLamp\t1"), "load") == ["Fan", "Pump", "Lamp"]


def test_pasted_bad_cells_are_marked_and_good_ones_taken(sheet):
    """One bad cell in a paste spoils nothing else."""
    pasted = sheet.pasted(1, "running_a", "x\tno\n7\tmaybe")
    assert values(pasted, "running_a") == ["5", "7"]
    assert values(pasted, "share") == ["no", "yes"]
    assert {key: set(marks) for key, marks in pasted.marks.items()} == {1: {"running_a"}, 2: {"share"}}


def test_cells_pasted_beyond_the_last_column_are_dropped(sheet):
    """What has no column to go to goes nowhere."""
    assert sheet.pasted(1, "share", "no\tmore\teven more").rows[0].values == {**sheet.rows[0].values, "share": "no"}


def test_a_book_is_not_pasted(sheet):
    """A paste of more rows than the browser bears is refused whole."""
    with pytest.raises(ValueError, match=f"the table takes {ROW_LIMIT}"):
        sheet.pasted(1, "load", "a\n" * (ROW_LIMIT + 1))


def test_edits_name_rows_by_key(sheet):
    """An edit on its way while a row above is deleted reaches the row it was meant for, or none."""
    after = sheet.deleted(1).edited([(2, "running_a", "9"), (1, "running_a", "1")])
    assert values(after, "running_a") == ["9"]


def test_unchanged_text_is_no_change(sheet):
    """Walking through cells without typing leaves the sheet equal, so nothing is solved again."""
    assert sheet.edited([(1, "running_a", "5"), (1, "share", "yes"), (1, "load", "Horn")]) == sheet


def test_undo_and_redo_walk_through_sheets(sheet):
    """Undo gives back rows, values and refused texts; a new change forgets what was undone."""
    history = History(sheet).then(sheet.edited([(1, "running_a", "abc")])).then(sheet.deleted(2))
    assert history.undo().present.rows[0].drafts == {"running_a": "abc"}
    assert history.undo().undo().undo().present == sheet
    assert history.undo().undo().redo().redo().redo() == history
    assert not history.undo().then(sheet.added()).future


def test_history_ignores_a_change_that_changes_nothing(sheet):
    """Undo never steps through steps nobody sees."""
    assert History(sheet).then(sheet.deleted(99)).past == ()


@pytest.mark.parametrize(
    ("name", "taken", "free"),
    [("Horn", (), "Horn 2"), ("Horn 2", ("Horn 3",), "Horn 4"), ("H4", (), "H4 2"), ("12", (), "12 2")],
)
def test_free_names_count_on(name, taken, free):
    """Copies are numbered from the original's own number."""
    assert free_name(name, taken) == free
