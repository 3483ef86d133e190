"""Figures of limits: headroom by channel, drop by load, room left, inrush against trip and wire, a logged trace."""

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pdm_alloc.electrics.protection import damage_ms, inrush_current, overload_capacity, short_time_c
from pdm_alloc.electrics.wire import Refused
from pdm_alloc.figures import drawing
from pdm_alloc.figures.drawing import clip, number, require, rows_of, table_of, wrap

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from pdm_alloc.electrics.trace import InrushFit
    from pdm_alloc.result.allocation import Allocation

__all__ = [
    "curves",
    "curves_of",
    "drop",
    "headroom",
    "inrush",
    "room",
    "trace",
    "trip_curve_a",
    "wire_curve_a",
    "worst",
]

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
    if isinstance(found[0].made, Refused):
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
