"""Figures of which load is wired to which channel, and of the vehicle from above."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pdm_alloc.figures import drawing
from pdm_alloc.figures.drawing import Box, clip, number, place_labels, require, rows_of, table_of

__all__ = ["grounds", "loads", "plan"]

At = Mapping[str, tuple[float, float]]  # place to where it is, m

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_LOAD_X, _CHANNEL_X, _COUNT_X = 0.0, 1.0, 0.9

_TONES = (drawing.RUNNING, drawing.INRUSH)


@drawing.plain_text
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
    axes = drawing.need_axes(axes, 10.5, 1.1 + 0.27 * high)
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
    axes.text(_COUNT_X, y, f"×{items}", fontsize=drawing.SMALL, ha="center", va="center", color=drawing.INK, bbox=plate)


def _names(axes: "Axes", names: list[str], heights: np.ndarray) -> None:
    for name, y in zip(names, heights, strict=True):
        drawing.beside(axes, y, -4, name)


def _boxes(axes: "Axes", channels: pd.DataFrame, heights: np.ndarray) -> None:
    several = channels["module"].nunique() > 1
    for n, (row, y) in enumerate(zip(rows_of(channels), heights, strict=True)):
        axes.plot([_CHANNEL_X], [y], marker="s", markersize=7, color=_TONES[n % 2])
        name = f"{row.module} · {row.channel}" if several else f"{row.channel}"
        drawing.beside(axes, y, 6, name, fontweight="bold")
        text = f"{clip(row.command, 28)}, {number(row.running_a)} of {number(row.limit_a)} A"
        drawing.beside(axes, y, 150 if several else 56, text)


def _frame(axes: "Axes", high: int) -> None:
    drawing.bare(axes, grid="")
    axes.set(xlim=(-0.02, 1.02), ylim=(high, -0.6), xticks=[], yticks=[])
    drawing.beside(axes, -0.3, -4, "load", fontsize=drawing.SMALL, color=drawing.MUTED)
    drawing.beside(axes, -0.3, 6, "channel", fontsize=drawing.SMALL, color=drawing.MUTED)
    drawing.title(axes, "Loads to channels")


_INCHES = 10.5
_MARGIN_M = 0.3


@drawing.plain_text
def plan(places: pd.DataFrame, segments: pd.DataFrame, modules: pd.DataFrame, axes: "Axes | None" = None) -> "Axes":
    """Draw the vehicle from above, its front to the left; lines as thick as the bundles, with their diameter in mm.

    Parameters
    ----------
    places : DataFrame
        place, x_m (from the front to the rear, m), y_m (from the centre line to the right, m); optional contains
        (words: battery, fuel).
    segments : DataFrame
        start, end (places), bundle_mm (diameter of the bundle, mm; 0 or empty: no wire there), wires (how many).
    modules : DataFrame
        module, place.
    axes : matplotlib Axes, optional
        Where to draw; a new sheet if absent.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    ValueError
        A column is missing, or a segment or module names a place that has no coordinates.
    """
    require(places, "place", "x_m", "y_m")
    require(segments, "start", "end", "bundle_mm", "wires")
    at = {p.place: (p.x_m, p.y_m) for p in rows_of(places) if pd.notna(p.x_m) and pd.notna(p.y_m)}
    _known(at, [*segments["start"], *segments["end"], *require(modules, "module", "place")["place"]])
    points = np.array(list(at.values()), dtype=float).reshape(-1, 2)
    span = np.ptp(points, axis=0) + 2 * _MARGIN_M
    axes = drawing.need_axes(axes, _INCHES, 1.2 + _INCHES * max(span[1] / span[0], 0.25))
    _outline(axes, points, span)
    metres = _metres_per_point(axes, span)
    numbers, lines = _segments(axes, segments, at, metres)
    _places(axes, _labels(places, modules, at), at, metres, numbers, lines)
    _modules(axes, modules, at)
    return axes


def _known(at: At, names: list[str]) -> None:
    unknown = sorted({name for name in names if name not in at})
    if unknown:
        raise ValueError(f"these places have no coordinates: {', '.join(unknown)}")


def _outline(axes: "Axes", points: np.ndarray, span: np.ndarray) -> None:
    from matplotlib.patches import FancyBboxPatch

    low = points.min(axis=0) - _MARGIN_M
    shape = f"round,pad=0,rounding_size={0.3 * span.min()}"
    axes.add_patch(
        FancyBboxPatch(
            (low[0], low[1]),
            span[0],
            span[1],
            boxstyle=shape,
            facecolor="#f4f6f8",
            edgecolor=drawing.GRID,
            lw=1.5,
            zorder=0,
        )
    )
    axes.set(
        xlim=(low[0] - 0.12, low[0] + span[0] + 0.12), ylim=(low[1] - 0.12, low[1] + span[1] + 0.12), aspect="equal"
    )
    drawing.bare(axes, grid="")
    axes.set(xticks=[], yticks=[])
    words = "front to the left, seen from above; numbers: diameter of the bundle, mm"
    axes.set_xlabel(words, fontsize=drawing.SMALL, color=drawing.MUTED)
    drawing.title(axes, "Harness")


def _metres_per_point(axes: "Axes", span: np.ndarray) -> float:
    """Size of a printer's point in the drawing, m; rather too large than too small before the layout is done."""
    across = axes.get_window_extent()
    scale = min(across.width / (span[0] + 0.24), across.height / (span[1] + 0.24))
    return float(axes.figure.dpi / 72 / scale)


