"""Cells of CSV that a spreadsheet would run as a formula: marked with an apostrophe on writing, unmarked on reading."""

import re

__all__ = ["marked", "unmarked"]

_RISKY = re.compile(r"'*[=+\-@\t\r]")
_MARKED = re.compile(r"'+[=+\-@\t\r]")
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)(e[+-]?\d+)?", re.ASCII | re.IGNORECASE)


def marked(cell: str) -> str:
    """The cell as it is written: text that starts like a formula gets an apostrophe, a plain number does not."""
    return f"'{cell}" if _RISKY.match(cell) and not _NUMBER.fullmatch(cell) else cell


def unmarked(cell: str) -> str:
    """The cell as it was before `marked`."""
    return cell[1:] if _MARKED.match(cell) else cell
