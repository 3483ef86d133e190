"""Figures of inrush against protection and wire, and of a logged switch-on."""

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pdm_alloc.electrics.inrush import inrush_current, overload_capacity
from pdm_alloc.electrics.trip import damage_ms, short_time_c
from pdm_alloc.figures import drawing
from pdm_alloc.figures.drawing import require

__all__ = ["curves", "curves_of", "inrush", "trace", "trip_curve_a", "wire_curve_a"]

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from pdm_alloc.electrics.trace import InrushFit
    from pdm_alloc.result.allocation import Allocation

_FIRST_MS, _LAST_MS, _POINTS = 0.1, 100_000.0, 400


def curves(
    running_a: float,
    excess_a: tuple[float, ...],
    tau_ms: tuple[float, ...],
    trip: tuple[float, float],
    channel: tuple[float, float, float],
    wire: tuple[float, float, float],
    stalled_a: float | None = None,
) -> pd.DataFrame:
    """Currents over time of a circuit, its channel and its wire.

    Parameters
    ----------
    running_a : float
        Running current, A.
    excess_a, tau_ms : tuple of float, shape (n,)
        Inrush above running of each item, A; its time constant, ms.
    trip : (float, float)
        Trip setting, A; inrush window, ms.
    channel : (float, float, float)
        Usable continuous limit and peak, A; how long it bears the peak, ms.
    wire : (float, float, float)
        Area of all conductors, mm2; their ampacity, A; temperature class of the insulation, deg C.
    stalled_a : float, optional
        Current of the circuit when its motor never turns, A.

    Returns
    -------
    DataFrame
        The columns `inrush` wants: t_ms, circuit_a, trip_a, wire_a, and stalled_a where it is given.

    Raises
    ------
    ValueError
        `excess_a` and `tau_ms` differ in length, or the insulation is outside the tables of wire.
    """
    t_ms = np.geomspace(_FIRST_MS, _LAST_MS, _POINTS)
    table = pd.DataFrame({"t_ms": t_ms, "circuit_a": inrush_current(t_ms, running_a, excess_a, tau_ms)})
    table["trip_a"] = trip_curve_a(t_ms, *trip, *channel)
    table["wire_a"] = wire_curve_a(t_ms, *wire)
    return table if stalled_a is None else table.assign(stalled_a=stalled_a)


def trip_curve_a(
    t_ms: np.ndarray, trip_a: float, window_ms: float, usable_a: float, peak_a: float, peak_ms: float
) -> np.ndarray:
    """Steady current above which a set channel has switched off after a time: `electrics.trip.trip_ms` turned round.

    Parameters
    ----------
    t_ms : array, shape (n,)
        Times, ms, above 0.
    trip_a, window_ms : float
        Trip setting, A; inrush window, ms.
    usable_a, peak_a, peak_ms : float
        Usable continuous limit and peak of the channel, A; how long it bears the peak, ms.

    Returns
    -------
    array, shape (n,)
        A.
    """
    own = np.sqrt(usable_a**2 + overload_capacity(usable_a, peak_a, peak_ms) / t_ms)
    setting = np.where(t_ms >= window_ms, trip_a, np.inf)
    return np.minimum(np.minimum(own, peak_a), setting)


def wire_curve_a(t_ms: np.ndarray, area_mm2: float, ampacity_a: float, insulation_c: float) -> np.ndarray:
    """Steady current that damages a warm wire in a time: without loss of heat, but never less than its ampacity.

    Parameters
    ----------
    t_ms : array, shape (n,)
        Times, ms, above 0.
    area_mm2, ampacity_a : float
        Area of all conductors, mm2; their ampacity, A.
    insulation_c : float
        Temperature class of the insulation, up to 200 deg C; the conductor starts at it.

    Returns
    -------
    array, shape (n,)
        A.

    Raises
    ------
    ValueError
        The class is above 200 deg C.
    """
    one_amp_ms = damage_ms(1.0, area_mm2, insulation_c, short_time_c(insulation_c))
    return np.maximum(np.sqrt(one_amp_ms / t_ms), ampacity_a)


def curves_of(allocation: "Allocation", channel: str | int, module: str | None = None) -> pd.DataFrame:
    """Currents over time of the circuit on a channel, of that channel and of the wire chosen for it.

    Parameters
    ----------
    allocation : Allocation
        The circuits.
    channel : str or int
        Channel as the tables write it, ``7`` or ``26+27``.
    module : str, optional
        Label of the unit; needed only where several units have such a channel.

    Returns
    -------
    DataFrame
        As `curves` gives it; the whole circuit where it is on two channels.

    Raises
    ------
    KeyError
        No circuit is on that channel, or several are, or no wire was found for it.
    """
    wired = _on(allocation, str(channel), module)
    rating, made = wired.place.rating, wired.made
    excess = [(item.surge_ma * number / 1000, item.tau_ms) for item, number in wired.members]
    return curves(
        wired.running_ma / 1000,
        tuple(amps for amps, _ in excess),
        tuple(tau for _, tau in excess),
        (made.trip_ma / 1000, made.window_ms),
        (rating.usable_ma / 1000, rating.peak_ma / 1000, rating.peak_ms),
        (made.wire.size.area_mm2 * made.wire.parallel, made.wire.ampacity_a, allocation.vehicle.settings.insulation_c),
        wired.stalled_a,
    )


