"""All tables with one history, what a change of one brings along, and the widget that shows one."""

import threading
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Generic, Protocol, TypeVar

import anywidget
import traitlets

from pdm_alloc.files.cells import CellError, Name
from pdm_alloc.panel.markup import Column, knowing, plural, script_or_style, state_columns
from pdm_alloc.panel.sheet import Row, Sheet, new_row, sheet_of

__all__ = ["Book", "History", "Sheets", "TableGrid", "brought_along"]

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


Sheets = dict[str, Sheet]


class Shown(Protocol):
    """What shows a sheet."""

    def show(self, sheet: Sheet, is_new: bool, notice: str) -> None:
        """Show a sheet; one that is shown already only with what can be undone."""


class Book:
    """Tables with one history: undo takes back whatever one step did, in one table or in several.

    Parameters
    ----------
    further : callable, optional
        Given the sheets before and after a step, returns the sheets with what the step brings with it elsewhere.
    moved : callable, optional
        Called with the names of the tables that undo or redo has changed.
    stepped : callable, optional
        Called with the sheets before and after every step, once they are shown.

    Attributes
    ----------
    lock : RLock
        Held while a step is taken: cells and messages of widgets may come in different threads.
    """

    def __init__(
        self,
        further: Callable[[Sheets, Sheets], Sheets] = lambda before, after: after,
        moved: Callable[[list[str]], None] = lambda names: None,
        stepped: Callable[[Sheets, Sheets], None] = lambda before, after: None,
    ):
        self._history: History[Sheets] = History({})
        self._grids: dict[str, Shown] = {}
        self._further, self._moved, self._stepped = further, moved, stepped
        self.lock = threading.RLock()

    @property
    def sheets(self) -> Sheets:
        """Every table as it stands; a new mapping after every step."""
        return self._history.present

    @property
    def can(self) -> dict[str, bool]:
        """Whether there is something to ``undo`` and to ``redo``."""
        return {"undo": bool(self._history.past), "redo": bool(self._history.future)}

    def add(self, name: str, sheet: Sheet, grid: "Shown | None" = None) -> None:
        """Begin a table; a grid shows it."""
        self._grids.update({name: grid} if grid else {})
        self._history = History({**self.sheets, name: sheet})

    def begin(self, sheets: Sheets) -> None:
        """Begin with other sheets; nothing before them can be undone."""
        self._show(History(self._further({}, {**self.sheets, **sheets})))

    def then(self, name: str, sheets: Sheets, notice: str = "") -> None:
        """Take a step, which a table gives notice of."""
        given = {**self.sheets, **sheets}
        after = self._further(self.sheets, given)
        more = [table for table, sheet in after.items() if sheet.rows != given[table].rows]
        words = f"{notice or 'changed'}; with it {' and '.join(more)}" if more else notice
        self._show(self._history.then(after), name, words)

    def undo(self, name: str) -> None:
        """Take the last step back."""
        self._move(self._history.undo(), name, "undone")

    def redo(self, name: str) -> None:
        """Take the last step that was taken back again."""
        self._move(self._history.redo(), name, "redone")

    def _move(self, history: History[Sheets], name: str, notice: str) -> None:
        changed = [table for table, sheet in history.present.items() if sheet is not self.sheets[table]]
        elsewhere = [table for table in changed if table != name]
        words = f"{notice} in {', '.join(elsewhere)}" if name not in changed and elsewhere else notice
        self._show(history, name, words)
        self._moved(changed)

    def _show(self, history: History[Sheets], name: str = "", notice: str = "") -> None:
        before, self._history = self._history.present, history
        for table, grid in self._grids.items():
            sheet = history.present[table]
            grid.show(sheet, sheet is not before.get(table), notice if table == name else "")
        self._stepped(before, history.present)


_FOLLOW = {
    "loads": (
        *(("locked", "load"), ("concessions", "subject"), ("wire_colours", "subject")),
        *(("signals", "fed_by"), ("settings", "value")),
    ),
    "commands": (("loads", "command"), ("states", "command"), ("concessions", "subject"), ("wire_colours", "subject")),
    "signals": (("wire_colours", "subject"),),
    "inputs": (("wire_colours", "subject"),),
    "places": (
        *(("loads", "place"), ("inputs", "place"), ("routes", "from"), ("routes", "to"), ("signals", "place")),
        *(("grounds", "place"), ("settings", "value")),
    ),
    "modules": (("channels", "module"), ("banks", "module"), ("derating", "module"), ("locked", "module")),
}

_JOIN = {"commands": _FOLLOW["commands"][:1], "places": _FOLLOW["places"][:4]}

_GO = {"loads": _FOLLOW["loads"][:3], "modules": _FOLLOW["modules"][:3], "signals": _FOLLOW["signals"]}

_RULED = {"loads": "load", "commands": "command", "signals": "signal", "inputs": "signal"}  # by, in wire_colours


def brought_along(before: Sheets, after: Sheets) -> Sheets:
    """Tables after a step, with what the step brings along in others.

    Parameters
    ----------
    before, after : dict of str to Sheet
        Tables before the step and as it left them; `before` is empty at the beginning.

    Returns
    -------
    dict of str to Sheet
        A name changed in its own table is changed where it is used. A name first used that its table lacks has a row
        there; a new command is on all the time in every state, the careful guess. What was locked or conceded for a
        load that is gone, and the channels of a module that is gone, are gone as well; a copied module has a copy of
        them. Cells know every name.
    """
    if before:
        for table in _FOLLOW:
            after = _renamed(table, before, after)
        for table in _JOIN:
            after = _joined(table, before, after)
        after = _with_channels(before, _with_duties(before, _gone(before, after)))
    names = _names(after)
    return {table: sheet.knowing(knowing(sheet.columns, names)) for table, sheet in after.items()}


