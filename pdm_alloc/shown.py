"""How an object shows itself in a notebook: a headline over a table, every cell escaped."""

from collections.abc import Iterable, Sequence
from html import escape

__all__ = ["MOST_ROWS", "counted", "headline_table"]

MOST_ROWS = 24


def headline_table(headline: str, columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """HTML of a headline and a table of at most `MOST_ROWS` rows.

    Parameters
    ----------
    headline : str
        One sentence.
    columns : sequence of str
        Headings.
    rows : iterable of sequence
        Cells; None and not-a-number are empty, floats are shown to three decimals.

    Returns
    -------
    str
        With everything that was given escaped.
    """
    every = list(rows)
    head = "".join(f"<th>{escape(column)}</th>" for column in columns)
    body = "".join(f"<tr>{''.join(map(_cell, row))}</tr>" for row in every[:MOST_ROWS])
    table = f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>" if every else ""
    more = f"<p>and {len(every) - MOST_ROWS} more</p>" if len(every) > MOST_ROWS else ""
    return f"<div><p><strong>{escape(headline)}</strong></p>{table}{more}</div>"


def _cell(value: object) -> str:
    return f"<td>{escape(_text(value))}</td>"


def _text(value: object) -> str:
    if value is None or str(value) in ("nan", "<NA>", "NaT"):
        return ""
    return f"{round(value, 3):g}" if isinstance(value, float) and abs(value) < 1e5 else str(value)


def counted(number: int, noun: str) -> str:
    """``1 load``, ``2 loads``."""
    return f"{number} {noun}{'' if number == 1 else 's'}"
