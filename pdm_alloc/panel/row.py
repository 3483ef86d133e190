"""One row of the panel's table: its good values, and the texts it could not take."""

from dataclasses import dataclass, field, replace

from pdm_alloc.panel.cell import BadCell, read_cell
from pdm_alloc.panel.column import Column

__all__ = ["Row", "new_row"]


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
