"""What a builder does at the panel, the same in JupyterLab and on the page."""

from playwright.sync_api import expect

from tests.browser.builder import PASTED, SLOW_MS, Builder


def play(builder: Builder) -> None:
    """Add a load by typing and some by paste, spoil a cell and put it right, look at a smaller module."""
    builder.says("Enough", "middle-42 carries 46 loads", "proven best")
    types_a_load(builder)
    pastes_loads(builder)
    spoils_a_cell(builder)
    takes_a_smaller_module(builder)


def types_a_load(builder: Builder) -> None:
    """A row counts once it is complete, and the verdict knows of it."""
    last = builder.answers()
    builder.adds_by_typing("sump heater", "crew power", "3,5", "1", "heater")
    builder.await_answer(last + 1)
    builder.says("carries 47 loads")
    expect(builder.page.locator(".pdm-channels")).to_contain_text("sump heater")


def pastes_loads(builder: Builder) -> None:
    """Two rows from a spreadsheet; the command that is new to the vehicle is named as taken for always on."""
    builder.adds_by_typing()
    builder.pastes("", PASTED)
    expect(builder.faults.filter(has_text="'fuel cooler' is a new command")).to_have_count(1)
    builder.page.get_by_role("button", name="Keep fuel cooler as new").click()
    expect(builder.faults).to_have_count(0)
    builder.says("carries 49 loads", "taken as on in every state: fuel cooler")


def spoils_a_cell(builder: Builder) -> None:
    """A bad cell is marked and the verdict stays about the last good value; a good one counts at once."""
    last = builder.answers()
    builder.types("sump heater", "running_a", "three")
    expect(builder.faults).to_contain_text("'three' is not a number")
    builder.says("carries 49 loads", "1 cell to put right")
    assert builder.answers() == last
    builder.page.shoot("panel_bad_cell")
    builder.types("sump heater", "running_a", "3")
    builder.await_answer(last + 1)
    expect(builder.faults).to_have_count(0)
    expect(builder.head).not_to_contain_text("to put right")


def takes_a_smaller_module(builder: Builder) -> None:
    """The compact module is not enough, and the panel says what is short and what could be given up."""
    last = builder.answers()
    builder.takes_module("compact-31")
    builder.await_answer(last + 1)
    builder.says("Not enough", "compact-31 is too small:", "more channel")
    expect(builder.page.locator(".pdm-shortfall table")).to_contain_text("more channel", timeout=SLOW_MS)
    # The search has a clock of its own: on a busy machine it may end before the first way, and says so.
    ways = builder.page.locator(".pdm-ways > li").first
    stopped = builder.page.get_by_text("Time ran out before the search for concessions was through")
    expect(ways.or_(stopped).first).to_be_visible(timeout=SLOW_MS)
    builder.page.shoot("panel_not_enough")
