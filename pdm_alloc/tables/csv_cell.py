"""Cells of CSV that a spreadsheet would run as a formula: marked with an apostrophe on writing, unmarked on reading."""

import re

__all__ = ["marked", "unmarked"]

_RISKY = re.compile(r"(\s*)('*[=+\-@])")
_MARKED = re.compile(r"(\s*)'('*[=+\-@])")
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)(e[+-]?\d+)?", re.ASCII | re.IGNORECASE)


def marked(cell: str) -> str:
    """The cell as it is written: text that starts like a formula gets an apostrophe, a plain number does not."""
    risky = _RISKY.match(cell)
    return cell if risky is None or _NUMBER.fullmatch(cell) else f"{risky[1]}'{cell[risky.start(2) :]}"


def unmarked(cell: str) -> str:
    """The cell as it was before `marked`."""
    mark = _MARKED.match(cell)
    return cell if mark is None else f"{mark[1]}{cell[mark.start(2) :]}"
