"""Figures of headroom by channel, drop by load, and room left."""

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pdm_alloc.figures import drawing
from pdm_alloc.figures.drawing import clip, number, require, rows_of, table_of, wrap

__all__ = ["drop", "headroom", "room", "worst"]

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_COLUMNS = ("module", "channel", "command", "loads", "running_a", "limit_a", "inrush_a", "peak_a", "inrush_use_pct")

_LABEL = 44


@drawing.plain_text
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
    axes = drawing.need_axes(axes, 10.5, 1.9 + 0.33 * (rows.max() + 1 if len(rows) else 1))
    _bars(axes, table, rows)
    _limits(axes, _wanted(result) if wanted_pct is None else wanted_pct)
    _names(axes, table, rows)
    _figures(axes, table, rows)
    _headroom_frame(axes, rows, _spare_words(getattr(result, "spare", None)))
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
    axes.barh(rows - 0.13, running, 0.4, color=drawing.RUNNING, label="running current, of the channel's limit")
    axes.barh(rows + 0.21, inrush, 0.24, color=drawing.INRUSH, label="inrush, of what the channel lets pass")
    _over(axes, rows - 0.13, running, 0.4)
    _over(axes, rows + 0.21, inrush, 0.24)


def _over(axes: "Axes", heights: np.ndarray, shares: np.ndarray, thick: float) -> None:
    """Hatch what passes 100 per cent."""
    passed = shares > 100
    look: dict[str, Any] = {"left": 100, "color": drawing.OVER, "hatch": drawing.HATCH, "edgecolor": "white", "lw": 0}
    axes.barh(heights[passed], shares[passed] - 100, thick, **look)


def _limits(axes: "Axes", wanted_pct: float | None) -> None:
    axes.axvline(100, color=drawing.INK, linewidth=1.8)
    if wanted_pct:
        label = f"{wanted_pct:g} % headroom"
        axes.axvline(100 - wanted_pct, color=drawing.INK, linewidth=1.2, linestyle=(0, (4, 3)), label=label)


def _names(axes: "Axes", table: pd.DataFrame, rows: np.ndarray) -> None:
    several = table["module"].nunique() > 1
    for y, row in zip(rows, rows_of(table), strict=True):
        drawing.beside(axes, y, -6, str(row.channel), fontweight="bold")
        drawing.beside(axes, y, -54, clip(str(row.loads), _LABEL))
    for module in dict.fromkeys(table["module"]) if several else ():
        drawing.beside(axes, rows[(table["module"] == module).argmax()] - 1, -6, str(module), fontweight="bold")


def _figures(axes: "Axes", table: pd.DataFrame, rows: np.ndarray) -> None:
    places = ((8, "running, A", "running_a", "limit_a"), (92, "inrush, A", "inrush_a", "peak_a"))
    for points, heading, is_now, may_be in places:
        drawing.beside(axes, -1.0, points, heading, fontsize=drawing.SMALL, color=drawing.MUTED)
        for y, now, limit in zip(rows, table[is_now], table[may_be], strict=True):
            drawing.beside(axes, y, points, f"{number(now)} of {number(limit)}", fontsize=drawing.SMALL)


def _spare_words(spare: pd.DataFrame | None) -> str:
    if spare is None or spare.empty:
        return ""
    several = spare["module"].nunique() > 1
    names = [
        f"{f'{row.module} · ' if several else ''}{row.channel} ({number(row.continuous_a)} A)" for row in rows_of(spare)
    ]
    return wrap(f"spare: {', '.join(names)}", 80)


def _headroom_frame(axes: "Axes", rows: np.ndarray, spare: str) -> None:
    drawing.bare(axes)
    axes.set_yticks([])
    axes.set_ylim((rows.max() if len(rows) else 0) + 0.6, -0.6)
    axes.set_xlim(0, max(105, min(160, axes.get_xlim()[1])))
    axes.xaxis.set_major_formatter("{x:g} %")
    axes.set_xlabel(spare, loc="left", fontsize=drawing.TEXT, color=drawing.INK)
    drawing.legend(axes, columns=1, lines=2.4 + 1.3 * bool(spare) + 1.2 * spare.count("\n"))
    drawing.title(axes, "Headroom by channel")


