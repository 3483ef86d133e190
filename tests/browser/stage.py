"""A widget on an empty page, with nothing of Jupyter: its script in the browser, its Python behind it."""

import base64
import json
import time
from functools import partial
from pathlib import Path

__all__ = ["WAIT_S", "Stage", "painted", "until"]

_ADDRESS = "http://127.0.0.1/stage"  # nobody is asked; only a page of this machine may use the clipboard
_PAGE = """<!doctype html><html lang="en"><head><title>stage</title><style>{style}
body {{ margin: 8px; font-family: sans-serif; background: var(--jp-layout-color0, #fff); }}
body[data-jp-theme-light="false"] {{
  --jp-layout-color0: #111; --jp-layout-color1: #111; --jp-layout-color2: #333; --jp-ui-font-color1: #fff;
  --jp-ui-font-color2: #ccc; --jp-border-color1: #888; --jp-border-color2: #555; --jp-brand-color1: #64b5f6; }}
</style></head><body data-jp-theme-light="true"><main id="stage"></main></body></html>"""

# A model as anywidget gives it: messages go out one after the other, what Python has changed since comes in, all of it
# at once. Everything waits for what was begun before it (`turn`), so that no older state comes after a newer one. What
# threads of Python change is asked for all the time, as it would come by itself from a kernel.
_SCRIPT = """async (script) => {
  const url = URL.createObjectURL(new Blob([script], {type: 'text/javascript'}));
  const widget = (await import(url)).default, heard = {};
  let {state, seen} = JSON.parse(await window.stageState(-1)), turn = Promise.resolve();
  const tell = async () => {
    const news = JSON.parse(await window.stageState(seen));
    if (news === null) return;
    const differs = (name) => JSON.stringify(news.state[name]) !== JSON.stringify(state[name]);
    const changed = Object.keys(news.state).filter(differs);
    seen = news.seen;
    state = {...state, ...Object.fromEntries(changed.map((name) => [name, news.state[name]]))};
    for (const name of changed) for (const act of heard['change:' + name] || []) act();
    if (changed.length) for (const act of heard['change'] || []) act();
  };
  const model = {
    get: (name) => state[name],
    on: (name, act) => (heard[name] ||= []).push(act),
    off: (name, act) => { heard[name] = (heard[name] || []).filter((other) => other !== act); },
    send: (message, callbacks, buffers = []) => {
      const letters = (b) => Array.from(new Uint8Array(b.buffer), (n) => String.fromCharCode(n)).join('');
      const texts = buffers.map((b) => btoa(letters(b)));
      turn = turn.then(() => window.stageSend(JSON.stringify(message), texts)).then(tell);
    },
  };
  window.stageSettled = () => (turn = turn.then(tell));
  widget.render({model, el: document.getElementById('stage')});
  const pause = window.setTimeout.bind(window);  // as it is now: a test may take the clock into its hands later
  const ask = () => window.stageSettled().then(() => pause(ask, ASK_MS));
  ask();
}"""
_ASK_MS = 100
WAIT_S = 120  # a busy machine takes a while; nobody waits once it has happened


def _text(source) -> str:
    """A script or style, which anywidget may be given as the path of a file."""
    return source.read_text("utf-8") if isinstance(source, Path) else str(source)


def _take(act, message: str, buffers: list[str]) -> None:
    act(json.loads(message), *([[base64.b64decode(text) for text in buffers]] if buffers else []))


class Stage:
    """Shows one anywidget on a page and hands its messages to Python.

    Parameters
    ----------
    page : Page
        An empty one.
    widget : AnyWidget
        With `_esm` and `_css`.
    act : callable
        Called with each message, and with its buffers where it has some.
    """

    def __init__(self, page, widget, act):
        self.page, self.widget = page, widget
        self._changes = 0
        widget.observe(self._changed)
        page.expose_function("stageState", self._news)
        page.expose_function("stageSend", partial(_take, act))
        html = _PAGE.format(style=_text(widget._css))
        page.route(_ADDRESS, lambda route: route.fulfill(body=html, content_type="text/html"))
        page.goto(_ADDRESS)
        page.evaluate(_SCRIPT.replace("ASK_MS", str(_ASK_MS)), _text(widget._esm))

    def end(self) -> None:
        """Hear no more of the widget, which may outlive the page."""
        self.widget.unobserve(self._changed)

    def _changed(self, _) -> None:
        self._changes += 1

    def _news(self, seen: int) -> str:
        """The state, unless nothing of it has changed since; its number is taken first, so that no change is missed."""
        changes = self._changes
        if seen == changes:
            return "null"
        names = [name for name in self.widget.keys if not name.startswith("_") and name not in ("layout", "tooltip")]
        state = {name: getattr(self.widget, name) for name in names if name not in ("comm", "tabbable")}
        return json.dumps({"seen": changes, "state": state})

    def settles(self) -> None:
        """Wait until what the page has sent is dealt with, and shown as far as Python knows of it."""
        self.page.evaluate("window.stageSettled()")

    def await_change(self, happened) -> None:
        """Wait for what a thread of Python does, and show it."""
        until(self.page, happened)
        self.settles()

    def theme(self, dark: bool) -> None:
        """Take the light or the dark theme."""
        self.page.evaluate("dark => document.body.setAttribute('data-jp-theme-light', String(!dark))", dark)


def until(page, happened) -> None:
    """Wait for something that no locator tells, while the page goes on."""
    end = time.monotonic() + WAIT_S
    while not happened():
        assert time.monotonic() < end, "waited in vain"
        page.wait_for_timeout(50)


def painted(page) -> None:
    """Wait until the page has been painted with all that was done to it: sizes are told in the frame after."""
    page.evaluate("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
