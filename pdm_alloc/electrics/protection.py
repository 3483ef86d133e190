"""Inrush, trip setting and wire of a circuit: what has to hold before it is allowed on a channel."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pdm_alloc.electrics.wire import (
    Refused,
    Run,
    WireChoice,
    WireRules,
    choose_wire,
    fits_terminal,
    pins_needed,
    step_up_to,
    wire_sizes,
)
from pdm_alloc.electrics.wire_tables import COPPER_HEAT, COPPER_RESISTIVITY, COPPER_ZERO_C, SHORT_TIME_C

__all__ = [
    "TRIP_MARGIN",
    "Demand",
    "InrushUse",
    "Protected",
    "Rated",
    "StallCheck",
    "acceptance_band_ma",
    "damage_ms",
    "inrush_current",
    "inrush_use",
    "inrush_window_ms",
    "outlasts_window",
    "overload_capacity",
    "overload_integral",
    "protect",
    "short_time_c",
    "stall_check",
    "time_above",
    "time_to_trip",
    "trip_ms",
    "trip_setting_ma",
    "window_passes",
]

_STEPS = 60  # quadratic convergence needs about five; sixty is only a stop


def inrush_current(
    t_ms: ArrayLike, running_a: float, excess_a: Sequence[float], tau_ms: Sequence[float]
) -> NDArray[np.float64]:
    """Current of a circuit after switch-on: running plus decaying exponentials, one a load.

    Parameters
    ----------
    t_ms : array_like, any shape
        Time since switch-on, ms, not negative.
    running_a : float
        Running current of the whole circuit, A.
    excess_a : sequence of float, shape (n,)
        Inrush above running of each load at switch-on, A.
    tau_ms : sequence of float, shape (n,)
        Time constant of each (a third of its inrush_ms), ms; 0: a peak without length.

    Returns
    -------
    ndarray, shape of `t_ms`
        Current, A.
    """
    t = np.asarray(t_ms, dtype=float)
    current = np.full(t.shape, float(running_a))
    for excess, tau in zip(excess_a, tau_ms, strict=True):
        current = current + excess * (np.exp(-t / tau) if tau > 0 else (t <= 0))
    return current


def overload_integral(running_a: float, excess_a: Sequence[float], tau_ms: Sequence[float], limit_a: float) -> float:
    """Integral of i**2 - limit**2 over the time the current is above the limit.

    Exact: the current is a constant plus falling exponentials, so it is above the limit from
    switch-on to one crossing, and between the two the integral has a closed form. Only the crossing
    of unequal time constants needs a root finder.

    Parameters
    ----------
    running_a : float
        Running current of the whole circuit, A, not negative.
    excess_a : sequence of float, shape (n,)
        Inrush above running of each load at switch-on, A, not negative.
    tau_ms : sequence of float, shape (n,)
        Time constant of each, ms, not negative; 0: a peak without length, which adds nothing here.
    limit_a : float
        Usable continuous limit, A.

    Returns
    -------
    float
        A**2 ms; 0 where the current never passes the limit, inf where the running current does.

    Raises
    ------
    ValueError
        An excess or time constant is negative, or the two sequences differ in length.
    """
    if running_a > limit_a:
        return math.inf
    terms = _merged(excess_a, tau_ms)
    if running_a + sum(terms.values()) <= limit_a:
        return 0.0
    end = _crossing(terms, limit_a - running_a)
    return _closed_form(running_a, tuple(terms.items()), limit_a, end)


def time_above(running_a: float, excess_a: Sequence[float], tau_ms: Sequence[float], level_a: float) -> float:
    """How long after switch-on the current stays above a level.

    Parameters
    ----------
    running_a, excess_a, tau_ms
        As in `overload_integral`.
    level_a : float
        Level, A.

    Returns
    -------
    float
        ms; 0 where it never is above (a peak without length counts as never), inf where the running
        current is at the level or above it and the inrush is above it.

    Raises
    ------
    ValueError
        As in `overload_integral`.
    """
    if running_a > level_a:
        return math.inf
    terms = _merged(excess_a, tau_ms)
    return 0.0 if running_a + sum(terms.values()) <= level_a else _crossing(terms, level_a - running_a)


def _merged(excess_a: Sequence[float], tau_ms: Sequence[float]) -> dict[float, float]:
    """Excess by time constant: loads of one kind share theirs, so few terms are left."""
    terms: dict[float, float] = {}
    for excess, tau in zip(excess_a, tau_ms, strict=True):
        if excess < 0 or tau < 0:
            raise ValueError(f"an inrush of {excess} A over {tau} ms is not possible: neither is negative")
        if excess > 0 and tau > 0:
            terms[tau] = terms.get(tau, 0.0) + excess
    return terms


def _crossing(terms: Mapping[float, float], gap_a: float) -> float:
    """Time at which the excess has fallen to `gap_a`: Newton on its logarithm.

    The logarithm of a sum of falling exponentials is convex and falling, so from the left Newton
    never oversteps; with one time constant the first step is exact.
    """
    if gap_a <= 0:
        return math.inf
    target = math.log(gap_a)
    logs = [(math.log(excess), 1 / tau) for tau, excess in terms.items()]
    t = max(0.0, max((log - target) / rate for log, rate in logs))
    if len(logs) == 1:
        return t
    for _ in range(_STEPS):
        step = _newton_step(logs, target, t)
        t += step
        if step <= 1e-13 * t:
            break
    return t


def _newton_step(logs: Sequence[tuple[float, float]], target: float, t: float) -> float:
    """Step to the right, all parts taken relative to the largest so that none of them vanishes."""
    parts = [log - rate * t for log, rate in logs]
    top = max(parts)
    value = slope = 0.0
    for part, (_, rate) in zip(parts, logs, strict=True):
        weight = math.exp(part - top)
        value += weight
        slope += weight * rate
    return max(0.0, (top + math.log(value) - target) * value / slope)


def _closed_form(running: float, terms: Sequence[tuple[float, float]], limit: float, end: float) -> float:
    total = 0.0 if end == math.inf else (running - limit) * (running + limit) * end
    for index, (tau, excess) in enumerate(terms):
        total += 2 * running * excess * _area(tau, end) + excess * excess * _area(tau / 2, end)
        for other_tau, other in terms[index + 1 :]:
            total += 2 * excess * other * _area(tau * other_tau / (tau + other_tau), end)
    return max(0.0, total)


def _area(tau: float, end: float) -> float:
    """Integral of exp(-t / tau) from 0 to `end`."""
    return -tau * math.expm1(-end / tau)


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


TRIP_MARGIN = Fraction(5, 4)  # trip setting over running current wanted; common practice, no source

_WINDOW_MARGIN = 1.5  # inrush window over the time the inrush needs it; common practice, no source
_WINDOW_STEP_MS = 10


def trip_setting_ma(
    largest_ma: int | Fraction,
    rated_ma: Fraction,
    step_ma: int,
    error_pct: Fraction = Fraction(0),
    ampacity_ma: float = math.inf,
) -> int | Refused:
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
    int or Refused
        mA, a multiple of `step_ma` above 0; or why there is none: ``rating``, ``wire``.

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
        return Refused("rating")
    return setting if setting <= ampacity_ma else Refused("wire")


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
        The channel's protection, as in `pdm_alloc.electrics.protection.time_to_trip`, A, A, ms.

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


class Rated(Protocol):
    """What is asked of a channel: currents in mA, time in ms, area in mm2."""

    @property
    def rated_ma(self) -> Fraction:
        """Derated rating, mA."""

    @property
    def usable_ma(self) -> int:
        """Derated rating less the headroom wanted, mA."""

    @property
    def peak_ma(self) -> int:
        """Trips at once above it, mA."""

    @property
    def peak_ms(self) -> float:
        """How long it bears peak_ma, ms."""

    @property
    def trip_step_ma(self) -> int:
        """Step of the trip setting of one channel, mA."""

    @property
    def trip_error_pct(self) -> Fraction:
        """How far the module's own reading may be off, per cent."""

    @property
    def share(self) -> Fraction:
        """Largest part of the current that one of its channels carries, no unit; 1 unless two are paralleled."""

    @property
    def max_wire_mm2(self) -> float | None:
        """Largest conductor of one terminal, mm2; None: not judged."""

    @property
    def pins(self) -> int:
        """Conductors that can be wired side by side."""

    @property
    def wires(self) -> int:
        """Channels that feed the circuit side by side."""

    @property
    def contact_ma(self) -> int | None:
        """What one pin bears, mA; None: not known, so every pin has its own wire."""


