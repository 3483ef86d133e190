"""The table behind the grid: every change gives a new sheet, good values are never lost to bad ones."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from pdm_alloc.panel.clipboard import heading, read_clipboard
from pdm_alloc.panel.column import Column
from pdm_alloc.panel.names import free_name
from pdm_alloc.panel.row import Row, new_row
from pdm_alloc.panel.settle import settled, twin_of

__all__ = ["ROW_LIMIT", "Sheet", "sheet_of"]

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

    def pasted(self, key: int, column: str, text: str) -> "Sheet":
        """A sheet with cells from the clipboard put in from a cell on, or by name under a heading line.

        Rows below are written over, as in a spreadsheet; from an empty row on, room is made instead.
        """
        lines = read_clipboard(text)
        named = heading(lines[0], self.columns) if lines else None
        keys = named or [c.key for c in self.columns[self.columns.index(self.column(column)) :]]
        lines = lines[1:] if named else lines
        grown = self._with_room(key, len(lines))
        targets = grown.rows[self.index(key) :]
        cells = (zip(keys, line, strict=False) for line in lines)
        return grown.edited((row.key, k, t) for row, line in zip(targets, cells, strict=False) for k, t in line if k)

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
        lacking = {c.key: f"{c.title} is needed before the row counts" for c in row.missing(self.columns)}
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
    columns = tuple(columns)
    made = tuple(Row(i, {**new_row(i, columns).values, **row}) for i, row in enumerate(rows, start=first_key))
    return Sheet(columns, made, first_key + len(made))
