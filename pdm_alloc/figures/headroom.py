"""Headroom by channel: running current and inrush against what each channel bears."""

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pdm_alloc.figures import style
from pdm_alloc.figures.source import require, rows_of, table_of
from pdm_alloc.figures.words import clip, number, wrap

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["headroom"]

_COLUMNS = ("module", "channel", "command", "loads", "running_a", "limit_a", "inrush_a", "peak_a", "inrush_use_pct")
_LABEL = 44


@style.plain_text
def headroom(result: Any, axes: "Axes | None" = None, wanted_pct: float | None = None) -> "Axes":
    """Draw two bars a channel: running current over its limit, and inrush over what the channel bears.

    Parameters
    ----------
    result : Allocation or DataFrame
        The table `channels`: module, channel, command, loads, running_a (A), limit_a (derated rating, A), inrush_a
        (A), peak_a (A), inrush_use_pct (per cent of what the channel's protection lets pass). If the result
        has a table `spare` (module, channel, continuous_a in A), its channels are named below.
    axes : matplotlib Axes, optional
        Where to draw; a new sheet, as high as it has channels, if absent.
    wanted_pct : float, optional
        Headroom wanted, per cent; by default the one in the settings of the result's vehicle, if it has one.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    ValueError
        A column is missing.
    """
    table = require(table_of(result, "channels"), *_COLUMNS).reset_index(drop=True)
    rows = _rows(table["module"])
    axes = style.need_axes(axes, 10.5, 1.9 + 0.33 * (rows.max() + 1 if len(rows) else 1))
    _bars(axes, table, rows)
    _limits(axes, _wanted(result) if wanted_pct is None else wanted_pct)
    _names(axes, table, rows)
    _figures(axes, table, rows)
    _frame(axes, rows, _spare_words(getattr(result, "spare", None)))
    return axes


def _rows(modules: pd.Series) -> np.ndarray:
    """Height of each channel; where there are several modules, a row is left free above each for its name."""
    heads = (modules != modules.shift()).cumsum() if modules.nunique() > 1 else 0
    return np.arange(len(modules), dtype=float) + heads


def _wanted(result: Any) -> float | None:
    settings = getattr(getattr(result, "vehicle", None), "settings", None)
    return None if settings is None else float(settings.headroom_pct)


def _bars(axes: "Axes", table: pd.DataFrame, rows: np.ndarray) -> None:
    running = (100 * table["running_a"] / table["limit_a"]).to_numpy(float)
    inrush = table["inrush_use_pct"].fillna(0).to_numpy(float)
    axes.barh(rows - 0.13, running, 0.4, color=style.RUNNING, label="running current, of the channel's limit")
    axes.barh(rows + 0.21, inrush, 0.24, color=style.INRUSH, label="inrush, of what the channel lets pass")
    _over(axes, rows - 0.13, running, 0.4)
    _over(axes, rows + 0.21, inrush, 0.24)


def _over(axes: "Axes", heights: np.ndarray, shares: np.ndarray, thick: float) -> None:
    """Hatch what passes 100 per cent."""
    passed = shares > 100
    look: dict[str, Any] = {"left": 100, "color": style.OVER, "hatch": style.HATCH, "edgecolor": "white", "lw": 0}
    axes.barh(heights[passed], shares[passed] - 100, thick, **look)


def _limits(axes: "Axes", wanted_pct: float | None) -> None:
    axes.axvline(100, color=style.INK, linewidth=1.8)
    if wanted_pct:
        label = f"{wanted_pct:g} % headroom"
        axes.axvline(100 - wanted_pct, color=style.INK, linewidth=1.2, linestyle=(0, (4, 3)), label=label)


def _names(axes: "Axes", table: pd.DataFrame, rows: np.ndarray) -> None:
    several = table["module"].nunique() > 1
    for y, row in zip(rows, rows_of(table), strict=True):
        style.beside(axes, y, -6, str(row.channel), fontweight="bold")
        style.beside(axes, y, -54, clip(str(row.loads), _LABEL))
    for module in dict.fromkeys(table["module"]) if several else ():
        style.beside(axes, rows[(table["module"] == module).argmax()] - 1, -6, str(module), fontweight="bold")


def _figures(axes: "Axes", table: pd.DataFrame, rows: np.ndarray) -> None:
    places = ((8, "running, A", "running_a", "limit_a"), (92, "inrush, A", "inrush_a", "peak_a"))
    for points, heading, is_now, may_be in places:
        style.beside(axes, -1.0, points, heading, fontsize=style.SMALL, color=style.MUTED)
        for y, now, limit in zip(rows, table[is_now], table[may_be], strict=True):
            style.beside(axes, y, points, f"{number(now)} of {number(limit)}", fontsize=style.SMALL)


def _spare_words(spare: pd.DataFrame | None) -> str:
    if spare is None or spare.empty:
        return ""
    several = spare["module"].nunique() > 1
    names = [
        f"{f'{row.module} · ' if several else ''}{row.channel} ({number(row.continuous_a)} A)" for row in rows_of(spare)
    ]
    return wrap(f"spare: {', '.join(names)}", 80)


def _frame(axes: "Axes", rows: np.ndarray, spare: str) -> None:
    style.bare(axes)
    axes.set_yticks([])
    axes.set_ylim((rows.max() if len(rows) else 0) + 0.6, -0.6)
    axes.set_xlim(0, max(105, min(160, axes.get_xlim()[1])))
    axes.xaxis.set_major_formatter("{x:g} %")
    axes.set_xlabel(spare, loc="left", fontsize=style.TEXT, color=style.INK)
    style.legend(axes, columns=1, lines=2.4 + 1.3 * bool(spare) + 1.2 * spare.count("\n"))
    style.title(axes, "Headroom by channel")
