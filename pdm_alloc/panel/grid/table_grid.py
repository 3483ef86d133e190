"""The editable table as a widget: state in, state out."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any

import anywidget
import traitlets

from pdm_alloc.files.cells import Name
from pdm_alloc.files.numbers import CellError
from pdm_alloc.panel.grid.book import Book
from pdm_alloc.panel.grid.grid_cells import Column, state_columns
from pdm_alloc.panel.grid.sheet import Sheet, sheet_of
from pdm_alloc.panel.markup import plural, script_or_style

__all__ = ["TableGrid"]

_SCRIPTS = ("grid_cells.js", "grid_hands.js", "grid_view.js", "table_grid.js")


class TableGrid(anywidget.AnyWidget):
    """An editable table.

    Parameters
    ----------
    rows : iterable of mapping
        Good texts to begin with, column key to text.
    columns : iterable of Column
        Columns of the table.
    name : str
        Of the table, for screen readers and its faults.
    book : Book, optional
        Tables that it has one history with.

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
    faults : list of dict
        What is wrong although every cell is good: ``key`` of the row or None, ``column`` or empty, ``text``.
    question : dict
        What a paste would replace, in ``words``, with the ``message`` that asked for it; empty without one.
    saves : int
        How often saving was asked for from the keyboard.
    """

    _esm = script_or_style(
        "make.js", *(f"grid/{name}.js" for name in ("grid_cells", "grid_hands", "grid_view", "table_grid"))
    )
    _css = script_or_style("colours.css", "grid/table_grid.css")

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
    table = traitlets.Unicode().tag(sync=True)
    faults: traitlets.List = traitlets.List().tag(sync=True)

    def __init__(
        self,
        rows: Iterable[Mapping[str, str]],
        columns: Iterable[Column],
        name: str = "loads",
        book: Book | None = None,
    ) -> None:
        sheet = sheet_of(rows, columns)
        self._book = book or Book()
        self._book.add(name, sheet, self)
        super().__init__(table=name, can=self._book.can, **_state(sheet))
        self.on_msg(self._heard)

    @property
    def sheet(self) -> Sheet:
        """The table as it stands."""
        return self._book.sheets[self.table]

    @property
    def complete(self) -> tuple[Mapping[str, str], ...]:
        """Texts of the rows that count."""
        return self.sheet.complete

    def begin(self, rows: Iterable[Mapping[str, str]], drafts: Iterable[tuple[int, str, str]] = ()) -> None:
        """Begin with other rows, and refused texts by number of row and column; nothing before it can be undone."""
        with self._book.lock:
            fresh = sheet_of(rows, self.sheet.columns, self.sheet.next_key)
            self._book.begin({self.table: fresh.drafted(drafts)})

    def act(self, message: Mapping[str, Any]) -> None:
        """Do what a message from the browser asks.

        Parameters
        ----------
        message : mapping
            ``op`` (edit, fill, revert, paste, answer, add, copy, delete, state, dropstate, undo, redo, save) and
            what it needs:
            ``edits``, ``key``, ``keys``, ``column``, ``text``, ``name``, ``after``, ``how`` (replace or below),
            ``shown`` (keys of the rows from there on, where they are sorted or filtered). A message about a row that
            is gone changes nothing.
        """
        with self._book.lock:
            keys = {message.get("key"), message.get("after"), *message.get("keys", ()), *message.get("shown", ())}
            if keys <= {None, *self.order}:
                self.question = {}
                self._do(message)

    def _do(self, message: Mapping[str, Any]) -> None:
        if message["op"] == "save":
            self.saves += 1
            return
        if message["op"] in ("undo", "redo"):
            (self._book.undo if message["op"] == "undo" else self._book.redo)(self.table)
            return
        after, notice = _step(self.sheet, message)
        asks = message["op"] == "paste" and "how" not in message
        replaced = self.sheet.replaced(after) if asks else []
        if replaced:
            plain = {name: message[name] for name in ("op", "key", "column", "text", "shown") if name in message}
            self.question = {"words": _replacing(replaced), "message": plain}
        elif message["op"] != "forget":
            self._book.then(self.table, {self.table: after}, notice)

    def _heard(self, _: object, message: Mapping[str, Any], __: object) -> None:
        with self.hold_sync():
            self.act(message)
            self.heard = message.get("n", self.heard)

    def show(self, sheet: Sheet, is_new: bool, notice: str) -> None:
        """Show a sheet of the book; one that is shown already only with what can be undone."""
        with self.hold_sync(), self.hold_trait_notifications():
            self.notice, self.can = notice, self._book.can
            for name, value in _state(sheet).items() if is_new else ():
                setattr(self, name, value)


def _state(sheet: Sheet) -> dict[str, Any]:
    return {
        "columns": [column.as_state() for column in sheet.columns],
        "order": list(sheet.keys),
        "rows": [dict(row.values) for row in sheet.rows],
        "shown": [[row.values[c.key] for c in sheet.columns] for row in sheet.rows],
        "drafts": {str(row.key): dict(row.drafts) for row in sheet.rows if row.drafts},
        "marks": {str(key): marks for key, marks in sheet.marks.items()},
        "asked": {str(key): questions for key, questions in sheet.asked.items()},
    }


def _replacing(numbers: list[int]) -> str:
    rows = list(dict.fromkeys(numbers))
    where = f"row {rows[0]}" if len(rows) == 1 else f"{len(rows)} rows, {rows[0]} to {rows[-1]}"
    return f"This paste replaces what stands in {plural(len(numbers), 'filled cell')} of {where}."


Step = tuple[Sheet, str]


def _step(sheet: Sheet, message: Mapping[str, Any]) -> Step:
    try:
        return _OPS[message["op"]](sheet, message)
    except ValueError as problem:
        return sheet, str(problem)


def _edit(sheet: Sheet, message: Mapping[str, Any]) -> Step:
    return sheet.edited(message["edits"]), ""


def _fill(sheet: Sheet, message: Mapping[str, Any]) -> Step:
    return sheet.filled(message["keys"], message["column"]), f"filled down: {plural(len(message['keys']) - 1, 'cell')}"


def _revert(sheet: Sheet, message: Mapping[str, Any]) -> Step:
    return sheet.reverted(message["key"], message["column"]), "last good value is back"


def _paste(sheet: Sheet, message: Mapping[str, Any]) -> Step:
    if message.get("how") == "below":
        after = sheet.pasted_below(message["key"], message["column"], message["text"])
    else:
        after = sheet.pasted(message["key"], message["column"], message["text"], message.get("shown", ()))
    more = len(after.rows) - len(sheet.rows)
    return after, f"pasted; rows added: {more}" if more else "pasted"


def _answer(sheet: Sheet, message: Mapping[str, Any]) -> Step:
    return sheet.answered(message["column"], message["text"], message["name"]), f"{message['name']} taken"


def _add(sheet: Sheet, message: Mapping[str, Any]) -> Step:
    return sheet.added(message.get("after")), "row added"


def _copy(sheet: Sheet, message: Mapping[str, Any]) -> Step:
    return sheet.copied(message["key"]), f"row {sheet.number(message['key'])} copied"


def _delete(sheet: Sheet, message: Mapping[str, Any]) -> Step:
    return sheet.deleted(message["key"]), f"row {sheet.number(message['key'])} deleted; undo brings it back"


def _state_added(sheet: Sheet, message: Mapping[str, Any]) -> Step:
    try:
        name = Name().read(message["name"])
    except CellError as error:
        raise ValueError(f"'{message['name']}' {error.message}; {error.remedy}") from None
    return sheet.widened(state_columns([name])[1]), f"state {name} added"


def _state_dropped(sheet: Sheet, message: Mapping[str, Any]) -> Step:
    return sheet.narrowed(message["name"]), f"state {message['name']} deleted; undo brings it back"


_OPS: dict[str, Callable[[Sheet, Mapping[str, Any]], Step]] = {
    "edit": _edit,
    "fill": _fill,
    "revert": _revert,
    "paste": _paste,
    "answer": _answer,
    "forget": lambda sheet, _: (sheet, ""),
    "add": _add,
    "copy": _copy,
    "delete": _delete,
    "state": _state_added,
    "dropstate": _state_dropped,
}
