"""Filled commissioning sheets taken back: what agrees, what does not, and the load table that follows."""

import os
from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from pdm_alloc.allocation.circuit import PlacedCircuit
from pdm_alloc.allocation.result import Allocation
from pdm_alloc.export.commissioning import commissioning
from pdm_alloc.export.filled import Reading, read_filled
from pdm_alloc.export.proposal import changed_vehicle, proposed_loads
from pdm_alloc.export.records import Row, records
from pdm_alloc.export.verdict import OPEN, OUTSIDE, WRONG, Verdict, judge
from pdm_alloc.vehicle import Vehicle

__all__ = ["Measurements", "read_measurements"]


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
