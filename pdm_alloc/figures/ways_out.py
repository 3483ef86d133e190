"""Figures of ways out: what is short, two concession sets side by side, operating states, supply."""

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pdm_alloc.figures import drawing
from pdm_alloc.figures.drawing import number, require, rows_of, table_of, wrap

__all__ = ["concessions", "shortfall", "states", "supply"]

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_CONCESSIONS_WIDTH = 50
_LINE = 0.23


@drawing.plain_text
def concessions(result: Any, axes: "Axes | None" = None, ranks: tuple[int, int] = (1, 2)) -> "Axes":
    """Draw two sets of concessions as two columns of cards; the strip on a card's left is as wide as its weight.

    Parameters
    ----------
    result : Explanation or DataFrame
        The table `concessions`, a row for each member of each set: rank (of the set, 1 is cheapest), kind, subject,
        weight, detail (what follows from it, in words); optional likewise (what would do in place of like things).
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
    high = max(sum(h) + _LINE * len(_likewise(one)) for h, one in zip(heights, sets, strict=True)) + 0.75
    axes = drawing.need_axes(axes, 10.5, high + 0.9)
    heaviest = max(float(one["weight"].max()) for one in sets) or 1.0
    for left, rank, one, tall in zip((0.0, 1.06), ranks, sets, heights, strict=True):
        _column(axes, left, rank, one, tall, heaviest)
    drawing.bare(axes, grid="")
    axes.set(xlim=(0, 2.06), ylim=(high, 0), xticks=[], yticks=[])
    drawing.title(axes, "Two ways to make it enough")
    return axes


def _of_rank(table: pd.DataFrame, rank: int) -> pd.DataFrame:
    found = table[table["rank"] == rank]
    if found.empty:
        raise ValueError(f"there is no set of concessions of rank {rank}")
    return found.sort_values(["weight", "subject"], ascending=[False, True], kind="stable")


def _likewise(one: pd.DataFrame) -> list[str]:
    """What would do in place of like things of a set, in lines; none where nothing is known."""
    words = str(one["likewise"].iloc[0]) if "likewise" in one else ""
    return wrap(f"Likewise: {words}", _CONCESSIONS_WIDTH + 14).split("\n") if words else []


def _heading(row: Any) -> str:
    return f"{str(row.kind).replace('_', ' ')}: {row.subject}"


def _lines(row: Any) -> list[str]:
    return [
        *wrap(_heading(row), _CONCESSIONS_WIDTH - 4).split("\n"),
        *wrap(str(row.detail).replace(" -> ", " → "), _CONCESSIONS_WIDTH).split("\n"),
    ]


def _height(row: Any) -> float:
    """Height of a card, inches."""
    return _LINE * len(_lines(row)) + 0.3


def _column(axes: "Axes", left: float, rank: int, one: pd.DataFrame, heights: list[float], heaviest: float) -> None:
    total = f"set {rank}:  {len(one)} concession{'s' if len(one) > 1 else ''}, weight {one['weight'].sum():g}"
    axes.text(left, 0.3, total, fontsize=drawing.TITLE - 1, fontweight="bold", color=drawing.INK, va="center")
    top = 0.62
    for row, high in zip(rows_of(one), heights, strict=True):
        _card(axes, left, top, high - 0.12, row, heaviest)
        top += high
    for n, line in enumerate(_likewise(one)):
        axes.text(left + 0.01, top + _LINE * n, line, va="top", fontsize=drawing.TEXT, color=drawing.MUTED)


def _card(axes: "Axes", left: float, top: float, high: float, row: Any, heaviest: float) -> None:
    head = len(wrap(_heading(row), _CONCESSIONS_WIDTH - 4).split("\n"))
    strip = 0.015 + 0.085 * row.weight / heaviest
    axes.barh(top, 1.0, high, left=left, align="edge", color=drawing.FREE)
    axes.barh(top, strip, high, left=left, align="edge", color=drawing.RUNNING)
    lines = _lines(row)
    for n, line in enumerate(lines):
        weight = "bold" if n < head else "normal"
        axes.text(
            left + 0.125,
            top + 0.09 + _LINE * n,
            line,
            va="top",
            fontsize=drawing.TEXT,
            color=drawing.INK,
            fontweight=weight,
        )
    axes.text(
        left + 0.985, top + 0.09, f"{row.weight:g}", va="top", ha="right", fontsize=drawing.TEXT, color=drawing.MUTED
    )


_SHORTFALL_WIDTH = 78


@drawing.plain_text
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
    axes = drawing.need_axes(axes, 9.5, 1.1 + (bars[-1] if bars else 0) + 0.5)
    for y, row in zip(bars, rows_of(table), strict=True):
        _bar(axes, y, row)
    _shortfall_frame(axes, table, bars)
    return axes


def _sentence(row: Any) -> str:
    return wrap(str(row.sentence), _SHORTFALL_WIDTH)


def _heights(lines: list[int]) -> list[float]:
    """Where each bar lies, inches down: below its sentence of so many lines."""
    return [float(y) for y in np.cumsum([0.22 * n + 0.56 for n in lines]) - 0.3]


def _bar(axes: "Axes", y: float, row: Any) -> None:
    axes.text(0, y - 0.19, _sentence(row), va="bottom", fontsize=drawing.TEXT, color=drawing.INK)
    if pd.isna(row.need) or pd.isna(row.have) or row.need <= 0:
        return
    have = row.have / row.need
    axes.barh(y, have, 0.27, color=drawing.RUNNING)
    axes.barh(y, 1 - have, 0.27, left=have, color="white", hatch=drawing.HATCH, edgecolor=drawing.OVER, lw=1.2)
    drawing.beside(axes, y, 8, _amount(row))


def _amount(row: Any) -> str:
    unit = f" {row.unit}" if isinstance(row.unit, str) and row.unit else ""
    return f"{number(row.have)} of {number(row.need)}{unit}"


def _shortfall_frame(axes: "Axes", table: pd.DataFrame, bars: list[float]) -> None:
    drawing.bare(axes, grid="")
    axes.set_yticks(bars, [wrap(str(kind), 18) for kind in table["kind"]], fontsize=drawing.TEXT)
    axes.set(xlim=(0, 1), ylim=((bars[-1] if bars else 0) + 0.25, 0), xticks=[])
    words = "filled: what the module has    hatched: what is missing"
    axes.set_xlabel(words, fontsize=drawing.SMALL, color=drawing.MUTED)
    drawing.title(axes, _shortfall_title(table))


def _shortfall_title(table: pd.DataFrame) -> str:
    """Whether the bars grow together or each by itself: a row with a set is a part of what is enough."""
    together = set(table["set"] > 0) if "set" in table else {False}
    if together == {True}:
        return "What would be enough, all of it together"
    if together == {False}:
        return "What is short, each kind of limit alone"
    return "What would be enough together; below it, each kind of limit alone"


@drawing.plain_text
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
    axes = drawing.need_axes(axes, 2.4 + 1.2 * max(len(columns), 1), 1.7 + 0.55 * max(len(rows), 1))
    for row in rows_of(table):
        _cell(axes, columns.index(row.state), rows.index((row.module, row.subject)), row.current_a, row.limit_a)
    _states_frame(axes, columns, _labels(rows, table))
    return axes


def _cell(axes: "Axes", x: int, y: int, current_a: float, limit_a: float) -> None:
    share = current_a / limit_a if limit_a else float("inf")
    over = share > 1
    look = (
        {"color": drawing.OVER, "hatch": drawing.HATCH, "edgecolor": "white", "lw": 0}
        if over
        else {"color": _tone(share)}
    )
    axes.barh(y + 0.17, 0.94, 0.42, left=x + 0.03, color=drawing.FREE)
    axes.barh(y + 0.17, 0.94 * min(share, 1), 0.42, left=x + 0.03, **look)
    text = f"{number(current_a)} of {number(limit_a)}"
    weight = "bold" if share >= 0.9 else "normal"
    axes.text(x + 0.03, y - 0.19, text, va="center", fontsize=drawing.SMALL, color=drawing.INK, fontweight=weight)


def _tone(share: float) -> str:
    return drawing.RUNNING if share >= 0.9 else drawing.STEPS[1]


def _labels(rows: list[tuple[str, str]], table: pd.DataFrame) -> list[str]:
    several = table["module"].nunique() > 1
    return [f"{module}\n{subject}" if several else subject for module, subject in rows]


def _states_frame(axes: "Axes", columns: list[str], labels: list[str]) -> None:
    drawing.bare(axes, grid="")
    axes.set_yticks(range(len(labels)), labels, fontsize=drawing.TEXT)
    axes.set_xticks(
        [n + 0.03 for n in range(len(columns))], [wrap(c, 13) for c in columns], fontsize=drawing.TEXT, ha="left"
    )
    axes.xaxis.tick_top()
    axes.set(xlim=(0, max(len(columns), 1)), ylim=(len(labels) - 0.5, -0.6))
    axes.set_xlabel(
        "current of limit, A; dark from 90 % of the limit, hatched above it",
        fontsize=drawing.SMALL,
        color=drawing.MUTED,
    )
    axes.xaxis.set_label_position("bottom")
    drawing.title(axes, "Operating states against the module's limits")


@drawing.plain_text
def supply(result: Any, axes: "Axes | None" = None) -> "Axes":
    """Draw for each state the mean current as a bar, the peak as a line to its right, charging as a mark.

    Parameters
    ----------
    result : Allocation or DataFrame
        The table `supply`: state, mean_a, peak_a, charging_a (A; empty where not known), optional other_a (drawn past
        the modules, A), floor_minutes (from the start of the state until the battery is at its floor, min; empty or
        infinite where it never is) and end_ah (charge at the end of the state, Ah).
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
    axes = drawing.need_axes(axes, 9.5, 2.0 + 0.5 * max(len(table), 1))
    rows = table.index.to_numpy(float)
    axes.barh(rows, table["mean_a"], 0.5, color=drawing.RUNNING, label="average draw")
    axes.hlines(rows, table["mean_a"], table["peak_a"], color=drawing.RUNNING, linewidth=2, label="peak draw")
    axes.plot(table["peak_a"], rows, "|", color=drawing.RUNNING, markersize=11, markeredgewidth=2)
    _charging(axes, table, rows)
    for y, row in enumerate(rows_of(table)):
        drawing.beside(axes, y, 8, _balance(row), fontweight="bold" if _short(row) else "normal")
    _supply_frame(axes, table)
    return axes


