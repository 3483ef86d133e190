"""What is short, and what could be given up, where a module is not enough."""

import pandas as pd

from pdm_alloc.panel.answer import Answer
from pdm_alloc.panel.views.bar import bar
from pdm_alloc.panel.views.markup import Html, section, table, tag
from pdm_alloc.panel.views.rows import rows_of

__all__ = ["short"]

_WAIT = "\u2026 being worked out"
_HEADINGS = ("", "what is short", "there is ", "it takes ", "used of the limit", "needed by")


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
    lacking = tag("p", _WAIT) if answer.shortfall is None else _shortfall(answer.shortfall)
    ways = tag("p", _WAIT) if answer.concessions is None else _ways(answer.concessions, answer.left_open)
    parts = [
        section("What is short", lacking, "pdm-shortfall"),
        section("Ways to live with it", ways, "pdm-concessions"),
    ]
    return Html("".join(parts))


def _shortfall(frame: pd.DataFrame) -> Html:
    if frame.empty:
        return tag("p", "No single kind of limit explains it, nor does any pair of them.")
    joins = ["", *(_join(a, b) for a, b in zip(frame["set"], frame["set"].iloc[1:], strict=False))]
    rows = [_short_row(join, row) for join, row in zip(joins, rows_of(frame), strict=True)]
    return table(_HEADINGS, rows, "", "limits that are short")


def _join(before: int, after: int) -> str:
    return "and" if before == after else "or"


def _short_row(join: str, row) -> list[object]:
    pct = 100 * row.need / row.have if row.have else 200
    picture = bar(pct, label=f"{pct:.0f} % of what there is")
    unit = "" if row.unit == "channels" else f" {row.unit}"
    return [join, row.sentence, f"{row.have:g}{unit}", f"{row.need:g}{unit}", picture, row.needed_by]


def _ways(frame: pd.DataFrame, left_open: str) -> Html:
    more = tag("p", f"{left_open[:1].upper()}{left_open[1:]}.") if left_open else Html("")
    if frame.empty:
        return more if left_open else tag("p", "None was found: take a larger module.")
    return Html(tag("ol", [_way(part) for _, part in frame.groupby("rank", sort=True)], "pdm-ways") + more)


def _way(frame: pd.DataFrame) -> Html:
    weight = f"together weight {frame['set_weight'].iloc[0]}"
    return tag("li", [tag("ul", [tag("li", row.detail) for row in rows_of(frame)]), tag("p", weight, "pdm-legend")])
