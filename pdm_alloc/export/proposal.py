"""The load table that follows from what was measured."""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from math import ceil

import pandas as pd

from pdm_alloc.allocation.circuit import PlacedCircuit
from pdm_alloc.export.records import Row, records
from pdm_alloc.export.verdict import OUTSIDE, Verdict
from pdm_alloc.kinds import KINDS
from pdm_alloc.vehicle import Load, Vehicle

__all__ = ["PROPOSAL", "changed_vehicle", "proposed_loads"]

PROPOSAL = ("load", "count", "running_a", "measured_a", "change_pct", "why", "how")
Measured = tuple[PlacedCircuit, Verdict]


def proposed_loads(vehicle: Vehicle, measured: Sequence[Measured]) -> pd.DataFrame:
    """Loads whose running current should be changed.

    Parameters
    ----------
    vehicle : Vehicle
        As designed.
    measured : sequence of (PlacedCircuit, Verdict)
        Circuits measured while on.

    Returns
    -------
    DataFrame
        Columns `PROPOSAL`, currents of one item at the reference voltage, A. Those on circuits outside
        their tolerance, and those that were a guess (``tolerance_pct`` above 0). Loads that share a
        circuit are changed in proportion.
    """
    rows = [row for load in vehicle.loads if (row := _proposal(load, measured)) is not None]
    return pd.DataFrame(rows, columns=list(PROPOSAL))


def changed_vehicle(vehicle: Vehicle, proposal: pd.DataFrame) -> Vehicle:
    """The vehicle with the proposed running currents.

    Parameters
    ----------
    vehicle : Vehicle
        As designed.
    proposal : DataFrame
        Columns ``load`` and ``measured_a``.

    Returns
    -------
    Vehicle
        An inrush that was assumed follows the running current; one that was stated stays, unless the
        running current has passed it.
    """
    new = {row["load"]: ceil(round(1000 * row["measured_a"], 6)) for row in records(proposal)}
    loads = (_changed(load, new[load.name]) if load.name in new else load for load in vehicle.loads)
    return replace(vehicle, loads=tuple(loads))


def _proposal(load: Load, measured: Sequence[Measured]) -> Row | None:
    own = [(circuit, verdict, _items(load, circuit)) for circuit, verdict in measured if _items(load, circuit)]
    outside = any(verdict.word == OUTSIDE for _, verdict, _ in own)
    if not own or not (outside or load.tolerance_pct > 0):
        return None
    ratio = sum((verdict.ratio or 0) * items for _, verdict, items in own) / Fraction(sum(items for *_, items in own))
    new_ma = ceil(load.running_ma * ratio)
    return {
        "load": load.name,
        "count": load.count,
        "running_a": load.running_ma / 1000,
        "measured_a": new_ma / 1000,
        "change_pct": round(100 * (new_ma / load.running_ma - 1), 1),
        "why": "outside tolerance" if outside else "was a guess",
        "how": _how(load, [circuit for circuit, *_ in own]),
    }


def _items(load: Load, circuit: PlacedCircuit) -> int:
    return sum(name == load.name for name, _ in circuit.items)


def _how(load: Load, circuits: list[PlacedCircuit]) -> str:
    others = sorted({name for circuit in circuits for name in circuit.loads} - {load.name})
    where = ", ".join(f"{circuit.unit} {circuit.channel}" for circuit in circuits)
    return f"on {where}" + (f"; in proportion with {', '.join(others)}: measure each alone" if others else "")


def _changed(load: Load, running_ma: int) -> Load:
    multiple = Fraction(str(KINDS[load.kind].inrush_multiple))
    peak = ceil(running_ma * multiple) if load.inrush_assumed else load.inrush_ma
    return replace(load, running_ma=running_ma, inrush_ma=max(peak, running_ma))
