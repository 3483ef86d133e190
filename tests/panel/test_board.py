"""The board without a browser: edits in, tables out; what is drawn; the lightest place."""

import base64
import io
import threading
from dataclasses import replace

import pytest

pytest.importorskip("anywidget", reason="the extra 'notebook' is not installed")

from PIL import Image

import pdm_alloc as pa
from pdm_alloc.files.outline import read_outline
from pdm_alloc.files.plain import vehicle_plain
from pdm_alloc.panel import board as room
from pdm_alloc.panel.answers import Answers, Question
from pdm_alloc.panel.board import Board
from pdm_alloc.panel.panel import Panel

pytestmark = pytest.mark.once

VEHICLE = pa.read_vehicle("data/rally_coupe")
CATALOGUE = pa.read_catalogue("data/catalogue")
WAIT_S = 120


class Bench:
    """A board with tables of its own, which answers at once."""

    def __init__(self, path=None, module="middle-42", place="under seat"):
        self.tables = vehicle_plain(VEHICLE)
        self.edits, self.mounted, self.sited = [], [], []
        site = lambda *at: self.sited.append(at)  # noqa: E731
        self.board = Board(lambda table: self.tables.get(table, []), self.edit, self.mounted.append, path, site)
        self.board.show(answer(module, place))

    def edit(self, tables):
        self.edits.append(tables)
        self.tables.update({table: [dict(row) for row in rows] for table, rows in tables.items()})

    def act(self, op, buffers=(), **more):
        self.board.act({"op": op, **more}, buffers)
        return self.board.notice

    def row(self, place):
        return next(row for row in self.tables["places"] if row["place"] == place)

    def spot(self, place):
        return next(spot for spot in self.board.scene["spots"] if spot["name"] == place)


ANSWERS = {}


def answer(module, place):
    if (module, place) not in ANSWERS:
        question = Question(VEHICLE, CATALOGUE[module], CATALOGUE, place=place)
        ANSWERS[module, place] = next(Answers()(question, lambda: False))
    return ANSWERS[module, place]


@pytest.fixture
def bench():
    bench = Bench()
    yield bench
    bench.board._seeker.overtake()


def test_a_drag_changes_places_and_routes_at_once(bench):
    """One edit carries both tables, so that no state in between is asked about; the picture follows."""
    bench.act("move", place="lamp bar", x=-0.45, y=0.0, n=7)
    (tables,) = bench.edits
    assert set(tables) == {"places", "routes"}
    assert (bench.row("lamp bar")["x_m"], bench.spot("lamp bar")["x_m"]) == ("-0.45", -0.45)
    assert bench.board.scene["heard"] == 7
    changed = replace(
        VEHICLE, places=tuple(replace(p, x_m=-0.45) if p.name == "lamp bar" else p for p in VEHICLE.places)
    )
    assert {r["length_m"] for r in tables["routes"] if r["from"] == "lamp bar"} == {
        f"{0.7 + room_m(changed) - room_m(VEHICLE):.4f}"
    }


def room_m(vehicle):
    """Straight distance from the lamp bar to the left of the nose."""
    a, b = vehicle.place("lamp bar"), vehicle.place("nose left")
    return ((a.x_m - b.x_m) ** 2 + (a.y_m - b.y_m) ** 2) ** 0.5


def test_the_module_is_mounted_elsewhere_without_touching_a_table(bench):
    """Choosing another mount is the panel's choice; where nothing can be mounted it is refused and said."""
    bench.act("put", box="middle-42", place="boot")
    assert (bench.mounted, bench.edits) == (["boot"], [])
    assert "No module can be mounted at radiator" in bench.act("put", box="middle-42", place="radiator")
    assert bench.mounted == ["boot"]


@pytest.fixture(scope="module")
def sided():
    """An answer with its signal side."""
    question = Question(VEHICLE, CATALOGUE["middle-42"], CATALOGUE, place="under seat")
    return next(part for part in Answers()(question, lambda: False) if part.side)


