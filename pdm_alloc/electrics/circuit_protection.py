"""Trip setting and wire of a circuit together: what has to exist before a circuit is allowed on a channel."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Protocol

from pdm_alloc.electrics.ampacity import pins_needed
from pdm_alloc.electrics.inrush import overload_capacity
from pdm_alloc.electrics.trip import (
    StallCheck,
    damage_ms,
    inrush_window_ms,
    short_time_c,
    stall_check,
    trip_ms,
    trip_setting_ma,
)
from pdm_alloc.electrics.wire import wire_sizes
from pdm_alloc.electrics.wire_choice import Run, WireChoice, WireRules, choose_wire

__all__ = ["Demand", "Protected", "Rated", "outlasts_window", "protect"]


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


def protect(demand: Demand, channel: Rated, rules: WireRules) -> Protected | str:
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

    Returns
    -------
    Protected or str
        Or a reason word: ``rating`` of `trip_setting_ma`; ``contact``: all pins together do not
        bear the setting; ``heat``, ``ampacity``, ``drop``, ``terminal`` of
        `choose_wire`; ``stall`` where only the stalled motor asks for a wire that is not to be had.

    Raises
    ------
    ValueError
        The rules are outside the tables of wire, or an excess or time constant is negative.
    """
    one = _setting(demand.running_ma, channel)
    if isinstance(one, str):
        return one
    if _least_wires(one, channel) is None:
        return "contact"
    setting = one * channel.wires
    wire = _wire(setting, demand, channel, rules, 0.0)
    if isinstance(wire, str):
        return wire
    running_a, reads_a = demand.running_ma / 1000, _reads_a(one, channel)
    window = inrush_window_ms(running_a, demand.excess_a, demand.tau_ms, reads_a, demand.window_ms)
    if demand.stalled_ma <= 0:
        return Protected(setting, window, wire, None)
    return _against_stall(Protected(setting, window, wire, None), demand, channel, rules)


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


def _against_stall(draft: Protected, demand: Demand, channel: Rated, rules: WireRules) -> Protected | str:
    trip = (draft.trip_ma / 1000, draft.window_ms)
    larger = float(channel.share * channel.wires) / 1000  # the wires of one channel, as if the others carried as much
    limits = (channel.usable_ma * larger, channel.peak_ma * larger, channel.peak_ms)
    stalled = _worst_a(draft.trip_ma / 1000, draft.window_ms, demand.stalled_ma * larger, limits)
    least = _least_mm2(stalled, trip_ms(stalled, *trip, *limits), rules.insulation_c)
    wire: WireChoice | str = draft.wire
    if draft.wire.size.area_mm2 * draft.wire.parallel < least:
        wire = _wire(draft.trip_ma, demand, channel, rules, least)
    if isinstance(wire, str):
        return "stall"
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


def _wire(setting: int, demand: Demand, channel: Rated, rules: WireRules, least_mm2: float) -> WireChoice | str:
    pins = channel.pins
    least = _least_wires(setting // channel.wires, channel) or channel.wires
    if channel.max_wire_mm2 is None:
        pins = max(pins, _as_many(setting / 1000, least_mm2, rules, channel.wires))
    trip_a, running_a = setting / 1000, demand.running_ma / 1000
    most_mm2, wires = channel.max_wire_mm2, channel.wires
    return choose_wire(trip_a, running_a, demand.runs, rules, most_mm2, pins, least_mm2, wires, least)


def _setting(largest_ma: int, channel: Rated) -> int | str:
    """Of one channel, which carries the larger share of two, mA; or a reason word."""
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
