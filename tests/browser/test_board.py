"""The board in a real browser: dragged by mouse and by keys, with the masses that the allocation then has."""

import io
import re
from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from PIL import Image, ImageDraw
from playwright.sync_api import expect

import pdm_alloc as pa
from pdm_alloc.files.tables.read_catalogue import fitted
from pdm_alloc.panel.panel import Panel
from tests.browser.builder import SLOW_MS, Builder
from tests.browser.stage import WAIT_S, Stage, painted

CELL = """
import pdm_alloc as pa
vehicle, catalogue = pa.read_vehicle("../data/rally_coupe"), pa.read_catalogue("../data/catalogue")
panel = pa.panel.Panel(vehicle, catalogue, "middle-42")
panel.controls.place.value = "boot"
panel
"""
VEHICLE, CATALOGUE = pa.read_vehicle("data/rally_coupe"), pa.read_catalogue("data/catalogue")
ONE = replace(CATALOGUE, modules=(CATALOGUE["middle-42"],))


LATER = datetime.now() + timedelta(days=1)


class Hands:
    """Hands on a board, wherever it is shown."""

    def __init__(self, page):
        self.page, self.root = page, page.locator(".pdm-board")
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
        painted(self.page)

    def chooses(self, place):
        """Walk to a place in the list that has the focus, by arrows: letters typed too slowly would begin anew."""
        at, now = self.page.evaluate(
            """(place) => {
          const list = document.activeElement;
          return [[...list.options].findIndex((one) => one.text === place), list.selectedIndex]; }""",
            place,
        )
        assert at >= 0, place
        for _ in range(abs(at - now)):
            self.page.keyboard.press("ArrowDown" if at > now else "ArrowUp")


class Board(Hands):
    """The board of a panel on an empty page."""

    def __init__(self, page, panel):
        self.panel = panel
        self.stage = Stage(page, self.panel.board, self.panel.board.act)
        super().__init__(page)

    def rests(self):
        """What was done has reached Python, all of the answer is there, and shown."""
        self.stage.settles()
        assert self.panel.wait(WAIT_S)
        self.stage.settles()
        assert not self.panel.board.is_stale
        expect(self.page.locator(".pdm-board-stale")).to_have_count(0)


@pytest.fixture(scope="module")
def panel():
    panel = Panel(VEHICLE, ONE, "middle-42")
    panel.controls.place.value = "boot"
    panel._screen.tabs.choose("Board")
    assert panel.wait(WAIT_S)
    return panel


@pytest.fixture
def board(page, panel):
    board = Board(page, panel)
    yield board
    board.stage.settles()
    board.stage.end()
    put_back(panel)
    panel.board._seeker.overtake()


def put_back(panel):
    """Tables, boxes and outline as they were: a panel of each test's own would work all of it out anew."""
    assert panel.wait(WAIT_S)
    while panel.board.can["undo"] and panel.tables.changed:
        panel.tables.undo()
    for label in panel.controls.sites:
        panel.controls.put_unit(label, "")
    panel.controls.place.value = "boot"
    panel.board.act({"op": "bare"})
    assert panel.wait(WAIT_S) and panel.vehicle == panel._vehicle and not panel.board.is_stale


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
    board.drag("box:middle-42", board.at("place:under%20seat"))
    assert board.mass_g != pytest.approx(masses["boot"], abs=20)
    expect(board.page.locator(".pdm-board-mass")).to_contain_text("wire sizes as they are")
    board.page.mouse.up()
    board.rests()
    assert board.mass_g == pytest.approx(masses["under seat"], abs=2)
    assert board.panel.controls.place.value == "under seat"
    expect(board.thing("box:middle-42")).to_have_attribute("aria-label", re.compile("at under seat"))


def test_the_module_is_moved_by_keys_alone(board, masses):
    """Enter, a list of places whose masses are told while looked at, Enter; Escape takes back."""
    keys = board.page.keyboard
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
    board.chooses("under seat")
    keys.press("Enter")
    board.rests()
    assert board.mass_g == pytest.approx(masses["under seat"], abs=2)
    keys.press("Control+z")
    board.rests()
    assert board.mass_g == pytest.approx(masses["boot"], abs=2)


