"""`compare`: what changed for every channel, setting and wire between two allocations."""

import pandas as pd

from pdm_alloc.allocation.result import Allocation
from pdm_alloc.module import natural_key
from pdm_alloc.what_if.difference import Difference, differences
from pdm_alloc.what_if.shift import Shift, Spot, shifts

__all__ = ["COMPARISON", "compare"]

COMPARISON = ("module", "channel", "what", "subject", "items", "before", "after")


def compare(before: Allocation, after: Allocation) -> pd.DataFrame:
    """What is different, everything paired by name.

    Parameters
    ----------
    before, after : Allocation
        As it was; as it would be.

    Returns
    -------
    DataFrame
        A row a change, columns `COMPARISON`, by module and channel. `what` is one of: load moved,
        load added, load removed (subject: the load; items: how many of it; before and after: where);
        channel used, channel freed, command, current, inrush, rating, trip setting, inrush window,
        wire, wire length (subject: the loads on the channel); module, place (subject: the unit). Before
        and after are words, with units. Empty where nothing changed. Identical items of a load are
        interchangeable.
    """
    rows = [*map(_shift_row, shifts(before, after)), *map(_difference_row, differences(before, after))]
    rows.sort(key=lambda row: (natural_key(row[0]), natural_key(row[1])))
    return pd.DataFrame(rows, columns=list(COMPARISON)).astype({"items": "Int64"})


def spot_text(spot: Spot | None) -> str:
    """A channel of a unit in words; empty where there is none."""
    return f"{spot[0]}, channel {spot[1]}" if spot else ""


def _shift_row(shift: Shift) -> tuple:
    module, channel = shift.after or shift.before or ("", "")
    return (module, channel, shift.what, shift.load, shift.items, spot_text(shift.before), spot_text(shift.after))


def _difference_row(difference: Difference) -> tuple:
    return (*difference.spot, difference.what, difference.subject, None, difference.before, difference.after)
