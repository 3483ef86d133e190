"""What figures share: sheet, colours, labels, text that fits, and the table they are drawn from."""

import functools
import io
import textwrap
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any, Literal, ParamSpec

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = [
    "FREE",
    "GRID",
    "HATCH",
    "INK",
    "INRUSH",
    "MUTED",
    "OVER",
    "RUNNING",
    "SMALL",
    "STEPS",
    "TEXT",
    "TITLE",
    "Box",
    "clip",
    "number",
    "place_labels",
    "require",
    "rows_of",
    "table_of",
    "wrap",
]

# left, bottom, right, top
Box = tuple[float, float, float, float]

_STRAIGHT = ((1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0))

_SLANT = tuple((x * a, y * b) for a, b in ((1, 1), (1, 0.5), (0.5, 1)) for x in (1, -1) for y in (1, -1))

_SIDES = (*_STRAIGHT, *_SLANT)

# How much worse it is to cover words than to cover a line.
_WORDS = 20.0

_REACH = (1.0, 1.5, 2.2, 3.0, 4.0, 5.5)


def place_labels(
    points: np.ndarray, sizes: np.ndarray, gap: float, words: Iterable[Box] = (), lines: Iterable[Box] = ()
) -> np.ndarray:
    """Centres for labels beside their points: the nearest side at which a label covers nothing.

    Greedy in the order given; where every side is taken, the one that covers least.

    Parameters
    ----------
    points, sizes : array of shape (n, 2)
        The points; width and height of their labels, same unit.
    gap : float
        Distance from a point to its label.
    words, lines : iterable of Box
        What is not to be covered; words above all.

    Returns
    -------
    array of shape (n, 2)
    """
    marks: list[Box] = [(x - gap, y - gap, x + gap, y + gap) for x, y in points]
    hard, soft = [*words, *marks], list(lines)
    centres = np.zeros_like(points, dtype=float)
    for n, (point, size) in enumerate(zip(points, sizes, strict=True)):
        tries = [_centre(point, size, gap * reach, side) for reach in _REACH for side in _SIDES]
        boxes = [_box(centre, size) for centre in tries]
        cost = [
            _WORDS * _covered(box, hard) + _covered(box, soft) + _astray(box, points, n) + 1e-6 * k
            for k, box in enumerate(boxes)
        ]
        centres[n] = tries[int(np.argmin(cost))]
        hard.append(_box(centres[n], size))
    return centres


def _centre(point: np.ndarray, size: np.ndarray, gap: float, side: tuple[float, float]) -> np.ndarray:
    return point + np.array(side) * (size / 2 + gap)


def _box(centre: np.ndarray, size: np.ndarray) -> Box:
    (x, y), (w, h) = centre, size / 2
    return (x - w, y - h, x + w, y + h)


def _covered(box: Box, boxes: list[Box]) -> float:
    """Area of `box` that the other boxes cover, each counted for itself."""
    others = np.array(boxes, dtype=float).reshape(-1, 4)
    wide = np.minimum(others[:, 2], box[2]) - np.maximum(others[:, 0], box[0])
    tall = np.minimum(others[:, 3], box[3]) - np.maximum(others[:, 1], box[1])
    return float((wide.clip(min=0) * tall.clip(min=0)).sum())


def _astray(box: Box, points: np.ndarray, own: int) -> float:
    """1 where another point is about as near to the box as its own, so that it would be read as the other's name."""
    low, high = np.array(box[:2]), np.array(box[2:])
    away = np.hypot(*(np.maximum(low - points, points - high).clip(min=0)).T)
    return float((np.delete(away, own) < 1.6 * away[own]).any())


def table_of(source: Any, name: str) -> pd.DataFrame:
    """The table itself, or the table of that name of a result.

    Parameters
    ----------
    source : DataFrame or object
        A table, or anything with a table as its attribute `name`.
    name : str
        Name of the attribute.

    Returns
    -------
    DataFrame
    """
    return source if isinstance(source, pd.DataFrame) else getattr(source, name)


def require(table: pd.DataFrame, *columns: str) -> pd.DataFrame:
    """The table, if it has the columns; one line that names the missing ones if not.

    Raises
    ------
    ValueError
        A column is missing.
    """
    missing = [column for column in columns if column not in table.columns]
    if missing:
        raise ValueError(f"the table for this figure lacks the columns: {', '.join(missing)}")
    return table


def rows_of(table: pd.DataFrame) -> list[Any]:
    """The rows, each with the columns as attributes; a column whose name is no Python name cannot be reached."""
    return list(table.itertuples())


__all__ += ["bare", "beside", "legend", "need_axes", "plain_text", "title"]

_P = ParamSpec("_P")

INK = "#1c2430"
MUTED = "#55606c"
GRID = "#cfd6dd"
FREE = "#e6ebf0"
RUNNING = "#1d4e79"
INRUSH = "#e8a33a"
OVER = "#b5341c"
HATCH = "////"

