"""Text typed or pasted into a cell, made the plain text the tables read; a refusal says what would be right."""

from pdm_alloc.panel.column import Column
from pdm_alloc.tables.cell import CellError, Number, Words
from pdm_alloc.tables.number import read_number
from pdm_alloc.tables.text import clean, has_controls

__all__ = ["BadCell", "plain_number", "read_cell"]


class BadCell(ValueError):
    """A text that its column does not accept; the message says why and what would be right."""


def read_cell(column: Column, text: str) -> str:
    """The text a cell holds once what was typed is accepted.

    Parameters
    ----------
    column : Column
        The column the cell is in.
    text : str
        What was typed, chosen or pasted.

    Returns
    -------
    str
        The same in plain spelling (no unit, a decimal point, words in lower case and order); for an empty cell
        the column's default.

    Raises
    ------
    BadCell
        The column does not accept the text.
    """
    if not clean(text):
        return _emptied(column)
    try:
        return _plain(column, text)
    except CellError as bad:
        remedy = f"; {bad.remedy}" if bad.remedy else ""
        raise BadCell(f"'{_short(text)}' {bad.message}{remedy}") from None


def _emptied(column: Column) -> str:
    if column.required:
        raise BadCell(f"{column.title} must be given")
    return column.default


def _plain(column: Column, text: str) -> str:
    if has_controls(text):
        raise CellError("has a control character in it", "type the cell anew")
    value = column.cell.read(text)
    if isinstance(column.cell, Number):
        return plain_number(read_number(text, column.unit))
    if isinstance(column.cell, Words):
        return " ".join(word for word in column.choices if word in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)


def plain_number(value) -> str:
    """A number as a cell shows it: at most nine decimals, none that say nothing.

    Parameters
    ----------
    value : int, float or Fraction
        The number.

    Returns
    -------
    str
        With a decimal point and no exponent.
    """
    text = f"{float(value):.9f}"
    return text.rstrip("0").rstrip(".")


def _short(text: str, most: int = 40) -> str:
    line = clean(text)
    return line if len(line) <= most else line[: most - 3] + "..."
