"""The editable table in a real browser, with keyboard, mouse and clipboard."""

import pytest
from playwright.sync_api import expect

from pdm_alloc.files.tables.vehicle_rows import LoadRow
from pdm_alloc.panel.markup import columns_for, knowing
from pdm_alloc.panel.table_grid import TableGrid
from tests.browser.builder import paste
from tests.browser.stage import Stage


@pytest.fixture
def table():
    texts = [{"load": f"lamp {n}", "command": "lights", "running_a": "4.6", "kind": "filament"} for n in range(1, 41)]
    names = {"commands": ("lights", "horn"), "places": ("nose", "tail")}
    return TableGrid(texts, knowing(columns_for(LoadRow), names))


@pytest.fixture
def grid(page, table):
    Stage(page, table, lambda message: table._heard(None, message, None))
    expect(page.locator(".pdm-grid tbody tr")).to_have_count(40)
    return page


def at(page, row, column):
    return page.locator(f".pdm-grid tbody tr:nth-child({row}) [data-col='{column}']")


def test_typing_marks_and_puts_right(grid, table):
    """A bad cell shows its text, a sign and a message while the old value counts; a good one clears them."""
    cell = at(grid, 1, "running_a")
    cell.click()
    grid.keyboard.type("abc")
    grid.keyboard.press("Enter")
    expect(cell).to_have_value("abc")
    expect(cell).to_have_attribute("aria-invalid", "true")
    fault = grid.locator(".pdm-grid-fault")
    expect(fault).to_have_text(
        "\u26a0 row 1, running: 'abc' is not a number; give a number in A, such as 4.5; until then 4.6 counts"
    )
    assert table.rows[0]["running_a"] == "4.6"
    grid.shoot("grid_bad_cell")
    fault.click()
    expect(cell).to_be_focused()
    grid.keyboard.type("7,25")
    grid.keyboard.press("Tab")
    expect(cell).to_have_value("7.25")
    assert table.rows[0]["running_a"] == "7.25"
    expect(fault).to_have_count(0)


def test_out_of_range_is_marked_and_never_changed(grid, table):
    """What no column takes stays as it was typed, is marked with what may be written, and does not count."""
    for column, text, words in (("running_a", "-3", "above 0"), ("count", "20000", "from 1 to 10,000")):
        cell = at(grid, 2, column)
        before = table.rows[1][column]
        cell.evaluate("cell => cell.focus()")
        grid.keyboard.press("Control+a")
        grid.keyboard.type(text)
        grid.keyboard.press("Enter")
        expect(cell).to_have_attribute("aria-invalid", "true")
        expect(cell).to_have_value(text)
        expect(grid.locator(".pdm-grid-fault").last).to_contain_text(f"'{text}'")
        expect(grid.locator(".pdm-grid-fault").last).to_contain_text(words)
        assert table.rows[1][column] == before


def test_keyboard_alone(grid):
    """Arrows, Enter and Tab walk the cells, Escape gives up and leaves, shortcuts add, copy, delete and undo rows."""
    keys = grid.keyboard
    at(grid, 3, "load").focus()
    for key, row, column in [
        ("ArrowDown", 4, "load"),
        ("Enter", 5, "load"),
        ("Shift+Enter", 4, "load"),
        ("ArrowRight", 4, "command"),
        ("Tab", 4, "running_a"),
        ("Shift+Tab", 4, "command"),
        ("ArrowLeft", 4, "load"),
        ("ArrowUp", 3, "load"),
    ]:
        keys.press(key)
        expect(at(grid, row, column)).to_be_focused()
    keys.type("half a na")
    keys.press("Escape")
    expect(at(grid, 3, "load")).to_have_value("lamp 3")
    keys.press("Alt+Enter")
    expect(at(grid, 4, "load")).to_be_focused()
    expect(at(grid, 4, "load")).to_have_attribute("aria-invalid", "true")
    keys.type("horn")
    keys.press("ArrowRight")
    expect(at(grid, 4, "command")).to_be_focused()
    keys.press("Alt+Delete")
    expect(at(grid, 4, "load")).to_have_value("lamp 4")
    expect(at(grid, 4, "command")).to_be_focused()
    keys.press("Control+z")
    expect(at(grid, 4, "load")).to_have_value("horn")
    keys.press("Control+y")
    expect(at(grid, 4, "load")).to_have_value("lamp 4")
    keys.press("Alt+Shift+ArrowDown")
    expect(at(grid, 5, "load")).to_have_value("lamp 41")
    expect(at(grid, 5, "load")).to_be_focused()
    keys.press("Escape")
    expect(grid.locator(".pdm-grid-notice")).to_be_focused()
    keys.press("Shift+Tab")
    expect(at(grid, 5, "load")).to_be_focused()


