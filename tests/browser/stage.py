"""A widget on an empty page, with nothing of Jupyter: its script in the browser, its Python behind it."""

import base64
import json
from functools import partial
from pathlib import Path

__all__ = ["Stage"]

_ADDRESS = "http://127.0.0.1/stage"  # nobody is asked; only a page of this machine may use the clipboard
_PAGE = """<!doctype html><html lang="en"><head><title>stage</title><style>{style}
body {{ margin: 8px; font-family: sans-serif; background: var(--jp-layout-color0, #fff); }}
body[data-jp-theme-light="false"] {{
  --jp-layout-color0: #111; --jp-layout-color1: #111; --jp-layout-color2: #333; --jp-ui-font-color1: #fff;
  --jp-ui-font-color2: #ccc; --jp-border-color1: #888; --jp-border-color2: #555; --jp-brand-color1: #64b5f6; }}
</style></head><body data-jp-theme-light="true"><main id="stage"></main></body></html>"""

# A model as anywidget gives it: traits come whole, messages go out; both through functions the page was given.
_SCRIPT = """async (script) => {
  const url = URL.createObjectURL(new Blob([script], {type: 'text/javascript'}));
  const widget = (await import(url)).default, heard = {};
  let state = JSON.parse(await window.stageState());
  const model = {
    get: (name) => state[name],
    on: (name, act) => (heard[name] ||= []).push(act),
    off: (name, act) => { heard[name] = (heard[name] || []).filter((other) => other !== act); },
    send: async (message, callbacks, buffers = []) => {
      const letters = (b) => Array.from(new Uint8Array(b.buffer), (n) => String.fromCharCode(n)).join('');
      const texts = buffers.map((b) => btoa(letters(b)));
      await window.stageSend(JSON.stringify(message), texts);
      await window.stageSync();
    },
  };
  window.stageSync = async () => {
    // Compared with what was last told to the widget: another call may end while this one waits for its answer.
    const now = JSON.parse(await window.stageState()), before = state;
    state = now;
    const changed = Object.keys(state).filter((name) => JSON.stringify(state[name]) !== JSON.stringify(before[name]));
    for (const name of changed) for (const act of heard['change:' + name] || []) act();
    if (changed.length) for (const act of heard['change'] || []) act();
  };
  widget.render({model, el: document.getElementById('stage')});
}"""


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
        page.expose_function("stageState", self._state)
        page.expose_function("stageSend", partial(_take, act))
        html = _PAGE.format(style=_text(widget._css))
        page.route(_ADDRESS, lambda route: route.fulfill(body=html, content_type="text/html"))
        page.goto(_ADDRESS)
        page.evaluate(_SCRIPT, _text(widget._esm))

    def _state(self) -> str:
        names = [name for name in self.widget.keys if not name.startswith("_") and name not in ("layout", "tooltip")]
        return json.dumps({name: getattr(self.widget, name) for name in names if name not in ("comm", "tabbable")})

    def await_change(self, happened) -> None:
        """Wait for what a thread of Python does, and show it."""
        for _ in range(200):
            if happened():
                break
            self.page.wait_for_timeout(50)
        assert happened()
        self.page.evaluate("window.stageSync()")

    def theme(self, dark: bool) -> None:
        """Take the light or the dark theme."""
        self.page.evaluate("dark => document.body.setAttribute('data-jp-theme-light', String(!dark))", dark)
