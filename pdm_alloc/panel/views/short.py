"""What is short, and what could be given up, where a module is not enough."""

import pandas as pd

from pdm_alloc.panel.answer import Answer
from pdm_alloc.panel.views.bar import bar
from pdm_alloc.panel.views.markup import Html, amount, section, table, tag
from pdm_alloc.panel.views.rows import rows_of

__all__ = ["short"]

_WAIT = "\u2026 being worked out"


def short(answer: Answer) -> Html:
    """Shortfall by kind of limit, and the ways to live with it; a word where they are still being worked out.

    Parameters
    ----------
    answer : Answer
        Of a module that is not enough.

    Returns
    -------
    Html
    """
    if answer.shortfall is None:
        return section("What is short", tag("p", _WAIT), "pdm-shortfall")
    ways = tag("p", _WAIT) if answer.concessions is None else _concessions(answer.concessions)
    parts = [section("What is short", _shortfall(answer.shortfall), "pdm-shortfall")]
    return Html("".join([*parts, section("Ways to live with it", ways, "pdm-concessions")]))


def _shortfall(frame: pd.DataFrame) -> Html:
    if frame.empty:
        words = "No single limit is short by itself: every kind of limit is met alone, all of them together are not."
        return tag("p", words)
    rows = [
        [row.sentence, amount(row.have, row.unit), amount(row.need, row.unit), _needed(row)] for row in rows_of(frame)
    ]
    return table(("limit", "there is ", "it takes ", "used of the limit"), rows, "", "limits that are short")


def _needed(row) -> Html:
    pct = 100 * row.need / row.have if row.have else 200
    return bar(pct, label=f"{pct:.0f} % of what there is")


def _concessions(frame: pd.DataFrame) -> Html:
    if frame.empty:
        return tag("p", "None was found: take a larger module.")
    names = [str(column) for column in frame.columns]
    return table(names, [[str(cell) for cell in row] for row in rows_of(frame)])
