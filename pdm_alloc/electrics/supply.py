"""Supply: what each operating state takes from battery and alternator."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from pdm_alloc.electrics.voltage import inrush_excess_ma, running_at_voltage_ma
from pdm_alloc.vehicle import Load, State, Vehicle

__all__ = ["StateSupply", "battery_minutes", "state_supply", "supply"]


@dataclass(frozen=True, slots=True)
class StateSupply:
    """What one operating state takes and gets.

    Parameters
    ----------
    state : str
        Its name.
    supply_v : float
        Supply voltage, V.
    mean_a : float
        Sum of running currents times duty, A.
    running_a : float
        Sum of running currents of everything on, without duty, A.
    peak_a : float
        `running_a` and the largest inrush above running that one command brings, A.
    charging_a : float or None
        Charging current, A; None where the tables do not say, counted as none.
    balance_a : float
        Charging less mean current, A; negative: the battery gives.
    minutes : float or None
        How long the state lasts, min.
    floor_minutes : float or None
        Minutes until a full battery is at its floor, inf where it is not drained; None: battery not known.
    """

    state: str
    supply_v: float
    mean_a: float
    running_a: float
    peak_a: float
    charging_a: float | None
    balance_a: float
    minutes: float | None
    floor_minutes: float | None

    @property
    def used_ah(self) -> float | None:
        """Charge the battery gives while the state lasts, Ah (negative: takes); None: length not known."""
        return None if self.minutes is None else -self.balance_a * self.minutes / 60

    @property
    def carried(self) -> bool | None:
        """Whether charging, or the battery for as long as the state lasts, carries it; None: cannot be said."""
        if self.balance_a >= 0:
            return True
        if self.floor_minutes is None or self.minutes is None:
            return None
        return self.floor_minutes >= self.minutes


def supply(vehicle: Vehicle, counts: Mapping[str, int] | None = None) -> tuple[StateSupply, ...]:
    """What every operating state takes and gets, in the order of the vehicle's states.

    Parameters
    ----------
    vehicle : Vehicle
        Checked tables.
    counts : mapping of str to int, optional
        Items by load to be counted (those of one unit, say); all of them by default.

    Returns
    -------
    tuple of StateSupply
    """
    return tuple(state_supply(vehicle, state, counts) for state in vehicle.states)


def state_supply(vehicle: Vehicle, state: State, counts: Mapping[str, int] | None = None) -> StateSupply:
    """What one operating state takes and gets.

    Parameters
    ----------
    vehicle : Vehicle
        Checked tables.
    state : State
        One of its states.
    counts : mapping of str to int, optional
        Items by load to be counted; all of them by default.

    Returns
    -------
    StateSupply
    """
    reference = vehicle.settings.reference_v
    on = [(load, _count(load, counts)) for load in vehicle.loads if state.is_on(load.command)]
    running = {load.name: _running_ma(load, state, reference) * count for load, count in on}
    mean = sum(running[load.name] * state.duty_ppm[load.command] for load, _ in on) / 1e9
    total = sum(running.values())
    peak = total + _largest_excess_ma(on, state, reference)
    balance = (state.charging_a or 0.0) - mean
    minutes = _floor_minutes(vehicle.settings, -balance)
    return StateSupply(
        state.name,
        state.supply_v,
        mean,
        total / 1000,
        peak / 1000,
        state.charging_a,
        balance,
        state.minutes,
        minutes,
    )


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


def _floor_minutes(settings, draw_a):
    if settings.battery_ah is None:
        return None
    return battery_minutes(settings.battery_ah, settings.battery_floor_pct, draw_a)


def _count(load: Load, counts):
    return load.count if counts is None else counts.get(load.name, 0)


def _running_ma(load: Load, state: State, reference):
    return running_at_voltage_ma(load.running_ma, load.volt_exponent, state.supply_v, reference)


def _largest_excess_ma(on, state, reference):
    """Largest inrush of one command: it switches all its loads together, whatever channels they are on."""
    excess: dict[str, int] = {}
    for load, count in on:
        one = inrush_excess_ma(load.inrush_ma, load.running_ma, state.supply_v, reference)
        excess[load.command] = excess.get(load.command, 0) + one * count
    return max(excess.values(), default=0)
