"""Room left: how many more loads of each kind the module still takes."""

from typing import TYPE_CHECKING, Any

import pandas as pd

from pdm_alloc.figures import style
from pdm_alloc.figures.source import require, rows_of
from pdm_alloc.figures.words import number, wrap

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["room"]


@style.plain_text
def room(left: pd.DataFrame, axes: "Axes | None" = None) -> "Axes":
    """Draw a bar for each kind of load: how many more of it fit before the module is no longer enough.

    Parameters
    ----------
    left : DataFrame
        kind (words: what is added), more (how many more fit), optional running_a (of one, A), limited_by (words: what
        stops the next one), at_least (true where the count was stopped, so that more may fit).
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
    table = require(left, "kind", "more").reset_index(drop=True)
    axes = style.need_axes(axes, 9.5, 1.4 + 0.62 * max(len(table), 1))
    axes.barh(range(len(table)), table["more"], 0.56, color=style.RUNNING)
    for y, row in enumerate(rows_of(table)):
        axes.annotate(
            _words(row),
            (row.more, y),
            (6, 0),
            textcoords="offset points",
            va="center",
            fontsize=style.TEXT,
            color=style.INK,
        )
    _frame(axes, table)
    return axes


def _words(row: Any) -> str:
    count = f"{row.more:g}{' or more' if getattr(row, 'at_least', False) else ''}"
    stop = getattr(row, "limited_by", "")
    return f"{count}   then: {wrap(stop, 34)}" if isinstance(stop, str) and stop else count


def _label(row: Any) -> str:
    amps = getattr(row, "running_a", float("nan"))
    return wrap(f"{row.kind}, {number(amps)} A" if pd.notna(amps) else str(row.kind), 26)


def _frame(axes: "Axes", table: pd.DataFrame) -> None:
    from matplotlib.ticker import MaxNLocator

    style.bare(axes)
    axes.set_yticks(range(len(table)), [_label(row) for row in rows_of(table)], fontsize=style.TEXT)
    axes.set_ylim(max(len(table), 1) - 0.4, -0.6)
    axes.set_xlim(0, max(1.0, float(table["more"].max() if len(table) else 1)) * 1.05)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    axes.set_xlabel("how many more", fontsize=style.TEXT, color=style.INK)
    style.title(axes, "Room left, one kind of load at a time")
