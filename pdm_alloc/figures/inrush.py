"""Inrush of a circuit against its channel's protection and the wire's damage, on logarithmic axes."""

from typing import TYPE_CHECKING

import pandas as pd

from pdm_alloc.figures import style
from pdm_alloc.figures.source import require

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["inrush"]

# column, words, colour, width, dashes
_CURVES = (
    ("circuit_a", "inrush of the circuit", style.INRUSH, 3.2, "solid"),
    ("stalled_a", "the motor stalled, never started", style.INRUSH, 1.8, (0, (1, 1.5))),
    ("trip_a", "the channel switches off", style.RUNNING, 2.4, "solid"),
    ("wire_a", "the wire is damaged", style.INK, 2.0, (0, (5, 2))),
)


@style.plain_text
def inrush(curves: pd.DataFrame, axes: "Axes | None" = None, name: str = "") -> "Axes":
    """Draw current over time: what the circuit takes, what the channel lets pass, what the wire bears.

    The circuit passes when its curve stays below the channel's; the wire is protected when the channel's curve stays
    below the wire's.

    Parameters
    ----------
    curves : DataFrame
        t_ms (time since switch-on, ms, above 0, rising) and, in A, circuit_a (current of the circuit at that time),
        trip_a (steady current that switches the channel off after that time), wire_a (steady current that takes the
        wire to its highest temperature in that time); optional stalled_a (current of the circuit if its motor never
        turns). Empty cells are left out.
    axes : matplotlib Axes, optional
        Where to draw; a new sheet if absent.
    name : str, optional
        Name of the circuit, for the title.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    ValueError
        A column is missing.
    """
    require(curves, "t_ms", "circuit_a", "trip_a", "wire_a")
    axes = style.need_axes(axes, 9.0, 5.6)
    for column, words, colour, width, dashes in _CURVES:
        if column in curves.columns and curves[column].notna().any():
            drawn = curves[["t_ms", column]].dropna()
            axes.plot(drawn["t_ms"], drawn[column], color=colour, linewidth=width, linestyle=dashes, label=words)
    _frame(axes, name)
    # A wire bears thousands of amps for a millisecond: what matters is where its curve comes down to the channel's.
    axes.set_ylim(top=6 * float(curves[["circuit_a", "trip_a"]].max().max()))
    return axes


def _frame(axes: "Axes", name: str) -> None:
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    axes.set(xscale="log", yscale="log")
    style.bare(axes, grid="both")
    axes.grid(which="minor", color=style.GRID, linewidth=0.4)
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(LogLocator(base=10, subs=(1.0, 2.0, 5.0), numticks=20))
        axis.set_minor_formatter(NullFormatter())
    axes.xaxis.set_major_locator(LogLocator(base=10, numticks=12))
    axes.xaxis.set_major_formatter(FuncFormatter(_duration))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda a, _: f"{a:g}"))
    axes.set_xlabel("time since switch-on", fontsize=style.TEXT, color=style.INK)
    axes.set_ylabel("current, A", fontsize=style.TEXT, color=style.INK)
    style.legend(axes, columns=2, lines=4.0)
    style.title(axes, f"Inrush, protection and wire{': ' if name else ''}{name}")


def _duration(t_ms: float, _: object = None) -> str:
    """The time in the unit a person would say: 0.1 ms, 10 ms, 1 s, 1000 s."""
    return f"{t_ms:g} ms" if t_ms < 1000 else f"{t_ms / 1000:g} s"
