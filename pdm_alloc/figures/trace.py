"""A logged switch-on and what was fitted to it."""

from typing import TYPE_CHECKING, Any

import numpy as np

from pdm_alloc.figures import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from pdm_alloc.electrics.trace import InrushFit

__all__ = ["trace"]


@style.plain_text
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
    axes = style.need_axes(axes, 8.5, 4.6)
    since_ms = 1000 * (np.asarray(time_s, dtype=float) - fit.start_s)
    axes.plot(since_ms, current_a, ".", color=style.MUTED, markersize=2.5, alpha=0.5, label="logged", rasterized=True)
    axes.plot(since_ms, fit.current(time_s), color=style.OVER, linewidth=1.8, label=f"fit: {fit.quality}")
    running = _said("running", fit.running_a, fit.running_error_a, "A")
    axes.axhline(fit.before_a + fit.running_a, color=style.RUNNING, linewidth=1.2, linestyle="--", label=running)
    if fit.inrush_ms:
        _mark_inrush(axes, fit)
    style.bare(axes, "both")
    style.title(axes, "Current at switch-on")
    axes.set_xlabel("time since switch-on (ms)", fontsize=style.TEXT, color=style.INK)
    axes.set_ylabel("current (A)", fontsize=style.TEXT, color=style.INK)
    style.legend(axes, 3)
    return axes


def _mark_inrush(axes: "Axes", fit: "InrushFit") -> None:
    peak = _said("peak", fit.peak_a, fit.peak_error_a, "A")
    axes.plot(
        0, fit.before_a + fit.peak_a, "^", color=style.INRUSH, markeredgecolor=style.INK, markersize=9, label=peak
    )
    over = _said("5 % left after", fit.inrush_ms, fit.inrush_error_ms, "ms")
    axes.axvline(fit.inrush_ms, color=style.INRUSH, linewidth=1.4, linestyle=":", label=over)


def _said(what: str, value: float, error: float, unit: str) -> str:
    return f"{what} {value:.3g} ± {error:.1g} {unit}"
