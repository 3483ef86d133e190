"""The result of an allocation: an object with tables."""

from dataclasses import dataclass, field
from functools import cached_property

import pandas as pd

from pdm_alloc.allocation import tables
from pdm_alloc.allocation.circuit import PlacedCircuit
from pdm_alloc.allocation.harness_tables import feeds_table, segments_table
from pdm_alloc.allocation.settings_table import settings_table
from pdm_alloc.allocation.supply_table import supply_table
from pdm_alloc.allocation.voltages_table import voltages_table
from pdm_alloc.allocation.warnings_table import warnings_table
from pdm_alloc.allocation.wired import WiredCircuit, wire_circuits
from pdm_alloc.allocation.wires_table import drops_table, wires_table
from pdm_alloc.frames import handed_out
from pdm_alloc.module import Unit
from pdm_alloc.shown import counted, headline_table
from pdm_alloc.vehicle import Vehicle

__all__ = ["Allocation"]

_SHOWN = ("module", "channel", "command", "loads", "running_a", "limit_a", "headroom_pct")


@dataclass(frozen=True, repr=False)
class Allocation:
    """Loads allocated to channels.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : tuple of Unit
        What is fitted.
    circuits : tuple of PlacedCircuit
        By unit and channel.
    strategy : str
        ``isolate`` or ``spare``.
    outcome : str
        ``proven best`` or ``best so far``.
    gap : float
        Between its value and the proved bound, 0 when closed.
    objectives : tuple of (str, float)
        Objectives in order and their values.
    """

    vehicle: Vehicle
    units: tuple[Unit, ...]
    circuits: tuple[PlacedCircuit, ...]
    strategy: str = "isolate"
    outcome: str = "proven best"
    gap: float = 0.0
    objectives: tuple[tuple[str, float], ...] = field(default=(), compare=False)

    @handed_out
    def channels(self) -> pd.DataFrame:
        """One row per circuit: where it is, what is on it, its currents (A) and limits, headroom in per cent."""
        return tables.channels(self.vehicle, self.units, self.circuits)

    @handed_out
    def assignments(self) -> pd.DataFrame:
        """A row an item: load, item number, module, channel."""
        return tables.assignments(self.vehicle, self.circuits)

    @handed_out
    def spare(self) -> pd.DataFrame:
        """One row per spare channel, with its continuous rating in A."""
        return tables.spare(self.units, self.circuits)

    @handed_out
    def headroom(self) -> pd.DataFrame:
        """Banks and whole modules in every state: module, subject, state, current_a, limit_a, headroom_pct."""
        return tables.states(self.vehicle, self.units, self.circuits)

    @cached_property
    def wired(self) -> tuple[WiredCircuit, ...]:
        """Trip setting and wire of every circuit, in the order of `circuits`."""
        return wire_circuits(self.vehicle, self.units, self.circuits)

    @handed_out
    def wires(self) -> pd.DataFrame:
        """One row per circuit: its wire, what it carries (A), the worst voltage drop on it (per cent), its mass (g)."""
        return wires_table(self.vehicle, self.wired)

    @handed_out
    def settings(self) -> pd.DataFrame:
        """One row per circuit: trip current to set (A), inrush window (ms), and by how much its loads pass them."""
        return settings_table(self.vehicle, self.wired)

    @handed_out
    def drops(self) -> pd.DataFrame:
        """One row per load and circuit: voltage drop from module to load (V, per cent) and what is allowed."""
        return drops_table(self.vehicle, self.wired)

    @handed_out
    def supply(self) -> pd.DataFrame:
        """A row an operating state: average and peak current against charging (A), minutes the battery lasts."""
        return supply_table(self.vehicle)

    @handed_out
    def voltages(self) -> pd.DataFrame:
        """One row per state and load that is on: voltage at module and load (V) against the lowest it works at."""
        return voltages_table(self.vehicle, self.wired)

    @handed_out
    def warnings(self) -> pd.DataFrame:
        """Rules of care, gravest first: code, severity, subject, sentence, remedy."""
        return warnings_table(self.vehicle, self.units, self.wired)

    @handed_out
    def segments(self) -> pd.DataFrame:
        """One row per route: length (m), wires in it, most loaded at once, diameter of the bundle (mm), mass (g)."""
        return segments_table(self.vehicle, self.wired)

    @handed_out
    def feeds(self) -> pd.DataFrame:
        """One row per unit: main fuse (A), cable from the battery, drop (per cent), mass (g)."""
        return feeds_table(self.vehicle, self.units, self.wired)

    def pin_map(self) -> pd.DataFrame:
        """Table to wire by: one row per circuit, with the loads' ``x_`` columns at the end."""
        return tables.pin_map(self.vehicle, self.circuits, self.channels)

    def summary(self) -> str:
        """One sentence: the result and how sure it is."""
        used = sum(len(c.channels) for c in self.circuits)
        total = sum(len(u.module.channels) for u in self.units)
        names = " and ".join(u.label for u in self.units)
        tight = self.channels.headroom_pct.min() if len(self.channels) else float("nan")
        sure = self.outcome if self.outcome == "proven best" else f"{self.outcome}, gap {100 * self.gap:.1f} %"
        return (
            f"{names}: {counted(len(self.circuits), 'circuit')} on {used} of {counted(total, 'channel')}, "
            f"{total - used} spare, least headroom {tight:.0f} % ({sure})"
        )

    def __repr__(self) -> str:
        """As `summary`, with the vehicle."""
        return f"{self.vehicle.name} on {self.summary()}"

    def _repr_html_(self) -> str:
        columns = [c for c in _SHOWN if c in self.channels.columns]
        return headline_table(repr(self), columns, self.channels[columns].itertuples(index=False))
