"""Loads to channels: which load is wired to which channel, as two columns and the wires between them."""

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pdm_alloc.figures import style
from pdm_alloc.figures.source import require, rows_of, table_of
from pdm_alloc.figures.words import clip, number

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["loads"]

_LOAD_X, _CHANNEL_X, _COUNT_X = 0.0, 1.0, 0.9
_TONES = (style.RUNNING, style.INRUSH)


@style.plain_text
def loads(result: Any, axes: "Axes | None" = None) -> "Axes":
    """Draw every load on the left, every used channel on the right, and a line for each item between them.

    Loads stand in the order of their channels, so that no two lines cross unless a load is split over channels.

    Parameters
    ----------
    result : Allocation or any object with two tables
        `assignments`: load, item, module, channel; `channels`: module, channel, command, running_a (A), limit_a (A).
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
    channels = require(table_of(result, "channels"), "module", "channel", "command", "running_a", "limit_a")
    wires = _wires(require(table_of(result, "assignments"), "load", "item", "module", "channel"), channels)
    names = list(dict.fromkeys(wires["load"]))
    high = max(len(names), len(channels), 1)
    axes = style.need_axes(axes, 10.5, 1.1 + 0.27 * high)
    left, right = _spread(len(names), high), _spread(len(channels), high)
    _lines(axes, wires, left[[names.index(n) for n in wires["load"]]], right[wires["row"]])
    _names(axes, [clip(n, 36) for n in names], left)
    _boxes(axes, channels, right)
    _frame(axes, high)
    return axes


def _wires(assignments: pd.DataFrame, channels: pd.DataFrame) -> pd.DataFrame:
    keys = zip(channels["module"], channels["channel"], strict=True)
    row = {key: n for n, key in enumerate(keys)}
    found = [row[key] for key in zip(assignments["module"], assignments["channel"], strict=True)]
    wires = assignments.assign(row=found).groupby(["load", "row"], sort=False).size().reset_index(name="items")
    return wires.assign(first=wires.groupby("load")["row"].transform("min")).sort_values(["first", "load", "row"])


def _spread(count: int, high: int) -> np.ndarray:
    """Heights of `count` rows spread evenly over the height of `high` rows."""
    return (np.arange(count) + 0.5) * high / max(count, 1)


def _lines(axes: "Axes", wires: pd.DataFrame, start: np.ndarray, end: np.ndarray) -> None:
    x = np.linspace(_LOAD_X, _CHANNEL_X, 40)
    bend = (1 - np.cos(np.pi * x)) / 2
    for row, items, y0, y1 in zip(wires["row"], wires["items"], start, end, strict=True):
        tone = _TONES[row % 2]
        axes.plot(x, y0 + (y1 - y0) * bend, color=tone, linewidth=1.2 + 0.5 * items, solid_capstyle="round")
        if items > 1:
            _count(axes, items, y0 + (y1 - y0) * (1 - np.cos(np.pi * _COUNT_X)) / 2)


def _count(axes: "Axes", items: int, y: float) -> None:
    """How many items go this way, on the line near its channel, where the lines of a split load lie apart."""
    plate = {"facecolor": "white", "edgecolor": "none", "pad": 0.6}
    axes.text(_COUNT_X, y, f"×{items}", fontsize=style.SMALL, ha="center", va="center", color=style.INK, bbox=plate)


def _names(axes: "Axes", names: list[str], heights: np.ndarray) -> None:
    for name, y in zip(names, heights, strict=True):
        style.beside(axes, y, -4, name)


def _boxes(axes: "Axes", channels: pd.DataFrame, heights: np.ndarray) -> None:
    several = channels["module"].nunique() > 1
    for n, (row, y) in enumerate(zip(rows_of(channels), heights, strict=True)):
        axes.plot([_CHANNEL_X], [y], marker="s", markersize=7, color=_TONES[n % 2])
        name = f"{row.module} · {row.channel}" if several else f"{row.channel}"
        style.beside(axes, y, 6, name, fontweight="bold")
        text = f"{clip(row.command, 28)}, {number(row.running_a)} of {number(row.limit_a)} A"
        style.beside(axes, y, 150 if several else 56, text)


def _frame(axes: "Axes", high: int) -> None:
    style.bare(axes, grid="")
    axes.set(xlim=(-0.02, 1.02), ylim=(high, -0.6), xticks=[], yticks=[])
    style.beside(axes, -0.3, -4, "load", fontsize=style.SMALL, color=style.MUTED)
    style.beside(axes, -0.3, 6, "channel", fontsize=style.SMALL, color=style.MUTED)
    style.title(axes, "Loads to channels")