def _on(allocation: "Allocation", channel: str, module: str | None) -> Any:
    found = [w for w in allocation.wired if w.circuit.channel == channel and module in (None, w.circuit.unit)]
    if len(found) != 1:
        raise KeyError(f"{'several circuits are' if found else 'no circuit is'} on channel {channel}")
    if isinstance(found[0].made, str):
        raise KeyError(f"no wire was found for the circuit on channel {channel}")
    return found[0]


# column, words, colour, width, dashes
_CURVES = (
    ("circuit_a", "inrush of the circuit", drawing.INRUSH, 3.2, "solid"),
    ("stalled_a", "the motor stalled, never started", drawing.INRUSH, 1.8, (0, (1, 1.5))),
    ("trip_a", "the channel switches off", drawing.RUNNING, 2.4, "solid"),
    ("wire_a", "the wire is damaged", drawing.INK, 2.0, (0, (5, 2))),
)


@drawing.plain_text
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
    axes = drawing.need_axes(axes, 9.0, 5.6)
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
    drawing.bare(axes, grid="both")
    axes.grid(which="minor", color=drawing.GRID, linewidth=0.4)
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(LogLocator(base=10, subs=(1.0, 2.0, 5.0), numticks=20))
        axis.set_minor_formatter(NullFormatter())
    axes.xaxis.set_major_locator(LogLocator(base=10, numticks=12))
    axes.xaxis.set_major_formatter(FuncFormatter(_duration))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda a, _: f"{a:g}"))
    axes.set_xlabel("time since switch-on", fontsize=drawing.TEXT, color=drawing.INK)
    axes.set_ylabel("current, A", fontsize=drawing.TEXT, color=drawing.INK)
    drawing.legend(axes, columns=2, lines=4.0)
    drawing.title(axes, f"Inrush, protection and wire{': ' if name else ''}{name}")


def _duration(t_ms: float, _: object = None) -> str:
    """The time in the unit a person would say: 0.1 ms, 10 ms, 1 s, 1000 s."""
    return f"{t_ms:g} ms" if t_ms < 1000 else f"{t_ms / 1000:g} s"


@drawing.plain_text
def trace(time_s: Any, current_a: Any, fit: "InrushFit", axes: "Axes | None" = None) -> "Axes":
    """Draw a logged current, the fit, and what is read off it with its standard errors.

    Parameters
    ----------
    time_s, current_a : array_like, shape (n,)
        The trace, s and A.
    fit : InrushFit
        What `fit_inrush` gave for it.
    axes : matplotlib Axes, optional
        Where to draw; a new sheet if absent.

    Returns
    -------
    matplotlib Axes
    """
    axes = drawing.need_axes(axes, 8.5, 4.6)
    since_ms = 1000 * (np.asarray(time_s, dtype=float) - fit.start_s)
    axes.plot(since_ms, current_a, ".", color=drawing.MUTED, markersize=2.5, alpha=0.5, label="logged", rasterized=True)
    axes.plot(since_ms, fit.current(time_s), color=drawing.OVER, linewidth=1.8, label=f"fit: {fit.quality}")
    running = _said("running", fit.running_a, fit.running_error_a, "A")
    axes.axhline(fit.before_a + fit.running_a, color=drawing.RUNNING, linewidth=1.2, linestyle="--", label=running)
    if fit.inrush_ms:
        _mark_inrush(axes, fit)
    drawing.bare(axes, "both")
    drawing.title(axes, "Current at switch-on")
    axes.set_xlabel("time since switch-on (ms)", fontsize=drawing.TEXT, color=drawing.INK)
    axes.set_ylabel("current (A)", fontsize=drawing.TEXT, color=drawing.INK)
    drawing.legend(axes, 3)
    return axes


def _mark_inrush(axes: "Axes", fit: "InrushFit") -> None:
    peak = _said("peak", fit.peak_a, fit.peak_error_a, "A")
    axes.plot(
        0, fit.before_a + fit.peak_a, "^", color=drawing.INRUSH, markeredgecolor=drawing.INK, markersize=9, label=peak
    )
    over = _said("5 % left after", fit.inrush_ms, fit.inrush_error_ms, "ms")
    axes.axvline(fit.inrush_ms, color=drawing.INRUSH, linewidth=1.4, linestyle=":", label=over)


def _said(what: str, value: float, error: float, unit: str) -> str:
    return f"{what} {value:.3g} ± {error:.1g} {unit}"
