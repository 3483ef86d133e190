"""Voltage that is left at the loads in every operating state, as a table."""

from collections.abc import Sequence

import pandas as pd

from pdm_alloc.allocation.wired import WiredCircuit
from pdm_alloc.electrics.load_voltage import LoadVoltage, load_voltages
from pdm_alloc.vehicle import Vehicle

__all__ = ["VOLTAGES", "voltages", "voltages_table"]

VOLTAGES = ("state", "load", "importance", "module_v", "load_v", "min_v", "enough", "judged")


def voltages_table(vehicle: Vehicle, wired: Sequence[WiredCircuit]) -> pd.DataFrame:
    """A row a state and load that is on in it, in the columns `VOLTAGES`, V.

    module_v is the state's supply_v, which is stated at the module. judged tells whether the wire's
    length was known; where it was not, load_v is module_v. enough is empty where min_v is.
    """
    rows = [
        (one.state, one.load, one.importance, one.module_v, round(one.load_v, 3), one.min_v, one.enough, one.judged)
        for one in voltages(vehicle, wired)
    ]
    return pd.DataFrame(rows, columns=list(VOLTAGES)).astype({"min_v": float, "enough": "boolean"})


def voltages(vehicle: Vehicle, wired: Sequence[WiredCircuit]) -> tuple[LoadVoltage, ...]:
    """Voltage of every load in every state it is on in, behind the wire it has."""
    return load_voltages(vehicle, _ohms(vehicle, wired))


def _ohms(vehicle: Vehicle, wired: Sequence[WiredCircuit]) -> dict[str, float | None]:
    """Resistance that counts for each load: its drop over its current, the worst where its items are split."""
    found: dict[str, float | None] = {}
    for w in wired:
        drops = () if isinstance(w.made, str) else w.made.wire.drops_pct
        for (t, _), pct in zip(w.some, drops, strict=False):
            if pct is not None and t.running_ma:
                ohm = pct * vehicle.settings.system_v * 10 / t.running_ma
                found[t.load] = max(ohm, found.get(t.load) or 0.0)
    return found
