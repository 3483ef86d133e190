"""Supply by state: what the vehicle takes against what charging gives."""

from typing import TYPE_CHECKING, Any

import pandas as pd

from pdm_alloc.figures import style
from pdm_alloc.figures.source import require, rows_of, table_of
from pdm_alloc.figures.words import wrap

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["supply"]


@style.plain_text
def supply(result: Any, axes: "Axes | None" = None) -> "Axes":
    """Draw for each state the mean current as a bar, the peak as a line to its right, charging as a mark.

    Parameters
    ----------
    result : Allocation or DataFrame
        The table `supply`: state, mean_a, peak_a, charging_a (A; empty where not known), optional floor_minutes
        (until a
        full battery is at its floor, min; empty or infinite where it never is).
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
    table = require(table_of(result, "supply"), "state", "mean_a", "peak_a", "charging_a").reset_index(drop=True)
    axes = style.need_axes(axes, 9.5, 2.0 + 0.5 * max(len(table), 1))
    rows = table.index.to_numpy(float)
    axes.barh(rows, table["mean_a"], 0.5, color=style.RUNNING, label="mean taken")
    axes.hlines(rows, table["mean_a"], table["peak_a"], color=style.RUNNING, linewidth=2, label="up to the peak")
    axes.plot(table["peak_a"], rows, "|", color=style.RUNNING, markersize=11, markeredgewidth=2)
    _charging(axes, table, rows)
    for y, row in enumerate(rows_of(table)):
        style.beside(axes, y, 8, _balance(row), fontweight="bold" if _short(row) else "normal")
    _frame(axes, table)
    return axes


def _charging(axes: "Axes", table: pd.DataFrame, rows: Any) -> None:
    gives = table["charging_a"].to_numpy(float)
    look: dict[str, Any] = {"marker": "D", "markersize": 9, "linestyle": "none", "markeredgecolor": style.INK}
    axes.plot(gives, rows, color=style.INRUSH, label="charging gives", zorder=4, clip_on=False, **look)


def _short(row: Any) -> bool:
    return bool(pd.notna(row.charging_a) and row.charging_a < row.mean_a)


def _balance(row: Any) -> str:
    if pd.isna(row.charging_a):
        return "charging not stated"
    words = f"{row.charging_a - row.mean_a:+.1f} A".replace("-", "−")
    lasts = getattr(row, "floor_minutes", float("nan"))
    return (
        f"{words}, battery lasts {_time(lasts)}" if _short(row) and pd.notna(lasts) and lasts < float("inf") else words
    )


def _time(minutes: float) -> str:
    return f"{minutes:.0f} min" if minutes < 180 else f"{minutes / 60:.0f} h"


def _frame(axes: "Axes", table: pd.DataFrame) -> None:
    style.bare(axes)
    axes.set_yticks(range(len(table)), [wrap(s, 24) for s in table["state"]], fontsize=style.TEXT)
    axes.set_ylim(max(len(table), 1) - 0.4, -0.6)
    axes.set_xlim(left=-0.025 * axes.get_xlim()[1])
    axes.set_xlabel("A", fontsize=style.TEXT, color=style.INK)
    style.legend(axes)
    style.title(axes, "Battery and alternator in each operating state")
