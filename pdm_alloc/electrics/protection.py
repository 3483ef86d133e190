"""What a channel's protection makes of a current: how much of it an inrush uses, when a current trips it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pdm_alloc.electrics.inrush import overload_integral

__all__ = ["InrushUse", "inrush_use", "overload_capacity", "time_to_trip"]


@dataclass(frozen=True, slots=True)
class InrushUse:
    """How much of what a channel bears an inrush uses; 1 is all of it.

    Parameters
    ----------
    peak : float
        Peak of the current over peak_a, no unit.
    energy : float
        Overload integral over the channel's capacity for it, no unit.
    """

    peak: float
    energy: float

    @property
    def worst(self) -> float:
        """The larger of the two, no unit."""
        return max(self.peak, self.energy)

    @property
    def passes(self) -> bool:
        """Whether the channel stays on."""
        return self.peak <= 1 and self.energy <= 1


def overload_capacity(usable_a: float, peak_a: float, peak_ms: float) -> float:
    """Overload a channel bears: (peak_a**2 - usable_a**2) * peak_ms.

    Parameters
    ----------
    usable_a : float
        Usable continuous limit, A.
    peak_a, peak_ms : float
        Current above which it trips at once, A; how long it bears that current, ms.

    Returns
    -------
    float
        A**2 ms; 0 where peak_a is not above the usable limit.
    """
    return max(0.0, (peak_a - usable_a) * (peak_a + usable_a) * peak_ms)


def inrush_use(
    running_a: float,
    excess_a: Sequence[float],
    tau_ms: Sequence[float],
    usable_a: float,
    peak_a: float,
    peak_ms: float,
) -> InrushUse:
    """How much of a channel's protection a circuit's inrush uses.

    Parameters
    ----------
    running_a : float
        Running current of the circuit, A.
    excess_a : sequence of float, shape (n,)
        Inrush above running of each item at switch-on, A.
    tau_ms : sequence of float, shape (n,)
        Time constant of each, ms.
    usable_a : float
        Usable continuous limit of the channel, A.
    peak_a, peak_ms : float
        Current above which it trips at once, A, above 0; how long it bears that current, ms.

    Returns
    -------
    InrushUse
        Fractions of what the channel bears; energy is inf where the running current alone is above
        the usable limit, or where there is overload and nothing to bear it.

    Raises
    ------
    ValueError
        An excess or time constant is negative.
    """
    peak = round((running_a + sum(excess_a)) / peak_a, 12)  # tenths summed in binary must not miss their limit
    overload = overload_integral(running_a, excess_a, tau_ms, usable_a)
    if overload == 0:
        return InrushUse(peak, 0.0)
    capacity = overload_capacity(usable_a, peak_a, peak_ms)
    return InrushUse(peak, overload / capacity if capacity else math.inf)


def time_to_trip(current_a: float, usable_a: float, peak_a: float, peak_ms: float) -> float:
    """Time after which a channel trips on a constant current.

    Parameters
    ----------
    current_a : float
        The current, A.
    usable_a : float
        Usable continuous limit, A.
    peak_a, peak_ms : float
        Current above which it trips at once, A; how long it bears that current, ms.

    Returns
    -------
    float
        ms; 0 above peak_a, inf at the usable limit and below.
    """
    if current_a <= usable_a:
        return math.inf
    if current_a > peak_a:
        return 0.0
    return overload_capacity(usable_a, peak_a, peak_ms) / ((current_a - usable_a) * (current_a + usable_a))
