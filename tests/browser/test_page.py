"""The panel as a page, without network: a place to work that survives a reload and a killed kernel."""

import pytest
from playwright.sync_api import expect

from tests.browser.builder import SLOW_MS, Builder
from tests.browser.story import play


@pytest.fixture
def builder(voila, page):
    return shown(voila, page)


def shown(voila, page):
    page.goto(voila.page, wait_until="domcontentloaded")
    builder = Builder(page)
    builder.await_answer(1)
    return builder


def test_the_workplace(voila, builder):
    """Typing, saving from the keyboard, a reload and a killed kernel: nothing is lost, the file has what was saved."""
    page, loads = builder.page, voila.vehicle / "loads.csv"
    before = loads.read_text()
    said = page.locator(".pdm-said")
    expect(page).to_have_title("rally_coupe (data/rally_coupe): pdm_alloc")
    builder.types("horn", "running_a", "6.5")
    expect(page.locator(".pdm-unsaved")).to_have_text("not saved", timeout=SLOW_MS)
    page.keyboard.press("Control+s")
    expect(said).to_have_text("Saved: loads.", timeout=SLOW_MS)
    lines = [
        (old, new) for old, new in zip(before.splitlines(), loads.read_text().splitlines(), strict=True) if old != new
    ]
    assert [new.split(",")[:3] for _, new in lines] == [["horn", "horn", "6.5"]]
    builder.types("horn", "running_a", "7")
    draft = voila.vehicle / ".panel_draft.json"
    wait_for(page, draft.exists)
    voila.kill_kernels()
    again = shown(voila, page)
    expect(again.cell("horn", "running_a")).to_have_value("7")
    expect(page.locator(".pdm-said")).to_contain_text("draft")
    page.get_by_role("button", name="Open again").press("Enter")
    expect(again.cell("horn", "running_a")).to_have_value("6.5")
    page.watch.errors.clear()  # the killed kernel's


def wait_for(page, happened):
    for _ in range(200):
        if happened():
            return
        page.wait_for_timeout(100)
    raise AssertionError("waited in vain")


def test_verdict_stays_in_sight(builder):
    """Side by side where there is room, one column where there is not; the verdict never leaves the window."""
    page = builder.page
    for width in (1920, 1400, 900):
        page.set_viewport_size({"width": width, "height": 1000})
        page.locator(".pdm-body .pdm-section").last.scroll_into_view_if_needed()
        box, grid = page.locator(".pdm-verdict").bounding_box(), page.locator(".pdm-grid-wrap").bounding_box()
        assert box["y"] >= 0 and box["y"] + box["height"] <= 1000
        assert box["y"] + box["height"] <= grid["y"] or width < 1000
        answer = page.locator(".pdm-body").bounding_box()
        assert (answer["x"] > grid["x"] + grid["width"] - 1) == (width > 1000)
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        page.shoot(f"page_{width}")


def test_the_story(builder):
    """The whole story a builder plays, on the page; what it takes for granted stands at its foot."""
    play(builder)
    expect(builder.page.locator(".pdm-caution")).to_contain_text("Values are for design")
