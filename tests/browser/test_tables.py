"""Every table of the panel by mouse and keyboard: sorted, filtered, filled down, and faults found."""

import pytest
from playwright.sync_api import expect

from tests.browser.builder import SLOW_MS
from tests.browser.test_page import shown, wait_for


@pytest.fixture
def builder(voila, page):
    return shown(voila, page)


def opened(page, table):
    """Look at a table; its grid."""
    page.get_by_role("tab", name=table.capitalize()).click()
    grid = page.get_by_role("grid", name=table)
    expect(grid.locator("tbody")).to_be_visible(timeout=SLOW_MS)
    return grid


def cells(grid, column):
    return grid.locator(f"tbody [data-col='{column}']")


def values(grid, column):
    return cells(grid, column).evaluate_all("cells => cells.map((cell) => cell.value)")


def test_sort_filter_and_fill_down(builder):
    """Sorting and filtering only show; filling down changes the cells that were marked, and undo takes it back."""
    page, keys = builder.page, builder.page.keyboard
    grid = page.get_by_role("grid", name="loads")
    order = values(grid, "load")
    grid.get_by_role("button", name="running, A").click()
    currents = list(map(float, values(grid, "running_a")))
    assert currents == sorted(currents)
    cells(grid, "running_a").first.focus()
    keys.press("ArrowUp")
    keys.press("Enter")
    assert list(map(float, values(grid, "running_a"))) == sorted(currents, reverse=True)
    expect(grid.locator("th[aria-sort='descending']")).to_have_count(1)
    keys.press("Enter")
    assert values(grid, "load") == order
    page.get_by_label("show only rows with these words").fill("dipped")
    expect(page.get_by_text(f"2 of {len(order)} rows")).to_be_visible()
    keys.press("ArrowDown")
    keys.press("ArrowRight")
    keys.press("ArrowRight")
    keys.type("4.5")
    keys.press("Shift+ArrowDown")
    keys.press("Control+d")
    expect(cells(grid, "running_a").nth(1)).to_have_value("4.5")
    page.get_by_label("show only rows with these words").fill("")
    assert values(grid, "load") == order
    assert values(grid, "running_a").count("4.5") == 2
    cells(grid, "running_a").first.click()
    cells(grid, "running_a").nth(2).click(modifiers=["Shift"])
    page.get_by_role("button", name="Fill down").click()
    expect(cells(grid, "running_a").nth(2)).to_have_value(values(grid, "running_a")[0])
    for _ in range(3):
        keys.press("Control+z")
    expect(page.locator(".pdm-grid-undo").first).to_be_disabled()


def test_a_new_place_and_a_fault_elsewhere(builder):
    """A new place becomes a row of its table; what that contradicts is counted on the tab and told at the cell."""
    page = builder.page
    grid = page.get_by_role("grid", name="loads")
    cells(grid, "place").first.fill("dahs")
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Use dash")).to_be_visible()
    page.get_by_role("button", name="Keep dahs as new").click()
    expect(page.get_by_role("tab", name="Loads, 1 to put right")).to_be_visible(timeout=SLOW_MS)
    expect(cells(grid, "place").first).to_have_attribute("aria-invalid", "true")
    assert values(opened(page, "places"), "place")[-1] == "dahs"
    cells(page.get_by_role("grid", name="places"), "place").last.click()
    page.keyboard.press("Control+z")  # the answer
    expect(cells(page.get_by_role("grid", name="places"), "place").last).not_to_have_value("dahs")
    page.keyboard.press("Control+z")  # the slip, which is in another table: that one is looked at
    expect(page.get_by_role("tab", name="Loads", exact=True)).to_have_attribute("aria-selected", "true")


EDITS = {
    "commands": ("note", "by hand"),
    "inputs": ("note", "left of the wheel"),
    "states": ("ready", "0.9"),
    "supply": ("minutes", "7"),
    "places": ("ambient_c", "41"),
    "routes": ("length_m", "19"),
    "modules": ("mass_g", "645"),
    "channels": ("connector", "W"),
    "banks": ("limit_a", "151"),
}


@pytest.mark.nightly
def test_every_tab_is_saved_and_comes_back(voila, builder):
    """An edit in each tab is written; a draft survives a killed kernel; a second window is told of the first."""
    page = builder.page
    for table, (column, text) in EDITS.items():
        cell = cells(opened(page, table), column).first
        cell.click()
        page.keyboard.type(text)
        page.keyboard.press("Enter")
        expect(cell).to_have_value(text)
    page.keyboard.press("Control+s")
    expect(page.locator(".pdm-said")).to_have_text(f"Saved: {', '.join(EDITS)}.", timeout=SLOW_MS)
    other = page.context.new_page()
    other.set_default_timeout(SLOW_MS)
    other.goto(voila.page, wait_until="domcontentloaded")
    expect(other.get_by_role("grid", name="loads").locator("tbody")).to_be_visible(timeout=SLOW_MS)
    cell = cells(opened(page, "places"), "ambient_c").first
    cell.click()
    page.keyboard.type("42")
    page.keyboard.press("Control+s")
    expect(page.locator(".pdm-said")).to_have_text("Saved: places.", timeout=SLOW_MS)
    cells(opened(other, "places"), "ambient_c").nth(1).click()
    other.keyboard.type("43")
    other.keyboard.press("Control+s")
    expect(other.locator(".pdm-said")).to_contain_text("was changed on disk", timeout=SLOW_MS)
    other.close()
    page.keyboard.press("Control+a")  # a click where the focus is would set the caret
    page.keyboard.type("44")
    page.keyboard.press("Enter")
    drafts = lambda: "".join(file.read_text() for file in voila.vehicle.glob(".panel_draft*.json"))  # noqa: E731
    wait_for(page, lambda: '"43"' in drafts() and '"44"' in drafts())
    voila.kill_kernels()
    shown(voila, page)
    expect(page.locator(".pdm-said")).to_contain_text("Another window has a draft too")
    expect(cells(opened(page, "places"), "ambient_c").first).to_have_value("44")
    page.watch.errors.clear()  # the killed kernel's
