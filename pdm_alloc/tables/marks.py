"""Decimal points and commas in one table: where both are used, a number such as 1,234 can be read two ways."""

import re
from collections.abc import Iterable

from pdm_alloc.tables.cell import Odd
from pdm_alloc.tables.number import AMBIGUOUS
from pdm_alloc.tables.text import clean

__all__ = ["doubtful", "marks_of"]

_MARKED = re.compile(r"[+-]?\d*([.,])\d+(\D.*)?", re.ASCII)
_MAYBE_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}([.,])\d{3}(\D.*)?", re.ASCII)


def marks_of(texts: Iterable[str]) -> frozenset[str]:
    """The decimal marks used in the number cells of a table.

    Parameters
    ----------
    texts : iterable of str
        The cells.

    Returns
    -------
    frozenset of str
        Point, comma, both or neither.
    """
    matches = (_MARKED.fullmatch(clean(text)) for text in texts)
    return frozenset(match[1] for match in matches if match)


def doubtful(text: str, marks: frozenset[str]) -> str:
    """The cell, or, where it may have its thousands marked, the cell with that said."""
    if len(marks) == 2 and _MAYBE_THOUSANDS.fullmatch(clean(text)):
        return Odd(text, *AMBIGUOUS)
    return text
