"""The board: the plan of a vehicle on which places, battery and modules are dragged and the harness follows."""

import base64
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import anywidget
import traitlets

from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.files.faults import InputError
from pdm_alloc.files.outline import Outline, delete_outline, outline_of, read_outline, scaled, write_outline
from pdm_alloc.files.tables.table_edits import TABLES, BadEdit, Plan, edited, plan_of
from pdm_alloc.panel.answers import Answer, Answers, Question
from pdm_alloc.panel.board_scene import SITED, Scene, planned, scene_of, with_signals
from pdm_alloc.panel.markup import script_or_style
from pdm_alloc.panel.screen import Stop, Worker
from pdm_alloc.panel.table_grid import History
from pdm_alloc.panel.views import signal_verdict
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.care_rules import fuel_beside
from pdm_alloc.studies.signal_side import SignalSide
from pdm_alloc.studies.signal_sizing import has_signals

__all__ = ["Board"]

Texts = Callable[[str], Iterable[Mapping[str, str]]]
Edits = Callable[[Mapping[str, Sequence[Mapping[str, str]]]], None]

_SCRIPTS = ("make.js", "board_harness.js", "board_labels.js", "board_hands.js", "board.js")
_PAUSE_S = 1.5  # somebody who drags on wants the machine for the next answer
_GAIN_G = 5.0
_BROKEN = "There is no verdict on the tables as they are: wires are those of the last answer. Ctrl+Z takes back."


