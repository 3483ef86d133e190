"""One column of the panel's editable table: what it is called, what a cell of it may hold."""

from dataclasses import dataclass
from itertools import combinations

from pdm_alloc.panel.known import Known
from pdm_alloc.tables.cell import Cell, Number, Word, Words, YesNo

__all__ = ["Column"]


@dataclass(frozen=True, slots=True)
class Column:
    """One column of an editable table.

    Parameters
    ----------
    key, title : str
        Name in the table ``loads``; words over the column.
    cell : Cell
        Kind of cell: reads a text or says what is wrong with it.
    choices : tuple of str
        What a drop-down offers; for free text, what is suggested.
    required, unique : bool
        Whether a row counts only once this cell is filled; whether no two rows may hold the same.
    default : str
        Text of the cell in a new row, and of an emptied cell.
    hint : str
        Shown in grey while the cell is empty: what an empty cell means.
    meaning : str
        One sentence for whoever points at the heading.
    more : bool
        True: shown only on request.
    width : float
        Width of the cell, em.
    """

    key: str
    title: str
    cell: Cell
    choices: tuple[str, ...] = ()
    required: bool = False
    unique: bool = False
    default: str = ""
    hint: str = ""
    meaning: str = ""
    more: bool = False
    width: float = 6.0

    @property
    def unit(self) -> str:
        """Unit of a number; empty where there is none."""
        return self.cell.unit if isinstance(self.cell, Number) else ""

    @property
    def kind(self) -> str:
        """What the cell is edited with: ``number``, ``choice``, ``check`` or ``text``."""
        if isinstance(self.cell, Number):
            return "number"
        if isinstance(self.cell, YesNo):
            return "check"
        return "choice" if self.options else "text"

    @property
    def options(self) -> tuple[str, ...]:
        """What the drop-down of this column offers, in order; empty where there is none."""
        if isinstance(self.cell, Words):
            return tuple(" ".join(some) for n in range(len(self.choices) + 1) for some in combinations(self.choices, n))
        return self.choices if isinstance(self.cell, (Word, Known)) else ()

    def as_state(self) -> dict:
        """The column as plain values for the browser."""
        names = ("key", "title", "kind", "unit", "hint", "meaning", "more", "width")
        lists = {"options": list(self.options), "choices": list(self.choices)}
        return {**{name: getattr(self, name) for name in names}, **lists}
