"""A builder at the panel: what is done with hands, and what is read off the screen."""

import re

from playwright.sync_api import expect

PASTED = "load\tcommand\trunning_a\tkind\nroof lamp\tnavigator\t0,5\tled\nfuel cooler pump\tfuel cooler\t1,2\tmotor\n"
SLOW_MS = 120_000
LISTEN = """() => { window.pasted = new Promise((done) => {
  const heard = (ev) => done(ev.clipboardData.getData('text/plain') !== '');
  window.addEventListener('paste', heard, {capture: true, once: true});
  setTimeout(() => { window.removeEventListener('paste', heard, {capture: true}); done(false); }, 15000);
}); }"""


def paste(page, cell, text: str = "") -> None:
    """Paste into a cell: a text, or what is on the clipboard.

    A busy browser now and then brings no paste to its page at all: then the keys are pressed again.
    """
    for _ in range(5):
        if text:
            page.evaluate("text => navigator.clipboard.writeText(text)", text)
        page.evaluate(LISTEN)
        cell.focus()
        page.keyboard.press("Control+v")
        if page.evaluate("() => window.pasted"):
            return
    raise AssertionError("the browser brought no paste")


HAS_ANSWERED = "number => Number(document.querySelector('.pdm-head .pdm-run')?.dataset.run ?? 0) >= number"


class Builder:
    """Drives one panel on a page."""

    def __init__(self, page):
        self.page = page
        self.head = page.locator(".pdm-head .pdm-verdict")
        self.faults = page.locator(".pdm-grid-fault")

    def cell(self, load: str, column: str):
        """A cell of the row of a load."""
        row = self.page.locator(".pdm-grid tbody tr").nth(self.index(load))
        return row.locator(f"[data-col='{column}']")

    def index(self, load: str) -> int:
        """Where the row of a load stands, from 0."""
        cells = self.page.locator(".pdm-grid [data-col='load']")
        return cells.evaluate_all("cells => cells.map(cell => cell.value)").index(load)

    def answers(self) -> int:
        """How many answers there have been, once the last one is there."""
        run = self.page.locator(".pdm-head .pdm-run")
        expect(run).to_have_count(1, timeout=SLOW_MS)
        return int(run.get_attribute("data-run"))

    def await_answer(self, number: int) -> None:
        """Wait for the answer of that number, or one after it: on a slow machine two quick edits have two."""
        self.page.wait_for_function(HAS_ANSWERED, arg=number, timeout=SLOW_MS)

    def is_heard(self) -> None:
        """Wait until Python has taken up all that was done, in turn: a row added and taken back comes last."""
        self.page.get_by_role("tab", name=re.compile("^Loads")).click()
        notice = self.page.locator(".pdm-grid-notice").first
        for button, words in (("add", "row added"), ("undo", "undone")):
            self.page.locator(f".pdm-grid-{button}").first.click()
            expect(notice).to_have_text(words, timeout=SLOW_MS)

    def chooses(self, text: str) -> None:
        """Type a word at a list that has the focus, until it is chosen: letters typed too slowly begin anew."""
        for _ in range(5):
            self.page.keyboard.type(text)
            if self.page.evaluate("document.activeElement.value") == text:
                return
            self.page.wait_for_timeout(1500)  # the list forgets what was typed
        raise AssertionError(f"{text} is not chosen")

    def says(self, *words: str) -> None:
        """The verdict has these words in it."""
        for word in words:
            expect(self.head).to_contain_text(word, timeout=SLOW_MS)

    def types(self, load: str, column: str, text: str) -> None:
        """Click a cell, type, Enter."""
        self.cell(load, column).click()
        self.page.keyboard.type(text)
        self.page.keyboard.press("Enter")

    def adds_by_typing(self, *texts: str) -> None:
        """A new row, its first cells typed one after the other with Tab between them."""
        self.page.locator(".pdm-grid-add").click()
        expect(self.page.locator(".pdm-grid [data-col='load']:focus")).to_have_value("")
        for text in texts:
            is_list = self.page.evaluate("document.activeElement.tagName === 'SELECT'")
            (self.chooses if is_list else self.page.keyboard.type)(text)
            self.page.keyboard.press("Tab")

    def pastes(self, load: str, text: str) -> None:
        """Paste a text into the first cell of a row."""
        paste(self.page, self.cell(load, "load"), text)

    def takes_module(self, name: str) -> None:
        """Choose a module from the drop-down."""
        choice = self.page.locator(".pdm-controls select").first
        value = choice.evaluate("(e, name) => [...e.options].find(o => o.text.startsWith(name + ':')).value", name)
        choice.select_option(value)

    def undoes_all(self) -> None:
        """Undo until nothing is left to be undone, and wait for the answer."""
        self.is_heard()
        undo = self.page.locator(".pdm-grid-undo").first
        for _ in range(50):
            # One press at a time, by script: a button that is out of use by then is not waited for.
            if not undo.evaluate("button => !button.disabled && (button.click(), true)"):
                break
            self.page.wait_for_timeout(200)
        expect(undo).to_be_disabled(timeout=SLOW_MS)
        self.is_heard()
        self.says("Enough")
        stale = self.page.locator(".pdm-stale:visible")  # other tabs are filled when looked at
        expect(stale).to_have_count(0, timeout=SLOW_MS)
