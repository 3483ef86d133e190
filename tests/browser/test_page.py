"""The panel as a page, without network: a place to work that survives a reload and a killed kernel.

All tests share one window (`conftest.Window`); those that change files or end the kernel come last.
"""

import re

import pytest
from playwright.sync_api import expect

from tests.browser.builder import SLOW_MS, Builder
from tests.browser.stage import painted, until
from tests.browser.story import play
from tests.browser.test_switches import control, lamp


def tab(builder, title):
    builder.page.get_by_role("tab", name=title).click()


def test_verdict_stays_in_sight(builder):
    """Side by side where there is room, one column where there is not; the verdict never leaves the window."""
    page = builder.page
    for width in (1920, 1400, 900):
        page.set_viewport_size({"width": width, "height": 1000})
        painted(page)
        page.locator(".pdm-body .pdm-section").last.scroll_into_view_if_needed()
        box, grid = page.locator(".pdm-verdict").bounding_box(), page.locator(".pdm-grid-wrap").bounding_box()
        assert box["y"] >= 0 and box["y"] + box["height"] <= 1000
        assert box["y"] + box["height"] <= grid["y"] or width < 1000
        answer = page.locator(".pdm-body").bounding_box()
        assert (answer["x"] > grid["x"] + grid["width"] - 1) == (width > 1000)
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        assert page.evaluate("document.elementFromPoint(innerWidth / 2, 3).closest('.pdm-work')") is None
        page.shoot(f"page_{width}")


def test_switches_in_the_panel(builder):
    """On the page of the demo: the starter is off and it says why; an edited load draws more from then on."""
    page, last = builder.page, builder.answers()
    tab(builder, "Switches")
    for name in ("master", "horn_button"):
        control(page, name).click()
    expect(lamp(page, "horn")).to_have_class("pdm-sw-lamp pdm-sw-on")
    expect(page.locator(".pdm-sw-off")).to_contain_text("starter: ignition switch is off, start button is not pressed")
    before = lamp(page, "horn").inner_text()
    builder.types("horn", "running_a", "6.5")
    builder.await_answer(last + 1)
    expect(lamp(page, "horn")).not_to_have_text(before)
    expect(page.locator(".pdm-sw-channels")).to_contain_text("horn")
    expect(control(page, "master")).to_have_attribute("aria-checked", "true")
    for width in (1920, 1400, 900):
        page.set_viewport_size({"width": width, "height": 1000})
        page.shoot(f"switches_{width}")


def test_a_long_study_is_cancelled(builder):
    """A study that would take minutes is started and cancelled from the keyboard; the panel answers meanwhile."""
    page = builder.page
    tab(builder, "Studies")
    page.get_by_role("combobox", name="draws").select_option("400")
    page.get_by_role("button", name="Start").nth(2).press("Enter")
    running = page.locator(".pdm-pages", has_text="draw").get_by_text("Chance that the guesses in the tables hold: ")
    expect(running).to_contain_text("draw", timeout=SLOW_MS)
    builder.types("horn", "running_a", "6.5")
    builder.says("Enough")
    page.get_by_role("button", name="Cancel").press("Enter")
    expect(running).to_contain_text("cancelled", timeout=SLOW_MS)
    expect(page.get_by_role("button", name="Start").first).to_be_enabled()


def test_the_story(builder):
    """The whole story a builder plays, on the page; what it takes for granted stands at its foot."""
    play(builder)
    expect(builder.page.locator(".pdm-caution")).to_contain_text("Values are for design")


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
    page.get_by_role("searchbox").fill("dipped")
    expect(page.get_by_text(f"2 of {len(order)} rows")).to_be_visible()
    keys.press("ArrowDown")
    keys.press("ArrowRight")
    keys.press("ArrowRight")
    keys.type("4.5")
    keys.press("Shift+ArrowDown")
    keys.press("Control+d")
    expect(cells(grid, "running_a").nth(1)).to_have_value("4.5")
    page.get_by_role("searchbox").fill("")
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


