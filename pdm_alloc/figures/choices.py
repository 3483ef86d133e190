"""Figures of mass and price by choice of modules and places, and of what a vehicle gains and loses."""

from typing import TYPE_CHECKING

import pandas as pd

from pdm_alloc.domain.showing import counted
from pdm_alloc.figures import drawing
from pdm_alloc.figures.drawing import require, wrap

__all__ = ["bus_wires", "front", "ledger", "mass", "pareto"]

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_PARTS = (
    ("module_g", "modules", drawing.STEPS[0]),
    ("wire_g", "wires", drawing.STEPS[2]),
    ("feed_g", "feed from the battery", drawing.STEPS[1]),
)


@drawing.plain_text
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
    axes = drawing.need_axes(axes, 9.5, 1.9 + 0.42 * max(len(table), 1))
    left = pd.Series(0.0, index=table.index)
    for column, words, colour in _PARTS:
        axes.barh(range(len(table)), table[column] / 1000, 0.62, left=left, color=colour, label=words)
        left = left + table[column] / 1000
    for y, total in enumerate(left):
        _beside_bar(axes, y, total, f"{total:.2f}")
    _mass_frame(axes, table, len(choices))
    return axes


def _lightest(choices: pd.DataFrame, most: int) -> pd.DataFrame:
    table = choices.fillna({column: 0.0 for column, _, _ in _PARTS})
    total = sum(table[column] for column, _, _ in _PARTS)
    return table.assign(_total=total).sort_values(["_total", "choice"]).head(most).reset_index(drop=True)


def _mass_frame(axes: "Axes", table: pd.DataFrame, all_of_them: int) -> None:
    drawing.bare(axes)
    axes.set_yticks(range(len(table)), [wrap(c, 40) for c in table["choice"]], fontsize=drawing.TEXT)
    axes.set_ylim(max(len(table), 1) - 0.4, -0.6)
    axes.margins(x=0.1)
    shown = f"; the lightest {len(table)} of {all_of_them} choices" if len(table) < all_of_them else ""
    axes.set_xlabel(f"kg{shown}", fontsize=drawing.TEXT, color=drawing.INK)
    axes.legend(
        loc="upper center",
        bbox_to_anchor=(0.4, -0.75 / max(len(table), 4)),
        ncols=3,
        fontsize=drawing.TEXT,
        frameon=False,
    )
    drawing.title(axes, "Mass by choice")


def front(choices: pd.DataFrame) -> pd.DataFrame:
    """Rows of `choices` for which no other row is at most as dear and at most as heavy, and less of one.

    Parameters
    ----------
    choices : DataFrame
        price, mass_g.

    Returns
    -------
    DataFrame
        By rising price.
    """
    by_price = choices.sort_values(["price", "mass_g"], kind="stable")
    lightest = by_price["mass_g"].astype(float).cummin().shift(fill_value=float("inf"))
    return by_price[by_price["mass_g"] < lightest]