@dataclass(frozen=True, slots=True)
class Demand:
    """What a circuit asks of its channel and its wire.

    Parameters
    ----------
    running_ma : int
        Largest draw at any voltage, tolerance included, mA.
    excess_a, tau_ms : sequence of float, shape (n,)
        Largest inrush above running of each item, A; its time constant, ms.
    stalled_ma : int
        Current that flows for ever when its motors stall, mA; 0: nothing in it can stall.
    runs : sequence of (float, float or None, float)
        For each load: current, A; length one way, m, or None; drop allowed, per cent.
    window_ms : float
        Least inrush time, whatever the waveform, ms.
    """

    running_ma: int
    excess_a: Sequence[float]
    tau_ms: Sequence[float]
    stalled_ma: int
    runs: Sequence[Run]
    window_ms: float = 0.0


@dataclass(frozen=True, slots=True)
class Protected:
    """Setting and wire of a circuit on a channel.

    Parameters
    ----------
    trip_ma : int
        Trip setting, of both channels of a pair together, mA.
    window_ms : float
        Inrush window, ms.
    wire : WireChoice
        Its wire.
    stall : StallCheck or None
        Stalled motor against that wire; None: nothing in it can stall.
    """

    trip_ma: int
    window_ms: float
    wire: WireChoice
    stall: StallCheck | None