def test_control_unit_and_keypad_are_put_elsewhere(bench, sided):
    """A control unit goes to a place that no table holds; a keypad takes the inputs it reads along, and undo both."""
    bench.board.show(sided)
    box = next(b.label for b in sided.side.boxes)
    assert (box, "glove box") not in bench.sited and "moved to glove box" in bench.act(
        "put", box=box, place="glove box"
    )
    assert bench.sited == [(box, "glove box")] and not bench.edits and not bench.mounted
    assert "No module can be mounted at engine" in bench.act("put", box=box, place="engine")
    pad, _, _ = next(one for one in sided.side.pads() if one[1] == "column")
    keys = [name for name, key in sided.side.keys().items() if key.startswith(pad)]
    assert f"with the {len(keys)} inputs it reads" in bench.act("put", box=pad, place="tunnel")
    assert {row["place"] for row in bench.tables["inputs"] if row["input"] in keys} == {"tunnel"}
    assert sum(row["place"] == "tunnel" for row in bench.tables["inputs"]) == len(keys) + sum(
        one.place == "tunnel" for one in VEHICLE.inputs
    )
    assert ("keypad", pad, "tunnel") in [tuple(b) for b in bench.board.scene["boxes"]]
    bench.act("undo")
    assert bench.tables == {**bench.tables, "inputs": vehicle_plain(VEHICLE)["inputs"]}
    bench.act("undo")
    assert bench.sited[-1] == (box, next(b.place for b in sided.side.boxes))


def test_undo_and_redo(bench):
    """Each step back and forth; after an edit elsewhere nothing of it is undone from here."""
    before = [dict(row) for row in bench.tables["places"]]
    bench.act("move", place="roof", x=2.0, y=0.2)
    bench.act("put", box="battery", place="boot")
    assert "battery" in bench.row("boot")["contains"]
    assert bench.act("undo") == "undone"
    assert bench.act("undo") == "undone"
    assert bench.tables["places"] == before
    bench.act("redo")
    assert bench.row("roof")["x_m"] == "2"
    bench.row("roof")["x_m"] = "2.2"
    assert "changed meanwhile" in bench.act("undo")
    assert bench.row("roof")["x_m"] == "2.2"


def test_a_refused_edit_changes_nothing_and_is_said(bench):
    """The picture goes back to what stands in the tables."""
    said = bench.act("delete", place="engine", n=3)
    assert said.startswith("\u26a0 engine is in use")
    assert (bench.edits, bench.board.scene["heard"]) == ([], 3)
    assert bench.spot("engine")


def test_old_and_new(bench):
    """While an answer is awaited the board says so; None leaves the picture as it is."""
    bench.board.stale()
    assert bench.board.is_stale
    bench.board.show(answer("middle-42", "boot"))
    assert not bench.board.is_stale
    spots = bench.board.scene["spots"]
    bench.board.show(None)
    assert bench.board.is_stale
    assert "no verdict" in bench.board.notice
    assert bench.board.scene["spots"] == spots
    bench.board.show(answer("middle-42", "under seat"))
    assert (bench.board.is_stale, bench.board.notice) == (False, "")


def test_not_enough_is_drawn_without_wires():
    """Where there is no allocation there are lengths and no masses."""
    bench = Bench(module="compact-31", place="glove box")
    assert bench.board.scene["wires_g"] is None
    assert len(bench.board.scene["leads"]) == 0
    assert len(bench.board.scene["runs"]) == len(VEHICLE.routes)


def test_the_lightest_place_is_allocated_and_weighed(bench, monkeypatch):
    """The ghost's saving is the difference of two allocations, each as the panel would make it there."""
    monkeypatch.setattr(room, "_PAUSE_S", 0)
    question = Question(VEHICLE, CATALOGUE["middle-42"], CATALOGUE, place="boot")
    ghosts = list(bench.board._seek(question, lambda: False))
    masses = {}
    for place in ("boot", "glove box", "under seat"):
        allocation = answer("middle-42", place).allocation
        masses[place] = allocation.wires.mass_g.sum() + allocation.links.mass_g.sum()
    best = min(masses, key=masses.get)
    assert best != "boot"
    assert ghosts[-1]["place"] == best
    assert ghosts[-1]["mass_g"] == pytest.approx(masses[best], abs=3)
    assert f"{(masses['boot'] - masses[best]) / 1000:.2f} kg less" in ghosts[-1]["words"]
    assert list(bench.board._seek(question, lambda: True)) == []


