"""The editable table as a widget: state in, state out; undo and redo over values that never change."""

import threading
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar

import anywidget
import traitlets

from pdm_alloc.panel.grid_cells import Column
from pdm_alloc.panel.markup import plural
from pdm_alloc.panel.sheet import Sheet, sheet_of

__all__ = ["History", "LoadGrid"]

T = TypeVar("T")

_DEPTH = 200


@dataclass(frozen=True, slots=True)
class History(Generic[T]):
    """A present value with the values before and after it.

    Parameters
    ----------
    present : object
        The value now.
    past, future : tuple
        Values before it, oldest first; values undone, nearest first.
    """

    present: T
    past: tuple[T, ...] = ()
    future: tuple[T, ...] = ()

    def then(self, value: T) -> "History[T]":
        """History with a new present; what was undone is gone. An equal value changes nothing."""
        if value == self.present:
            return self
        return History(value, (*self.past, self.present)[-_DEPTH:])

    def undo(self) -> "History[T]":
        """History one step back, itself at the beginning."""
        if not self.past:
            return self
        return History(self.past[-1], self.past[:-1], (self.present, *self.future))

    def redo(self) -> "History[T]":
        """History one step forward, itself at the end."""
        if not self.future:
            return self
        return History(self.future[0], (*self.past, self.present), self.future[1:])


_HERE = Path(__file__).parent


class LoadGrid(anywidget.AnyWidget):
    """An editable table of loads.

    Parameters
    ----------
    rows : iterable of mapping
        Good texts to begin with, column key to text.
    columns : iterable of Column
        Columns of the table.

    Attributes
    ----------
    order : list of int
        Key of each row, in the order shown.
    rows : list of dict
        Last good texts of each row, column key to text. Watch this trait: a cell gone bad leaves it alone.
    shown : list of list
        The same as the browser shows it, cell by cell.
    drafts, marks : dict
        Row key (as text) to column key to the refused text; to what is wrong with the cell.
    can : dict
        Whether there is something to ``undo`` and to ``redo``.
    notice : str
        What the last change did, for screen readers and the line under the table.
    heard : int
        Number of the last message from the browser that has been dealt with.
    asked : dict
        Row key (as text) to column key to a question about a refused text: ``text``, ``near`` name, ``new`` name.
    question : dict
        What a paste would replace, in ``words``, with the ``message`` that asked for it; empty without one.
    saves : int
        How often saving was asked for from the keyboard.
    """

    _esm = "\n".join((_HERE / name).read_text("utf-8") for name in ("grid_cells.js", "grid_hands.js", "load_grid.js"))
    _css = _HERE / "load_grid.css"

    columns: traitlets.List = traitlets.List().tag(sync=True)
    order: traitlets.List = traitlets.List().tag(sync=True)
    rows: traitlets.List = traitlets.List()
    shown: traitlets.List = traitlets.List().tag(sync=True)
    drafts: traitlets.Dict = traitlets.Dict().tag(sync=True)
    marks: traitlets.Dict = traitlets.Dict().tag(sync=True)
    can: traitlets.Dict = traitlets.Dict().tag(sync=True)
    notice = traitlets.Unicode().tag(sync=True)
    heard = traitlets.Int().tag(sync=True)
    asked: traitlets.Dict = traitlets.Dict().tag(sync=True)
    question: traitlets.Dict = traitlets.Dict().tag(sync=True)
    saves = traitlets.Int()

    def __init__(self, rows: Iterable[Mapping[str, str]], columns: Iterable[Column]) -> None:
        sheet = sheet_of(rows, columns)
        self._history: History[Sheet] = History(sheet)
        self._lock = threading.RLock()  # cells and messages of widgets may come in different threads
        super().__init__(columns=[column.as_state() for column in sheet.columns], **_state(self._history))
        self.on_msg(self._heard)

    @property
    def sheet(self) -> Sheet:
        """The table as it stands."""
        return self._history.present

    @property
    def complete(self) -> tuple[Mapping[str, str], ...]:
        """Texts of the rows that count."""
        return self.sheet.complete

    def begin(self, rows: Iterable[Mapping[str, str]], drafts: Iterable[tuple[int, str, str]] = ()) -> None:
        """Begin with other rows, and refused texts by number of row and column; nothing before it can be undone."""
        with self._lock:
            fresh = sheet_of(rows, self.sheet.columns, first_key=self.sheet.next_key)
            edits = [(fresh.rows[n].key, column, text) for n, column, text in drafts if n < len(fresh.rows)]
            self._show(History(fresh.edited(edits)), "")

    def replace(self, rows: Iterable[Mapping[str, str]]) -> None:
        """Put other rows in place of all of them, as one step that undo takes back."""
        with self._lock:
            fresh = sheet_of(rows, self.sheet.columns, first_key=self.sheet.next_key)
            self._show(self._history.then(fresh), "table replaced")

    def act(self, message: Mapping[str, Any]) -> None:
        """Do what a message from the browser asks.

        Parameters
        ----------
        message : mapping
            ``op`` (edit, revert, paste, answer, add, copy, delete, undo, redo, save) and what it needs: ``edits``,
            ``key``, ``column``, ``text``, ``name``, ``after``, ``how`` (replace or below). A message about a row
            that is gone changes nothing.
        """
        with self._lock:
            if {message.get("key"), message.get("after")} <= {None, *self.order}:
                self.question = {}
                self._do(message)

    def _do(self, message: Mapping[str, Any]) -> None:
        if message["op"] == "save":
            self.saves += 1
            return
        history, notice = _step(self._history, message)
        asks = message["op"] == "paste" and "how" not in message
        replaced = self.sheet.replaced(history.present) if asks else []
        if replaced:
            plain = {name: message[name] for name in ("op", "key", "column", "text")}
            self.question = {"words": _replacing(replaced), "message": plain}
        elif message["op"] != "forget":
            self._show(history, notice)

    def _heard(self, _: object, message: Mapping[str, Any], __: object) -> None:
        with self.hold_sync():
            self.act(message)
            self.heard = message.get("n", self.heard)

    def _show(self, history: History[Sheet], notice: str) -> None:
        self._history = history
        with self.hold_sync(), self.hold_trait_notifications():
            self.notice = notice
            for name, value in _state(history).items():
                setattr(self, name, value)


