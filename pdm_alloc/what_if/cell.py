"""A value given in code as the text of a cell, so that it is read and checked as a table is."""

from collections.abc import Iterable
from fractions import Fraction
from numbers import Integral, Real

from pdm_alloc.tables.plain import decimal

__all__ = ["cell_text"]


def cell_text(value: object) -> str:
    """The text somebody would type for a value.

    Parameters
    ----------
    value : object
        Text, number, yes or no as a bool, words as an iterable of text; None is an empty cell.

    Returns
    -------
    str
        A float as its shortest decimal, so that 0.1 is read as a tenth and not as its nearest binary fraction.
    """
    if value is None or isinstance(value, (str, bool, Fraction)):
        return decimal(value)
    if isinstance(value, Integral):
        return str(int(value))
    if isinstance(value, Real):
        return decimal(float(value))
    if isinstance(value, Iterable):
        return " ".join(sorted(str(word) for word in value))
    return _yes_no(value) or str(value)


def _yes_no(value: object) -> str:
    """Of an array library's own bool, which is none of Python's."""
    return {"True": "yes", "False": "no"}.get(str(value), "")
