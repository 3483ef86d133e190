"""A kind of cell that holds one name of a few, or none."""

from dataclasses import dataclass

from pdm_alloc.tables.cell import Cell, CellError
from pdm_alloc.tables.nearest import hint
from pdm_alloc.tables.text import clean

__all__ = ["Known"]


@dataclass(frozen=True)
class Known(Cell):
    """One name of a few, spelled as it is there.

    Parameters
    ----------
    names : tuple of str
        The names.
    """

    names: tuple[str, ...] = ()

    def accepts(self) -> str:
        """The names."""
        return f"one of {', '.join(self.names)}"

    def read(self, text: str) -> str:
        """The name; CellError where it is none of them."""
        said = clean(text)
        for name in self.names:
            if name.casefold() == said.casefold():
                return name
        raise CellError("is not known here", hint(said, self.names))