def test_control_unit_and_keypad_are_dragged_and_moved_by_keys(board):
    """Trunk and signal wires follow the hand and are those of the answer at rest; a keypad takes its inputs along."""
    side = board.panel.answer.side
    root, start_g = board.root, float(board.root.get_attribute("data-signals-g"))
    assert float(root.get_attribute("data-trunk-m")) == pytest.approx(side.bus.trunk.length_m, abs=0.001)
    board.drag("box:control-40", board.at("place:glove%20box"))
    carried_g = float(root.get_attribute("data-signals-g"))
    assert carried_g > start_g + 5
    board.page.mouse.up()
    board.rests()
    assert {box.label: box.place for box in board.panel.answer.side.boxes} == {"control-40": "glove box"}
    assert float(root.get_attribute("data-signals-g")) == pytest.approx(carried_g, abs=0.1)
    board.thing("box:keypad-8%20K1").focus()
    board.page.keyboard.press("Enter")
    board.chooses("tunnel")
    trunk_m = root.get_attribute("data-trunk-m")
    board.page.keyboard.press("Enter")
    board.rests()
    assert {one.place for one in board.panel.vehicle.inputs if one.read_by == "keypad"} == {"dash", "tunnel"}
    assert root.get_attribute("data-trunk-m") == trunk_m
    assert float(trunk_m) == pytest.approx(board.panel.answer.side.bus.trunk.length_m, abs=0.001)
    board.thing("box:control-40").focus()
    board.page.keyboard.press("Enter")
    board.page.keyboard.press("Home")
    board.page.keyboard.press("Enter")
    board.rests()
    assert board.panel.controls.sites == {}


def test_a_place_is_dragged_and_nudged(board):
    """By mouse and by keys: the tables have it when it rests, Escape takes back what is not sent."""
    before, (x, y), page = board.mass_g, board.at("place:radiator"), board.page
    board.drag("place:radiator", (x - 40, y + 60))
    assert board.mass_g > before + 5
    page.mouse.up()
    board.rests()
    radiator = board.thing("place:radiator")
    moved = coordinates(radiator)
    assert moved == in_tables(board, "radiator")
    assert board.mass_g > before
    radiator.focus()
    page.clock.install()
    page.clock.pause_at(LATER)  # keys that rest half a second have moved the place: a busy machine presses no faster
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowUp")
    assert coordinates(radiator) == pytest.approx((moved[0] + 0.05, moved[1] + 0.25), abs=0.011)
    page.keyboard.press("Escape")
    page.clock.run_for(1000)
    board.stage.settles()
    assert coordinates(radiator) == moved == in_tables(board, "radiator")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    board.stage.settles()
    nudged = in_tables(board, "radiator")
    assert nudged == pytest.approx((moved[0] + 0.05, moved[1]))
    page.keyboard.press("ArrowRight")
    board.stage.settles()
    assert in_tables(board, "radiator") == nudged
    page.clock.run_for(1000)
    board.stage.settles()
    assert in_tables(board, "radiator") == pytest.approx((moved[0] + 0.1, moved[1]))


def coordinates(thing):
    match = re.search(r"\((-?[\d.]+), (-?[\d.]+) m\)", thing.get_attribute("aria-label"))
    return float(match[1]), float(match[2])


def in_tables(board, place):
    row = next(row for row in board.panel.tables.texts("places") if row["place"] == place)
    return float(row["x_m"]), float(row["y_m"])


def test_a_place_is_dragged_by_touch(board):
    """A finger on a place drags it and does not scroll the page."""
    touch = board.page.context.new_cdp_session(board.page)
    board.page.evaluate("document.body.style.height = '3000px'")
    before, (x, y) = in_tables(board, "radiator"), board.at("place:radiator")
    for n in range(8):
        points = [{"x": x, "y": y + 8 * n}]
        touch.send("Input.dispatchTouchEvent", {"type": "touchMove" if n else "touchStart", "touchPoints": points})
        board.page.wait_for_timeout(20)
    touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    board.stage.await_change(lambda: in_tables(board, "radiator") != before)
    assert in_tables(board, "radiator")[1] < before[1]
    assert board.page.evaluate("scrollY") == 0


