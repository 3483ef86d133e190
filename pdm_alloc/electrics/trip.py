"""Trip setting of a channel: the current, the inrush window, and whether the wire survives a stalled load."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from pdm_alloc.electrics.inrush import time_above, time_to_trip
from pdm_alloc.electrics.wire import step_up_to
from pdm_alloc.electrics.wire_tables import COPPER_HEAT, COPPER_RESISTIVITY, COPPER_ZERO_C, SHORT_TIME_C

__all__ = [
    "TRIP_MARGIN",
    "StallCheck",
    "acceptance_band_ma",
    "damage_ms",
    "inrush_window_ms",
    "short_time_c",
    "stall_check",
    "trip_ms",
    "trip_setting_ma",
    "window_passes",
]

TRIP_MARGIN = Fraction(5, 4)  # trip setting over running current wanted; common practice, no source

_WINDOW_MARGIN = 1.5  # inrush window over the time the inrush needs it; common practice, no source
_WINDOW_STEP_MS = 10


def trip_setting_ma(
    largest_ma: int | Fraction,
    rated_ma: Fraction,
    step_ma: int,
    error_pct: Fraction = Fraction(0),
    ampacity_ma: float = math.inf,
) -> int | str:
    """Least trip setting that holds in every condition: 1.25 times the largest draw over (1 - error), up to a step.

    A channel whose reading may be high by its error trips at setting * (1 - error); a quarter of the largest draw
    stays between the two. There is no setting where that passes what channel or wire bears: headroom and this quarter
    are one margin, so a channel with 20 % of headroom always has one unless its reading is off.

    Parameters
    ----------
    largest_ma : int or Fraction
        Largest draw of the circuit at any voltage of any state in which it may be on, tolerance included, mA.
    rated_ma : Fraction
        Derated rating of the channel, mA.
    step_ma : int
        Step of the module's setting, mA, above 0.
    error_pct : Fraction
        How far the module's own reading may be off, per cent, below 100.
    ampacity_ma : float
        Ampacity of the wire where it is already there, mA; inf: the wire is chosen to suit.

    Returns
    -------
    int or str
        mA, a multiple of `step_ma` above 0; or a reason word: ``rating``, ``wire``.

    Raises
    ------
    ValueError
        The step is not above 0, or the error is not from 0 to below 100 per cent.
    """
    if step_ma <= 0 or not 0 <= error_pct < 100:
        raise ValueError(f"a step is above 0 mA and an error below 100 %, not {step_ma} mA and {float(error_pct):g} %")
    whole = 100 * error_pct.denominator  # in whole numbers: every circuit of a listing asks this
    reads = whole - error_pct.numerator
    least, parts = largest_ma.numerator * TRIP_MARGIN.numerator * whole, largest_ma.denominator * reads
    setting = max(1, -(-least // (parts * TRIP_MARGIN.denominator * step_ma))) * step_ma
    if setting > rated_ma:
        return "rating"
    return setting if setting <= ampacity_ma else "wire"


def acceptance_band_ma(
    draws_ma: tuple[int, int], allowance_pct: Fraction, trip_ma: int, error_pct: Fraction = Fraction(0)
) -> tuple[int, int]:
    """Currents to be accepted when a circuit is first switched on: its draws and an allowance, never up to the trip.

    Parameters
    ----------
    draws_ma : (int, int)
        Least and largest draw expected at the voltage of the test, mA.
    allowance_pct : Fraction
        Widening to either side, per cent of the draw.
    trip_ma : int
        Trip setting, mA.
    error_pct : Fraction
        How far the module's own reading may be off, per cent.

    Returns
    -------
    (int, int)
        Lowest and highest current accepted, mA; the highest is below the lowest current at which the channel can trip.

    Raises
    ------
    ValueError
        The largest draw itself reaches the trip: such a setting does not hold.
    """
    low, high = draws_ma
    trips = trip_ma * (1 - Fraction(error_pct) / 100)
    if high >= trips:
        raise ValueError(f"a draw of {high / 1000:g} A reaches the trip at {float(trips) / 1000:g} A")
    wide = Fraction(allowance_pct) / 100
    return max(0, math.floor(low * (1 - wide))), min(math.floor(high * (1 + wide)), math.ceil(trips) - 1)


def inrush_window_ms(
    running_a: float, excess_a: Sequence[float], tau_ms: Sequence[float], trip_a: float, least_ms: float = 0.0
) -> float:
    """Inrush window to set: 1.5 times as long as the inrush exceeds the trip setting, in whole 10 ms.

    Parameters
    ----------
    running_a : float
        Running current of the circuit, A.
    excess_a : sequence of float, shape (n,)
        Inrush above running of each item at switch-on, A.
    tau_ms : sequence of float, shape (n,)
        Time constant of each, ms.
    trip_a : float
        Trip setting, A.
    least_ms : float
        Window wanted whatever the waveform, ms: a pulsed load must not trip at each pulse.

    Returns
    -------
    float
        ms; `least_ms` in whole 10 ms where the inrush never exceeds the setting, inf where the running current does.

    Raises
    ------
    ValueError
        An excess or time constant is negative.
    """
    needed = time_above(running_a, excess_a, tau_ms, trip_a)
    if needed == math.inf:
        return needed
    return float(_WINDOW_STEP_MS * math.ceil(max(_WINDOW_MARGIN * needed, least_ms) / _WINDOW_STEP_MS))


def window_passes(
    running_a: float, excess_a: Sequence[float], tau_ms: Sequence[float], trip_a: float, window_ms: float
) -> bool:
    """Whether an inrush is below the trip setting again before the window has closed, with a margin of 1.5 in time.

    Parameters
    ----------
    running_a, excess_a, tau_ms, trip_a
        As in `inrush_window_ms`.
    window_ms : float
        Inrush window that is set, ms.

    Returns
    -------
    bool
    """
    needed = time_above(running_a, excess_a, tau_ms, trip_a)
    return needed < math.inf and _WINDOW_MARGIN * needed <= window_ms


def trip_ms(current_a: float, trip_a: float, window_ms: float, usable_a: float, peak_a: float, peak_ms: float) -> float:
    """Time after which a set channel trips on a constant current: the earlier of its setting and its own protection.

    Parameters
    ----------
    current_a : float
        The current, A.
    trip_a, window_ms : float
        Trip setting, A; inrush window, ms.
    usable_a, peak_a, peak_ms : float
        The channel's protection, as in `pdm_alloc.electrics.inrush.time_to_trip`, A, A, ms.

    Returns
    -------
    float
        ms; inf where nothing trips.
    """
    by_setting = window_ms if current_a > trip_a else math.inf
    return min(by_setting, time_to_trip(current_a, usable_a, peak_a, peak_ms))


def short_time_c(insulation_c: float) -> float:
    """Conductor temperature the insulation survives for at most 5 s (IEC 60724, from memory).

    Parameters
    ----------
    insulation_c : float
        Temperature class, up to 200 deg C.

    Returns
    -------
    float
        160 deg C up to class 105, 250 deg C above.

    Raises
    ------
    ValueError
        The class is above 200 deg C.
    """
    return step_up_to(SHORT_TIME_C, insulation_c)


def damage_ms(current_a: float, area_mm2: float, start_c: float, limit_c: float) -> float:
    """Time a conductor takes from one temperature to another without losing heat: k**2 * A**2 / I**2.

    k**2 = Qc * (b + 20) / rho20 * ln((b + limit) / (b + start)), the adiabatic law of IEC 60364-5-54
    (formula and constants as quoted in a cable engineer's notes).

    Parameters
    ----------
    current_a : float or ndarray
        Current, A, above 0.
    area_mm2 : float
        Area of all conductors together, mm2.
    start_c, limit_c : float
        Temperature at the start; temperature not to be passed, deg C.

    Returns
    -------
    float or ndarray, shape of `current_a`
        ms; 0 where the start is not below the limit.
    """
    if start_c >= limit_c:
        return 0.0 * current_a
    heat = COPPER_HEAT * (20 - COPPER_ZERO_C) / (COPPER_RESISTIVITY / 1000)
    k_squared = heat * math.log((limit_c - COPPER_ZERO_C) / (start_c - COPPER_ZERO_C))
    return 1000 * k_squared * area_mm2**2 / current_a**2


@dataclass(frozen=True, slots=True)
class StallCheck:
    """Whether the wire survives a load whose inrush never decays.

    Parameters
    ----------
    trip_ms : float
        When the channel trips on it, ms; inf: it does not.
    damage_ms : float
        When the conductor would pass its short-time temperature, losing no heat, ms.
    steady : bool
        Whether the wire carries for ever what never trips: the trip setting is within its ampacity.
    """

    trip_ms: float
    damage_ms: float
    steady: bool

    @property
    def safe(self) -> bool:
        """Steady, and tripped before the damage (or no trip needed, the current being within the setting)."""
        return self.steady and (self.trip_ms == math.inf or self.trip_ms < self.damage_ms)


def stall_check(
    stalled_a: float,
    trip: tuple[float, float],
    channel: tuple[float, float, float],
    wire: tuple[float, float, float, float],
) -> StallCheck:
    """Check a stalled motor against the wire: steady and adiabatic.

    Parameters
    ----------
    stalled_a : float
        Running current plus an excess that never decays, A.
    trip : (float, float)
        Trip setting, A; inrush window, ms.
    channel : (float, float, float)
        usable_a, peak_a, peak_ms of its protection, A, A, ms.
    wire : (float, float, float, float)
        Area of all conductors, mm2; their ampacity, A; conductor temperature at the start and
        short-time limit of the insulation, deg C.

    Returns
    -------
    StallCheck
    """
    area, ampacity, start_c, limit_c = wire
    tripped = trip_ms(stalled_a, *trip, *channel)
    return StallCheck(tripped, float(damage_ms(stalled_a, area, start_c, limit_c)), trip[0] <= ampacity)
