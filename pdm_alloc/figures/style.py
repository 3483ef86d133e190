"""The look of all figures: colours that differ in grey as well, sizes of text, bare axes.

Lightness of the colours (CIE L*, about): running 31, over 41, inrush 71, free 92. They are told apart on a grey
printer by lightness and for a colour-blind eye by blue against orange; a limit that is passed is hatched too.
"""

import functools
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Literal, ParamSpec

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["FREE", "GRID", "HATCH", "INK", "INRUSH", "MUTED", "OVER", "RUNNING", "SMALL", "STEPS", "TEXT", "TITLE"]
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
        from pdm_alloc.figures.sheet import Sheet
    except ModuleNotFoundError as missing:
        package = (missing.name or "matplotlib").split(".")[0]
        raise ImportError(f"figures need {package}: pip install 'pdm_alloc[figures]'") from None
    return Sheet(figsize=(width_in, height_in)).add_subplot()


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
