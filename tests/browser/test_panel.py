"""The panel in a real JupyterLab: what a builder does, and what the panel says to it."""

import json
import re
from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.browser.axe import GRAVE, check
from tests.browser.builder import SLOW_MS, Builder
from tests.browser.conftest import leave
from tests.browser.story import play

CELL = """
import pdm_alloc as pa
vehicle, catalogue = pa.read_vehicle("../data/rally_coupe"), pa.read_catalogue("../data/catalogue")
panel = pa.panel.Panel(vehicle, catalogue, "middle-42")
panel
"""

LISTEN = (Path(__file__).parent / "listen.js").read_text()
CONTRAST = (Path(__file__).parent / "contrast.js").read_text()
TEXTS = (".pdm-verdict p", ".pdm-run", ".pdm-grid-fault", ".pdm-table td", ".pdm-legend", ".pdm-grid thead th")


@pytest.fixture
def fresh(run):
    builder = Builder(run)
    builder.await_answer(1)
    return builder


@pytest.fixture(scope="module")
def shown(desk, lab):
    """The panel of the notebook, run once: running it again takes as long as most tests."""
    lab.run(desk)
    builder = Builder(desk)
    builder.await_answer(1)
    return builder


@pytest.fixture
def builder(shown, request):
    """The panel with its tables as they were."""
    yield shown
    leave(shown.page, request)
    shown.undoes_all()


@pytest.mark.nightly
def test_the_story(fresh):
    """The whole story a builder plays, in JupyterLab; every day it is played on the page (`test_page`)."""
    play(fresh)


THREE_EDITS = """(cell, texts) => {
  cell.focus();
  for (const text of texts) {
    cell.value = text;
    cell.dispatchEvent(new Event('input', {bubbles: true}));
    cell.dispatchEvent(new Event('change', {bubbles: true}));
  }
}"""


def test_old_verdict_is_never_shown_as_the_new_one(builder):
    """From the edit on, the panel says it is working and the pictures are marked; three quick edits get one answer.

    Whether it is enough after the first edit may be said before the second is read: no picture comes of it.
    """
    page = builder.page
    last = builder.answers()
    page.evaluate(LISTEN)
    # All three in one breath of the page: on a slow machine three strokes from outside are not quick.
    page.locator(".pdm-grid [data-col='running_a']").first.evaluate(THREE_EDITS, ["6", "7", "5.5"])
    builder.await_answer(last + 1)
    seen = page.evaluate("window.seen.stop()")
    words = [word for word, _ in seen]
    assert "Working." in words
    start = next(n for n, (_, stale) in enumerate(seen) if stale)  # the mark comes right after the word
    end = len(words) - words[::-1].index("Working.")
    assert words.index("Working.") <= start < end
    assert all(stale for _, stale in seen[start:end])
    builder.says("Enough")
    expect(page.locator(".pdm-stale")).to_have_count(0)
    builder.is_heard()
    assert builder.answers() == last + 1


def test_contradiction_is_told_with_row_and_column(builder):
    """A peak below the running current is no verdict but a message that says where it is."""
    row = builder.index("cooling fan") + 1
    builder.types("cooling fan", "inrush_a", "2")
    builder.says("No verdict", f"row {row}", "column inrush_a", "'2' is below running_a")
    builder.page.keyboard.press("Control+z")
    builder.says("Enough")


CELLS = "document.querySelectorAll('.jp-NotebookPanel:not(.lm-mod-hidden) .jp-CodeCell').length"


def test_keys_in_a_drop_down_are_not_the_notebooks(builder):
    """Letters and arrows on a drop-down or a box choose and walk there; the notebook neither adds nor deletes cells."""
    page, last = builder.page, builder.answers()
    kinds, shares = (page.locator(f".pdm-grid [data-col='{column}']") for column in ("kind", "share"))
    kinds.nth(1).focus()
    for key in ("d", "d", "a", "x", "z"):
        page.keyboard.press(key)
    page.keyboard.press("ArrowDown")
    expect(kinds.nth(2)).to_be_focused()
    page.keyboard.press("m")
    expect(kinds.nth(2)).to_have_value("motor")
    shares.first.focus()
    page.keyboard.press("Space")
    page.keyboard.press("d")
    page.keyboard.press("d")
    expect(shares.first).not_to_be_checked()
    builder.await_answer(last + 1)
    assert page.evaluate(CELLS) == 1


def test_kept_design_shows_what_moved(builder):
    """A design kept, a load made stronger: the panel lists what would have to be rewired."""
    moved = builder.page.locator(".pdm-moved")
    builder.page.get_by_role("button", name="Keep this allocation").click()
    expect(moved).to_contain_text("Nothing: this is the built allocation.")
    last = builder.answers()
    builder.types("instruments", "running_a", "9")
    builder.await_answer(last + 1)
    expect(moved.locator("table").first).to_contain_text("instruments")
    builder.page.keyboard.press("Control+z")
    builder.await_answer(last + 2)
    expect(moved).to_contain_text("Nothing:")


def test_dark_theme(builder, lab):
    """In the dark theme every text stands out from what is behind it (4.5 to 1, WCAG 2.1, 1.4.3)."""
    lab.theme(builder.page, is_light=False)
    builder.types("horn", "running_a", "loud")
    expect(builder.faults).to_have_count(1)
    builder.page.shoot("panel_dark")
    assert min(contrast(builder.page, css) for css in TEXTS) >= 4.5
    lab.theme(builder.page, is_light=True)
    assert min(contrast(builder.page, css) for css in TEXTS) >= 4.5


