"""The battery over states in sequence and parked, and its cables with fuse, size and fault current."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from pdm_alloc.electrics.protection import damage_ms
from pdm_alloc.electrics.wire import (
    RETURNS,
    RULE_PACKS,
    Refused,
    WireChoice,
    WireRules,
    choose_wire,
    resistance_ohm_per_m,
)

__all__ = [
    "FUSE_GATES",
    "FUSE_LOADING",
    "FUSE_RATINGS_A",
    "Battery",
    "Leg",
    "LegCharge",
    "Link",
    "LinkDemand",
    "Parked",
    "Source",
    "as_constant_s",
    "battery_minutes",
    "carry_charge",
    "estimated_ohm",
    "fault_current_a",
    "fuse_latest_s",
    "fuse_shortest_s",
    "main_fuse_a",
    "parked",
    "parked_days",
    "peukert_hours",
    "rated_draw_a",
    "short_time_mm2",
    "size_link",
]

# Charge stored over charge put in: common practice, no source.
CHARGE_EFFICIENCY = 0.85

# Internal resistance times capacity of a 12 V battery, ohm Ah: 5 milliohm at 100 Ah; common practice, no source.
OHM_AH = 0.5


@dataclass(frozen=True, slots=True)
class Battery:
    """A battery as its label and the settings describe it.

    Parameters
    ----------
    capacity_ah : float
        Capacity at the stated rate, Ah.
    floor_pct : float
        Charge at which it counts as empty, per cent of `capacity_ah`.
    rate_h : float
        Time over which the capacity is stated, h.
    exponent : float
        Exponent of Peukert's law, at least 1.
    """

    capacity_ah: float
    floor_pct: float = 50.0
    rate_h: float = 20.0
    exponent: float = 1.0

    @property
    def floor_ah(self) -> float:
        """Charge at its floor, Ah."""
        return self.capacity_ah * self.floor_pct / 100


@dataclass(frozen=True, slots=True)
class Leg:
    """What one state asks of the battery.

    Parameters
    ----------
    name : str
        Of the state.
    mean_a : float
        Mean current of the whole vehicle and of what is drawn past the modules, A.
    charging_a : float
        Charging current, A.
    minutes : float or None
        How long it lasts, min; None: not known, and then it changes nothing in the charge.
    """

    name: str
    mean_a: float
    charging_a: float = 0.0
    minutes: float | None = None


@dataclass(frozen=True, slots=True)
class LegCharge:
    """The charge before and after one state.

    Parameters
    ----------
    name : str
        Of the state.
    start_ah, end_ah : float
        Charge, Ah, at the capacity's own rate; not below 0.
    floor_minutes : float
        Minutes from its start until the floor, inf where the battery is not drained.
    carried : bool or None
        Whether the battery stays at its floor or above; None: the length is not known.
    """

    name: str
    start_ah: float
    end_ah: float
    floor_minutes: float
    carried: bool | None


def peukert_hours(capacity_ah: float, rate_h: float, current_a: float, exponent: float) -> float:
    """Time a full battery gives a current until it is empty: H (C / (I H))**k.

    Peukert's law as the calculators of battery dealers have it; with H = C (a rate of 1 A) it is C / I**k.

    Parameters
    ----------
    capacity_ah, rate_h : float
        Capacity C, Ah, and the time H over which it is stated, h, both above 0.
    current_a : float
        Current I, A.
    exponent : float
        k, no unit.

    Returns
    -------
    float
        h; inf where the current is not above 0.
    """
    if current_a <= 0:
        return math.inf
    return float(rate_h * (capacity_ah / (current_a * rate_h)) ** exponent)


def rated_draw_a(current_a: float, battery: Battery) -> float:
    """Current that takes as much from the stated capacity as this one does by Peukert's law.

    Below the current of the stated rate the law promises more than the label: that is not counted.

    Parameters
    ----------
    current_a : float
        Current the battery gives, A, not negative.
    battery : Battery
        Its capacity, rate and exponent.

    Returns
    -------
    float
        A, at least `current_a`.
    """
    rate_a = battery.capacity_ah / battery.rate_h
    return float(current_a * max(1.0, current_a / rate_a) ** (battery.exponent - 1))


def carry_charge(battery: Battery, legs: Sequence[Leg], start_ah: float | None = None) -> tuple[LegCharge, ...]:
    """Charge through states in sequence: each starts with what the one before has left.

    Parameters
    ----------
    battery : Battery
        The battery.
    legs : sequence of Leg
        In the order in which they follow each other.
    start_ah : float, optional
        Charge before the first, Ah; full by default.

    Returns
    -------
    tuple of LegCharge
        In the same order.
    """
    charge = battery.capacity_ah if start_ah is None else start_ah
    charges = []
    for leg in legs:
        charges.append(_through(battery, leg, charge))
        charge = charges[-1].end_ah
    return tuple(charges)


def parked_days(battery: Battery, draw_ma: float, start_ah: float | None = None) -> float:
    """Days a parked vehicle stands until its battery is at its floor; self-discharge is not counted.

    Parameters
    ----------
    battery : Battery
        The battery.
    draw_ma : float
        Quiescent current of the modules and of loads that are always on, mA.
    start_ah : float, optional
        Charge when it is parked, Ah; full by default.

    Returns
    -------
    float
        Days; inf without a draw.
    """
    if draw_ma <= 0:
        return math.inf
    charge = battery.capacity_ah if start_ah is None else start_ah
    return max(0.0, charge - battery.floor_ah) / rated_draw_a(draw_ma / 1000, battery) / 24


def estimated_ohm(capacity_ah: float, system_v: float) -> float:
    """Internal resistance of a charged battery where its maker does not say: 5 milliohm at 12 V and 100 Ah.

    Parameters
    ----------
    capacity_ah, system_v : float
        Capacity, Ah, above 0; nominal voltage, V.

    Returns
    -------
    float
        ohm; common practice, no source.
    """
    return OHM_AH / capacity_ah * system_v / 12


def _through(battery: Battery, leg: Leg, charge: float) -> LegCharge:
    net = leg.charging_a - leg.mean_a
    change_a = net * CHARGE_EFFICIENCY if net >= 0 else -rated_draw_a(-net, battery)
    above = max(0.0, charge - battery.floor_ah)
    floor_minutes = math.inf if change_a >= 0 else 60 * above / -change_a
    end = min(battery.capacity_ah, max(0.0, charge + change_a * (leg.minutes or 0.0) / 60))
    carried = True if change_a >= 0 else None if leg.minutes is None else floor_minutes >= leg.minutes
    return LegCharge(leg.name, charge, end, floor_minutes, carried)


_MINUTES_A_DAY = 24 * 60


@dataclass(frozen=True, slots=True)
class Parked:
    """The parked vehicle.

    Parameters
    ----------
    total_ma : float
        Quiescent current of all boxes that state one, mA.
    unknown : tuple of str
        Boxes that state none: the total is at least this much too low.
    days : float or None
        Days from full to the floor, inf where nothing is drawn; None: battery not known.
    """

    total_ma: float
    unknown: tuple[str, ...]
    days: float | None


def parked(quiescent_ma: Mapping[str, float | None], battery_ah: float | None, floor_pct: float) -> Parked:
    """Quiescent current and days to the floor; self-discharge and cold are not counted.

    Parameters
    ----------
    quiescent_ma : mapping of str to float or None
        Of each box by label, mA; None: not known.
    battery_ah : float or None
        Capacity, Ah; None: not known.
    floor_pct : float
        Charge at which it counts as empty, per cent of battery_ah.

    Returns
    -------
    Parked
        A plain count of ampere-hours, as `battery_minutes`.
    """
    total = sum(current for current in quiescent_ma.values() if current is not None)
    unknown = tuple(sorted(label for label, current in quiescent_ma.items() if current is None))
    days = None if battery_ah is None else battery_minutes(battery_ah, floor_pct, total / 1000) / _MINUTES_A_DAY
    return Parked(total, unknown, days)


def battery_minutes(battery_ah: float, floor_pct: float, draw_a: float, spent_a_min: float = 0.0) -> float:
    """Minutes a battery gives a current until it is at its floor: a plain count of ampere-hours.

    Neither the rate of discharge nor the temperature is counted, both of which shorten it: choose the
    floor accordingly (load analyses after ASTM F2490-05 use 25 % of the nameplate as floor).

    Parameters
    ----------
    battery_ah : float
        Capacity, full at the start, Ah.
    floor_pct : float
        Charge at which it counts as empty, per cent of `battery_ah`.
    draw_a : float
        Current it gives, A.
    spent_a_min : float
        What it has given before, A min.

    Returns
    -------
    float
        min; inf where the draw is not above 0, 0 where it is at its floor already.
    """
    if draw_a <= 0:
        return math.inf
    usable = battery_ah * (1 - floor_pct / 100) * 60
    return max(0.0, usable - spent_a_min) / draw_a


# Ratings sold for vehicles, A: common practice, from memory.
FUSE_RATINGS_A = (
    *(1, 2, 3, 5, 7.5, 10, 15, 20, 25, 30, 35, 40, 50, 60, 70, 80),
    *(100, 125, 150, 175, 200, 225, 250, 300, 350, 400, 450, 500),
)

# Per cent of the rating, shortest and longest time until the fuse opens, s (ISO 8820-3, blade fuse-links, from memory;
# larger bolt-down fuses are slower: their maker's data come first).
FUSE_GATES = (
    (110.0, 360_000.0, math.inf),
    (135.0, 0.75, 600.0),
    (160.0, 0.25, 50.0),
    (200.0, 0.15, 5.0),
    (350.0, 0.04, 0.5),
    (600.0, 0.02, 0.1),
)

_LOWEST_C = -20.0

# Most of its rating a fuse should carry for long: common practice, no source.
FUSE_LOADING = 0.8


def fuse_shortest_s(percent: float) -> float:
    """Shortest time a fuse may take to open, s.

    Parameters
    ----------
    percent : float
        Current, per cent of the rating.

    Returns
    -------
    float
        s; inf below the first gate (110 %), straight in the logarithms between gates, and from the
        last one on by constant current squared times time. From memory.
    """
    return _gate(percent, 1)


def fuse_latest_s(percent: float) -> float:
    """Longest time a fuse may take to open, s.

    Parameters
    ----------
    percent : float
        Current, per cent of the rating.

    Returns
    -------
    float
        s; inf below 135 %, where the gates name no end. From memory.
    """
    return _gate(percent, 2)


def main_fuse_a(running_a: float, peak_a: float, peak_s: float) -> float | None:
    """Smallest standard fuse that carries a current for long and its inrush for a while.

    Parameters
    ----------
    running_a : float
        Running current of the worst operating state, A.
    peak_a, peak_s : float
        Largest current in it, A; how long it lasts, taken as constant, s.

    Returns
    -------
    float or None
        A; None where the largest standard fuse is too small.
    """
    for rating in FUSE_RATINGS_A:
        if running_a <= FUSE_LOADING * rating and _bears(rating, peak_a, peak_s):
            return float(rating)
    return None


def as_constant_s(tau_ms: float) -> float:
    """Time for which the peak of a decaying inrush, held, heats a fuse at least as much as the inrush does, s.

    With running r and excess e the inrush brings 2 r e tau + e**2 tau / 2 more than running does; over
    (r + e)**2 that is 2/3 of tau at most, at r = e / 2. Of several inrushes together it is at most the mean of theirs,
    each weighted with its excess: what two bring together, e f tau u / (tau + u), is at most e f (tau + u) / 4.
    """
    return 2 / 3 * tau_ms / 1000


def _bears(rating: float, peak_a: float, peak_s: float) -> bool:
    return peak_s < fuse_shortest_s(100 * peak_a / rating)


def _gate(percent: float, column: int) -> float:
    if percent >= FUSE_GATES[-1][0]:
        return FUSE_GATES[-1][column] * (FUSE_GATES[-1][0] / percent) ** 2
    for low, high in pairwise(FUSE_GATES):
        if low[0] <= percent < high[0]:
            return _between(percent, (low[0], high[0]), (low[column], high[column]))
    return math.inf


def _between(percent: float, at: tuple[float, float], seconds: tuple[float, float]) -> float:
    if seconds[0] == math.inf:
        return math.inf if percent < at[1] else seconds[1]
    share = math.log(percent / at[0]) / math.log(at[1] / at[0])
    return float(seconds[0] * (seconds[1] / seconds[0]) ** share)


@dataclass(frozen=True, slots=True)
class Source:
    """What drives a fault.

    Parameters
    ----------
    volts : float
        Highest voltage, V.
    ohm : float
        Internal resistance of the battery and the cable before this link, copper cold, ohm.
    lowest_c : float
        Lowest ambient, deg C.
    """

    volts: float
    ohm: float
    lowest_c: float = _LOWEST_C


@dataclass(frozen=True, slots=True)
class LinkDemand:
    """What is asked of one cable past the modules.

    Parameters
    ----------
    name : str
        ``isolator``, ``feed``, ``starter``, ``alternator``.
    running_a : float
        Current it carries, A.
    peak_a, peak_s : float
        Largest current, A; how long it lasts, taken as constant, s.
    length_m : float or None
        One way, m; None: not known, the drop is not judged.
    drop_pct : float
        Drop allowed, per cent of the system voltage.
    fused : bool
        False: a starter cable, which the rules let go without a fuse.
    seconds : float or None
        Longest time the current flows in one go, s; None: for good.
    """

    name: str
    running_a: float
    peak_a: float
    peak_s: float
    length_m: float | None
    drop_pct: float = 3.0
    fused: bool = True
    seconds: float | None = None


@dataclass(frozen=True, slots=True)
class Link:
    """One cable past the modules, sized.

    Parameters
    ----------
    name : str
        As in its demand.
    fuse_a : float or None
        Rating of its fuse, A; None: it has none.
    wire : WireChoice or Refused
        Its cable; or why there is none, as of `choose_wire`, or ``fuse`` where no standard fuse is large enough.
    fault_a : float or None
        Current of a short at its near end, A: the least the fuse must be able to break; None: source not known.
    end_fault_a : float or None
        Current of a short at its far end, A; None: no length, no cable or source not known.
    opens_s : float or None
        Longest time the fuse takes to open on a short at the far end, s; None: no fuse, or not known.
    cold_ohm, hot_ohm : float or None
        Its resistance at the lowest ambient and at its class, the way back where it is a wire included, ohm.
    fuse_within_m : float or None
        Longest cable from the source to its fuse by the rule pack, m; None: it has no fuse.
    """

    name: str
    fuse_a: float | None
    wire: WireChoice | Refused
    fault_a: float | None
    end_fault_a: float | None
    opens_s: float | None
    cold_ohm: float | None
    hot_ohm: float | None
    fuse_within_m: float | None

    @property
    def area_mm2(self) -> float:
        """Copper of all its conductors, mm2; inf where it has no cable."""
        return self.wire.size.area_mm2 * self.wire.parallel if isinstance(self.wire, WireChoice) else math.inf


def fault_current_a(volts: float, source_ohm: float, cable_ohm: float = 0.0) -> float:
    """Current of a bolted short: voltage over all resistance in the loop.

    Parameters
    ----------
    volts : float
        V.
    source_ohm, cable_ohm : float
        Internal resistance of the battery; resistance of the cable, out and back, copper cold, ohm.

    Returns
    -------
    float
        A.

    Raises
    ------
    ValueError
        There is no resistance at all.
    """
    if not source_ohm + cable_ohm > 0:
        raise ValueError("a short circuit needs a resistance above 0 ohm")
    return volts / (source_ohm + cable_ohm)


def short_time_mm2(current_a: float, seconds: float, start_c: float, limit_c: float) -> float:
    """Area that a current for a short time does not bring above a temperature, losing no heat.

    Parameters
    ----------
    current_a, seconds : float
        A; s.
    start_c, limit_c : float
        Temperature of the conductor before; temperature not to be passed, deg C.

    Returns
    -------
    float
        mm2 (adiabatic equation of IEC 60364-5-54).
    """
    return float(current_a * (1000 * seconds / damage_ms(1.0, 1.0, start_c, limit_c)) ** 0.5)


def size_link(demand: LinkDemand, rules: WireRules, source: Source | None) -> Link:
    """Fuse and cable of one link, and what a short on it does.

    Parameters
    ----------
    demand : LinkDemand
        Currents, times, length.
    rules : WireRules
        Sizes, insulation, ambient, return, voltage, rule pack.
    source : Source or None
        What drives a fault; None: not known, no fault current is given.

    Returns
    -------
    Link

    Raises
    ------
    ValueError
        The rules are outside the tables of wire, or the source has no resistance.
    """
    fuse = main_fuse_a(demand.running_a, demand.peak_a, demand.peak_s) if demand.fused else None
    wire = Refused("fuse") if demand.fused and fuse is None else _cable(demand, rules, fuse)
    lowest_c = _LOWEST_C if source is None else source.lowest_c
    cold, hot = (_loop_ohm(wire, demand.length_m, rules, c) for c in (lowest_c, rules.insulation_c))
    fault = None if source is None else fault_current_a(source.volts, source.ohm)
    end = None if source is None or cold is None else fault_current_a(source.volts, source.ohm, cold)
    opens = None if fuse is None or end is None else fuse_latest_s(100 * end / fuse)
    within = None if fuse is None else RULE_PACKS[rules.pack].fuse_m
    return Link(demand.name, fuse, wire, fault, end, opens, cold, hot, within)


def _cable(demand: LinkDemand, rules: WireRules, fuse: float | None) -> WireChoice | Refused:
    """A fuse protects its cable; without one the current itself does, as long as it flows for good."""
    runs = [(demand.running_a, demand.length_m, demand.drop_pct)]
    if fuse is not None:
        return choose_wire(fuse, demand.running_a, runs, rules)
    if demand.seconds is None:
        return choose_wire(demand.running_a / FUSE_LOADING, demand.running_a, runs, rules)
    if rules.ambient_c >= rules.insulation_c:
        return Refused("heat")
    least = short_time_mm2(demand.running_a, demand.seconds, rules.ambient_c, rules.insulation_c)
    return choose_wire(0.0, demand.running_a, runs, rules, least_mm2=least)


def _loop_ohm(wire: WireChoice | Refused, length_m: float | None, rules: WireRules, conductor_c: float) -> float | None:
    if length_m is None or isinstance(wire, Refused):
        return None
    return resistance_ohm_per_m(wire.size, conductor_c) * length_m * RETURNS[rules.return_path] / wire.parallel