def _named(sheet: Sheet, column: str | None = None) -> dict[int, str]:
    """Names by key of the row, of its first column where no other is asked for."""
    key = column or sheet.columns[0].key
    return {row.key: row.values[key] for row in sheet.rows if row.values[key]}


def _renamed(table: str, before: Sheets, after: Sheets) -> Sheets:
    if after[table] is before[table]:
        return after
    was, now = _named(before[table]), _named(after[table])
    old, new = set(was.values()), set(now.values())
    renamed = {was[k]: now[k] for k in was.keys() & now.keys() if was[k] not in new and now[k] not in old}
    for other, column in _FOLLOW[table] if renamed else ():
        rows = tuple(
            _following(row, column, renamed) if _is_about(row, table, other) else row for row in after[other].rows
        )
        after = {**after, other: replace(after[other], rows=rows)}
    return after


def _is_about(row: Row, table: str, other: str) -> bool:
    """Whether a name in a row is one of the table's: a colour by kind may have the name of a load."""
    if other == "settings":
        setting = row.values["setting"]
        return setting.endswith("_place") if table == "places" else setting == "control_unit_load"
    return other != "wire_colours" or row.values["by"] == _RULED[table]


def _following(row: Row, column: str, renamed: dict[str, str]) -> Row:
    return row.with_value(column, renamed[row.values[column]]) if row.values[column] in renamed else row


def _joined(table: str, before: Sheets, after: Sheets) -> Sheets:
    """With a row for every name that is used now and was not; a vehicle without a table of commands needs none."""
    if table == "commands" and not after[table].rows:
        return after
    used = [(set(_named(before[t], column).values()), _named(after[t], column)) for t, column in _JOIN[table]]
    fresh = {name: None for was, now in used for name in now.values() if name not in was}
    known = set(_named(after[table]).values())
    return {**after, table: _grown(after[table], [{after[table].columns[0].key: n} for n in fresh if n not in known])}


def _with_duties(before: Sheets, after: Sheets) -> Sheets:
    """With a row of the table of states for every new command, and none for one that is gone."""
    was, now = _all_commands(before), _all_commands(after)
    sheet = after["states"]
    if not sheet.rows or was == now:
        return after
    rows = tuple(row for row in sheet.rows if row.values["command"] not in was - now)
    new = sorted(now - was - set(_named(sheet).values()))
    duties = dict.fromkeys((column.key for column in sheet.columns[1:]), "1")
    return {**after, "states": _grown(replace(sheet, rows=rows), [{**duties, "command": name} for name in new])}


def _all_commands(sheets: Sheets) -> set[str]:
    return {*_named(sheets["commands"]).values(), *_named(sheets["loads"], "command").values()}


def _gone(before: Sheets, after: Sheets) -> Sheets:
    for table, places in _GO.items():
        gone = set(_named(before[table]).values()) - set(_named(after[table]).values())
        for other, column in places if gone else ():
            rows = tuple(
                row for row in after[other].rows if row.values[column] not in gone or not _is_about(row, table, other)
            )
            after = {**after, other: replace(after[other], rows=rows)} if len(rows) < len(after[other].rows) else after
    return after


def _with_channels(before: Sheets, after: Sheets) -> Sheets:
    """With channels, banks and derating for every module that is a copy of the one above it."""
    known, rows = {row.key for row in before["modules"].rows}, after["modules"].rows
    copies = [(old, new) for old, new in pairwise(rows) if new.key not in known and _alike(old, new)]
    for old, new in copies:
        source, name = old.values["module"], new.values["module"]
        for table, _ in _GO["modules"]:
            lines = [{**r.values, "module": name} for r in after[table].rows if r.values["module"] == source]
            after = {**after, table: _grown(after[table], lines)}
    return after


def _alike(old: Row, new: Row) -> bool:
    return bool(new.values["module"]) and {**old.values, "module": ""} == {**new.values, "module": ""}


def _grown(sheet: Sheet, rows: list[dict[str, str]]) -> Sheet:
    made = [new_row(key, sheet.columns) for key in range(sheet.next_key, sheet.next_key + len(rows))]
    more = tuple(replace(row, values={**row.values, **texts}) for row, texts in zip(made, rows, strict=True))
    return replace(sheet, rows=(*sheet.rows, *more), next_key=sheet.next_key + len(rows)) if rows else sheet


def _names(sheets: Sheets) -> dict[str, tuple[str, ...]]:
    """Names that cells may refer to, by table."""
    names = {table: tuple(_named(sheets[table]).values()) for table in ("loads", "commands", "places", "modules")}
    used = tuple(dict.fromkeys(_named(sheets["loads"], "command").values()))
    labels = {f".{c}": tuple(sorted(set(_named(sheets[t], c).values()))) for t, c in _LABELS}
    states = tuple(column.key for column in sheets["states"].columns[1:])
    return {**names, "commands": names["commands"] or used, "states": states, **labels}


_LABELS = (("loads", "separate"), ("places", "compartment"), ("channels", "connector"))


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
        with self._book.lock, self.hold_sync():  # sent before another thread shows anything newer
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
