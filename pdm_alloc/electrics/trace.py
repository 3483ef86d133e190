"""A logged switch-on: where it begins and ends, its running current, peak and decay."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["InrushFit", "SwitchOn", "TraceError", "correlated", "find_switch_on", "fit_inrush"]

Array = NDArray[np.float64]

FEWEST_BEFORE = 3
FEWEST_AFTER = 10
_CLEAR = 6.0  # times the noise that counts as a rise; common practice, no source


class TraceError(ValueError):
    """A trace from which nothing can be told; the message says why and what to log instead."""


@dataclass(frozen=True, slots=True, eq=False)
class SwitchOn:
    """A trace and the switch-on in it.

    Parameters
    ----------
    time, current : ndarray, shape (n,)
        Times, s; currents above what flowed before, A.
    first, end : int
        First sample after the switch-on; sample after the last with the load still on.
    before, before_error : float
        Current before the switch-on and its standard error, A.
    noise : float
        Standard deviation from sample to sample, A.
    """

    time: Array
    current: Array
    first: int
    end: int
    before: float
    before_error: float
    noise: float

    @property
    def count(self) -> int:
        """Samples with the load on."""
        return self.end - self.first


def find_switch_on(time_s: ArrayLike, current_a: ArrayLike) -> SwitchOn:
    """Find the first switch-on in a trace.

    Parameters
    ----------
    time_s, current_a : array_like, shape (n,)
        Times, s, rising; currents, A.

    Returns
    -------
    SwitchOn
        The trace with the place of the switch-on.

    Raises
    ------
    TraceError
        There is none, or too little before or after it.
    """
    time, current = _checked(time_s, current_a)
    noise = _noise(current)
    first = _rise(current, noise)
    before = float(current[:first].mean())
    above = current - before
    end = _fall(above, first, noise)
    if end - first < FEWEST_AFTER:
        seen = f"only {end - first} samples with the load on"
        raise TraceError(f"{seen}: log longer after the switch-on, at least {FEWEST_AFTER} samples")
    scatter = max(float(current[:first].std(ddof=1)), noise)
    error = scatter / np.sqrt(first) * correlated(current[:first] - before)
    return SwitchOn(time, above, first, end, before, float(error), noise)


def correlated(residual: Array) -> float:
    """Factor on errors for noise that hangs together from sample to sample.

    Parameters
    ----------
    residual : ndarray, shape (n,)
        Deviations, A.

    Returns
    -------
    float
        sqrt((1 + r) / (1 - r)), r the correlation of neighbours; 1 where it is negative.
    """
    square = float(residual @ residual)
    r = float(residual[1:] @ residual[:-1]) / square if square > 0 else 0.0
    r = min(max(r, 0.0), 0.99)
    return float(np.sqrt((1 + r) / (1 - r)))


def _checked(time_s: ArrayLike, current_a: ArrayLike) -> tuple[Array, Array]:
    time, current = np.asarray(time_s, dtype=float), np.asarray(current_a, dtype=float)
    if time.ndim != 1 or time.shape != current.shape:
        raise TraceError(f"times and currents must be two lists of one length, not {time.shape} and {current.shape}")
    if time.size < FEWEST_BEFORE + FEWEST_AFTER:
        raise TraceError(f"{time.size} samples are too few: log at least {FEWEST_BEFORE + FEWEST_AFTER}")
    bad = np.flatnonzero(~(np.isfinite(time) & np.isfinite(current)))
    if bad.size:
        raise TraceError(f"sample {bad[0] + 1} is not a number: leave such samples out")
    back = np.flatnonzero(np.diff(time) <= 0)
    if back.size:
        raise TraceError(f"time does not rise from sample {back[0] + 1} to {back[0] + 2}: sort the trace by time")
    return time, current


def _noise(current: Array) -> float:
    """From sample to sample; a median, so that the rise and the decay hardly count (1.4826: normal noise).

    Never below that of the meter's resolution, which hides smaller noise altogether (width / sqrt(12)).
    """
    steps = np.diff(current)
    finest = float(np.min(np.abs(steps[steps != 0]), initial=np.inf))
    scatter = 1.4826 * np.median(np.abs(steps - np.median(steps))) / np.sqrt(2)
    # The finest step is the resolution only where it is small: in a trace without noise it is the switch-on.
    resolution = finest if finest < np.ptp(current) / 50 else 0.0
    return float(max(scatter, resolution / np.sqrt(12)))


def _rise(current: Array, noise: float) -> int:
    """First of two samples in a row clearly above the first ones."""
    base = float(np.median(current[:FEWEST_BEFORE]))
    top = float(np.max(current))
    level = max(_CLEAR * noise, 0.1 * (top - base), 1e-9)
    up = current > base + level
    both = np.flatnonzero(up[:-1] & up[1:])
    if not both.size:
        raise TraceError(_no_rise(current, base, level))
    if both[0] < FEWEST_BEFORE:
        raise TraceError(
            f"the trace starts with the load on: log at least {FEWEST_BEFORE} samples before the switch-on"
        )
    return int(both[0])


def _no_rise(current: Array, base: float, level: float) -> str:
    if base - float(np.min(current)) > level:
        remedy = "log from before the switch-on, or turn the clamp round"
        return f"no switch-on: the current starts at {base:.3g} A and only falls; {remedy}"
    return f"no switch-on: the current never rises by more than {level:.2g} A above the {base:.3g} A at the start"


def _fall(above: Array, first: int, noise: float) -> int:
    """Sample at which the current is back where it was, three samples in a row; the end where it is not."""
    top = float(np.max(above[first:]))
    down = above[first:] < max(_CLEAR / 2 * noise, 0.005 * top)
    three = np.flatnonzero(down[:-2] & down[1:-1] & down[2:])
    return first + int(three[0]) if three.size else above.size


_CurveFit = Callable[..., Any]

_TAUS = 80
_FEW = 600
_TIE = 4.0  # standard errors at which a value counts as different from nothing; common practice, no source


@dataclass(frozen=True, slots=True)
class InrushFit:
    """What a logged switch-on says about a load.

    Parameters
    ----------
    running_a, running_error_a : float
        Steady current above what flowed before, and its standard error, A.
    peak_a, peak_error_a : float
        Current at switch-on, running included, and its standard error, A.
    inrush_ms, inrush_error_ms : float
        Time until the excess over running has fallen to 5 %, and its standard error, ms; 0 where
        there is no excess.
    start_s : float
        Time of switch-on in the trace, s.
    before_a : float
        Current that flowed before, A.
    noise_a : float
        Standard deviation of the samples about the fit, A.
    r_squared : float
        Part of the variance of the trace that the fit explains, 0 to 1.
    lack_of_fit : float
        `noise_a` over the noise from sample to sample; near 1 where the load behaves like an
        exponential decay, much above where it does not.
    samples : int
        Samples after switch-on that were used.
    """

    running_a: float
    running_error_a: float
    peak_a: float
    peak_error_a: float
    inrush_ms: float
    inrush_error_ms: float
    start_s: float
    before_a: float
    noise_a: float
    r_squared: float
    lack_of_fit: float
    samples: int

    @property
    def quality(self) -> str:
        """``good``, ``fair`` or ``poor``.

        Good: 98 % of the variance explained and no more than twice the noise from sample to sample left
        over; fair: 90 % and five times (common practice, no source).
        """
        if self.r_squared >= 0.98 and self.lack_of_fit <= 2:
            return "good"
        return "fair" if self.r_squared >= 0.9 and self.lack_of_fit <= 5 else "poor"

    def current(self, time_s: ArrayLike) -> Array:
        """Current of the fit.

        Parameters
        ----------
        time_s : array_like
            Times of the trace, s.

        Returns
        -------
        ndarray, same shape
            A, with what flowed before.
        """
        since_ms = 1000 * (np.asarray(time_s, dtype=float) - self.start_s)
        decay = np.exp(-3 * np.maximum(since_ms, 0) / self.inrush_ms) if self.inrush_ms else 0.0
        on = self.running_a + (self.peak_a - self.running_a) * decay
        return self.before_a + np.where(since_ms >= 0, on, 0.0)


def fit_inrush(time_s: ArrayLike, current_a: ArrayLike) -> InrushFit:
    """Fit running current, peak and decay of an exponential inrush to a logged switch-on.

    The trace must show at least three samples before the switch-on and the current settled after it.
    Between the last sample before and the first after it the moment of switch-on is not known, and a
    fast decay makes the peak uncertain by that; the stated error of the peak says so. Errors allow for
    noise that is not independent from sample to sample (first-order correlation).

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Times, s, rising.
    current_a : array_like, shape (n,)
        Currents, A.

    Returns
    -------
    InrushFit
        Values with standard errors.

    Raises
    ------
    TraceError
        The trace shows no switch-on, or does not settle, or is sampled too slowly to tell; says which.
    ModuleNotFoundError
        scipy is not installed; names the extra that brings it.
    """
    curve_fit = _curve_fit()
    seen = find_switch_on(time_s, current_a)
    settled, errors, begin = _fitted(curve_fit, seen)
    if settled[1] < _TIE * errors[1]:
        return _without_excess(seen, settled, errors, begin)
    _check_settled(seen, settled, errors, begin)
    return _with_excess(seen, settled, errors, begin)


def _curve_fit() -> _CurveFit:
    try:
        from scipy.optimize import curve_fit
    except ModuleNotFoundError as error:
        raise ModuleNotFoundError("scipy fits traces: pip install 'pdm_alloc[documents]'", name="scipy") from error
    fit: _CurveFit = curve_fit
    return fit


def _decay(t: Array, running: float, excess: float, tau: float) -> Array:
    return running + excess * np.exp(-t / tau)


def _fitted(curve_fit: _CurveFit, seen: SwitchOn) -> tuple[Array, Array, int]:
    """Running, excess, tau; their errors; the sample the decay begins with.

    A switch, a filter in the meter or a lead takes a few samples to rise: those lie below the decay
    that the later ones show and are left out.
    """
    last = min(seen.first + max(4, seen.count // 20), seen.end - 5)
    for begin in range(seen.first, last + 1):
        values, errors = _fit_from(curve_fit, seen, begin)
        later, _ = _fit_from(curve_fit, seen, begin + 1)
        expected = _decay(np.array([seen.time[begin] - seen.time[begin + 1]]), *later)[0]
        noise = max(seen.noise, float(np.std(seen.current[begin + 1 : seen.end] - _at(seen, begin + 1, later))))
        if later[1] <= 0 or seen.current[begin] > expected - 5 * noise:
            break
    return values, errors, begin


def _at(seen: SwitchOn, begin: int, values: Array) -> Array:
    t = seen.time[begin : seen.end] - seen.time[begin]
    return _decay(t, *values)


def _fit_from(curve_fit: _CurveFit, seen: SwitchOn, begin: int) -> tuple[Array, Array]:
    t = seen.time[begin : seen.end] - seen.time[begin]
    i = seen.current[begin : seen.end]
    guess = _guess(t, i)
    scale = np.array([max(abs(guess[0]), abs(guess[1]), 1e-12)] * 2 + [guess[2]])
    low, high = [-np.inf, -np.inf, guess[2] / 100], [np.inf, np.inf, guess[2] * 100]
    values, covariance = curve_fit(_decay, t, i, guess, bounds=(low, high), x_scale=scale)
    spread = np.sqrt(np.diag(covariance)) * correlated(i - _decay(t, *values))
    return values, np.where(np.isfinite(spread), spread, np.inf)


def _guess(t: Array, i: Array) -> Array:
    """Best of a grid of time constants; running and excess follow from each by linear least squares."""
    taus = np.geomspace(float(np.min(np.diff(t))) / 3, float(t[-1]), _TAUS)
    few = np.unique(np.geomspace(1, t.size, _FEW).astype(int) - 1)  # a long trace need not be searched whole
    t, i = t[few], i[few]
    best = min(((*_linear(t, i, tau), tau) for tau in taus), key=lambda found: found[0])
    return np.array(best[1:])


def _linear(t: Array, i: Array, tau: float) -> tuple[float, float, float]:
    """Sum of squares, running and excess for one time constant."""
    shape = np.exp(-t / tau)
    deviation = shape - shape.mean()
    square = float(deviation @ deviation)
    excess = float(deviation @ i) / square if square > 0 else 0.0
    running = float(i.mean() - excess * shape.mean())
    return float(np.sum((i - running - excess * shape) ** 2)), running, excess


def _check_settled(seen: SwitchOn, values: Array, errors: Array, begin: int) -> None:
    running, _, tau = values
    length = seen.time[seen.end - 1] - seen.time[begin]
    if seen.end < seen.time.size and running < _TIE * errors[0]:
        raise TraceError("no steady current: it falls back to what flowed before the switch-on")
    if length < 2 * tau or errors[0] > 0.2 * abs(running):
        raise _unsettled(length, 5 * tau)
    gap = seen.time[begin] - seen.time[seen.first - 1]
    if gap > 2 * tau:
        raise TraceError(
            f"sampled too slowly to see the peak: {gap * 1000:.3g} ms without a sample, the inrush falls to a third in "
            f"{tau * 1000:.2g} ms; sample at least every {tau * 250:.2g} ms"
        )


def _unsettled(length: float, wanted: float) -> TraceError:
    need = max(wanted, 2 * length)
    return TraceError(f"the current has not settled {length:.3g} s after switch-on: log for at least {need:.2g} s")


def _without_excess(seen: SwitchOn, values: Array, errors: Array, begin: int) -> InrushFit:
    """A load that rises slowly or steps up at once: its peak is its running current."""
    steady = seen.current[begin : seen.end]
    rises = values[1] < -_TIE * errors[1]
    running, error = (values[0], errors[0]) if rises else _mean(steady)
    if running <= 0 or error > 0.2 * running or not (rises or _is_level(steady)):
        raise _unsettled(seen.time[seen.end - 1] - seen.time[begin], 0)
    model = _at(seen, begin, values) if rises else np.full(steady.shape, running)
    spread = float(np.hypot(error, seen.before_error))
    return _result(seen, begin, model, running=(running, spread), peak=(running, spread), inrush_ms=(0.0, 0.0))


def _is_level(samples: Array) -> bool:
    """Whether the first and the last third agree within 5 %, or within their errors."""
    third = max(samples.size // 3, 2)
    (early, early_error), (late, late_error) = _mean(samples[:third]), _mean(samples[-third:])
    return bool(abs(early - late) < max(0.05 * abs(late), _TIE * np.hypot(early_error, late_error)))


def _mean(samples: Array) -> tuple[float, float]:
    mean = float(samples.mean())
    return mean, float(samples.std(ddof=1) / np.sqrt(samples.size)) * correlated(samples - mean)


def _with_excess(seen: SwitchOn, values: Array, errors: Array, begin: int) -> InrushFit:
    running, excess, tau = values
    gap = seen.time[begin] - seen.time[seen.first - 1]
    peak_excess = excess * np.exp(gap / 2 / tau)
    # Anywhere in the gap alike: a flat spread has the standard deviation width / sqrt(12).
    timing = peak_excess * gap / tau / np.sqrt(12)
    grown = errors[1] * np.exp(gap / 2 / tau)
    return _result(
        seen,
        begin,
        _at(seen, begin, values),
        running=(running, float(np.hypot(errors[0], seen.before_error))),
        peak=(running + peak_excess, float(np.sqrt(grown**2 + timing**2 + errors[0] ** 2 + seen.before_error**2))),
        inrush_ms=(3000 * tau, 3000 * errors[2]),
    )


def _result(seen: SwitchOn, begin: int, model: Array, *, running: Any, peak: Any, inrush_ms: Any) -> InrushFit:
    residual = seen.current[begin : seen.end] - model
    start = (seen.time[begin] + seen.time[seen.first - 1]) / 2
    noise = float(np.sqrt(residual @ residual / max(residual.size - 3, 1)))
    whole = np.concatenate([seen.current[: seen.first], seen.current[begin : seen.end]])
    missed = float(np.sum(seen.current[: seen.first] ** 2) + residual @ residual)
    r_squared = 1 - missed / float(np.sum((whole - whole.mean()) ** 2))
    numbers = [*running, *peak, *inrush_ms, start, seen.before, noise, r_squared, noise / max(seen.noise, 1e-12)]
    return _named(map(float, numbers), residual.size)


def _named(numbers: Iterable[Any], samples: int) -> InrushFit:
    return InrushFit(*[*numbers, samples])
