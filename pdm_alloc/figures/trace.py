"""A logged switch-on and what was fitted to it."""

import numpy as np

from pdm_alloc.electrics.trace import InrushFit

__all__ = ["draw_trace"]


def draw_trace(axes, time_s, current_a, fit: InrushFit):
    """Draw a trace, its fit, and the levels and times read off it.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
        Drawn on.
    time_s, current_a : array_like, shape (n,)
        The trace, s and A.
    fit : InrushFit
        What `fit_inrush` gave for it.

    Returns
    -------
    matplotlib.axes.Axes
        The same.
    """
    since_ms = 1000 * (np.asarray(time_s, dtype=float) - fit.start_s)
    axes.plot(since_ms, current_a, ".", color="0.6", markersize=3, label="logged", rasterized=True)
    axes.plot(since_ms, fit.current(time_s), "-", color="#0072b2", linewidth=1.6, label=f"fit ({fit.quality})")
    said = _said("running", fit.running_a, fit.running_error_a)
    axes.axhline(fit.before_a + fit.running_a, color="black", linewidth=0.8, linestyle="--", label=said)
    if fit.inrush_ms:
        _mark_inrush(axes, fit)
    axes.set(xlabel="time since switch-on (ms)", ylabel="current (A)")
    axes.legend(loc="best", fontsize="small")
    return axes


def _said(what, value, error, unit="A"):
    return f"{what} {value:.3g} ± {error:.1g} {unit}"


def _mark_inrush(axes, fit):
    peak = fit.before_a + fit.peak_a
    axes.plot(0, peak, "^", color="#d55e00", markersize=8, label=_said("peak", fit.peak_a, fit.peak_error_a))
    inrush = _said("inrush over after", fit.inrush_ms, fit.inrush_error_ms, "ms")
    axes.axvline(fit.inrush_ms, color="#d55e00", linewidth=0.8, linestyle=":", label=inrush)