def _state(history: History[Sheet]) -> dict[str, Any]:
    sheet = history.present
    return {
        "order": [row.key for row in sheet.rows],
        "rows": [dict(row.values) for row in sheet.rows],
        "shown": [[row.values[c.key] for c in sheet.columns] for row in sheet.rows],
        "drafts": {str(row.key): dict(row.drafts) for row in sheet.rows if row.drafts},
        "marks": {str(key): marks for key, marks in sheet.marks.items()},
        "asked": {str(key): questions for key, questions in sheet.asked.items()},
        "can": {"undo": bool(history.past), "redo": bool(history.future)},
    }


def _replacing(numbers: list[int]) -> str:
    rows = list(dict.fromkeys(numbers))
    where = f"row {rows[0]}" if len(rows) == 1 else f"{len(rows)} rows, {rows[0]} to {rows[-1]}"
    return f"This paste replaces what stands in {plural(len(numbers), 'filled cell')} of {where}."


Step = tuple[History[Sheet], str]


def _step(history: History[Sheet], message: Mapping[str, Any]) -> Step:
    try:
        return _OPS[message["op"]](history, message)
    except ValueError as problem:
        return history, str(problem)


def _edit(history: History[Sheet], message: Mapping[str, Any]) -> Step:
    return history.then(history.present.edited(message["edits"])), ""


def _revert(history: History[Sheet], message: Mapping[str, Any]) -> Step:
    return history.then(history.present.reverted(message["key"], message["column"])), "last good value is back"


def _paste(history: History[Sheet], message: Mapping[str, Any]) -> Step:
    paste = history.present.pasted_below if message.get("how") == "below" else history.present.pasted
    after = paste(message["key"], message["column"], message["text"])
    more = len(after.rows) - len(history.present.rows)
    return history.then(after), f"pasted; rows added: {more}" if more else "pasted"


def _answer(history: History[Sheet], message: Mapping[str, Any]) -> Step:
    column, text, name = message["column"], message["text"], message["name"]
    return history.then(history.present.answered(column, text, name)), f"{name} taken"


def _add(history: History[Sheet], message: Mapping[str, Any]) -> Step:
    return history.then(history.present.added(message.get("after"))), "row added"


def _copy(history: History[Sheet], message: Mapping[str, Any]) -> Step:
    before = history.present
    return history.then(before.copied(message["key"])), f"row {before.number(message['key'])} copied"


def _delete(history: History[Sheet], message: Mapping[str, Any]) -> Step:
    before = history.present
    number = before.number(message["key"])
    return history.then(before.deleted(message["key"])), f"row {number} deleted; undo brings it back"


def _undo(history: History[Sheet], message: Mapping[str, Any]) -> Step:
    return history.undo(), "undone"


def _redo(history: History[Sheet], message: Mapping[str, Any]) -> Step:
    return history.redo(), "redone"


_OPS: dict[str, Callable[[History[Sheet], Mapping[str, Any]], Step]] = {
    "edit": _edit,
    "revert": _revert,
    "paste": _paste,
    "answer": _answer,
    "forget": lambda history, _: (history, ""),
    "add": _add,
    "copy": _copy,
    "delete": _delete,
    "undo": _undo,
    "redo": _redo,
}
