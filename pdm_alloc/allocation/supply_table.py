"""What battery and alternator make of every operating state, as a table."""

import math

import pandas as pd

from pdm_alloc.electrics.supply import StateSupply, supply
from pdm_alloc.vehicle import Vehicle

__all__ = ["SUPPLY", "supply_table"]

SUPPLY = (
    "state",
    "supply_v",
    "mean_a",
    "running_a",
    "peak_a",
    "charging_a",
    "balance_a",
    "minutes",
    "used_ah",
    "floor_minutes",
    "carried",
)


def supply_table(vehicle: Vehicle) -> pd.DataFrame:
    """A row a state, in the columns `SUPPLY`.

    Currents in A; balance_a is charging less mean; used_ah is what the battery gives while the state
    lasts, Ah; floor_minutes is how long a full battery lasts, min, empty where it is not drained or
    not known; carried is whether the state is, empty where that cannot be said.
    """
    table = pd.DataFrame([_row(one) for one in supply(vehicle)], columns=list(SUPPLY))
    return table.astype(dict.fromkeys(SUPPLY[1:-1], float)).astype({"carried": "boolean"})


def _row(one: StateSupply) -> tuple[object, ...]:
    used, lasts = one.used_ah, one.floor_minutes
    return (
        one.state,
        one.supply_v,
        round(one.mean_a, 3),
        one.running_a,
        one.peak_a,
        one.charging_a,
        round(one.balance_a, 3),
        one.minutes,
        None if used is None else round(used, 3),
        None if lasts is None or lasts == math.inf else round(lasts, 1),
        one.carried,
    )
