"""The parked vehicle: quiescent current of all boxes, and days until the battery is at its floor."""

from collections.abc import Mapping
from dataclasses import dataclass

from pdm_alloc.electrics.supply import battery_minutes

__all__ = ["Parked", "parked"]

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
        A plain count of ampere-hours, as `pdm_alloc.electrics.supply.battery_minutes`.
    """
    total = sum(current for current in quiescent_ma.values() if current is not None)
    unknown = tuple(sorted(label for label, current in quiescent_ma.items() if current is None))
    days = None if battery_ah is None else battery_minutes(battery_ah, floor_pct, total / 1000) / _MINUTES_A_DAY
    return Parked(total, unknown, days)