@drawing.plain_text
def drop(result: Any, axes: "Axes | None" = None) -> "Axes":
    """Draw a bar a load, longest first, and a tick where its limit is.

    Parameters
    ----------
    result : Allocation or DataFrame
        The table `drops`: load, drop_pct and limit_pct (per cent of the system voltage; empty where no length is
        known), optional drop_v and feed_drop_v (V), wire (text, for example ``2.5 mm2``).
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
    axes = drawing.need_axes(axes, 9.5, 1.7 + 0.27 * max(len(known), 1))
    for y, row in enumerate(rows_of(known)):
        _bar(axes, y, row)
    _drop_frame(axes, known, len(table) - len(known))
    return axes


def _bar(axes: "Axes", y: int, row: Any) -> None:
    over = row.drop_pct > row.limit_pct
    look = (
        {"color": drawing.OVER, "hatch": drawing.HATCH, "edgecolor": "white", "lw": 0}
        if over
        else {"color": drawing.RUNNING}
    )
    axes.barh(y, row.drop_pct, 0.62, **look)
    axes.plot([row.limit_pct] * 2, [y - 0.42, y + 0.42], color=drawing.INK, linewidth=2.2, solid_capstyle="butt")
    drawing.beside(axes, y, 8, _drop_words(row), fontsize=drawing.SMALL)


def _drop_words(row: Any) -> str:
    volts = (
        f"{number(row.drop_v)} V" if hasattr(row, "drop_v") and pd.notna(row.drop_v) else f"{number(row.drop_pct)} %"
    )
    feed = getattr(row, "feed_drop_v", 0.0)
    volts += f" + {number(feed)} V feed" if feed >= 0.005 else ""
    return f"{volts}   {row.wire}" if hasattr(row, "wire") and pd.notna(row.wire) else volts


def _drop_frame(axes: "Axes", known: pd.DataFrame, unknown: int) -> None:
    drawing.bare(axes)
    axes.set_yticks(range(len(known)), [clip(name, 40) for name in known["load"]], fontsize=drawing.TEXT)
    axes.set_ylim(max(len(known), 1) - 0.4, -0.6)
    axes.set_xlim(left=0)
    left_out = f"; {unknown} loads without a length are not judged" if unknown else ""
    words = f"drop, per cent of the system voltage; tick: what is allowed{left_out}"
    axes.set_xlabel(words, fontsize=drawing.SMALL, color=drawing.MUTED)
    drawing.title(axes, "Voltage drop from module to load")


@drawing.plain_text
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
    axes = drawing.need_axes(axes, 9.5, 1.4 + 0.62 * max(len(table), 1))
    axes.barh(range(len(table)), table["more"], 0.56, color=drawing.RUNNING)
    for y, row in enumerate(rows_of(table)):
        axes.annotate(
            _room_words(row),
            (row.more, y),
            (6, 0),
            textcoords="offset points",
            va="center",
            fontsize=drawing.TEXT,
            color=drawing.INK,
        )
    _room_frame(axes, table)
    return axes


def _room_words(row: Any) -> str:
    count = f"{row.more:g}{' or more' if getattr(row, 'at_least', False) else ''}"
    stop = getattr(row, "limited_by", "")
    return f"{count}   then: {wrap(stop, 34)}" if isinstance(stop, str) and stop else count


def _label(row: Any) -> str:
    amps = getattr(row, "running_a", float("nan"))
    return wrap(f"{row.kind}, {number(amps)} A" if pd.notna(amps) else str(row.kind), 26)


def _room_frame(axes: "Axes", table: pd.DataFrame) -> None:
    from matplotlib.ticker import MaxNLocator

    drawing.bare(axes)
    axes.set_yticks(range(len(table)), [_label(row) for row in rows_of(table)], fontsize=drawing.TEXT)
    axes.set_ylim(max(len(table), 1) - 0.4, -0.6)
    axes.set_xlim(0, max(1.0, float(table["more"].max() if len(table) else 1)) * 1.05)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    axes.set_xlabel("how many more", fontsize=drawing.TEXT, color=drawing.INK)
    drawing.title(axes, "Room left, one kind of load at a time")


_WORST = ("module", "limit", "state", "current_a", "limit_a", "used_pct", "combination", "changed")


@drawing.plain_text
def worst(result: Any, axes: "Axes | None" = None) -> "Axes":
    """Draw the worst combination of every bank and module: how much of its limit it takes, and in words.

    Parameters
    ----------
    result : WorstCombinations or DataFrame
        The table `table` of `pdm_alloc.worst`: module, limit, state, current_a and limit_a (A), used_pct (per cent),
        combination, changed.
    axes : matplotlib Axes, optional
        Where to draw; a new sheet, as high as there are limits, if absent.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    ValueError
        A column is missing.
    """
    table = require(table_of(result, "table"), *_WORST).reset_index(drop=True)
    rows = np.arange(len(table), dtype=float)
    axes = drawing.need_axes(axes, 10.5, 1.6 + 0.9 * max(1, len(table)))
    used = table["used_pct"].to_numpy(float)
    axes.barh(rows, used, 0.3, color=drawing.RUNNING)
    _over(axes, rows, used, 0.3)
    axes.axvline(100, color=drawing.INK, linewidth=1.8)
    several = table["module"].nunique() > 1
    for y, row in zip(rows, rows_of(table), strict=True):
        name = f"{row.module} {row.limit}" if several else str(row.limit)
        drawing.beside(axes, y, -6, clip(name, _LABEL), fontweight="bold")
        drawing.beside(axes, y, 8, f"{number(row.current_a)} of {number(row.limit_a)} A", fontsize=drawing.SMALL)
        change = f", then {row.changed}" if row.changed else ""
        words = wrap(f"{row.state}: {row.combination}{change}", 92)
        axes.text(0, y + 0.19, words, va="top", fontsize=drawing.SMALL, color=drawing.MUTED)
    drawing.bare(axes)
    axes.set_yticks([])
    axes.set_ylim(len(table) - 0.2, -0.6)
    axes.set_xlabel("current of the worst combination, % of the limit")
    drawing.title(axes, "Most that can be on at once")
    return axes