def _segments(axes: "Axes", segments: pd.DataFrame, at: At, metres: float) -> tuple[list[Box], list[Box]]:
    """Draw the harness; boxes of its numbers and along its lines, for labels to keep clear of."""
    numbers: list[Box] = []
    lines: list[Box] = []
    for row in rows_of(segments):
        (x0, y0), (x1, y1) = at[row.start], at[row.end]
        used = pd.notna(row.bundle_mm) and row.bundle_mm > 0
        width = max(0.55 * row.bundle_mm, 1.2) if used else 0.8
        axes.plot(
            [x0, x1],
            [y0, y1],
            color=drawing.RUNNING if used else drawing.GRID,
            linewidth=width,
            solid_capstyle="round",
            zorder=1,
        )
        half = metres * (width / 2 + 1)
        along = np.linspace((x0, y0), (x1, y1), 40)
        lines += [(x - half, y - half, x + half, y + half) for x, y in along]
        if used:
            numbers.append(_diameter(axes, along[19:21].mean(axis=0), row.bundle_mm, metres))
    return numbers, lines


def _diameter(axes: "Axes", middle: np.ndarray, bundle_mm: float, metres: float) -> Box:
    axes.text(
        middle[0],
        middle[1],
        f"{bundle_mm:.0f}",
        ha="center",
        va="center",
        fontsize=drawing.SMALL,
        color=drawing.INK,
        zorder=3,
        bbox={"facecolor": "white", "edgecolor": drawing.RUNNING, "linewidth": 0.6, "pad": 1.2},
    )
    half = metres * 8
    return (middle[0] - half, middle[1] - half, middle[0] + half, middle[1] + half)


def _labels(places: pd.DataFrame, modules: pd.DataFrame, at: At) -> dict[str, str]:
    """Words beside each place: its name, and what sits there."""
    labels = {name: name for name in at}
    for row in rows_of(places):
        what = getattr(row, "contains", "")
        if row.place in at and isinstance(what, str) and what and what not in row.place:
            labels[row.place] += f" ({what})"
    for row in rows_of(modules):
        labels[row.place] = f"{row.module}\n{labels[row.place]}"
    return labels


