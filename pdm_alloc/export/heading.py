"""Headings and numbers as people read them: ``running_a`` is headed ``running, A``, and shown with two decimals."""

import math
from typing import Any

__all__ = ["UNITS", "decimals", "heading", "shown", "unit_of"]

# Ending of a column's name: unit as printed, decimals.
UNITS: dict[str, tuple[str, int]] = {
    "a": ("A", 2),
    "v": ("V", 1),
    "m": ("m", 2),
    "mm": ("mm", 1),
    "mm2": ("mm²", 2),
    "ms": ("ms", 0),
    "s": ("s", 0),
    "g": ("g", 0),
    "kg": ("kg", 2),
    "c": ("°C", 0),
    "ah": ("Ah", 1),
    "pct": ("%", 1),
    "minutes": ("min", 1),
}
# Columns that have a unit by their whole name, and columns whose name ends like a unit by chance.
_WHOLE = {"minutes": "minutes"}


def unit_of(column: str) -> str | None:
    """Unit of a column as printed.

    Parameters
    ----------
    column : str
        Name in a table, such as ``running_a``.

    Returns
    -------
    str or None
        ``A``; None where the column has none.
    """
    ending = _ending(column)
    return UNITS[ending][0] if ending else None


def heading(column: str) -> str:
    """Heading of a column.

    Parameters
    ----------
    column : str
        Name in a table; ``x_`` in front of a column of the user's own is left out.

    Returns
    -------
    str
        Words, then the unit.
    """
    ending = _ending(column)
    words = column.removeprefix("x_")
    if ending and column not in _WHOLE:
        words = words[: -len(ending) - 1]
    unit = f", {UNITS[ending][0]}" if ending and column not in _WHOLE else ""
    return words.replace("_", " ") + unit


def decimals(column: str) -> int | None:
    """Decimals a number of the column is shown with; None where the column has no unit."""
    ending = _ending(column)
    return UNITS[ending][1] if ending else None


def shown(value: Any, column: str) -> str:
    """A cell as text for people.

    Parameters
    ----------
    value : object
        Number, text, yes or no; None and nan are shown as nothing.
    column : str
        Name of its column.

    Returns
    -------
    str
        Numbers with the column's decimals, trailing zeros kept so that columns line up.
    """
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    digits = decimals(column)
    if isinstance(value, float) and math.isinf(value):
        return "no limit"
    if isinstance(value, (int, float)) and digits is not None:
        return f"{value:.{digits}f}"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _ending(column: str) -> str | None:
    if column.startswith("x_"):
        return None
    if column in _WHOLE:
        return _WHOLE[column]
    ending = column.rpartition("_")[2]
    return ending if ending in UNITS and "_" in column else None