def png():
    out = io.BytesIO()
    Image.new("RGB", (200, 100), "white").save(out, "PNG")
    return out.getvalue()


def test_an_outline_is_kept_and_scaled(tmp_path):
    """It is shown as data, lies across the places to begin with, and is there again in the next board."""
    bench = Bench(tmp_path)
    assert "kept" in bench.act("outline", [png()], name="car.png")
    assert base64.b64decode(bench.board.outline["url"].split(",")[1])[:4] == b"\x89PNG"
    assert bench.board.outline["m_per_px"] * 200 == pytest.approx(1.1 * (4.0 - 0.05))
    bench.act("scale", x1=1, y1=0, x2=2, y2=0, metres="1.5")
    assert bench.board.outline["m_per_px"] * 200 == pytest.approx(1.5 * 1.1 * 3.95)
    bench.act("turn"), bench.act("shift", dx=0.25, dy=-0.1)
    assert read_outline(tmp_path).turn == 1
    assert Bench(tmp_path).board.outline == bench.board.outline
    assert "is not a picture" in bench.act("outline", [b"load,command"], name="loads.png")
    assert "not a number" in bench.act("scale", x1=1, y1=0, x2=2, y2=0, metres="x")
    assert bench.act("bare") == "Outline removed."
    assert (bench.board.outline, list(tmp_path.iterdir())) == ({}, [])
    assert "lasts as long" in Bench().act("outline", [png()], name="car.png")


def test_places_named_and_not_placed_stand_in_a_row():
    """A vehicle whose places have no coordinates: one edit gives them some, the routes keep their lengths."""
    bench = Bench()
    for row in bench.tables["places"]:
        row["x_m"] = row["y_m"] = ""
    for n, row in enumerate(bench.tables["routes"]):
        row["length_m"] = f"{0.6 + n / 10:.1f}"
    before = [dict(row) for row in bench.tables["routes"]]
    assert "in a row" in bench.act("row")
    assert all(spot["x_m"] is not None for spot in bench.board.scene["spots"])
    assert bench.tables["routes"] == before


def test_saving_from_the_board(bench):
    """Ctrl+S on the board asks the panel to save."""
    bench.act("save")
    assert bench.board.saves == 1


def test_no_older_answer_comes_between_an_edit_and_its_tables():
    """One that arrives while a place is moved is drawn before the move or not at all: the place went back and forth."""
    panel = Panel(VEHICLE, replace(CATALOGUE, modules=(CATALOGUE["middle-42"],)), "middle-42")
    panel._screen.tabs.choose("Board")
    assert panel.wait(WAIT_S)
    older = replace(panel.answer, question=replace(panel.answer.question))
    number, drawn, put = panel._worker.asked, [], panel.tables.put_all

    def arrives():
        with panel._worker.lock:
            if panel._worker.asked == number:  # or it is overtaken
                panel.board.show(older)

    def edit(rows):
        late = threading.Thread(target=arrives)
        late.start()
        late.join(0.3)
        put(rows)
        threads.append(late)

    threads, panel.board._edit = [], edit
    panel.board.observe(lambda change: drawn.append(change.new), "scene")
    panel.board.act({"op": "move", "place": "lamp bar", "x": -0.45, "y": 0.0, "n": 3})
    threads[0].join(WAIT_S)
    at = [next(spot["x_m"] for spot in scene["spots"] if spot["name"] == "lamp bar") for scene in drawn]
    assert at and set(at) == {-0.45}
    panel.board._seeker.overtake()
    panel._worker.overtake()


def test_in_the_panel_an_edit_reaches_the_tables_and_the_answer():
    """The battery carried elsewhere on the board is so in the panel's vehicle; undone, the vehicle is as it was."""
    panel = Panel(VEHICLE, replace(CATALOGUE, modules=(CATALOGUE["middle-42"],)), "middle-42")
    panel._screen.tabs.choose("Board")
    panel.board.act({"op": "put", "box": "battery", "place": "tunnel"})
    assert panel.vehicle.settings.battery_place == "tunnel"
    assert panel.vehicle.place("tunnel").contains == {"battery"}
    panel.board.act({"op": "undo"})
    assert panel.vehicle == VEHICLE
    panel.board._seeker.overtake()
    panel._worker.overtake()