def _charging(axes: "Axes", table: pd.DataFrame, rows: Any) -> None:
    gives = table["charging_a"].to_numpy(float)
    look: dict[str, Any] = {"marker": "D", "markersize": 9, "linestyle": "none", "markeredgecolor": drawing.INK}
    axes.plot(gives, rows, color=drawing.INRUSH, label="charging current", zorder=4, clip_on=False, **look)


def _short(row: Any) -> bool:
    return bool(pd.notna(row.charging_a) and _net(row) < 0)


def _net(row: Any) -> float:
    """Charging less what modules and starter draw, A."""
    return float(row.charging_a - row.mean_a - getattr(row, "other_a", 0.0))


def _balance(row: Any) -> str:
    words = ["charging not stated" if pd.isna(row.charging_a) else f"{_net(row):+.1f} A".replace("-", "−")]
    lasts, end_ah = (getattr(row, name, float("nan")) for name in ("floor_minutes", "end_ah"))
    if _short(row) and pd.notna(lasts) and lasts < float("inf"):
        words.append(f"battery lasts {_time(lasts)}")
    return ", ".join([*words, *([f"ends at {end_ah:.0f} Ah"] if pd.notna(end_ah) else [])])


def _time(minutes: float) -> str:
    return f"{minutes:.0f} min" if minutes < 180 else f"{minutes / 60:.0f} h"


def _supply_frame(axes: "Axes", table: pd.DataFrame) -> None:
    drawing.bare(axes)
    axes.set_yticks(range(len(table)), [wrap(s, 24) for s in table["state"]], fontsize=drawing.TEXT)
    axes.set_ylim(max(len(table), 1) - 0.4, -0.6)
    axes.set_xlim(left=-0.025 * axes.get_xlim()[1])
    axes.set_xlabel("A", fontsize=drawing.TEXT, color=drawing.INK)
    drawing.legend(axes)
    drawing.title(axes, "Battery and alternator in each operating state")
