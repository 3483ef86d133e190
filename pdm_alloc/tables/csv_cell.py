"""Cells of CSV from which no spreadsheet, in whatever locale, runs anything: quoted, and marked where one might.

A file may be opened with another separator than it was written with: a semicolon inside a name then begins a cell, and
quotes in the middle of such a cell mean nothing. So a sign that begins a formula is marked with an apostrophe at the
start of a cell and after every semicolon, tab and line end in it; reading takes the apostrophe away again.
"""

import re
from collections.abc import Iterable

__all__ = ["csv_line", "marked", "unmarked"]

# White space, control characters, and what is printed as nothing at all: spreadsheets drop some of them.
_UNSEEN = (
    "\\s\\x00-\\x1f\\x7f-\\x9f\\u00ad\\u034f\\u061c\\u115f\\u1160\\u17b4\\u17b5\\u180b-\\u180f\\u200b-\\u200f\\u202a-\\u202e"
    "\\u2060-\\u206f\\u2800\\u3164\\ufe00-\\ufe0f\\ufeff\\uffa0\\ufff9-\\ufffb\\U0001d173-\\U0001d17a\\U000e0000-\\U000e0fff"
)
# = + - @, in their full width and small forms as well.
_SIGNS = "=+\\-@\uff1d\uff0b\uff0d\uff20\ufe66\ufe62\ufe63\ufe6b"
_START = f'(^|[;\\t\\n\\r])(["{_UNSEEN}]*)'
_RISKY = re.compile(f"{_START}('*[{_SIGNS}])")
_MARKED = re.compile(f"{_START}'('*[{_SIGNS}])")
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)(e[+-]?\d+)?", re.ASCII | re.IGNORECASE)


def marked(cell: str) -> str:
    """The cell as it is written: text that starts like a formula gets an apostrophe, a plain number does not."""
    return cell if _NUMBER.fullmatch(cell) else _RISKY.sub(r"\1\2'\3", cell)


def unmarked(cell: str) -> str:
    """The cell as it was before `marked`."""
    return _MARKED.sub(r"\1\2\3", cell)


def csv_line(cells: Iterable[str]) -> str:
    """A row of CSV: text in quotes and marked, numbers and empty cells bare.

    Parameters
    ----------
    cells : iterable of str
        Not yet marked.

    Returns
    -------
    str
        With its line end.
    """
    return ",".join(map(_written, cells)) + "\n"


def _written(cell: str) -> str:
    if not cell or _NUMBER.fullmatch(cell):
        return cell
    return '"' + marked(cell).replace('"', '""') + '"'