def protect(demand: Demand, channel: Rated, rules: WireRules, like: Protected | None = None) -> Protected | Refused:
    """Least trip setting a circuit may have on a channel and the smallest wire it protects.

    A wire that a stalled motor, or one that is held back, would overheat before the trip is replaced by
    a thicker one. It is taken to be at its class temperature when the motor stalls, and not to pass the temperature its
    insulation survives for 5 s. Where the channel's terminal sets no limit, as many of the largest
    conductors are laid side by side as its setting takes. Every pin has its own wire, unless it is known what a contact
    bears and fewer bear the setting.

    Parameters
    ----------
    demand : Demand
        The circuit.
    channel : Rated
        The channel's ratings, as of `pdm_alloc.circuits.classes.Rating`.
    rules : WireRules
        Sizes, insulation, ambient, bundle, return and voltage.
    like : Protected, optional
        The same circuit by the same rules on a channel that differs in rating and terminal alone, its setting within
        this channel's rating: setting and inrush window are the same, and the wire too where this terminal takes it.

    Returns
    -------
    Protected or Refused
        Or why there is none: ``rating`` of `trip_setting_ma`; ``contact``: all pins together do not
        bear the setting; ``heat``, ``ampacity``, ``drop``, ``terminal`` of
        `choose_wire`; ``stall`` where only the stalled motor asks for a wire that is not to be had.

    Raises
    ------
    ValueError
        The rules are outside the tables of wire, or an excess or time constant is negative.
    """
    one = _setting(demand.running_ma, channel) if like is None else like.trip_ma // channel.wires
    if isinstance(one, Refused):
        return one
    if _least_wires(one, channel) is None:
        return Refused("contact")
    setting, stalls = one * channel.wires, demand.stalled_ma > 0
    wire: WireChoice | Refused
    if like is not None and not stalls and _takes(like.wire, one, channel):
        wire = like.wire
    else:
        wire = _wire(setting, demand, channel, rules, 0.0)
    if isinstance(wire, Refused):
        return wire
    window = _window_ms(demand, one, channel) if like is None else like.window_ms
    draft = Protected(setting, window, wire, None)
    return _against_stall(draft, demand, channel, rules) if stalls else draft


def _window_ms(demand: Demand, setting_ma: int, channel: Rated) -> float:
    running_a, reads_a = demand.running_ma / 1000, _reads_a(setting_ma, channel)
    return inrush_window_ms(running_a, demand.excess_a, demand.tau_ms, reads_a, demand.window_ms)


def _takes(wire: WireChoice, setting_ma: int, channel: Rated) -> bool:
    """Whether the thinnest wire of as few conductors as a channel may have, found for another terminal, fits here."""
    fewest = _least_wires(setting_ma, channel) or channel.wires
    if wire.parallel != max(fewest, channel.wires):
        return False
    if channel.max_wire_mm2 is None:
        return True
    return wire.parallel <= channel.pins and fits_terminal(wire.size.area_mm2, channel.max_wire_mm2)


def outlasts_window(made: Protected, demand: Demand, channel: Rated, insulation_c: float) -> bool:
    """Whether the wire outlasts stalled motors until the setting trips, whatever the channel's own protection does.

    Parameters
    ----------
    made : Protected
        Setting and wire on a channel.
    demand : Demand
        The circuit.
    channel : Rated
        That channel's ratings.
    insulation_c : float
        Temperature class of the wire, up to 200 deg C.

    Returns
    -------
    bool
        True too where nothing can stall. Then every channel that is at least as strong allows the circuit.
    """
    if demand.stalled_ma <= 0:
        return True
    stalled_a = float(demand.stalled_ma * channel.share * channel.wires) / 1000
    return made.wire.size.area_mm2 * made.wire.parallel >= _least_mm2(stalled_a, made.window_ms, insulation_c)


