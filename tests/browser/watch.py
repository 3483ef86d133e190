"""What a page must not do: ask for anything outside the machine, log an error, show one."""

import re
from pathlib import Path

LOCAL = re.compile(r"(https?|wss?)://(127\.0\.0\.1|localhost)[:/]|data:|blob:|about:")
ERROR_OUTPUTS = "[data-mime-type='application/vnd.jupyter.stderr'], [data-mime-type='application/vnd.jupyter.error']"


class Watch:
    """Listens to a page from its first request on."""

    def __init__(self, page):
        self.page = page
        self.outside: list[str] = []
        self.errors: list[str] = []
        page.on("request", lambda request: self._asked(request.url))
        page.on("websocket", lambda socket: self._asked(socket.url))
        page.on("pageerror", lambda error: self.errors.append(f"uncaught: {error}"))
        page.on("console", self._said)

    def _asked(self, url: str) -> None:
        if not LOCAL.match(url):
            self.outside.append(url)

    def _said(self, message) -> None:
        if message.type == "error":
            self.errors.append(f"{message.text} ({message.location.get('url', '')})")

    def check(self) -> None:
        """Fail if the page asked for anything outside, or showed or logged an error."""
        assert not self.outside, self.outside
        assert not self.errors, self.errors
        shown = self.page.locator(ERROR_OUTPUTS)
        assert shown.count() == 0, shown.first.inner_text()


def shoot(page, folder: Path, name: str) -> None:
    """Save what the page shows."""
    folder.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=str(folder / f"{name}.png"))