CUT = """page => [...page.querySelectorAll(':scope *')].filter((e) => {
  const box = e.getBoundingClientRect(), edge = page.getBoundingClientRect().right + 1;
  const moves = (e) => ['auto', 'scroll'].includes(getComputedStyle(e).overflowX);
  const scrolls = (e) => e !== page && (moves(e) || scrolls(e.parentNode));
  return box.width && box.right > edge && !e.closest('svg') && !scrolls(e);
}).map((e) => e.className || e.tagName)"""


def view(builder, title):
    """A view beside the tables, nothing of it cut at the right."""
    page = builder.page
    page.get_by_role("tab", name=title, exact=True).click()
    shown = page.get_by_role("tabpanel", name=title)
    expect(shown.locator(":scope > *:visible").first).to_be_visible(timeout=SLOW_MS)
    assert shown.evaluate(CUT) == [], title
    return shown


@pytest.mark.nightly
def test_every_view_works_in_a_notebook_of_1000_px(builder):
    """Board, switches, comparison, locks and studies each do their work in JupyterLab, and no column is cut."""
    page, last = builder.page, builder.answers()
    page.set_viewport_size({"width": 1000, "height": 1000})
    board = view(builder, "Board")
    place = board.locator("[data-key='place:wing%20right']")
    before = place.get_attribute("aria-label")
    place.focus()
    page.keyboard.press("ArrowRight")
    builder.await_answer(last + 1)
    assert place.get_attribute("aria-label") != before
    switches = view(builder, "Switches")
    switches.get_by_role("switch", name="horn button").click()
    expect(switches.locator(".pdm-sw-press")).to_contain_text("horn", timeout=SLOW_MS)
    compare = view(builder, "Compare")
    compare.get_by_role("button", name="Keep the present one").click()
    expect(compare.locator(".pdm-kept th").last).to_have_text("middle-42 (built)", timeout=SLOW_MS)
    locks = view(builder, "Locks")
    locks.get_by_role("button", name="lock the load to the channel").click()
    expect(locks).to_contain_text("is locked to channel", timeout=SLOW_MS)
    builder.await_answer(last + 2)
    studies = view(builder, "Studies")
    studies.get_by_role("button", name="Start").nth(2).click()
    page.get_by_role("button", name="Cancel").click()
    expect(studies.get_by_role("button", name="Start").first).to_be_enabled(timeout=SLOW_MS)


# Rows of a table are alike, and axe-core looks at every one.
_FEW_ROWS = "document.querySelectorAll('.pdm-panel tbody > tr:nth-child(n+7)').forEach((row) => row.remove())"

# JupyterLab's body is 0 px high and cuts off what is beyond, if nothing painted: axe-core takes all of it for hidden.
_WHOLE = "document.querySelectorAll('body, .jp-LabShell').forEach((e) => { e.style.overflow = 'visible'; })"


def test_accessibility(builder, lab, axe):
    """Every tab in the light and in the dark theme, by every rule: axe-core finds nothing serious, and does look."""
    page, findings = builder.page, []
    page.evaluate(_WHOLE)
    parts = [page.locator(css) for css in (".pdm-top", ".pdm-left", ".pdm-right-side")]
    for side in parts[1:]:
        for opened, tab in enumerate(side.get_by_role("tab").all(), 1):
            tab.click()
            expect(side.locator(".pdm-pages > *")).to_have_count(opened)
            expect(side.locator(".pdm-pages > *").last.locator(":scope > *:visible").first).to_be_visible()
            page.evaluate(_FEW_ROWS)
    tabs = page.locator(".pdm-panel [role='tab']").count()
    for is_light in (False, True):
        lab.theme(page, is_light)
        results = [check(part, axe) for part in parts]
        contrasts = [n for result in results for n in result["contrasts"]]
        assert len(contrasts) == 1 + tabs and min(contrasts) >= 3, str(contrasts)
        assert all(result["passes"] >= 8 for result in results)
        findings += [
            ("light" if is_light else "dark", x)
            for result in results
            for x in result["violations"]
            if x["impact"] in GRAVE
        ]
    assert not findings, json.dumps(findings, indent=1)


def test_accessibility_is_looked_at(page, axe):
    """A button without a name is found, so that silence means something."""
    page.set_content('<html lang="en"><title>t</title><main><button></button></main></html>')
    assert [x["id"] for x in check(page.locator("main"), axe)["violations"]] == ["button-name"]


def test_saved_notebook_keeps_figure_and_table(builder, lab, page):
    """Opened again without its widgets, and not trusted, the notebook still shows verdict, figure and table."""
    desk = builder.page
    assert desk.locator(".pdm-static").first.is_hidden()
    lab.command(desk, "docmanager:save")  # ends once it is on disk; more of the answer may come into the page after it
    saved = json.loads((lab.root / "test_panel.ipynb").read_text())
    htmls = ["".join(o["data"].get("text/html", "")) for c in saved["cells"] for o in c["outputs"] if "data" in o]
    assert sum("pdm-static" in html for html in htmls) == 1
    for output in saved["cells"][0]["outputs"]:
        output.get("data", {}).pop("application/vnd.jupyter.widget-view+json", None)
    (lab.root / "saved.ipynb").write_text(json.dumps(saved))
    lab.open(page, "saved.ipynb")
    static = page.locator(".jp-NotebookPanel:not(.lm-mod-hidden) .pdm-static")
    expect(static).to_be_visible(timeout=SLOW_MS)
    expect(static).to_contain_text(re.compile("Enough"))
    expect(static.locator("table").first).to_contain_text("cooling fan")
    assert static.locator("img").evaluate("img => img.decode().then(() => img.naturalWidth)") > 400


def contrast(page, css: str) -> float:
    """Least contrast of the first elements of a kind against what is behind them."""
    return page.evaluate(CONTRAST, css)
