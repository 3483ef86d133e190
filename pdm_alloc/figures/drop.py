"""Voltage drop by load, from the module to the load, against what is allowed."""

from typing import TYPE_CHECKING, Any

import pandas as pd

from pdm_alloc.figures import style
from pdm_alloc.figures.source import require, rows_of, table_of
from pdm_alloc.figures.words import clip, number

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["drop"]


@style.plain_text
def drop(result: Any, axes: "Axes | None" = None) -> "Axes":
    """Draw a bar a load, longest first, and a tick where its limit is.

    Parameters
    ----------
    result : Allocation or DataFrame
        The table `drops`: load, drop_pct and limit_pct (per cent of the system voltage; empty where no length is
        known), optional drop_v (V), wire (text, for example ``2.5 mm2``).
    axes : matplotlib Axes, optional
        Where to draw; a new sheet, as high as it has loads, if absent.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    ValueError
        A column is missing.
    """
    table = require(table_of(result, "drops"), "load", "drop_pct", "limit_pct")
    known = table.dropna(subset=["drop_pct"]).sort_values(["drop_pct", "load"], ascending=[False, True])
    axes = style.need_axes(axes, 9.5, 1.7 + 0.27 * max(len(known), 1))
    for y, row in enumerate(rows_of(known)):
        _bar(axes, y, row)
    _frame(axes, known, len(table) - len(known))
    return axes


def _bar(axes: "Axes", y: int, row: Any) -> None:
    over = row.drop_pct > row.limit_pct
    look = (
        {"color": style.OVER, "hatch": style.HATCH, "edgecolor": "white", "lw": 0} if over else {"color": style.RUNNING}
    )
    axes.barh(y, row.drop_pct, 0.62, **look)
    axes.plot([row.limit_pct] * 2, [y - 0.42, y + 0.42], color=style.INK, linewidth=2.2, solid_capstyle="butt")
    style.beside(axes, y, 8, _words(row), fontsize=style.SMALL)


def _words(row: Any) -> str:
    volts = (
        f"{number(row.drop_v)} V" if hasattr(row, "drop_v") and pd.notna(row.drop_v) else f"{number(row.drop_pct)} %"
    )
    return f"{volts}   {row.wire}" if hasattr(row, "wire") and pd.notna(row.wire) else volts


def _frame(axes: "Axes", known: pd.DataFrame, unknown: int) -> None:
    style.bare(axes)
    axes.set_yticks(range(len(known)), [clip(name, 40) for name in known["load"]], fontsize=style.TEXT)
    axes.set_ylim(max(len(known), 1) - 0.4, -0.6)
    axes.set_xlim(left=0)
    left_out = f"; {unknown} loads without a length are not judged" if unknown else ""
    words = f"drop, per cent of the system voltage; tick: what is allowed{left_out}"
    axes.set_xlabel(words, fontsize=style.SMALL, color=style.MUTED)
    style.title(axes, "Voltage drop from module to load")
