"""Numbers with exactly three digits after one mark, such as 1,440: settled by the cells around them, or refused."""

import re
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from pdm_alloc.tables.cell import Exact, Number, Odd
from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.number import CellError
from pdm_alloc.tables.text import clean

__all__ = ["NumberCell", "settle", "unmistakable"]

_MARKED = re.compile(r"[+-]?\d*([.,])\d+([^\d.,'].*)?", re.ASCII)
_THREE_DIGITS = re.compile(r"([+-]?[1-9]\d{0,2})([.,])(\d{3})(?!e[+-]?\d)([^\d.,'].*)?", re.ASCII | re.IGNORECASE)
_MARK_NAMES = {".": "decimal point", ",": "decimal comma"}


@dataclass
class NumberCell:
    """One cell of a column of numbers: where it stands, what may stand there, its text."""

    row: int | None
    column: str
    kind: Number
    text: str


def unmistakable(text: str) -> str:
    """A number with a decimal point so that nobody takes the point for one of thousands: 2.345 becomes 2.3450."""
    return f"{text}0" if _THREE_DIGITS.fullmatch(text) else text


def settle(table: str, cells: list[NumberCell], faults: Faults) -> None:
    """Give each cell whose mark can mean two things the text that means one, or the text with that said.

    Parameters
    ----------
    table : str
        Name of the table, for notes.
    cells : list of NumberCell
        Every cell of its columns of numbers; their texts are replaced.
    faults : Faults
        Where it is noted how a cell is read.
    """
    matches = [(cell, _match(cell.text)) for cell in cells]
    doubtful = [(cell, match) for cell, match in matches if match]
    if not doubtful:
        return
    by_column: dict[str, list[str]] = defaultdict(list)
    for cell, match in matches:
        if match is None and not isinstance(cell.text, Exact):
            by_column[cell.column].append(cell.text)
    marks = {column: _decimal_marks(texts) for column, texts in by_column.items()}
    everywhere = frozenset().union(*marks.values())
    readings: dict[tuple[str, str, str], list[NumberCell]] = defaultdict(list)
    for cell, match in doubtful:
        how = _reason(match[2], marks.get(cell.column, frozenset()), everywhere)
        _replace(cell, match, how, readings)
    _tell(table, readings, faults)


def _match(text: str) -> re.Match[str] | None:
    return None if isinstance(text, (Exact, Odd)) else _THREE_DIGITS.fullmatch(clean(text))


def _decimal_marks(texts: Iterable[str]) -> frozenset[str]:
    found = (_MARKED.fullmatch(clean(text)) for text in texts)
    return frozenset(match[1] for match in found if match)


def _reason(mark: str, column: frozenset[str], table: frozenset[str]) -> str:
    """What shows the mark to be the decimal mark; empty where nothing does."""
    if column == {mark}:
        return f"a {_MARK_NAMES[mark]}, as in other cells of the column"
    return f"a {_MARK_NAMES[mark]}, as in other cells of the table" if not column and table == {mark} else ""


def _replace(cell, match, how, readings) -> None:
    whole, _, decimals, unit = match.groups()
    decimal, thousands = f"{whole}.{decimals}", f"{whole}{decimals}"
    fits = [_reads(cell.kind, text, unit) for text in (decimal, thousands)]
    original = cell.text
    if how or fits == [True, False]:
        text, reason = decimal, f"with {how}" if how else "since the column allows no other reading"
    elif fits == [False, True]:
        text, reason = thousands, "since the column allows no other reading"
    else:
        cell.text = Odd(original, f"may be {thousands} or {decimal}", f"write {thousands} or {unmistakable(decimal)}")
        return
    cell.text = Exact(f"{text}{unit or ''}")
    readings[cell.column, reason, text if text == thousands else ""].append(
        NumberCell(cell.row, cell.column, cell.kind, f"{original}\n{text}")
    )


def _reads(kind: Number, text: str, unit: str | None) -> bool:
    try:
        kind.read(f"{text}{unit or ''}")
    except CellError:
        return False
    return True


def _tell(table, readings, faults) -> None:
    for (column, reason, _), cells in readings.items():
        original, text = cells[0].text.split("\n")
        more = f", and so in {len(cells) - 1} rows more" if len(cells) > 1 else ""
        faults.note(table, cells[0].row, column, original, f"is read as {text}, {reason}{more}")
