"""Filled commissioning sheets taken back, and the load table that follows."""

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from math import ceil

import pandas as pd

from pdm_alloc.domain.kinds import KINDS
from pdm_alloc.domain.vehicle import Load, Vehicle
from pdm_alloc.export.commissioning import commissioning
from pdm_alloc.export.lists import Row, records
from pdm_alloc.export.readings import OPEN, OUTSIDE, WRONG, Reading, Verdict, judge, read_filled
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.placed import PlacedCircuit

__all__ = ["PROPOSAL", "Measurements", "changed_vehicle", "proposed_loads", "read_measurements"]

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
    proposals = [(circuit, verdict, _items(load, circuit)) for circuit, verdict in measured if _items(load, circuit)]
    outside = any(verdict.word == OUTSIDE for _, verdict, _ in proposals)
    if not proposals or not (outside or load.tolerance_pct > 0):
        return None
    ratio = sum((verdict.ratio or 0) * items for _, verdict, items in proposals) / Fraction(
        sum(items for *_, items in proposals)
    )
    new_ma = ceil(load.running_ma * ratio)
    return {
        "load": load.name,
        "count": load.count,
        "running_a": load.running_ma / 1000,
        "measured_a": new_ma / 1000,
        "change_pct": round(100 * (new_ma / load.running_ma - 1), 1),
        "why": "outside tolerance" if outside else "was a guess",
        "how": _how(load, [circuit for circuit, *_ in proposals]),
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


@dataclass(frozen=True)
class Measurements:
    """What a filled commissioning sheet says.

    Parameters
    ----------
    allocation : Allocation
        What was measured.
    readings : tuple of Reading
        Rows that were filled in.
    """

    allocation: Allocation
    readings: tuple[Reading, ...]

    @cached_property
    def table(self) -> pd.DataFrame:
        """The sheet as filled in, with ``deviation_pct`` and a ``verdict`` in every row.

        The verdict is ``within`` or ``outside`` the tolerance at the voltage measured, ``wrong`` where
        the channel was on and should have been off or the reverse, or ``not measured``.
        """
        rows = [
            {**row, **_told(reading), "deviation_pct": verdict.deviation_pct, "verdict": verdict.word}
            for row, _, reading, verdict in self._judged
        ]
        return pd.DataFrame(rows)

    @property
    def outside(self) -> pd.DataFrame:
        """Rows of `table` that do not agree."""
        return self.table[self.table.verdict.isin((OUTSIDE, WRONG))].reset_index(drop=True)

    @cached_property
    def loads(self) -> pd.DataFrame:
        """Loads whose running current should be changed in the table ``loads``; see `proposed_loads`."""
        measured = [(circuit, verdict) for _, circuit, _, verdict in self._judged if verdict.ratio is not None]
        return proposed_loads(self.allocation.vehicle, measured)

    @property
    def vehicle(self) -> Vehicle:
        """The vehicle with the proposed running currents; see `changed_vehicle`."""
        return changed_vehicle(self.allocation.vehicle, self.loads)

    def summary(self) -> str:
        """One sentence: how many channels were measured, how many agree, how many loads should change."""
        rows = [verdict for row, _, _, verdict in self._judged if row["expected_a"] is not None]
        done = sum(verdict.word != OPEN for verdict in rows)
        return (
            f"{done} of {len(rows)} channels measured, {len(self.outside)} readings do not agree, "
            f"{len(self.loads)} loads to change"
        )

    @cached_property
    def _judged(self) -> list[tuple[Row, PlacedCircuit, Reading | None, Verdict]]:
        filled = {(reading.module, reading.channel, reading.step): reading for reading in self.readings}
        circuits = {(circuit.unit, circuit.channel): circuit for circuit in self.allocation.circuits}
        judged = []
        for row in records(commissioning(self.allocation)):
            circuit = circuits[row["module"], row["channel"]]
            reading = filled.get((row["module"], row["channel"], row["step"]))
            judged.append((row, circuit, reading, judge(self.allocation, circuit, row, reading)))
        return judged


def _told(reading: Reading | None) -> Row:
    if reading is None:
        return {}
    told: Row = {"seen": reading.seen, "measured_a": reading.measured_a, "measured_v": reading.measured_v}
    return told | ({"remark": reading.remark} if reading.remark else {})


def read_measurements(path: str | os.PathLike[str], allocation: Allocation) -> Measurements:
    """Take back a commissioning sheet that has been filled in.

    Parameters
    ----------
    path : path
        ``commissioning.csv`` or the workbook, as written for this allocation, with values in the
        columns ``seen`` (on or off), ``measured_a`` and ``measured_v`` (empty: the reference voltage).
    allocation : Allocation
        What was measured.

    Returns
    -------
    Measurements
        What agrees, what does not, and the load table that follows.

    Raises
    ------
    InputError
        The sheet cannot be read, or belongs to another allocation; names every fault.
    """
    return Measurements(allocation, read_filled(path, commissioning(allocation)))