# From dark to light, for stacked parts: told apart in grey.
STEPS = ("#1d4e79", "#5b8db8", "#b9d0e3", "#e8a33a", "#8a5a12", "#e6ebf0")

TITLE, TEXT, SMALL = 13.0, 10.5, 9.5


@functools.cache
def _sheet_class() -> "type[Figure]":
    """A matplotlib Figure without pyplot that a notebook shows by itself; made with the first figure drawn."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    class Sheet(Figure):
        """A white Figure with room made for every label.

        pyplot keeps every figure it makes in a list of its own and draws twice in notebooks; a plain Figure is not
        shown at all. This one says how it looks as a PNG.
        """

        def __init__(self, **options: Any) -> None:
            look: dict[str, Any] = {"facecolor": "white", "layout": "constrained", **options}
            super().__init__(**look)

        def _repr_png_(self) -> bytes:
            return self.png()

        def png(self, dpi: float = 110) -> bytes:
            """The picture as PNG, dots per inch as asked."""
            return self._written("png", dpi=dpi)

        def svg(self) -> str:
            """The picture as SVG text, the same for the same drawing (no date, no random names in it)."""
            return self._written("svg", metadata={"Date": None}).decode()

        def _written(self, form: str, **options: Any) -> bytes:
            buffer = io.BytesIO()
            with rc_context({"svg.hashsalt": "pdm_alloc"}):
                self.savefig(buffer, format=form, bbox_inches="tight", pad_inches=0.15, **options)
            return buffer.getvalue()

    return Sheet


def need_axes(axes: "Axes | None", width_in: float, height_in: float) -> "Axes":
    """The axes given, or new ones on a sheet of that size.

    Parameters
    ----------
    axes : matplotlib Axes or None
        Axes to draw on.
    width_in, height_in : float
        Size of a new sheet, inches.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    ImportError
        matplotlib is not installed; the message says how to get it.
    """
    if axes is not None:
        return axes
    try:
        sheet = _sheet_class()
    except ModuleNotFoundError as missing:
        package = (missing.name or "matplotlib").split(".")[0]
        raise ImportError(f"figures need {package}: pip install 'pdm_alloc[figures]'") from None
    return sheet(figsize=(width_in, height_in)).add_subplot()


def plain_text(draw: "Callable[_P, Axes]") -> "Callable[_P, Axes]":
    """A figure whose words are shown as they are: a name with dollar signs is no formula."""

    @functools.wraps(draw)
    def drawn(*arguments: _P.args, **options: _P.kwargs) -> "Axes":
        axes = draw(*arguments, **options)
        from matplotlib.text import Text

        ticks = [*axes.get_xticklabels(), *axes.get_yticklabels()]  # made when asked for
        for text in {*axes.findobj(Text), *ticks}:
            text.set_parse_math(False)
        return axes

    return drawn


def bare(axes: "Axes", grid: Literal["x", "y", "both", ""] = "x") -> None:
    """Take off the frame, quieten the ticks, put a light grid behind (`grid`: x, y, both or nothing)."""
    for side in axes.spines.values():
        side.set_visible(False)
    axes.tick_params(length=0, labelsize=TEXT, labelcolor=INK, colors=MUTED)
    axes.set_axisbelow(True)
    if grid:
        axes.grid(axis=grid, color=GRID, linewidth=0.8)


def title(axes: "Axes", text: str) -> None:
    """Title over the left edge, so that it never collides with what stands to the right."""
    axes.set_title(text, loc="left", fontsize=TITLE, fontweight="bold", color=INK, pad=12)


def beside(axes: "Axes", y: float, points: float, text: str, **look: Any) -> None:
    """Write at the height `y` of the data, so many printer's points outside the axes; left of them if negative."""
    edge, align = (1, "left") if points > 0 else (0, "right")
    look = {"fontsize": TEXT, "color": INK, "va": "center", "ha": align, "annotation_clip": False, **look}
    axes.annotate(text, (edge, y), (points, 0), xycoords=axes.get_yaxis_transform(), textcoords="offset points", **look)


def legend(axes: "Axes", columns: int = 3, lines: float = 3.4) -> None:
    """Legend below the axes, clear of ticks and axis label (so many lines of text down)."""
    below: dict[str, Any] = {"loc": "upper left", "bbox_to_anchor": (0, 0), "borderaxespad": lines}
    axes.legend(**below, ncols=columns, fontsize=TEXT, frameon=False, handlelength=1.6, columnspacing=1.6)


def clip(text: str, width: int) -> str:
    """The text, or its beginning and an ellipsis, at most `width` characters."""
    return text if len(text) <= width else text[: max(width - 1, 0)].rstrip(" ,;") + "…"


def wrap(text: str, width: int) -> str:
    """The text broken into lines of at most `width` characters; a longer word is broken too."""
    return "\n".join(textwrap.wrap(text, width)) or text


def number(value: float) -> str:
    """Three figures at most, two places at most, no idle zeros: 0.34, 6.1, 12.5, 117."""
    places = 0 if abs(value) >= 100 else 1 if abs(value) >= 10 else 2
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if places else text
