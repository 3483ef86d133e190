"""Two ways to live with a module that is not enough, side by side."""

from typing import TYPE_CHECKING, Any

import pandas as pd

from pdm_alloc.figures import style
from pdm_alloc.figures.source import require, rows_of, table_of
from pdm_alloc.figures.words import wrap

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["concessions"]

_WIDTH = 50
_LINE = 0.23


@style.plain_text
def concessions(result: Any, axes: "Axes | None" = None, ranks: tuple[int, int] = (1, 2)) -> "Axes":
    """Draw two sets of concessions as two columns of cards; the strip on a card's left is as wide as its weight.

    Parameters
    ----------
    result : Explanation or DataFrame
        The table `concessions`, a row for each member of each set: rank (of the set, 1 is cheapest), kind, subject,
        weight, detail (what follows from it, in words).
    axes : matplotlib Axes, optional
        Where to draw; a new sheet if absent.
    ranks : tuple of two int
        The sets to compare.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    ValueError
        A column is missing, or there is no set of that rank.
    """
    table = require(table_of(result, "concessions"), "rank", "kind", "subject", "weight", "detail")
    sets = [_of_rank(table, rank) for rank in ranks]
    heights = [[_height(row) for row in rows_of(one)] for one in sets]
    high = max(sum(h) for h in heights) + 0.75
    axes = style.need_axes(axes, 10.5, high + 0.9)
    heaviest = max(float(one["weight"].max()) for one in sets) or 1.0
    for left, rank, one, tall in zip((0.0, 1.06), ranks, sets, heights, strict=True):
        _column(axes, left, rank, one, tall, heaviest)
    style.bare(axes, grid="")
    axes.set(xlim=(0, 2.06), ylim=(high, 0), xticks=[], yticks=[])
    style.title(axes, "Two ways to make it enough")
    return axes


def _of_rank(table: pd.DataFrame, rank: int) -> pd.DataFrame:
    found = table[table["rank"] == rank]
    if found.empty:
        raise ValueError(f"there is no set of concessions of rank {rank}")
    return found.sort_values(["weight", "subject"], ascending=[False, True], kind="stable")


def _heading(row: Any) -> str:
    return f"{str(row.kind).replace('_', ' ')}: {row.subject}"


def _lines(row: Any) -> list[str]:
    return [
        *wrap(_heading(row), _WIDTH - 4).split("\n"),
        *wrap(str(row.detail).replace(" -> ", " → "), _WIDTH).split("\n"),
    ]


def _height(row: Any) -> float:
    """Height of a card, inches."""
    return _LINE * len(_lines(row)) + 0.3


def _column(axes: "Axes", left: float, rank: int, one: pd.DataFrame, heights: list[float], heaviest: float) -> None:
    total = f"set {rank}:  {len(one)} concession{'s' if len(one) > 1 else ''}, weight {one['weight'].sum():g}"
    axes.text(left, 0.3, total, fontsize=style.TITLE - 1, fontweight="bold", color=style.INK, va="center")
    top = 0.62
    for row, high in zip(rows_of(one), heights, strict=True):
        _card(axes, left, top, high - 0.12, row, heaviest)
        top += high


def _card(axes: "Axes", left: float, top: float, high: float, row: Any, heaviest: float) -> None:
    head = len(wrap(_heading(row), _WIDTH - 4).split("\n"))
    strip = 0.015 + 0.085 * row.weight / heaviest
    axes.barh(top, 1.0, high, left=left, align="edge", color=style.FREE)
    axes.barh(top, strip, high, left=left, align="edge", color=style.RUNNING)
    lines = _lines(row)
    for n, line in enumerate(lines):
        weight = "bold" if n < head else "normal"
        axes.text(
            left + 0.125,
            top + 0.09 + _LINE * n,
            line,
            va="top",
            fontsize=style.TEXT,
            color=style.INK,
            fontweight=weight,
        )
    axes.text(left + 0.985, top + 0.09, f"{row.weight:g}", va="top", ha="right", fontsize=style.TEXT, color=style.MUTED)