def _against_stall(draft: Protected, demand: Demand, channel: Rated, rules: WireRules) -> Protected | Refused:
    trip = (draft.trip_ma / 1000, draft.window_ms)
    larger = float(channel.share * channel.wires) / 1000  # the wires of one channel, as if the others carried as much
    limits = (channel.usable_ma * larger, channel.peak_ma * larger, channel.peak_ms)
    stalled = _worst_a(draft.trip_ma / 1000, draft.window_ms, demand.stalled_ma * larger, limits)
    least = _least_mm2(stalled, trip_ms(stalled, *trip, *limits), rules.insulation_c)
    wire: WireChoice | Refused = draft.wire
    if draft.wire.size.area_mm2 * draft.wire.parallel < least:
        wire = _wire(draft.trip_ma, demand, channel, rules, least)
    if isinstance(wire, Refused):
        return Refused("stall")
    data = (wire.size.area_mm2 * wire.parallel, wire.ampacity_a, rules.insulation_c, short_time_c(rules.insulation_c))
    return Protected(draft.trip_ma, draft.window_ms, wire, stall_check(stalled, trip, limits, data))


def _worst_a(trip_a: float, window_ms: float, stalled_a: float, limits: tuple[float, float, float]) -> float:
    """Current that heats the wire most before the channel trips, of all between its setting and its motors stuck.

    Up to where window and own protection take equally long the window decides, and more current heats
    more; beyond it the protection is the quicker the more current there is.
    """
    usable_a, peak_a, peak_ms = limits
    if not window_ms or stalled_a <= trip_a:
        return stalled_a
    turn = math.sqrt(usable_a**2 + overload_capacity(usable_a, peak_a, peak_ms) / window_ms)
    return min(max(trip_a, turn), stalled_a, max(trip_a, peak_a))


def _least_wires(one_ma: int, channel: Rated) -> int | None:
    """Conductors the contacts ask for at a setting of one channel; None: all its pins do not bear it."""
    needed = pins_needed(one_ma, channel.contact_ma, channel.pins // channel.wires)
    return None if needed is None else needed * channel.wires


def _wire(setting: int, demand: Demand, channel: Rated, rules: WireRules, least_mm2: float) -> WireChoice | Refused:
    pins = channel.pins
    least = _least_wires(setting // channel.wires, channel) or channel.wires
    if channel.max_wire_mm2 is None:
        pins = max(pins, _as_many(setting / 1000, least_mm2, rules, channel.wires))
    trip_a, running_a = setting / 1000, demand.running_ma / 1000
    most_mm2, wires = channel.max_wire_mm2, channel.wires
    return choose_wire(trip_a, running_a, demand.runs, rules, most_mm2, pins, least_mm2, wires, least)


def _setting(largest_ma: int, channel: Rated) -> int | Refused:
    """Of one channel, which carries the larger share of two, mA; or why there is none."""
    if channel.share == 1:
        return trip_setting_ma(largest_ma, channel.rated_ma, channel.trip_step_ma, channel.trip_error_pct)
    rated = channel.rated_ma * channel.share
    return trip_setting_ma(largest_ma * channel.share, rated, channel.trip_step_ma, channel.trip_error_pct)


def _reads_a(setting_ma: int, channel: Rated) -> float:
    """Least current of the circuit at which a channel may trip: its reading high by its error, its share the larger."""
    error, share = channel.trip_error_pct, channel.share
    whole = 100 * error.denominator
    return setting_ma * (whole - error.numerator) * share.denominator / (whole * share.numerator) / 1000


def _as_many(trip_a: float, least_mm2: float, rules: WireRules, wires: int) -> int:
    """Conductors of the largest size that carry a setting, where no terminal limits them."""
    area_mm2, largest_a = _largest(rules)
    if largest_a <= 0:
        return wires
    return wires * math.ceil(max(trip_a / largest_a, least_mm2 / area_mm2) / wires)


@lru_cache(maxsize=512)
def _largest(rules: WireRules) -> tuple[float, float]:
    area_mm2 = wire_sizes(rules.sizes)[-1].area_mm2
    return area_mm2, rules.ampacity_a(area_mm2)


def _least_mm2(stalled_a: float, tripped_ms: float, insulation_c: float) -> float:
    """Area that bears the stalled current a thousandth longer than it takes to trip; 0 where it never trips."""
    if tripped_ms == float("inf"):
        return 0.0
    return stalled_a * math.sqrt(1.001 * tripped_ms / _one_amp_ms(insulation_c))


@lru_cache(maxsize=64)
def _one_amp_ms(insulation_c: float) -> float:
    """Time 1 mm2 bears 1 A, ms."""
    return damage_ms(1.0, 1.0, insulation_c, short_time_c(insulation_c))
