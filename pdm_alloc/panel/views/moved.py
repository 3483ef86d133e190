"""What moved since the design that was kept."""

import pandas as pd

from pdm_alloc.allocation.result import Allocation
from pdm_alloc.panel.answer import Answer
from pdm_alloc.panel.views.markup import Html, plural, section, table, tag
from pdm_alloc.panel.views.rows import rows_of

__all__ = ["moved"]


def moved(answer: Answer, kept: Allocation | None) -> Html:
    """A row a change: loads that are elsewhere, then settings, wires and currents that are different.

    Parameters
    ----------
    answer : Answer
        The latest.
    kept : Allocation or None
        The design kept; None before one was.

    Returns
    -------
    Html
    """
    return section("What moved since the kept design", _body(answer, kept), "pdm-moved")


def _body(answer: Answer, kept: Allocation | None) -> Html:
    if kept is None:
        return tag(
            "p", "No design is kept yet. Keep one, change something, and see here what would have to be rewired."
        )
    if answer.allocation is None:
        return tag("p", "There is no design to compare: the module is not enough.")
    if answer.allocation == kept:
        return tag("p", "Nothing: this is the kept design.")
    return tag("p", "\u2026 being worked out") if answer.moved is None else _changes(answer.moved)


def _changes(frame: pd.DataFrame) -> Html:
    if frame.empty:
        return tag("p", "Nothing: every load, setting and wire is as it was.")
    wired = frame["what"].str.startswith("load ")
    parts = [tag("p", f"{plural(int(wired.sum()), 'load')} to rewire, {plural(int((~wired).sum()), 'other change')}.")]
    parts += [_rows(frame[wired]), tag("details", [tag("summary", "other changes"), _rows(frame[~wired])])]
    return Html("".join(parts))


def _rows(frame: pd.DataFrame) -> Html:
    rows = [(row.what, row.subject, row.channel, row.before, row.after) for row in rows_of(frame)]
    return table(("what", "subject", "channel", "before", "after"), rows) if rows else Html("")
