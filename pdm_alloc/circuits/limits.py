"""Limits of banks and whole modules, and what the whole vehicle asks of them: exact integers."""

import math
from collections.abc import Iterable, Sequence

from pdm_alloc.circuits.classes import unit_ambient_c
from pdm_alloc.circuits.items import ItemType
from pdm_alloc.electrics.derating import derating_factor, usable_ma
from pdm_alloc.module import Unit
from pdm_alloc.vehicle import PPM, State, Vehicle

__all__ = ["bank_limit_ma", "duty_step", "inputs_wanted", "running_in_state_ma", "state_load", "total_limit_ma"]


def total_limit_ma(vehicle: Vehicle, unit: Unit) -> int:
    """Whole-module limit at its ambient, less the module headroom, rounded down, mA."""
    return _limit(vehicle, unit, unit.module.total_ma)


def bank_limit_ma(vehicle: Vehicle, unit: Unit, bank: str) -> int:
    """Limit of a bank at the unit's ambient, less the module headroom, rounded down, mA."""
    return _limit(vehicle, unit, unit.module.bank_ma[bank])


def _limit(vehicle, unit, limit_ma):
    factor = derating_factor(unit.module.derating, unit_ambient_c(vehicle, unit))
    return usable_ma(limit_ma, factor, vehicle.settings.module_headroom_pct)


def duty_step(state: State) -> int:
    """Greatest step all duties of a state are whole multiples of, ppm: keeps the numbers of a row small."""
    return math.gcd(PPM, *state.duty_ppm.values())


def state_load(types: Iterable[ItemType], number: int, state: State, tolerance_loads: int) -> int:
    """Mean current of all items in a state with the worst rises of tolerance, in steps of mA x duty.

    Parameters
    ----------
    types : iterable of ItemType
        All that draw on the limit.
    number : int
        Number of the state.
    state : State
        The state itself.
    tolerance_loads : int
        How many loads at once are taken at the top of their tolerance.

    Returns
    -------
    int
        mA x ppm / `duty_step`.
    """
    step, mean, rises = duty_step(state), 0, []
    for t in types:
        duty = state.duty_ppm.get(t.command, 0) // step
        mean += t.count * t.state_ma[number] * duty
        rises.append(t.count * t.state_deviation_ma[number] * duty)
    return mean + sum(sorted(rises, reverse=True)[:tolerance_loads])


def running_in_state_ma(types: Sequence[ItemType], number: int) -> int:
    """Running current of all items that are on in a state, no duty, mA."""
    return sum(t.count * t.state_ma[number] for t in types)


def inputs_wanted(vehicle: Vehicle) -> int:
    """Inputs of a module that the vehicle's switches and senders take; bus messages need none."""
    return sum(i.kind in ("switch", "analog") for i in vehicle.inputs)
