"""The table as a widget, without a browser: messages in, traits out."""

import pytest

pytest.importorskip("anywidget", reason="the extra 'notebook' is not installed")

from pdm_alloc.files.cells import Name, Number
from pdm_alloc.panel.markup import Column
from pdm_alloc.panel.table_grid import TableGrid

COLUMNS = (
    Column("load", "load", Name(), required=True, unique=True),
    Column("running_a", "running", Number("A", above=True), required=True),
)


@pytest.fixture
def grid():
    return TableGrid([{"load": "Horn", "running_a": "5"}, {"load": "Wiper", "running_a": "6"}], COLUMNS)


def edit(key, text):
    return {"op": "edit", "edits": [[key, "running_a", text]]}


def test_rows_are_silent_while_a_cell_is_bad(grid):
    """Whoever watches the good values hears nothing of a text that was refused."""
    heard = []
    grid.observe(lambda change: heard.append(change["new"]), "rows")
    grid.act(edit(1, "abc"))
    assert (heard, grid.drafts, list(grid.marks)) == ([], {"1": {"running_a": "abc"}}, ["1"])
    grid.act(edit(1, "7,5"))
    assert [rows[0]["running_a"] for rows in heard] == ["7.5"]


def test_state_is_replaced_whole(grid):
    """A change gives new lists; the old ones, perhaps still in use, stay as they were."""
    before = grid.rows
    grid.act(edit(1, "9"))
    assert (before[0]["running_a"], grid.rows[0]["running_a"]) == ("5", "9")


def test_all_traits_agree_when_watchers_are_called(grid):
    """A watcher of the rows finds keys and marks of the same moment."""
    seen = []
    grid.observe(lambda _: seen.append((len(grid.order), len(grid.rows), len(grid.shown))), "rows")
    grid.act({"op": "add", "after": 1})
    grid.act({"op": "delete", "key": 1})
    assert seen == [(3, 3, 3), (2, 2, 2)]


def test_undo_and_redo_by_message(grid):
    """Undo brings a deleted row back, redo takes it away, and the buttons know what they can do."""
    assert grid.can == {"undo": False, "redo": False}
    grid.act({"op": "delete", "key": 1})
    assert (grid.order, grid.can, grid.notice) == (
        [2],
        {"undo": True, "redo": False},
        "row 1 deleted; undo brings it back",
    )
    grid.act({"op": "undo"})
    assert (grid.order, grid.can) == ([1, 2], {"undo": False, "redo": True})
    grid.act({"op": "redo"})
    assert grid.order == [2]


@pytest.mark.parametrize("op", ["copy", "delete", "paste", "revert"])
def test_message_about_a_row_that_is_gone_changes_nothing(grid, op):
    """Two people at one table, or a slow line, raise no error."""
    grid.act({"op": op, "key": 77, "column": "load", "text": "x"})
    assert (grid.order, grid.can) == ([1, 2], {"undo": False, "redo": False})


def test_too_large_a_paste_is_told(grid):
    """The line under the table says why nothing happened."""
    grid.act({"op": "paste", "key": 1, "column": "load", "text": "a\n" * 6000})
    assert (grid.order, grid.notice) == ([1, 2], "that would make 6000 rows; the table takes 5000")


def test_rows_begun_with_get_keys_of_their_own(grid):
    """A message still on its way to an old row cannot reach a new one."""
    grid.begin([{"load": "Fan", "running_a": "8"}])
    grid.act(edit(1, "1"))
    assert (grid.order, grid.complete[0]["running_a"], grid.can["undo"]) == ([3], "8", False)


def test_fill_down_gives_the_upper_text_to_those_below(grid):
    """A refused text is filled down as one: it is marked in every row, and nothing is made of it."""
    grid.act({"op": "fill", "keys": [1, 2], "column": "running_a"})
    assert [row["running_a"] for row in grid.rows] == ["5", "5"]
    grid.act(edit(1, "much"))
    grid.act({"op": "fill", "keys": [1, 2], "column": "running_a"})
    assert grid.drafts == {"1": {"running_a": "much"}, "2": {"running_a": "much"}}


def test_paste_into_a_sorted_table_goes_where_it_is_seen(grid):
    """Rows are filled in the order shown, and what has no row below is added at the end of the table."""
    paste = {"op": "paste", "key": 2, "column": "running_a", "text": "1\n2\n3\n", "shown": [2, 1], "how": "replace"}
    grid.act(paste)
    assert [row["running_a"] for row in grid.rows] == ["2", "1", "3"]
