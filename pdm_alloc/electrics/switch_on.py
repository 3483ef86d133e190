"""The switch-on in a logged trace: where the current rises, and until when it stays up."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["SwitchOn", "TraceError", "correlated", "find_switch_on"]

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