@drawing.plain_text
def pareto(choices: pd.DataFrame, axes: "Axes | None" = None) -> "Axes":
    """Draw every choice as a point, one module or several, and join those worth considering.

    Parameters
    ----------
    choices : DataFrame
        choice (words), price, mass_g (g, modules, wires and feed), modules (how many); optional bound_g (g):
        where mass_g is empty, what the choice cannot be lighter than, drawn small.
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
    priced = require(choices, "choice", "price", "mass_g", "modules").dropna(subset=["price"])
    table = priced.dropna(subset=["mass_g"])
    axes = drawing.need_axes(axes, 9.5, 6.2)
    _passed_over(axes, priced[priced["mass_g"].isna()])
    for marker, colour, words, rows in (
        ("o", drawing.STEPS[2], "one module", table[table["modules"] == 1]),
        ("s", drawing.INRUSH, "two modules or more", table[table["modules"] > 1]),
    ):
        axes.scatter(
            rows["price"],
            rows["mass_g"] / 1000,
            s=46,
            marker=marker,
            color=colour,
            edgecolor=drawing.INK,
            lw=0.6,
            label=words,
        )
    _best(axes, front(table))
    _pareto_frame(axes)
    return axes


def _passed_over(axes: "Axes", rows: pd.DataFrame) -> None:
    """Choices that were not solved, at the least they can weigh: enough to know that they are not better."""
    if "bound_g" in rows.columns and rows["bound_g"].notna().any():
        words = "passed over: weighs this or more"
        axes.scatter(rows["price"], rows["bound_g"] / 1000, s=14, marker="^", color=drawing.MUTED, lw=0, label=words)


def _best(axes: "Axes", best: pd.DataFrame) -> None:
    kg = best["mass_g"] / 1000
    axes.plot(
        best["price"],
        kg,
        color=drawing.INK,
        linewidth=1.6,
        drawstyle="steps-post",
        label="none is cheaper and lighter",
        zorder=0,
    )
    for number, (price, y) in enumerate(zip(best["price"], kg, strict=True), start=1):
        axes.annotate(
            f"{number}",
            (price, y),
            (-7, -12),
            textcoords="offset points",
            ha="right",
            fontsize=drawing.TEXT,
            fontweight="bold",
            color=drawing.INK,
        )
    lines = [f"{n}  {wrap(str(c), 34)}".replace("\n", "\n    ") for n, c in enumerate(best["choice"], start=1)]
    axes.text(
        1.02,
        1.0,
        "\n".join(lines),
        transform=axes.transAxes,
        va="top",
        fontsize=drawing.SMALL,
        color=drawing.INK,
        linespacing=1.5,
    )


def _pareto_frame(axes: "Axes") -> None:
    drawing.bare(axes, grid="both")
    axes.margins(0.08)
    axes.set_xlabel("price of the modules", fontsize=drawing.TEXT, color=drawing.INK)
    axes.set_ylabel("modules, wires and feed, kg", fontsize=drawing.TEXT, color=drawing.INK)
    drawing.legend(axes, lines=4.0)
    drawing.title(axes, "Price against mass")


@drawing.plain_text
def ledger(table: pd.DataFrame, axes: "Axes | None" = None) -> "Axes":
    """Draw the weight ledger: what is fitted to the right, what is removed to the left, and what is left of it.

    Parameters
    ----------
    table : DataFrame
        part, count, mass_g (g, of all of them; removed below 0; empty rows are left out). The rows ``net`` and
        ``conventional wiring`` stand apart.
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
    rows = require(table, "part", "count", "mass_g").dropna(subset=["mass_g"]).reset_index(drop=True)
    axes = drawing.need_axes(axes, 9.0, 1.4 + 0.32 * max(len(rows), 1))
    tones = {"net": drawing.INRUSH, "conventional wiring": drawing.FREE}
    colours = [tones.get(part, drawing.RUNNING) for part in rows["part"]]
    kg = rows["mass_g"] / 1000
    axes.barh(range(len(rows)), kg, 0.62, color=colours, edgecolor=drawing.INK, linewidth=0.6)
    for y, value in enumerate(kg):
        _beside_bar(axes, y, value, f"{value:.2f}")
    names = [f"{part} ×{n}" if n > 1 else str(part) for part, n in zip(rows["part"], rows["count"], strict=True)]
    drawing.bare(axes)
    axes.set_yticks(range(len(rows)), [wrap(name, 40) for name in names], fontsize=drawing.TEXT)
    axes.set_ylim(max(len(rows), 1) - 0.4, -0.6)
    axes.margins(x=0.14)
    axes.axvline(0, color=drawing.INK, linewidth=1)
    axes.set_xlabel("kg; removed to the left, fitted to the right", fontsize=drawing.TEXT, color=drawing.INK)
    drawing.title(axes, "Weight ledger")
    return axes


def _beside_bar(axes: "Axes", y: float, value: float, text: str) -> None:
    at, align = (5, "left") if value >= 0 else (-5, "right")
    axes.annotate(
        text,
        (value, y),
        (at, 0),
        textcoords="offset points",
        va="center",
        ha=align,
        fontsize=drawing.TEXT,
        color=drawing.INK,
    )


@drawing.plain_text
def bus_wires(table: pd.DataFrame, axes: "Axes | None" = None) -> "Axes":
    """Draw how many wires the bus saves: one wire per switch beside the wires of keypads, at each place and together.

    Parameters
    ----------
    table : DataFrame
        place, keypads, one_per_switch, with_bus; see `SignalSide.wires_by_place`.
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
    rows = require(table, "place", "keypads", "one_per_switch", "with_bus").reset_index(drop=True)
    axes = drawing.need_axes(axes, 8.0, 1.5 + 0.75 * max(len(rows), 1))
    sides = (
        ("one_per_switch", -0.2, drawing.FREE, "one wire per switch"),
        ("with_bus", 0.2, drawing.RUNNING, "with the bus"),
    )
    for column, shift, tone, label in sides:
        at = [n + shift for n in range(len(rows))]
        axes.barh(at, rows[column], 0.36, color=tone, edgecolor=drawing.INK, linewidth=0.6, label=label)
        for y, wires in zip(at, rows[column], strict=True):
            _beside_bar(axes, y, wires, f"{wires:.0f}")
    names = [
        wrap(f"{p or 'no place'}: {k}" if k else str(p), 34)
        for p, k in zip(rows["place"], rows["keypads"], strict=True)
    ]
    drawing.bare(axes)
    axes.set_yticks(range(len(rows)), names, fontsize=drawing.TEXT)
    axes.set_ylim(max(len(rows), 1) - 0.4, -0.6)
    axes.margins(x=0.14)
    axes.set_xlabel(
        "wires from the switches; those of a keypad with its supply and ground",
        fontsize=drawing.TEXT,
        color=drawing.INK,
    )
    drawing.legend(axes, lines=4.0)
    saved = int(rows["one_per_switch"].iloc[-1] - rows["with_bus"].iloc[-1]) if len(rows) else 0
    drawing.title(axes, f"The bus saves {counted(saved, 'wire')}" if saved > 0 else "The bus saves no wires")
    return axes