def test_a_load_is_locked_by_drag_and_by_keyboard(builder):
    """Dragged to a spare channel it stays there; sent by keyboard to one too weak, the panel says why and frees it."""
    page, last = builder.page, builder.answers()
    page.set_viewport_size({"width": 1400, "height": 2400})  # a drag by script cannot scroll on its way
    page.get_by_role("combobox", name="mounted at").select_option("glove box")  # its heat decides what a channel takes
    builder.await_answer(last + 1)  # a list that is made anew while something is dragged over it lets go of it
    tab(builder, "Locks")
    fan = page.locator(".pdm-locks-load", has_text="cabin lamp")
    spare = page.locator(".pdm-locks-channel", has_text="spare").first
    channel = spare.get_attribute("data-channel", timeout=SLOW_MS)
    fan.drag_to(spare)
    entry = page.locator(f".pdm-locks-channel[data-channel='{channel}']")
    expect(entry).to_contain_text("cabin lamp \u00b7 locked", timeout=SLOW_MS)
    builder.await_answer(last + 2)
    builder.says("Enough")
    expect(page.locator(".pdm-locks .pdm-stale")).to_have_count(0)  # nothing is made anew under the keys
    entry.locator("button").press("Delete")
    expect(page.get_by_role("button", name="Unlock all")).to_be_disabled(timeout=SLOW_MS)
    builder.await_answer(last + 3)
    expect(page.locator(".pdm-locks .pdm-stale")).to_have_count(0)
    pump = page.locator(".pdm-locks-load", has_text="main fuel pump")
    pump.press("Enter")
    channels = page.locator(".pdm-locks select").nth(1)
    expect(channels).to_be_focused()
    channels.select_option("1")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    reason = page.locator(".pdm-locks-reasons li")
    told = "the channel takes 2.744 A with the headroom wanted, the load draws 7.8 A"
    expect(reason).to_contain_text(told, timeout=SLOW_MS)
    expect(reason).to_contain_text("With it unlocked middle-42 is enough.", timeout=SLOW_MS)
    builder.says("Not enough", "Locked: main fuel pump.")
    page.shoot("panel_locks")
    reason.get_by_role("button").press("Enter")
    expect(page.locator(".pdm-locks-channel", has_text="main fuel pump \u00b7 locked")).to_have_count(
        0, timeout=SLOW_MS
    )
    builder.says("Enough")


def test_two_are_kept_compared_and_gone_back_to(builder):
    """One kept by mouse, one by keyboard; side by side, also after a reload; then back to the first."""
    page, last = builder.page, builder.answers()
    builder.says("Signals: enough")  # or it is kept without them, and says so
    page.get_by_role("button", name="Keep this allocation").click()
    builder.takes_module("large-50")
    builder.await_answer(last + 1)
    builder.says("Signals: enough")
    tab(builder, "Compare")
    name = page.get_by_role("textbox", name="name of the new one")
    name.focus()
    page.keyboard.type("roomy")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    table = page.locator(".pdm-kept")
    heads = ["", "now, not kept", "middle-42 (built)", "roomy"]
    expect(table.locator("th")).to_have_text(heads, timeout=SLOW_MS)
    expect(table.get_by_role("row", name="module ").first).to_contain_text("large-50")
    expect(table.get_by_role("row", name="to rewire")).to_contain_text("55 moved")
    expect(table.get_by_role("row", name="control units")).to_contain_text("control-40 at bulkhead")
    page.shoot("panel_compare")
    page.reload(wait_until="domcontentloaded")
    page.watch.errors.clear()  # a page that is left asks for the end of its kernel once too often
    builder.answers()
    tab(builder, "Compare")
    expect(table.locator("th")).to_have_text(heads, timeout=SLOW_MS)
    page.get_by_role("combobox", name="kept allocation").select_option("middle-42")
    page.get_by_role("button", name="Go back to it").press("Enter")
    expect(page.locator(".pdm-said", has_text="Back to middle-42")).to_be_visible(timeout=SLOW_MS)
    builder.says("Enough", "middle-42 carries 46 loads")
    for name in ("roomy", "middle-42"):
        page.get_by_role("combobox", name="kept allocation").select_option(name)
        page.get_by_role("button", name="Delete", exact=True).press("Enter")
        expect(table.locator("th", has_text=name)).to_have_count(0, timeout=SLOW_MS)