class Board(anywidget.AnyWidget):
    """The plan of a vehicle, to be dragged.

    Parameters
    ----------
    texts : callable
        Gives the rows of the tables places, routes and settings as they stand.
    edit : callable
        Called with the tables an edit changes, all at once, and their new rows.
    mount : callable
        Called with the place chosen for the module.
    path : str or Path, optional
        Folder or workbook of the vehicle, beside which the outline is kept; without one it lasts as long as the board.
    site : callable, optional
        Called with the label of a control unit or expander and the place chosen for it; empty: the lightest.
    lock : RLock, optional
        That of the tables, held by whoever shows an answer: none comes between an edit and the tables it changes,
        where it would draw the vehicle as it was.

    Attributes
    ----------
    scene, ghost, outline, can : dict
        What is drawn; the lightest place for the module; the picture beneath; whether there is something to undo, redo.
    notice : str
        What the last edit did, or why it was refused.
    is_stale : bool
        Whether wire sizes are still being worked out.
    saves : int
        How often saving was asked for from the keyboard.
    box : Board
        Itself, as a part of the panel.
    """

    _esm = script_or_style(*_SCRIPTS)
    _css = script_or_style("colours.css", "board.css")

    scene: traitlets.Dict = traitlets.Dict().tag(sync=True)
    ghost: traitlets.Dict = traitlets.Dict().tag(sync=True)
    outline: traitlets.Dict = traitlets.Dict().tag(sync=True)
    can: traitlets.Dict = traitlets.Dict().tag(sync=True)
    notice = traitlets.Unicode().tag(sync=True)
    is_stale = traitlets.Bool().tag(sync=True)
    saves = traitlets.Int()

    def __init__(
        self,
        texts: Texts,
        edit: Edits,
        mount: Callable[[str], None],
        path: str | Path | None = None,
        site: Callable[[str, str], None] = lambda label, place: None,
        lock: "threading.RLock | None" = None,
    ):
        self._texts, self._edit, self._mount, self._path, self._site = texts, edit, mount, path, site
        self._side: SignalSide | None = None
        self._answers = Answers()
        self._seeker: Worker[Question] = Worker(self._seek, self._haunt, lock=lock)
        self._drawn = Scene((), (), ())
        self._question: Question | None = None
        self._history: History[Plan] = History(Plan())
        self._heard_n = 0
        self._outline = read_outline(path) if path is not None else None
        super().__init__(scene=self._drawn.state, outline=_shown(self._outline))
        self.box = self
        self.on_msg(lambda _, message, buffers: self.act(message, buffers))

    # ---- a part of the panel ----

    def show(self, answer: Answer | None) -> None:
        """Draw an answer; with None what was drawn stays, marked as old."""
        if answer is None:
            self.stale()
            self.notice = _BROKEN
            return
        question, is_new = answer.question, self._question is not answer.question
        side = answer.side or (self._side if has_signals(question.vehicle) else None)
        if is_new or side is not self._side:
            self._question, self._side = question, side
            self._drawn = replace(_scene(question, answer.allocation, side), signal_words=_signal_words(answer))
            self._show(is_stale=False, notice="" if self.notice == _BROKEN else self.notice)
        if is_new:
            self._seek_for(question)

    def stale(self) -> None:
        """Mark wire sizes as old; lengths and masses go on following what is dragged."""
        self._seeker.overtake()
        with self.hold_sync():
            self.is_stale, self.ghost = True, {}

    def _show(self, **traits: Any) -> None:
        """All of the state at once, so that the browser draws once."""
        with self.hold_sync():
            self.scene = {**self._drawn.state, "heard": self._heard_n}
            self.can = {"undo": bool(self._history.past), "redo": bool(self._history.future)}
            for name, value in traits.items():
                setattr(self, name, value)

    # ---- edits ----

    def act(self, message: Mapping[str, Any], buffers: Sequence[memoryview] = ()) -> None:
        """Do what a message from the browser asks: an edit of `place_edits.edited`, undo, redo, save, or the outline's.

        Parameters
        ----------
        message : mapping
            ``op`` and what it needs; ``n`` is its number.
        buffers : sequence of bytes
            With ``outline``: the content of the picture.
        """
        with self._seeker.lock:
            self._heard_n = message.get("n", self._heard_n)
            try:
                said = self._done(message, buffers)
            except (InputError, ValueError, OSError) as refusal:
                said = f"\u26a0 {refusal}"
            self._show(notice=said)

    def _done(self, message: Mapping[str, Any], buffers: Sequence[memoryview]) -> str:
        op = message["op"]
        if op == "save":
            self.saves += 1
            return "Saving was asked for: what came of it is said at the top."
        if op in _OUTLINE_OPS:
            return self._lay_outline(_OUTLINE_OPS[op](self._outline, message, buffers, self._drawn))
        if op in ("undo", "redo"):
            return self._stepped(op)
        before = self._plan
        after, said = edited(before, message)
        if _plain(self._history.present) != _plain(before):  # a table was edited by hand meanwhile
            self._history = History(before)
        self._take(self._history.then(after), before)
        return said

    @property
    def _plan(self) -> Plan:
        """The tables as they stand."""
        if self._question is None:
            raise BadEdit("The tables contradict themselves: put that right first.")
        asked = self._question
        plan = plan_of(asked.vehicle, self._texts)
        boxes = self._drawn.boxes
        at = next((place for kind, _, place in boxes if kind == "module"), "")
        units = ((label, place) for kind, label, place in boxes if kind in SITED)
        read = {} if self._side is None else self._side.keys()
        pads = ((label, place, _read_by(label, read)) for kind, label, place in boxes if kind == "keypad")
        return replace(plan, mounted=((asked.module.name, at), *units), keypads=tuple(pads))

    def _stepped(self, op: str) -> str:
        before = self._plan
        if _plain(self._history.present) != _plain(before):
            self._history = History(before)
            return "The tables were changed meanwhile: undo it there."
        self._take(self._history.undo() if op == "undo" else self._history.redo(), before)
        return "undone" if op == "undo" else "redone"

    def _take(self, history: History[Plan], before: Plan) -> None:
        self._history, after = history, history.present
        self._drawn = planned(self._drawn, after)
        rows = {table: getattr(after, table) for table in TABLES if getattr(after, table) != getattr(before, table)}
        if rows:
            self._edit(rows)
        module, *units = zip(after.mounted, before.mounted, strict=True)
        if module[0] != module[1]:
            self._mount(module[0][1])
        for (label, place), (_, was) in units:
            if place != was:
                self._site(label, place)

    # ---- the picture beneath ----

    def _lay_outline(self, outline: Outline | None) -> str:
        self._outline, self.outline = outline, _shown(outline)
        if self._path is None:
            return (
                "" if outline is None else "There is no folder to keep the outline in: it lasts as long as the board."
            )
        if outline is None:
            delete_outline(self._path)
            return "Outline removed."
        write_outline(self._path, outline)
        return "Outline kept beside the tables."

    # ---- the lightest place, sought beside everything else ----

    def _seek_for(self, question: Question) -> None:
        self.ghost = {}
        if question.place is not None:
            self._seeker.ask(question)

    def _seek(self, question: Question, stop: Stop) -> Iterator[dict[str, Any]]:
        """The lightest place to mount the module at, each better one as it is found: allocated there, and weighed."""
        until = time.monotonic() + _PAUSE_S
        while time.monotonic() < until:
            time.sleep(0.05)
            if stop():
                return
        best = self._weighed(question, str(question.place), stop)
        start = best
        for place in _mounts(question):
            weight = None if stop() else self._weighed(question, place, stop)
            if weight is not None and (best is None or weight < best - _GAIN_G):
                best = weight
                yield _ghost(question, place, weight, start)

    def _weighed(self, question: Question, place: str, stop: Stop) -> float | None:
        result = self._answers.judged(replace(question, place=place), stop)
        return scene_of(result.vehicle, result).mass_g if isinstance(result, Allocation) else None

    def _haunt(self, part: object) -> None:
        if isinstance(part, dict):
            self.ghost = part