def _places(axes: "Axes", labels: dict[str, str], at: At, metres: float, *boxes: list[Box]) -> None:
    from matplotlib.patheffects import withStroke

    halo = [withStroke(linewidth=2.5, foreground="#f4f6f8")]
    names = sorted(at, key=lambda name: "\n" not in labels[name])
    points = np.array([at[name] for name in names])
    sizes = np.array([_size(labels[name], metres) for name in names])
    axes.plot(*points.T, "o", markersize=6, color="white", markeredgecolor=drawing.INK, zorder=4)
    for name, (x, y) in zip(names, place_labels(points, sizes, 5 * metres, *boxes), strict=True):
        weight = "bold" if "\n" in labels[name] else "normal"
        axes.text(
            x,
            y,
            labels[name],
            ha="center",
            va="center",
            fontsize=drawing.SMALL,
            fontweight=weight,
            color=drawing.INK,
            zorder=5,
            path_effects=halo,
        )


def _size(label: str, metres: float) -> tuple[float, float]:
    lines = label.split("\n")
    bold = 1.15 if len(lines) > 1 else 1.0
    return (
        metres * drawing.SMALL * 0.58 * bold * max(len(line) for line in lines),
        metres * drawing.SMALL * 1.25 * len(lines),
    )


def _modules(axes: "Axes", modules: pd.DataFrame, at: At) -> None:
    where = np.array([at[place] for place in modules["place"]], dtype=float).reshape(-1, 2)
    axes.plot(
        *where.T, "s", markersize=15, color=drawing.INRUSH, markeredgecolor=drawing.INK, markeredgewidth=1.6, zorder=4
    )


@drawing.plain_text
def grounds(places: pd.DataFrame, points: pd.DataFrame, returns: pd.DataFrame, axes: "Axes | None" = None) -> "Axes":
    """Draw the ground points from above, and a line to every place whose returns they take.

    Parameters
    ----------
    places : DataFrame
        place, x_m (from the front to the rear, m), y_m (from the centre line to the right, m).
    points : DataFrame
        ground, place, returns (how many), current_a (in the worst state, A), max_a (A; empty: no limit known).
    returns : DataFrame
        place (where a return starts, if known), ground_place (where it ends, if anywhere), use (power, sensor).
    axes : matplotlib Axes, optional
        Where to draw; a new sheet if absent.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    ValueError
        A column is missing, or a ground point is at a place that has no coordinates.
    """
    require(places, "place", "x_m", "y_m")
    require(returns, "place", "ground_place", "use")
    at = {p.place: (p.x_m, p.y_m) for p in rows_of(places) if pd.notna(p.x_m) and pd.notna(p.y_m)}
    _known(at, [*require(points, "ground", "place", "returns", "current_a", "max_a")["place"]])
    spots = np.array(list(at.values()), dtype=float).reshape(-1, 2)
    span = np.ptp(spots, axis=0) + 2 * _MARGIN_M
    axes = drawing.need_axes(axes, _INCHES, 1.2 + _INCHES * max(span[1] / span[0], 0.25))
    _outline(axes, spots, span)
    drawing.title(axes, "Ground points")
    axes.set_xlabel("front to the left; orange: sensor returns", fontsize=drawing.SMALL, color=drawing.MUTED)
    for row in returns[["place", "ground_place", "use"]].drop_duplicates().itertuples():
        if row.place in at and row.ground_place in at:
            tone = drawing.INRUSH if row.use == "sensor" else drawing.RUNNING
            axes.plot(*np.array([at[row.place], at[row.ground_place]]).T, color=tone, linewidth=1.4, zorder=1)
    _places(axes, _studs(points, at), at, _metres_per_point(axes, span))
    _modules(axes, points, at)
    return axes


def _studs(points: pd.DataFrame, at: At) -> dict[str, str]:
    """Words beside each place: its name, above it the studs there with what they bear."""
    labels = {name: name for name in at}
    for row in rows_of(points):
        limit = f" of {number(row.max_a)}" if pd.notna(row.max_a) else ""
        labels[row.place] = f"{row.ground}: {row.returns}, {number(row.current_a)}{limit} A\n{labels[row.place]}"
    return labels