def test_paste_from_a_spreadsheet(grid):
    """Asked first where cells are filled; tabs, quotes, line ends land where they belong, bad cells are marked."""
    text = 'load\trunning_a\tkind\n"lamp, ""left"""\t7,5\tLED\nlamp 2\toops\tlamp\n'
    paste(grid, at(grid, 40, "load"), text)
    expect(grid.locator(".pdm-grid-question")).to_contain_text("replaces what stands in 3 filled cells of row 40")
    expect(at(grid, 40, "load")).to_have_value("lamp 40")
    grid.get_by_role("button", name="Replace").press("Enter")
    expect(grid.locator(".pdm-grid tbody tr")).to_have_count(41)
    expect(at(grid, 40, "load")).to_have_value('lamp, "left"')
    expect(at(grid, 40, "running_a")).to_have_value("7.5")
    expect(at(grid, 40, "kind")).to_have_value("led")
    expect(at(grid, 41, "load")).to_have_value("lamp 2")
    expect(at(grid, 41, "running_a")).to_have_value("oops")
    expect(at(grid, 41, "kind")).to_have_value("lamp")
    # name in use, no command, no number, no kind of load
    expect(grid.locator(".pdm-grid-fault")).to_have_count(4)
    grid.shoot("grid_pasted")
    grid.locator(".pdm-grid-undo").click()
    expect(grid.locator(".pdm-grid tbody tr")).to_have_count(40)


def test_table_to_the_clipboard_and_back(grid, table):
    """What 'Copy table' puts on the clipboard pastes back as the same table."""
    grid.locator(".pdm-grid-take").click()
    expect(grid.locator(".pdm-grid-notice")).to_have_text("the table is on the clipboard")
    paste(grid, at(grid, 1, "load"))
    expect(grid.locator(".pdm-grid-notice")).to_have_text("pasted")
    first = {"load": "lamp 1", "command": "lights", "running_a": "4.6"}
    assert len(table.rows) == 40 and not table.marks and first.items() <= table.rows[0].items()
    expect(grid.locator(".pdm-grid-undo")).to_be_disabled()


def test_only_changed_rows_are_painted(grid):
    """One edit among forty rows paints one row."""
    painted = "[...document.querySelectorAll('.pdm-grid tbody tr')].map(tr => Number(tr.dataset.painted))"
    before = grid.evaluate(painted)
    at(grid, 7, "running_a").fill("5")
    grid.keyboard.press("Enter")
    expect(grid.locator(".pdm-grid-undo")).to_be_enabled()
    after = grid.evaluate(painted)
    assert [i for i, (a, b) in enumerate(zip(before, after, strict=True), 1) if a != b] == [7]


def test_mouse_adds_copies_and_deletes_rows(grid):
    """The buttons act on the row with the pointer mark, and deleting leaves the mark on the next row."""
    at(grid, 5, "load").click()
    grid.locator(".pdm-grid-delete").click()
    expect(at(grid, 5, "load")).to_have_value("lamp 6")
    grid.locator(".pdm-grid-delete").click()
    expect(at(grid, 5, "load")).to_have_value("lamp 7")
    grid.locator(".pdm-grid-copy").click()
    expect(at(grid, 6, "load")).to_have_value("lamp 41")
    grid.locator(".pdm-grid-wide").click()
    expect(at(grid, 6, "note")).to_be_visible()
    at(grid, 6, "note").click()
    grid.keyboard.type("by hand")
    grid.keyboard.press("Enter")
    expect(at(grid, 6, "note")).to_have_value("by hand")
