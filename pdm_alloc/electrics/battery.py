"""The battery over states in sequence, and parked."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

__all__ = [
    "Battery",
    "Leg",
    "LegCharge",
    "Parked",
    "battery_minutes",
    "carry_charge",
    "estimated_ohm",
    "parked",
    "parked_days",
    "peukert_hours",
    "rated_draw_a",
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
