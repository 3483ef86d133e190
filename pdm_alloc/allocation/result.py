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
from pdm_alloc.module import Unit
from pdm_alloc.vehicle import Vehicle

__all__ = ["Allocation"]


@dataclass(frozen=True)
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
        Between what was found and what is proved, 0 when closed.
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

    @cached_property
    def channels(self) -> pd.DataFrame:
        """A row a circuit: where it is, what is on it, its currents (A) against its limits, headroom in per cent."""
        return tables.channels(self.vehicle, self.units, self.circuits)

    @cached_property
    def assignments(self) -> pd.DataFrame:
        """A row an item: load, item number, module, channel."""
        return tables.assignments(self.vehicle, self.circuits)

    @cached_property
    def spare(self) -> pd.DataFrame:
        """A row a free channel, with its continuous rating in A."""
        return tables.spare(self.units, self.circuits)

    @cached_property
    def headroom(self) -> pd.DataFrame:
        """Banks and whole modules in every state: module, subject, state, current_a, limit_a, headroom_pct."""
        return tables.states(self.vehicle, self.units, self.circuits)

    @cached_property
    def wired(self) -> tuple[WiredCircuit, ...]:
        """Trip setting and wire of every circuit, in the order of `circuits`."""
        return wire_circuits(self.vehicle, self.units, self.circuits)

    @cached_property
    def wires(self) -> pd.DataFrame:
        """A row a circuit: its wire, what it carries (A), the worst voltage drop on it (per cent), its mass (g)."""
        return wires_table(self.vehicle, self.wired)

    @cached_property
    def settings(self) -> pd.DataFrame:
        """A row a circuit: trip current to set (A), inrush window (ms), and by how much its loads pass them."""
        return settings_table(self.vehicle, self.wired)

    @cached_property
    def drops(self) -> pd.DataFrame:
        """A row a load and circuit: voltage drop from module to load (V, per cent) and what is allowed."""
        return drops_table(self.vehicle, self.wired)

    @cached_property
    def supply(self) -> pd.DataFrame:
        """A row an operating state: mean and peak current against charging (A), minutes the battery lasts."""
        return supply_table(self.vehicle)

    @cached_property
    def voltages(self) -> pd.DataFrame:
        """A row a state and load that is on: voltage at module and load (V) against the lowest it works at."""
        return voltages_table(self.vehicle, self.wired)

    @cached_property
    def warnings(self) -> pd.DataFrame:
        """Rules of care, gravest first: code, severity, subject, sentence, remedy."""
        return warnings_table(self.vehicle, self.units, self.wired)

    @cached_property
    def segments(self) -> pd.DataFrame:
        """A row a route: length (m), wires in it, most loaded at once, diameter of the bundle (mm), mass (g)."""
        return segments_table(self.vehicle, self.wired)

    @cached_property
    def feeds(self) -> pd.DataFrame:
        """A row a unit: main fuse (A), cable from the battery, drop (per cent), mass (g)."""
        return feeds_table(self.vehicle, self.units, self.wired)

    def pin_map(self) -> pd.DataFrame:
        """Table to wire by: a row a circuit, with the loads' ``x_`` columns at the end."""
        return tables.pin_map(self.vehicle, self.circuits, self.channels)

    def summary(self) -> str:
        """One sentence: what was found and how sure it is."""
        used = sum(len(c.channels) for c in self.circuits)
        total = sum(len(u.module.channels) for u in self.units)
        names = " and ".join(u.label for u in self.units)
        tight = self.channels.headroom_pct.min() if len(self.channels) else float("nan")
        sure = self.outcome if self.outcome == "proven best" else f"{self.outcome}, gap {100 * self.gap:.1f} %"
        return (
            f"{names}: {len(self.circuits)} circuits on {used} of {total} channels, "
            f"{total - used} spare, least headroom {tight:.0f} % ({sure})"
        )
