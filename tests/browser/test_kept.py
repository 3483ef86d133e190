"""Kept allocations, locks by hand and long studies on the page, by mouse and by keyboard alone."""

import pytest
from playwright.sync_api import expect

from tests.browser.builder import SLOW_MS, Builder


@pytest.fixture
def builder(voila, page):
    page.goto(voila.page, wait_until="domcontentloaded")
    builder = Builder(page)
    builder.await_answer(1)
    return builder


def tab(builder, title):
    builder.page.get_by_role("tab", name=title).click()


def test_two_are_kept_compared_and_gone_back_to(voila, builder):
    """One kept by mouse, one by keyboard; side by side, also after a reload; then back to the first."""
    page = builder.page
    page.get_by_role("button", name="Keep this allocation").click()
    builder.takes_module("large-50")
    builder.await_answer(2)
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


def test_a_load_is_locked_by_drag_and_by_keyboard(builder):
    """Dragged to a spare channel it stays there; sent by keyboard to one too weak, the panel says why and frees it."""
    page = builder.page
    page.set_viewport_size({"width": 1400, "height": 2400})  # a drag by script cannot scroll on its way
    page.get_by_role("combobox", name="mounted at").select_option("glove box")  # its heat decides what a channel takes
    builder.await_answer(2)  # a list that is made anew while something is dragged over it lets go of it
    tab(builder, "Locks")
    fan = page.locator(".pdm-locks-load", has_text="cabin lamp")
    spare = page.locator(".pdm-locks-channel", has_text="spare").first
    channel = spare.get_attribute("data-channel", timeout=SLOW_MS)
    fan.drag_to(spare)
    entry = page.locator(f".pdm-locks-channel[data-channel='{channel}']")
    expect(entry).to_contain_text("cabin lamp \u00b7 locked", timeout=SLOW_MS)
    builder.await_answer(3)
    builder.says("Enough")
    entry.locator("button").press("Delete")
    expect(page.get_by_role("button", name="Unlock all")).to_be_disabled(timeout=SLOW_MS)
    builder.await_answer(4)
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