def _scene(question: Question, allocation: Allocation | None, side: SignalSide | None) -> Scene:
    scene = scene_of(question.vehicle, allocation, [(question.module.name, question.place or "")])
    return scene if side is None else with_signals(scene, side, dict(question.sites))


def _signal_words(answer: Answer) -> str:
    said = signal_verdict(answer)
    return "" if said is None else f"{said[1]} {said[2]}"


def _read_by(label: str, keys: Mapping[str, str]) -> tuple[str, ...]:
    """Inputs that a keypad reads."""
    return tuple(name for name, key in keys.items() if key.startswith(f"{label}, key "))


def _mounts(question: Question) -> Iterator[str]:
    """Places the module could go to, none beside fuel."""
    vehicle: Vehicle = question.vehicle
    for place in vehicle.places:
        if place.mount and place.name != question.place and not fuel_beside(vehicle, place):
            yield place.name


def _ghost(question: Question, place: str, weight_g: float, start_g: float | None) -> dict[str, Any]:
    less = "" if start_g is None else f"{(start_g - weight_g) / 1000:.2f} kg less"
    words = f"lightest: {less or f'{weight_g / 1000:.2f} kg'}"
    return {"place": place, "label": question.module.name, "words": words, "mass_g": weight_g}


def _plain(plan: Plan) -> list[object]:
    """A plan as far as it says anything: cells that are empty or the default do not count."""
    tables = (getattr(plan, table) for table in TABLES)
    return [[{k: v for k, v in row.items() if v not in ("", "no")} for row in rows] for rows in tables] + [plan.mounted]


def _shown(outline: Outline | None) -> dict[str, Any]:
    if outline is None:
        return {}
    url = f"data:{outline.media_type};base64,{base64.b64encode(outline.content).decode()}"
    names = ("width_px", "height_px", "x_m", "y_m", "m_per_px", "turn")
    return {"url": url, **{name: getattr(outline, name) for name in names}}


def _chosen(_: Outline | None, message: Mapping[str, Any], buffers: Sequence[memoryview], scene: Scene) -> Outline:
    """A new outline, across all places to begin with."""
    outline = outline_of(str(message.get("name", "picture")), bytes(buffers[0]) if buffers else b"")
    points = [(s.x_m, s.y_m) for s in scene.spots if s.x_m is not None and s.y_m is not None] or [
        (0.0, 0.0),
        (4.0, 0.0),
    ]
    xs, ys = zip(*points, strict=True)
    across = max(max(xs) - min(xs), 0.5) * 1.1
    return replace(
        outline, x_m=(min(xs) + max(xs)) / 2, y_m=(min(ys) + max(ys)) / 2, m_per_px=across / outline.width_px
    )


def _scaled(outline: Outline | None, message: Mapping[str, Any], _: object, __: object) -> Outline | None:
    try:
        x1, y1, x2, y2, metres = (float(message[name]) for name in ("x1", "y1", "x2", "y2", "metres"))
    except ValueError:
        raise BadEdit(f"'{message['metres']}' is not a number of metres: write 1.25.") from None
    return outline and scaled(outline, (x1, y1), (x2, y2), metres)


def _shifted(outline: Outline | None, message: Mapping[str, Any], _: object, __: object) -> Outline | None:
    dx, dy = (max(-1000.0, min(1000.0, float(message[name]))) for name in ("dx", "dy"))
    return outline and replace(outline, x_m=outline.x_m + dx, y_m=outline.y_m + dy)


_OUTLINE_OPS: dict[str, Callable[..., Outline | None]] = {
    "outline": _chosen,
    "scale": _scaled,
    "shift": _shifted,
    "turn": lambda outline, *_: outline and replace(outline, turn=(outline.turn + 1) % 4),
    "bare": lambda *_: None,
}