def exports_documents(voila, builder):
    """Pin map, binder and workbook are written beside the tables, and where is said."""
    said = builder.page.locator(".pdm-files .pdm-said")
    expect(builder.page.locator(".pdm-head")).to_contain_text("Signals: enough", timeout=SLOW_MS)
    builder.page.get_by_role("button", name="Export documents").press("Enter")
    expect(said).to_contain_text("Written into rally_coupe/", timeout=SLOW_MS)
    words = re.search(r"Written into rally_coupe/(.+): pin map (\S+), binder (\S+), workbook (\S+);", said.inner_text())
    folder = voila.vehicle / words[1]
    assert "horn" in (folder / words[2]).read_text()
    assert (folder / words[3]).read_bytes().startswith(b"%PDF")
    assert (folder / words[4]).read_bytes().startswith(b"PK")


def reopened(voila, page):
    page.goto(voila.page, wait_until="domcontentloaded")
    builder = Builder(page)
    builder.await_answer(1)
    return builder


def test_the_workplace(voila, builder):
    """Typing, saving from the keyboard, documents, a killed kernel: nothing is lost, the file has what was saved."""
    page, loads = builder.page, voila.vehicle / "loads.csv"
    before = loads.read_text()
    said = page.locator(".pdm-files .pdm-said")
    expect(page).to_have_title("rally_coupe (data/rally_coupe): pdm_alloc")
    builder.types("horn", "running_a", "6.5")
    expect(page.locator(".pdm-unsaved")).to_have_text("not saved", timeout=SLOW_MS)
    page.keyboard.press("Control+s")
    expect(said).to_have_text("Saved: loads.", timeout=SLOW_MS)
    lines = [
        (old, new) for old, new in zip(before.splitlines(), loads.read_text().splitlines(), strict=True) if old != new
    ]
    assert [new.split(",")[:3] for _, new in lines] == [["horn", "horn", "6.5"]]
    exports_documents(voila, builder)
    builder.types("horn", "running_a", "7")
    draft = voila.vehicle / ".panel_draft.json"
    until(page, draft.exists)
    voila.kill_kernels()
    again = reopened(voila, page)
    expect(again.cell("horn", "running_a")).to_have_value("7")
    expect(page.locator(".pdm-files .pdm-said")).to_contain_text("draft")
    page.get_by_role("button", name="Open again").press("Enter")
    expect(again.cell("horn", "running_a")).to_have_value("6.5")
    page.watch.errors.clear()  # the killed kernel's


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
    expect(page.locator(".pdm-files .pdm-said")).to_have_text(f"Saved: {', '.join(EDITS)}.", timeout=SLOW_MS)
    other = page.context.new_page()
    other.set_default_timeout(SLOW_MS)
    other.goto(voila.page, wait_until="domcontentloaded")
    expect(other.get_by_role("grid", name="loads").locator("tbody")).to_be_visible(timeout=SLOW_MS)
    cell = cells(opened(page, "places"), "ambient_c").first
    cell.click()
    page.keyboard.type("42")
    page.keyboard.press("Control+s")
    expect(page.locator(".pdm-files .pdm-said")).to_have_text("Saved: places.", timeout=SLOW_MS)
    cells(opened(other, "places"), "ambient_c").nth(1).click()
    other.keyboard.type("43")
    other.keyboard.press("Control+s")
    expect(other.locator(".pdm-files .pdm-said")).to_contain_text("was changed on disk", timeout=SLOW_MS)
    other.close()
    page.keyboard.press("Control+a")  # a click where the focus is would set the caret
    page.keyboard.type("44")
    page.keyboard.press("Enter")
    drafts = lambda: "".join(file.read_text() for file in voila.vehicle.glob(".panel_draft*.json"))  # noqa: E731
    until(page, lambda: '"43"' in drafts() and '"44"' in drafts())
    voila.kill_kernels()
    reopened(voila, page)
    expect(page.locator(".pdm-files .pdm-said")).to_contain_text("Another window has a draft too")
    expect(cells(opened(page, "places"), "ambient_c").first).to_have_value("44")
    page.watch.errors.clear()  # the killed kernel's
