"""The board in a real JupyterLab: dragged by mouse and by keys, with the masses that the allocation then has."""

import io
import re

import pytest
from PIL import Image, ImageDraw
from playwright.sync_api import expect

import pdm_alloc as pa
from pdm_alloc.files.tables.read_catalogue import fitted
from tests.browser.builder import SLOW_MS, Builder

CELL = """
import pdm_alloc as pa
vehicle, catalogue = pa.read_vehicle("../data/rally_coupe"), pa.read_catalogue("../data/catalogue")
panel = pa.panel.Panel(vehicle, catalogue, "middle-42")
panel.controls.place.value = "boot"
panel
"""
VEHICLE, CATALOGUE = pa.read_vehicle("data/rally_coupe"), pa.read_catalogue("data/catalogue")


class Board:
    """Hands on a board."""

    def __init__(self, page):
        self.page, self.builder = page, Builder(page)
        page.get_by_role("tab", name="Board", exact=True).click()
        self.root = page.locator(".pdm-board")
        expect(self.root).not_to_have_class(re.compile("stale"), timeout=SLOW_MS)
        expect(page.locator(".pdm-board-mass")).to_contain_text("harness", timeout=SLOW_MS)
        page.locator(".pdm-board-notice").scroll_into_view_if_needed()

    def thing(self, key):
        return self.page.locator(f".pdm-board [data-key='{key}']")

    def at(self, key):
        box = self.thing(key).locator(":not(.pdm-board-hit)").first.bounding_box()
        return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2

    @property
    def mass_g(self):
        return float(self.root.get_attribute("data-mass-g"))

    def drag(self, key, to):
        """Carry a thing there in steps, without letting go."""
        (x0, y0), (x1, y1) = self.at(key), to
        self.page.mouse.move(x0, y0)
        self.page.mouse.down()
        for n in range(1, 9):
            self.page.mouse.move(x0 + (x1 - x0) * n / 8, y0 + (y1 - y0) * n / 8)
        self.page.wait_for_timeout(60)  # a frame is drawn

    def rests(self, answer):
        self.builder.await_answer(answer)
        expect(self.page.locator(".pdm-board-stale")).to_have_count(0, timeout=SLOW_MS)


@pytest.fixture
def board(run):
    return Board(run)


@pytest.fixture(scope="module")
def masses():
    """Wires and battery cables of the module at two places, each allocated as the panel does, g."""
    found = {}
    for place in ("boot", "under seat"):
        allocation = pa.allocate(VEHICLE, fitted(VEHICLE, CATALOGUE, ["middle-42"], [place]))
        found[place] = sum(w.mass_g for w in allocation.wired) + allocation.links.mass_g.sum()
    return found


def test_the_module_is_dragged_and_the_new_mass_read(board, masses):
    """The mass follows while it is dragged; at rest it is that of the allocation there."""
    assert board.mass_g == pytest.approx(masses["boot"], abs=2)
    number = board.builder.answers()
    board.drag("box:middle-42", board.at("place:under%20seat"))
    followed = board.mass_g
    assert followed != pytest.approx(masses["boot"], abs=20)
    expect(board.page.locator(".pdm-board-mass")).to_contain_text("wire sizes as they are")
    board.page.mouse.up()
    board.rests(number + 1)
    assert board.mass_g == pytest.approx(masses["under seat"], abs=2)
    expect(board.page.locator(".pdm-controls select").nth(1)).to_have_value(re.compile("."))
    expect(board.thing("box:middle-42")).to_have_attribute("aria-label", re.compile("at under seat"))
    board.page.shoot("board_dragged")


def test_the_module_is_moved_by_keys_alone(board, masses):
    """Enter, a list of places whose masses are told while looked at, Enter; Escape takes back."""
    number, keys = board.builder.answers(), board.page.keyboard
    board.thing("box:middle-42").focus()
    keys.press("Enter")
    listed = board.page.get_by_label("place for middle-42")
    expect(listed).to_be_focused()
    listed.press("Home")
    keys.press("ArrowDown")
    assert board.mass_g != pytest.approx(masses["boot"], abs=20)
    keys.press("Escape")
    expect(listed).to_have_count(0)
    assert board.mass_g == pytest.approx(masses["boot"], abs=2)
    expect(board.thing("box:middle-42")).to_be_focused()
    keys.press("Enter")
    keys.type("under")
    keys.press("Enter")
    board.rests(number + 1)
    assert board.mass_g == pytest.approx(masses["under seat"], abs=2)
    keys.press("Control+z")
    board.rests(number + 2)
    assert board.mass_g == pytest.approx(masses["boot"], abs=2)