def test_a_place_is_added_joined_and_deleted(board):
    """By keys: a form for the place, Enter on two places for a route, Delete; what is in use is not deleted."""
    page, keys = board.page, board.page.keyboard
    page.get_by_role("button", name="Add place").press("Enter")
    keys.type("relay box")
    keys.press("Enter")
    board.rests()
    assert "relay box" in [row["place"] for row in board.panel.tables.texts("places")]
    page.get_by_role("button", name="Draw route").press("Enter")
    board.thing("place:relay%20box").press("Enter")
    board.thing("place:dash").press("Enter")
    board.rests()
    routes = [{row["from"], row["to"]} for row in board.panel.tables.texts("routes")]
    assert {"relay box", "dash"} in routes
    board.thing("place:dash").press("Delete")
    expect(page.locator(".pdm-board-notice")).to_contain_text("in use")
    board.thing("place:relay%20box").press("Delete")
    board.rests()
    assert board.panel.tables.vehicle.places == VEHICLE.places
    assert board.panel.tables.vehicle.routes == VEHICLE.routes


def test_a_place_is_added_joined_and_deleted_by_mouse(board):
    """A click says where the new place is, two clicks which route; what was picked goes with the button."""
    page, mouse = board.page, board.page.mouse
    plan = page.locator(".pdm-board-plan").bounding_box()
    page.get_by_role("button", name="Add place").click()
    mouse.click(plan["x"] + plan["width"] * 0.3, plan["y"] + plan["height"] * 0.1)
    page.keyboard.type("relay box")
    page.get_by_role("button", name="OK").click()
    board.rests()
    new, spot = next(row for row in board.panel.tables.texts("places") if row["place"] == "relay box"), board.at
    assert coordinates(board.thing("place:relay%20box")) == pytest.approx((float(new["x_m"]), float(new["y_m"])))
    page.get_by_role("button", name="Draw route").click()
    mouse.click(*spot("place:relay%20box"))
    mouse.click(*spot("place:wing%20right"))
    board.rests()
    assert {"relay box", "wing right"} in [{row["from"], row["to"]} for row in board.panel.tables.texts("routes")]
    mouse.click(*spot("place:relay%20box"))
    page.get_by_role("button", name="Delete", exact=True).click()
    board.rests()
    assert (board.panel.tables.vehicle.places, board.panel.tables.vehicle.routes) == (VEHICLE.places, VEHICLE.routes)


def test_the_battery_is_dragged_and_moved_by_keys(board):
    """Its cables follow the hand; at rest settings and verdict have its place, and keys take it back."""
    before = board.mass_g
    board.drag("box:battery", board.at("place:glove%20box"))
    carried = board.mass_g
    assert carried != pytest.approx(before, abs=20)
    board.page.mouse.up()
    board.rests()
    assert board.panel.vehicle.settings.battery_place == "glove box"
    links = board.panel.allocation.links.mass_g.sum() + sum(w.mass_g for w in board.panel.allocation.wired)
    assert board.mass_g == pytest.approx(links, abs=2)
    board.thing("box:battery").focus()
    board.page.keyboard.press("Enter")
    board.chooses("battery box")
    board.page.keyboard.press("Enter")
    board.rests()
    assert board.panel.vehicle.settings.battery_place == "battery box"
    assert board.mass_g == pytest.approx(before, abs=2)


def test_cables_of_a_battery_without_a_place_are_not_called_weightless(page):
    """Nobody knows them yet: "0.00 kg" was read as a weight."""
    lost = replace(VEHICLE, settings=replace(VEHICLE.settings, battery_place=None))
    panel = Panel(lost, ONE, "middle-42")
    panel.controls.place.value = "boot"
    panel._screen.tabs.choose("Board")
    assert panel.wait(WAIT_S)
    stage = Stage(page, panel.board, panel.board.act)
    mass = page.locator(".pdm-board-mass")
    expect(mass).to_contain_text("battery cables not known: the battery has no place")
    expect(mass).not_to_contain_text("0.00 kg")
    stage.end()
    panel.board._seeker.overtake()


