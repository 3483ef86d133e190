"""States against limits: how much of each bank's and each module's current every operating state takes."""

from typing import TYPE_CHECKING, Any

import pandas as pd

from pdm_alloc.figures import style
from pdm_alloc.figures.source import require, rows_of, table_of
from pdm_alloc.figures.words import number, wrap

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["states"]


@style.plain_text
def states(result: Any, axes: "Axes | None" = None) -> "Axes":
    """Draw a grid, limits down and states across; each cell is filled as far as the limit is used.

    Parameters
    ----------
    result : Allocation or DataFrame
        The table `headroom`: module, subject (a bank or the whole module), state, current_a (A), limit_a (A).
    axes : matplotlib Axes, optional
        Where to draw; a new sheet if absent.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    ValueError
        A column is missing.
    """
    table = require(table_of(result, "headroom"), "module", "subject", "state", "current_a", "limit_a")
    columns = list(dict.fromkeys(table["state"]))
    rows = list(dict.fromkeys(zip(table["module"], table["subject"], strict=True)))
    axes = style.need_axes(axes, 2.4 + 1.2 * max(len(columns), 1), 1.7 + 0.55 * max(len(rows), 1))
    for row in rows_of(table):
        _cell(axes, columns.index(row.state), rows.index((row.module, row.subject)), row.current_a, row.limit_a)
    _frame(axes, columns, _labels(rows, table))
    return axes


def _cell(axes: "Axes", x: int, y: int, current_a: float, limit_a: float) -> None:
    share = current_a / limit_a if limit_a else float("inf")
    over = share > 1
    look = (
        {"color": style.OVER, "hatch": style.HATCH, "edgecolor": "white", "lw": 0} if over else {"color": _tone(share)}
    )
    axes.barh(y + 0.17, 0.94, 0.42, left=x + 0.03, color=style.FREE)
    axes.barh(y + 0.17, 0.94 * min(share, 1), 0.42, left=x + 0.03, **look)
    text = f"{number(current_a)} of {number(limit_a)}"
    weight = "bold" if share >= 0.9 else "normal"
    axes.text(x + 0.03, y - 0.19, text, va="center", fontsize=style.SMALL, color=style.INK, fontweight=weight)


def _tone(share: float) -> str:
    return style.RUNNING if share >= 0.9 else style.STEPS[1]


def _labels(rows: list[tuple[str, str]], table: pd.DataFrame) -> list[str]:
    several = table["module"].nunique() > 1
    return [f"{module}\n{subject}" if several else subject for module, subject in rows]


def _frame(axes: "Axes", columns: list[str], labels: list[str]) -> None:
    style.bare(axes, grid="")
    axes.set_yticks(range(len(labels)), labels, fontsize=style.TEXT)
    axes.set_xticks(
        [n + 0.03 for n in range(len(columns))], [wrap(c, 13) for c in columns], fontsize=style.TEXT, ha="left"
    )
    axes.xaxis.tick_top()
    axes.set(xlim=(0, max(len(columns), 1)), ylim=(len(labels) - 0.5, -0.6))
    axes.set_xlabel(
        "current of limit, A; dark from 90 % of the limit, hatched above it", fontsize=style.SMALL, color=style.MUTED
    )
    axes.xaxis.set_label_position("bottom")
    style.title(axes, "Operating states against the module's limits")
