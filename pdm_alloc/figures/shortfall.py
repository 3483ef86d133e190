"""Shortfall: what a module has of each kind of limit, and what would be needed."""

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pdm_alloc.figures import style
from pdm_alloc.figures.source import require, rows_of, table_of
from pdm_alloc.figures.words import number, wrap

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["shortfall"]

_WIDTH = 78


@style.plain_text
def shortfall(result: Any, axes: "Axes | None" = None) -> "Axes":
    """Draw a bar for each kind of limit that is short: what the module has, and hatched what is missing.

    Every bar is as long as what is needed, since channels and amps have no common scale.

    Parameters
    ----------
    result : Explanation or DataFrame
        The table `shortfall`: kind, subject, state, have, need, short, unit, sentence; have, need and short in the
        unit of the row (``A`` or empty for a number of channels).
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
    wanted = ("kind", "have", "need", "short", "unit", "sentence")
    table = require(table_of(result, "shortfall"), *wanted).reset_index(drop=True)
    bars = _heights([_sentence(row).count("\n") + 1 for row in rows_of(table)])
    axes = style.need_axes(axes, 9.5, 1.1 + (bars[-1] if bars else 0) + 0.5)
    for y, row in zip(bars, rows_of(table), strict=True):
        _bar(axes, y, row)
    _frame(axes, table, bars)
    return axes


def _sentence(row: Any) -> str:
    return wrap(str(row.sentence), _WIDTH)


def _heights(lines: list[int]) -> list[float]:
    """Where each bar lies, inches down: below its sentence of so many lines."""
    return [float(y) for y in np.cumsum([0.22 * n + 0.56 for n in lines]) - 0.3]


def _bar(axes: "Axes", y: float, row: Any) -> None:
    axes.text(0, y - 0.19, _sentence(row), va="bottom", fontsize=style.TEXT, color=style.INK)
    if pd.isna(row.need) or pd.isna(row.have) or row.need <= 0:
        return
    have = row.have / row.need
    axes.barh(y, have, 0.27, color=style.RUNNING)
    axes.barh(y, 1 - have, 0.27, left=have, color="white", hatch=style.HATCH, edgecolor=style.OVER, lw=1.2)
    style.beside(axes, y, 8, _amount(row))


def _amount(row: Any) -> str:
    unit = f" {row.unit}" if isinstance(row.unit, str) and row.unit else ""
    return f"{number(row.have)} of {number(row.need)}{unit}"


def _frame(axes: "Axes", table: pd.DataFrame, bars: list[float]) -> None:
    style.bare(axes, grid="")
    axes.set_yticks(bars, [wrap(str(kind), 18) for kind in table["kind"]], fontsize=style.TEXT)
    axes.set(xlim=(0, 1), ylim=((bars[-1] if bars else 0) + 0.25, 0), xticks=[])
    words = "filled: what the module has    hatched: what is missing"
    axes.set_xlabel(words, fontsize=style.SMALL, color=style.MUTED)
    style.title(axes, "What is short, each kind of limit alone")
