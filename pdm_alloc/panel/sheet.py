"""The table behind the grid: every change gives a new sheet, good values are never lost to bad ones."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from pdm_alloc.files.cells import clean
from pdm_alloc.panel.markup import BadCell, Column, free_name, heading, read_cell, read_clipboard

__all__ = ["ROW_LIMIT", "Row", "Sheet", "new_row", "settled", "sheet_of", "twin_of"]


@dataclass(frozen=True, slots=True)
class Row:
    """A row of the table.

    Parameters
    ----------
    key : int
        Stays the same however rows move; never used twice in one table.
    values : dict
        Column to last good text, empty where there was none yet. Other keys are carried along untouched.
    drafts : dict
        Column to text that was refused and waits to be put right.
    """

    key: int
    values: dict[str, str]
    drafts: dict[str, str] = field(default_factory=dict)

    def with_draft(self, column: Column, text: str) -> "Row":
        """A copy with a text to be read; a text that already stands there is no change."""
        if column.key not in self.drafts and text == self.values[column.key]:
            return self
        return replace(self, drafts={**self.drafts, column.key: text})

    def without_draft(self, key: str) -> "Row":
        """A copy in which the last good value of a column stands alone."""
        return replace(self, drafts={k: v for k, v in self.drafts.items() if k != key})

    def with_value(self, key: str, value: str) -> "Row":
        """A copy with a good value, its draft gone."""
        return replace(self.without_draft(key), values={**self.values, key: value})

    def readable(self, column: Column) -> bool:
        """Whether the column has a draft that could be taken."""
        return column.key in self.drafts and not self.refusal(column)

    def wanted(self, column: Column) -> str:
        """What the draft would be taken as; BadCell where it stands for none."""
        return read_cell(column, self.drafts[column.key])

    def refusal(self, column: Column) -> str:
        """Why the draft of a column is refused on its own; empty where it is not."""
        try:
            self.wanted(column)
        except BadCell as bad:
            return str(bad)
        return ""

    def missing(self, columns: tuple[Column, ...]) -> tuple[Column, ...]:
        """Columns that must be filled before the row counts."""
        return tuple(c for c in columns if c.required and not self.values[c.key])


def new_row(key: int, columns: tuple[Column, ...]) -> Row:
    """A row of defaults.

    Parameters
    ----------
    key : int
        Its key.
    columns : tuple of Column
        Columns of the table.

    Returns
    -------
    Row
        Required cells are empty.
    """
    return Row(key, {column.key: column.default for column in columns})


def settled(rows: tuple[Row, ...], columns: tuple[Column, ...]) -> tuple[Row, ...]:
    """Rows in which every acceptable draft has become the value; the drafts left are refused ones."""
    for column in columns:
        if any(column.key in row.drafts for row in rows):
            rows = _settle_column(rows, column)
    return rows


def twin_of(rows: tuple[Row, ...], row: Row, column: Column) -> str:
    """Why a readable draft is refused: the row that already holds its value."""
    wanted = row.wanted(column)
    numbers = [i for i, other in enumerate(rows, 1) if other.key != row.key and other.values[column.key] == wanted]
    where = f"row {numbers[0]}" if numbers else "another row"
    return f"'{wanted}' is already in {where}; each {column.title} only once"


def _settle_column(rows: tuple[Row, ...], column: Column) -> tuple[Row, ...]:
    taken = {row.key for row in rows if row.readable(column)}
    if column.unique:
        taken -= _clashing(rows, column, taken)
    return tuple(row.with_value(column.key, row.wanted(column)) if row.key in taken else row for row in rows)


def _clashing(rows: tuple[Row, ...], column: Column, taken: set[int]) -> set[int]:
    """Keys of drafts to refuse so that no value comes twice.

    Drafts are looked at together: pasting a sorted table over itself swaps names, and one by one each of
    them would clash with a name about to move away.
    """
    refused: set[int] = set()
    while clash := _clash(rows, column, taken - refused):
        refused |= clash
    return refused


def _clash(rows: tuple[Row, ...], column: Column, taken: set[int]) -> set[int]:
    holders: dict[str, int] = {}
    found = set()
    for row in sorted(rows, key=lambda row: row.key in taken):
        value = row.wanted(column) if row.key in taken else row.values[column.key]
        if value and holders.setdefault(value, row.key) != row.key:
            found.add(row.key)
    return found & taken


ROW_LIMIT = 5000

"""More rows than any vehicle has, few enough for a browser."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """Columns and rows of an editable table.

    Parameters
    ----------
    columns : tuple of Column
        What the rows hold.
    rows : tuple of Row
        In the order shown.
    next_key : int
        Key of the next new row.
    """

    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    next_key: int

    def column(self, key: str) -> Column:
        """The column of that key; KeyError where there is none."""
        return {column.key: column for column in self.columns}[key]

    def index(self, key: int) -> int:
        """Where the row of that key stands; KeyError where there is none."""
        return {row.key: i for i, row in enumerate(self.rows)}[key]

    @property
    def keys(self) -> tuple[int, ...]:
        """Keys of the rows, in order."""
        return tuple(row.key for row in self.rows)

    def number(self, key: int) -> int:
        """Number of a row as shown, from 1."""
        return self.index(key) + 1

    def edited(self, edits: Iterable[tuple[int, str, str]]) -> "Sheet":
        """A sheet with texts put into cells, each given as row key, column key and text."""
        rows = {row.key: row for row in self.rows}
        for key, column, text in edits:
            if key in rows:
                rows[key] = rows[key].with_draft(self.column(column), text)
        return self._with_rows(tuple(rows.values()))

    def answered(self, column: str, text: str, name: str) -> "Sheet":
        """A sheet in which a refused text has become a name, in every row; the name is known from now on."""
        wanted = self.column(column)
        known = wanted if name in wanted.choices else replace(wanted, choices=(*wanted.choices, name))
        columns = tuple(known if c.key == column else c for c in self.columns)
        edits = [(row.key, column, name) for row in self.rows if row.drafts.get(column) == text]
        return replace(self, columns=columns).edited(edits)

    def reverted(self, key: int, column: str) -> "Sheet":
        """A sheet in which the last good value of a cell stands again."""
        rows = (row.without_draft(column) if row.key == key else row for row in self.rows)
        return self._with_rows(tuple(rows))

    def added(self, after: int | None = None) -> "Sheet":
        """A sheet with a new row below the one of key `after`, at the end where there is none."""
        return self._inserted(after, new_row(self.next_key, self.columns))

    def copied(self, key: int) -> "Sheet":
        """A sheet with a copy of a row below it; what must be unique gets a free name."""
        row = self.rows[self.index(key)]
        fresh = {c.key: self._free(c, row.values[c.key]) for c in self.columns if c.unique}
        return self._inserted(key, replace(row, key=self.next_key, values={**row.values, **fresh}, drafts={}))

    def deleted(self, key: int) -> "Sheet":
        """A sheet without a row."""
        return self._with_rows(tuple(row for row in self.rows if row.key != key))

    def knowing(self, columns: tuple[Column, ...]) -> "Sheet":
        """A sheet with other columns; what they accept of the refused texts is taken."""
        return self if columns == self.columns else replace(self, columns=columns)._with_rows(self.rows)

    def with_texts(self, rows: Iterable[Mapping[str, str]]) -> "Sheet":
        """A sheet with other rows; one of the same name, or the same throughout, keeps its key and refused texts."""
        fresh = sheet_of(rows, self.columns, self.next_key)
        same = {self._identity(row): row for row in reversed(self.rows)}
        olds = (same.pop(self._identity(row), row) for row in fresh.rows)
        kept = (replace(old, values=row.values) for old, row in zip(olds, fresh.rows, strict=True))
        return replace(fresh, rows=tuple(kept))

    def _identity(self, row: Row) -> object:
        named = [column.key for column in self.columns if column.unique]
        return row.values[named[0]] if named else frozenset(row.values.items())

    def drafted(self, drafts: Iterable[tuple[int, str, str]]) -> "Sheet":
        """A sheet with refused texts, given as number of row from 0, column and text."""
        known = {column.key for column in self.columns}
        return self.edited((self.rows[n].key, c, text) for n, c, text in drafts if n < len(self.rows) and c in known)

    @property
    def drafts(self) -> list[tuple[int, str, str]]:
        """Refused texts, as `drafted` takes them."""
        return [(n, column, text) for n, row in enumerate(self.rows) for column, text in row.drafts.items()]

    def widened(self, column: Column) -> "Sheet":
        """A sheet with one column more, empty; ValueError where there is one of that name."""
        if any(column.key.casefold() == known.key.casefold() for known in self.columns):
            raise ValueError(f"'{column.key}' is there already")
        rows = (replace(row, values={**row.values, column.key: ""}) for row in self.rows)
        return replace(self, columns=(*self.columns, column), rows=tuple(rows))

    def narrowed(self, key: str) -> "Sheet":
        """A sheet without a column."""
        columns = tuple(column for column in self.columns if column.key != key)
        rows = (replace(row, values={k: v for k, v in row.values.items() if k != key}) for row in self.rows)
        return replace(self, columns=columns, rows=tuple(row.without_draft(key) for row in rows))

    def filled(self, keys: list[int], column: str) -> "Sheet":
        """A sheet in which the first of some rows gives its text in a column to the others."""
        text = _text(self.rows[self.index(keys[0])], self.column(column))
        return self.edited((key, column, text) for key in keys[1:])

    def pasted(self, key: int, column: str, text: str, shown: Sequence[int] = ()) -> "Sheet":
        """A sheet with cells from the clipboard put in from a cell on, or by name under a heading line.

        Rows below are written over, as in a spreadsheet; from an empty row on, room is made instead. Where rows are
        shown sorted or filtered, those below are the keys `shown`.
        """
        lines = read_clipboard(text)
        named = heading(lines[0], self.columns) if lines else None
        keys = named or [c.key for c in self.columns[self.columns.index(self.column(column)) :]]
        lines = lines[1:] if named else lines
        grown = self._with_room(
            self.rows[-1].key if shown else key, len(lines) - len(shown) + 1 if shown else len(lines)
        )
        below = [*shown, *(row.key for row in grown.rows[len(self.rows) :])] if shown else grown.keys[self.index(key) :]
        cells = (zip(keys, line, strict=False) for line in lines)
        return grown.edited((row, k, t) for row, line in zip(below, cells, strict=False) for k, t in line if k)

    def pasted_below(self, key: int, column: str, text: str) -> "Sheet":
        """A sheet with cells from the clipboard put into new rows below a row, so that nothing is replaced."""
        return self.added(key).pasted(self.next_key, column, text)

    def replaced(self, after: "Sheet") -> list[int]:
        """Numbers of the rows in which a later sheet holds something else where this one is filled, once a cell."""
        later = {row.key: row for row in after.rows}
        rows = ((number, row, later[row.key]) for number, row in enumerate(self.rows, 1) if row.key in later)
        return [
            number
            for number, row, new in rows
            for column in self.columns
            if _text(row, column) not in ("", column.default) and _text(row, column) != _text(new, column)
        ]

    @property
    def asked(self) -> dict[int, dict[str, dict[str, str]]]:
        """Row key to column key to the refused text, the name nearest to it, and the name it would be if it is new."""
        asked = {row.key: dict(self._questions(row)) for row in self.rows if row.drafts}
        return {key: questions for key, questions in asked.items() if questions}

    def _questions(self, row: Row) -> Iterator[tuple[str, dict[str, str]]]:
        for column in (c for c in self.columns if c.key in row.drafts):
            try:
                row.wanted(column)
            except BadCell as bad:
                text = row.drafts[column.key]
                if bad.near or bad.may_be_new:
                    yield column.key, {"text": text, "near": bad.near, "new": clean(text) if bad.may_be_new else ""}

    @property
    def numbered(self) -> tuple[tuple[int, Mapping[str, str]], ...]:
        """Number and texts of the rows that count: those with every required cell filled."""
        numbered = enumerate(self.rows, start=1)
        return tuple((number, row.values) for number, row in numbered if not row.missing(self.columns))

    @property
    def complete(self) -> tuple[Mapping[str, str], ...]:
        """Texts of the rows that count."""
        return tuple(texts for _, texts in self.numbered)

    @property
    def marks(self) -> dict[int, dict[str, str]]:
        """Row key to column key to what is wrong there, only where something is."""
        found = {row.key: self._row_marks(row) for row in self.rows}
        return {key: marks for key, marks in found.items() if marks}

    def _row_marks(self, row: Row) -> dict[str, str]:
        lacking = {c.key: f"fill in {c.title} to include this row" for c in row.missing(self.columns)}
        refused = {c.key: self._refusal(row, c) for c in self.columns if c.key in row.drafts}
        return {**lacking, **refused}

    def _refusal(self, row: Row, column: Column) -> str:
        return row.refusal(column) or twin_of(self.rows, row, column)

    def _with_rows(self, rows: tuple[Row, ...]) -> "Sheet":
        return replace(self, rows=settled(rows, self.columns))

    def _inserted(self, after: int | None, row: Row) -> "Sheet":
        at = len(self.rows) if after is None else self.index(after) + 1
        rows = (*self.rows[:at], row, *self.rows[at:])
        return replace(self, next_key=self.next_key + 1)._with_rows(rows)

    def _with_room(self, key: int, lines: int) -> "Sheet":
        """A sheet with rows enough for so many lines from the row of that key on."""
        at = self.index(key)
        empty = len(self.rows[at].missing(self.columns)) == sum(column.required for column in self.columns)
        number = max(0, lines - 1) if empty else max(0, at + lines - len(self.rows))
        if len(self.rows) + number > ROW_LIMIT:
            raise ValueError(f"that would make {len(self.rows) + number} rows; the table takes {ROW_LIMIT}")
        more = tuple(new_row(self.next_key + n, self.columns) for n in range(number))
        cut = at + 1 if empty else len(self.rows)
        return replace(self, rows=self.rows[:cut] + more + self.rows[cut:], next_key=self.next_key + number)

    def _free(self, column: Column, name: str) -> str:
        return free_name(name, {row.values[column.key] for row in self.rows}) if name else ""


def _text(row: Row, column: Column) -> str:
    return row.drafts.get(column.key, row.values[column.key])


def sheet_of(rows: Iterable[Mapping[str, str]], columns: Iterable[Column], first_key: int = 1) -> Sheet:
    """A sheet of rows whose texts are good.

    Parameters
    ----------
    rows : iterable of mapping
        Column key to text; keys left out get the column's default.
    columns : iterable of Column
        Columns of the table.
    first_key : int
        Key of the first row; the others count on.

    Returns
    -------
    Sheet
        Without drafts.
    """
    rows, columns = list(rows), tuple(columns)
    columns = tuple(_knowing(column, rows) for column in columns)
    made = tuple(Row(i, _full(row, columns)) for i, row in enumerate(rows, start=first_key))
    return Sheet(columns, made, first_key + len(made))


def _full(row: Mapping[str, str], columns: tuple[Column, ...]) -> dict[str, str]:
    """Texts of a row with a text for every column; an empty cell means the column's default."""
    return {**row, **{column.key: row.get(column.key) or column.default for column in columns}}


def _knowing(column: Column, rows: list[Mapping[str, str]]) -> Column:
    """A column that asks about new names knows those that the rows begin with."""
    names = dict.fromkeys((*column.choices, *(row.get(column.key, "") for row in rows)))
    return replace(column, choices=tuple(filter(None, names))) if column.asks else column
