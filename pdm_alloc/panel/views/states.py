"""Operating states against the limits of banks and of the whole module."""

from pdm_alloc.allocation.result import Allocation
from pdm_alloc.panel.views.bar import bar
from pdm_alloc.panel.views.markup import Html, amount, section, table, tag
from pdm_alloc.panel.views.rows import rows_of

__all__ = ["states"]

_FULL = 90


def states(allocation: Allocation) -> Html:
    """A row a state, a column a limit: how much of it is used.

    Parameters
    ----------
    allocation : Allocation
        Of one module.

    Returns
    -------
    Html
    """
    used = {(row.state, row.subject): row for row in rows_of(allocation.headroom)}
    subjects = list(dict.fromkeys(subject for _, subject in used))
    rows = [[tag("strong", state.name), *_cells(used, state.name, subjects)] for state in allocation.vehicle.states]
    return section("States against limits", table(("state", *subjects), rows, "pdm-states", "current in each state"))


def _cells(used: dict, state: str, subjects: list[str]) -> list[object]:
    return [_cell(used[state, subject]) if (state, subject) in used else "" for subject in subjects]


def _cell(row) -> list[Html]:
    pct = 100 * row.current_a / row.limit_a
    words = f"{amount(row.current_a)} of {amount(row.limit_a, 'A')}"
    return [bar(pct, label=f"{words}, {pct:.0f} %", full=_FULL), tag("div", words, "pdm-amount")]
