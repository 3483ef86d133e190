"""Plan of the vehicle from above: places, harness drawn by the size of its bundles, modules."""

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pdm_alloc.figures import style
from pdm_alloc.figures.label import Box, place_labels
from pdm_alloc.figures.source import require, rows_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["plan"]

_INCHES = 10.5
_MARGIN_M = 0.3


@style.plain_text
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
    axes = style.need_axes(axes, _INCHES, 1.2 + _INCHES * max(span[1] / span[0], 0.25))
    _outline(axes, points, span)
    metres = _metres_per_point(axes, span)
    numbers, lines = _segments(axes, segments, at, metres)
    _places(axes, _labels(places, modules, at), at, metres, numbers, lines)
    _modules(axes, modules, at)
    return axes


def _known(at: dict, names: list[str]) -> None:
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
            edgecolor=style.GRID,
            lw=1.5,
            zorder=0,
        )
    )
    axes.set(
        xlim=(low[0] - 0.12, low[0] + span[0] + 0.12), ylim=(low[1] - 0.12, low[1] + span[1] + 0.12), aspect="equal"
    )
    style.bare(axes, grid="")
    axes.set(xticks=[], yticks=[])
    words = "front to the left, seen from above; numbers: diameter of the bundle, mm"
    axes.set_xlabel(words, fontsize=style.SMALL, color=style.MUTED)
    style.title(axes, "Harness")


def _metres_per_point(axes: "Axes", span: np.ndarray) -> float:
    """Size of a printer's point in the drawing, m; rather too large than too small before the layout is done."""
    across = axes.get_window_extent()
    scale = min(across.width / (span[0] + 0.24), across.height / (span[1] + 0.24))
    return float(axes.figure.dpi / 72 / scale)


def _segments(axes: "Axes", segments: pd.DataFrame, at: dict, metres: float) -> tuple[list[Box], list[Box]]:
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
            color=style.RUNNING if used else style.GRID,
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
        fontsize=style.SMALL,
        color=style.INK,
        zorder=3,
        bbox={"facecolor": "white", "edgecolor": style.RUNNING, "linewidth": 0.6, "pad": 1.2},
    )
    half = metres * 8
    return (middle[0] - half, middle[1] - half, middle[0] + half, middle[1] + half)


def _labels(places: pd.DataFrame, modules: pd.DataFrame, at: dict) -> dict[str, str]:
    """Words beside each place: its name, and what sits there."""
    labels = {name: name for name in at}
    for row in rows_of(places):
        what = getattr(row, "contains", "")
        if row.place in at and isinstance(what, str) and what and what not in row.place:
            labels[row.place] += f" ({what})"
    for row in rows_of(modules):
        labels[row.place] = f"{row.module}\n{labels[row.place]}"
    return labels


def _places(axes: "Axes", labels: dict[str, str], at: dict, metres: float, *boxes: list[Box]) -> None:
    from matplotlib.patheffects import withStroke

    halo = [withStroke(linewidth=2.5, foreground="#f4f6f8")]
    names = sorted(at, key=lambda name: "\n" not in labels[name])
    points = np.array([at[name] for name in names])
    sizes = np.array([_size(labels[name], metres) for name in names])
    axes.plot(*points.T, "o", markersize=6, color="white", markeredgecolor=style.INK, zorder=4)
    for name, (x, y) in zip(names, place_labels(points, sizes, 5 * metres, *boxes), strict=True):
        weight = "bold" if "\n" in labels[name] else "normal"
        axes.text(
            x,
            y,
            labels[name],
            ha="center",
            va="center",
            fontsize=style.SMALL,
            fontweight=weight,
            color=style.INK,
            zorder=5,
            path_effects=halo,
        )


def _size(label: str, metres: float) -> tuple[float, float]:
    lines = label.split("\n")
    bold = 1.15 if len(lines) > 1 else 1.0
    return (
        metres * style.SMALL * 0.58 * bold * max(len(line) for line in lines),
        metres * style.SMALL * 1.25 * len(lines),
    )


def _modules(axes: "Axes", modules: pd.DataFrame, at: dict) -> None:
    where = np.array([at[place] for place in modules["place"]], dtype=float).reshape(-1, 2)
    axes.plot(
        *where.T, "s", markersize=15, color=style.INRUSH, markeredgecolor=style.INK, markeredgewidth=1.6, zorder=4
    )
