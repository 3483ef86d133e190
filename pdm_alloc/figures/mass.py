"""Mass by choice: module, wires and feed of each choice of modules and places."""

from typing import TYPE_CHECKING

import pandas as pd

from pdm_alloc.figures import style
from pdm_alloc.figures.source import require
from pdm_alloc.figures.words import wrap

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["mass"]

_PARTS = (
    ("module_g", "modules", style.STEPS[0]),
    ("wire_g", "wires", style.STEPS[2]),
    ("feed_g", "feed from the battery", style.STEPS[1]),
)


@style.plain_text
def mass(choices: pd.DataFrame, axes: "Axes | None" = None, most: int = 15) -> "Axes":
    """Draw a stacked bar a choice, lightest first.

    Parameters
    ----------
    choices : DataFrame
        choice (words: modules and where they sit), module_g, wire_g, feed_g (g; empty counts as 0).
    axes : matplotlib Axes, optional
        Where to draw; a new sheet if absent.
    most : int
        How many choices to show.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    ValueError
        A column is missing.
    """
    require(choices, "choice", *(column for column, _, _ in _PARTS))
    table = _lightest(choices, most)
    axes = style.need_axes(axes, 9.5, 1.9 + 0.42 * max(len(table), 1))
    left = pd.Series(0.0, index=table.index)
    for column, words, colour in _PARTS:
        axes.barh(range(len(table)), table[column] / 1000, 0.62, left=left, color=colour, label=words)
        left = left + table[column] / 1000
    for y, total in enumerate(left):
        axes.annotate(
            f"{total:.2f}",
            (total, y),
            (5, 0),
            textcoords="offset points",
            va="center",
            fontsize=style.TEXT,
            color=style.INK,
        )
    _frame(axes, table, len(choices))
    return axes


def _lightest(choices: pd.DataFrame, most: int) -> pd.DataFrame:
    table = choices.fillna({column: 0.0 for column, _, _ in _PARTS})
    total = sum(table[column] for column, _, _ in _PARTS)
    return table.assign(_total=total).sort_values(["_total", "choice"]).head(most).reset_index(drop=True)


def _frame(axes: "Axes", table: pd.DataFrame, all_of_them: int) -> None:
    style.bare(axes)
    axes.set_yticks(range(len(table)), [wrap(c, 40) for c in table["choice"]], fontsize=style.TEXT)
    axes.set_ylim(max(len(table), 1) - 0.4, -0.6)
    axes.margins(x=0.1)
    shown = f"; the lightest {len(table)} of {all_of_them} choices" if len(table) < all_of_them else ""
    axes.set_xlabel(f"kg{shown}", fontsize=style.TEXT, color=style.INK)
    axes.legend(
        loc="upper center",
        bbox_to_anchor=(0.4, -0.75 / max(len(table), 4)),
        ncols=3,
        fontsize=style.TEXT,
        frameon=False,
    )
    style.title(axes, "Mass by choice")
