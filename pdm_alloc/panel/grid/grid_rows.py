"""Rows of an editable table: good texts, and refused ones that wait to be put right."""

from dataclasses import dataclass, field, replace

from pdm_alloc.panel.grid.grid_cells import BadCell, Column, read_cell

__all__ = ["Row", "new_row", "settled", "twin_of"]


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