def test_the_lightest_place_is_shown(board, masses):
    """Beside everything else the places are tried; the lightest is marked with what it saves."""
    board.panel.board._seek_for(board.panel.board._question)
    board.stage.await_change(lambda: board.panel.board.ghost.get("place") == "under seat")
    expect(board.page.locator(".pdm-board-ghost")).to_have_count(1)
    less = (masses["boot"] - masses["under seat"]) / 1000
    expect(board.page.locator(".pdm-board-better")).to_have_text(f"lightest: {less:.2f} kg less")


def test_an_outline_is_laid_beneath_and_scaled(board):
    """A photo chosen, two of its points clicked, their distance typed; what is no picture is refused."""
    page = board.page
    choose = page.locator(".pdm-board-file").set_input_files
    choose({"name": "car.png", "mimeType": "image/png", "buffer": photo()})
    outline = page.locator(".pdm-board-outline")
    expect(outline).to_have_count(1)
    before = outline.bounding_box()["width"]
    page.get_by_role("button", name="Scale outline").click()
    plan = page.locator(".pdm-board-plan").bounding_box()
    for share in (0.4, 0.6):
        page.mouse.click(plan["x"] + plan["width"] * share, plan["y"] + plan["height"] * 0.9)
    field = page.get_by_label("distance between the two points, m")
    k = page.evaluate("Number(document.querySelector('.pdm-board').dataset.pxPerM)")
    field.fill("3,5")
    field.press("Enter")
    page.wait_for_function("!document.querySelector('.pdm-board-markline')")
    times = 3.5 / (plan["width"] * 0.2 / k)
    board.stage.await_change(lambda: abs(outline.bounding_box()["width"] / before - times) < 0.02)
    page.shoot("board_outline")
    scale_by_keys(board, outline)
    choose({"name": "notes.png", "mimeType": "image/png", "buffer": b"notes"})
    expect(page.locator(".pdm-board-notice")).to_contain_text("notes.png: is not a picture")
    expect(outline).to_have_count(1)


def scale_by_keys(board, outline):
    """Enter on the button, arrows on a point, Enter, the distance, Enter: the picture is as wide as that says."""
    page, keys = board.page, board.page.keyboard
    before = outline.bounding_box()["width"]
    page.get_by_role("button", name="Scale outline").press("Enter")
    board.thing("mark:1").focus()
    length = """() => {
      const line = document.querySelector('.pdm-board-markline'), at = (name) => Number(line.getAttribute(name));
      return Math.hypot(at('x2') - at('x1'), at('y2') - at('y1'))
        / Number(document.querySelector('.pdm-board').dataset.pxPerM); }"""
    placed = page.evaluate(length)
    for key in ("ArrowRight", "Shift+ArrowRight", "ArrowDown"):
        keys.press(key)
    moved = page.evaluate(length)
    assert moved != pytest.approx(placed, abs=0.005)
    keys.press("Enter")
    expect(page.get_by_label("distance between the two points, m")).to_be_focused()
    keys.type(f"{moved * 0.8:.3f}")
    keys.press("Enter")
    page.wait_for_function("!document.querySelector('.pdm-board-markline')")
    board.stage.await_change(lambda: abs(outline.bounding_box()["width"] / before - 0.8) < 0.02)


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
    """No name lies on a line, however wide the window is, in the light and in the dark."""
    for width, dark in ((1920, False), (900, True), (600, False)):
        board.page.set_viewport_size({"width": width, "height": 800})
        board.stage.theme(dark)
        painted(board.page)
        board.page.shoot(f"board_{width}")
        assert board.page.evaluate(OVERLAPS) == []


@pytest.mark.nightly
def test_in_a_notebook(run):
    """In JupyterLab: the tab is chosen, the module dragged, and the panel's own verdict follows."""
    builder = Builder(run)
    builder.await_answer(2)
    run.get_by_role("tab", name="Board", exact=True).click()
    hands = Hands(run)
    before = hands.mass_g
    hands.drag("box:middle-42", hands.at("place:under%20seat"))
    run.mouse.up()
    builder.await_answer(3)
    expect(run.locator(".pdm-board-stale")).to_have_count(0, timeout=SLOW_MS)
    assert hands.mass_g < before - 500