def test_a_place_is_dragged_and_nudged(board):
    """By mouse and by keys: the place moves, the verdict follows when it rests, Escape takes back what is not sent."""
    number, before = board.builder.answers(), board.mass_g
    x, y = board.at("place:radiator")
    board.drag("place:radiator", (x - 40, y + 60))
    followed = board.mass_g
    assert followed > before + 5
    board.page.mouse.up()
    board.rests(number + 1)
    assert board.mass_g > before
    radiator = board.thing("place:radiator")
    moved = coordinates(radiator)
    radiator.focus()
    board.page.keyboard.press("ArrowRight")
    board.page.keyboard.press("Shift+ArrowUp")
    assert coordinates(radiator) == pytest.approx((moved[0] + 0.05, moved[1] + 0.25), abs=0.011)
    board.page.keyboard.press("Escape")
    assert coordinates(radiator) == moved
    board.page.keyboard.press("ArrowRight")
    board.rests(number + 2)
    assert coordinates(radiator) == pytest.approx((moved[0] + 0.05, moved[1]), abs=0.011)


def coordinates(thing):
    match = re.search(r"\((-?[\d.]+), (-?[\d.]+) m\)", thing.get_attribute("aria-label"))
    return float(match[1]), float(match[2])


def test_the_lightest_place_is_shown(board):
    """Beside everything else the places are tried; the lightest is marked with what it saves."""
    expect(board.page.locator(".pdm-board-ghost")).to_have_count(1, timeout=SLOW_MS)
    expect(board.page.locator(".pdm-board-better")).to_contain_text("kg less")


def test_an_outline_is_laid_beneath_and_scaled(board):
    """A photo chosen, two of its points clicked, their distance typed; what is no picture is refused."""
    page = board.page
    page.locator(".pdm-board-file").set_input_files({"name": "car.png", "mimeType": "image/png", "buffer": photo()})
    outline = page.locator(".pdm-board-outline")
    expect(outline).to_have_count(1)
    before = outline.bounding_box()["width"]
    page.get_by_role("button", name="Scale outline").click()
    plan = page.locator(".pdm-board-plan").bounding_box()
    for share in (0.3, 0.6):
        page.mouse.click(plan["x"] + plan["width"] * share, plan["y"] + plan["height"] * 0.9)
    field = page.get_by_label("distance between the two points, m")
    field.fill("10")
    field.press("Enter")
    apart = page.evaluate("() => 0.3 * document.querySelector('.pdm-board-plan').clientWidth")
    expect(page.locator(".pdm-board-notice")).to_contain_text("outline", timeout=SLOW_MS)
    assert outline.bounding_box()["width"] > before
    assert apart > 0
    page.shoot("board_outline")
    page.locator(".pdm-board-file").set_input_files({"name": "notes.png", "mimeType": "image/png", "buffer": b"notes"})
    expect(page.locator(".pdm-board-notice")).to_contain_text("notes.png", timeout=SLOW_MS)
    expect(outline).to_have_count(1)


def photo():
    out, picture = io.BytesIO(), Image.new("RGB", (800, 320), "white")
    ImageDraw.Draw(picture).rounded_rectangle((20, 20, 780, 300), 90, outline="black", width=6)
    picture.save(out, "PNG")
    return out.getvalue()


OVERLAPS = """() => [...document.querySelectorAll('.pdm-board-name')].flatMap((name) => {
  const box = name.getBBox();
  return [...document.querySelectorAll('.pdm-board-run')].filter((run) => {
    const [x1, y1, x2, y2] = ['x1', 'y1', 'x2', 'y2'].map((a) => Number(run.getAttribute(a)));
    for (let t = 0; t <= 1; t += 0.01) {
      const x = x1 + (x2 - x1) * t, y = y1 + (y2 - y1) * t;
      if (x > box.x && x < box.x + box.width && y > box.y + 2 && y < box.y + box.height - 2) return true;
    }
  }).map(() => name.textContent);
})"""


def test_names_are_clear_of_the_harness(board):
    """No name lies on a line, however wide the window is; lines are as thick as their bundles."""
    for width in (1920, 1400, 900):
        board.page.set_viewport_size({"width": width, "height": 1000})
        board.page.wait_for_timeout(300)
        board.page.shoot(f"board_{width}")
        assert board.page.evaluate(OVERLAPS) == []
    board.page.set_viewport_size({"width": 1400, "height": 1000})
