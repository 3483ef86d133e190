"""The current every unit's feed is made for, whatever ends up on the unit."""

from collections.abc import Sequence
from fractions import Fraction
from math import ceil

from pdm_alloc.circuits.classes import unit_ambient_c
from pdm_alloc.circuits.items import ItemType
from pdm_alloc.electrics.derating import derating_factor
from pdm_alloc.electrics.fuse import FUSE_LOADING
from pdm_alloc.electrics.voltage import exact
from pdm_alloc.module import Unit
from pdm_alloc.vehicle import Vehicle

__all__ = ["at_once_ma", "draws_ma", "feed_currents_ma", "for_at_once_ma"]

_SPARE = Fraction(6, 5)  # what feeds bear at once over what the vehicle draws, for loads to be shared out freely; ours


def draws_ma(vehicle: Vehicle, types: Sequence[ItemType]) -> list[int]:
    """What items draw in each state, all duties taken as 1, mA."""
    return [sum(t.count * t.state_ma[number] for t in types) for number in range(len(vehicle.states))]


def at_once_ma(carried_ma: int) -> int:
    """What loads on a feed may draw at once, all duties taken as 1: the least rating of its fuse, mA."""
    return int(carried_ma / exact(FUSE_LOADING))


def feed_currents_ma(vehicle: Vehicle, units: Sequence[Unit], most_ma: int) -> tuple[int, ...]:
    """Current each unit's feed carries for long: its derated total, and no more than all the vehicle draws.

    The mean current of its loads never exceeds that. All on at once, they draw no more than
    `at_once_ma` of it, so that the fuse never opens; a single unit's feed, and those of units that
    together are too weak to share the loads out so, are made to bear the whole vehicle at once.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : sequence of Unit
        What is fitted.
    most_ma : int
        What all the vehicle draws in its worst state, all duties taken as 1, mA.

    Returns
    -------
    tuple of int
        mA, one a unit.

    Raises
    ------
    ValueError
        A unit's ambient is outside its module's derating table.
    """
    made = [min(most_ma, int(_rated_ma(vehicle, unit))) for unit in units]
    if len(units) > 1 and sum(map(at_once_ma, made)) >= _SPARE * most_ma:
        return tuple(made)
    return tuple(max(ma, for_at_once_ma(most_ma)) for ma in made)


def for_at_once_ma(drawn_ma: int) -> int:
    """Least current a feed is made for that bears so much at once, mA."""
    return ceil(drawn_ma * exact(FUSE_LOADING))


def _rated_ma(vehicle: Vehicle, unit: Unit) -> Fraction:
    return unit.module.total_ma * derating_factor(unit.module.derating, unit_ambient_c(vehicle, unit))
