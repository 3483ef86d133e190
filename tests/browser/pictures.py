"""The README's pictures of the whole panel, three widths, light and dark: ``python -m tests.browser.pictures``."""

import io
import shutil
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, expect, sync_playwright

from tests.browser.builder import SLOW_MS, Builder
from tests.browser.conftest import CHROMIUM, FLAGS, ROOT
from tests.browser.server import address_in_log, free_port, new_token, private_env, start

TARGET = ROOT / "data" / "panel"
VIEWS = {900: "Answer", 1400: "Board", 1920: "Switches"}
HEIGHTS = {900: 1200, 1400: 900, 1920: 1000}
COLOURS = 128
WHOLE_MS = 300_000


def main() -> None:
    """Serve the demo twice, set it up as a builder would, and photograph it."""
    TARGET.mkdir(exist_ok=True)
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS, headless=True)
        for theme in ("light", "dark"):
            with tempfile.TemporaryDirectory() as folder:
                photograph(browser, Path(folder), theme)
        browser.close()


def photograph(browser, folder: Path, theme: str) -> None:
    """All widths in one theme."""
    shutil.copytree(ROOT / "data", folder / "data")
    vehicle = str(folder / "data" / "rally_coupe")
    arguments = ["-m", "pdm_alloc", "panel", vehicle, "--no-browser", f"--port={free_port()}"]
    arguments += ["--dark"] if theme == "dark" else []
    server = start(arguments, private_env(folder, new_token()), folder, address_in_log)
    try:
        page = browser.new_page()
        page.set_default_timeout(WHOLE_MS)
        page.goto(server.page, wait_until="domcontentloaded")
        set_up(Builder(page))
        for width, view in VIEWS.items():
            page.set_viewport_size({"width": width, "height": HEIGHTS[width]})
            look_at(page, view)
            store(page.screenshot(), TARGET / f"{width}_{theme}.png")
    finally:
        server.stop()


def set_up(builder: Builder) -> None:
    """A module that is enough, mounted where wires are light."""
    last = builder.answers()
    builder.takes_module("middle-42")
    builder.await_answer(last + 1)
    builder.page.get_by_role("combobox", name="mounted at").select_option("glove box")
    builder.await_answer(last + 2)
    builder.says("Enough")


def look_at(page: Page, view: str) -> None:
    """Choose a tab and wait until its page is there."""
    page.get_by_role("tab", name=view).click()
    expect(page.get_by_role("tabpanel", name=view)).to_be_visible(timeout=SLOW_MS)
    for part in (".pdm-head", ".pdm-body"):  # every module and control unit is judged
        expect(page.locator(part)).not_to_contain_text("\u2026", timeout=WHOLE_MS)
    expect(page.locator(".pdm-body .pdm-signals")).to_have_count(1, timeout=WHOLE_MS)
    page.wait_for_timeout(3000)


def store(png: bytes, file: Path) -> None:
    """A picture in few colours, small enough to lie in the repository."""
    Image.open(io.BytesIO(png)).convert("RGB").quantize(COLOURS).save(file, optimize=True)
    print(file.relative_to(ROOT), f"{file.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
