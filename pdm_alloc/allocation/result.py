"""The result of an allocation: an object with tables."""

from dataclasses import dataclass
from pdm_alloc.allocation.circuit import PlacedCircuit
from pdm_alloc.module import Unit
from pdm_alloc.vehicle import Vehicle


@dataclass(frozen=True)
class Allocation:
    """Loads allocated to channels (tables follow)."""

    vehicle: Vehicle
    units: tuple[Unit, ...]
    circuits: tuple[PlacedCircuit, ...]
    strategy: str
    outcome: str
    gap: float = 0.0
