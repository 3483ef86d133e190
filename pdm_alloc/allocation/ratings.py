"""The channel or channels a placed circuit is on, with the rating they have together."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pdm_alloc.allocation.circuit import PlacedCircuit
from pdm_alloc.circuits.classes import Rating, rating_of
from pdm_alloc.circuits.fit import usable_for
from pdm_alloc.module import Channel, Unit
from pdm_alloc.vehicle import Vehicle

__all__ = ["Place", "place_of"]


@dataclass(frozen=True, slots=True)
class Place:
    """Where a circuit is wired: its unit, channels and their common rating."""

    unit: Unit
    channels: tuple[Channel, ...]
    rating: Rating

    @property
    def connector(self) -> str:
        """Connector, or both where the two channels are on different ones."""
        return " ".join(dict.fromkeys(c.connector for c in self.channels if c.connector))

    @property
    def pins(self) -> str:
        """Pins of all channels, joined with spaces."""
        return " ".join(pin for c in self.channels for pin in c.pins)

    @property
    def bank(self) -> str:
        """Bank, or both."""
        return " ".join(dict.fromkeys(c.bank for c in self.channels if c.bank))


def place_of(vehicle: Vehicle, units: Sequence[Unit], circuit: PlacedCircuit) -> Place:
    """Channels and rating of a placed circuit.

    Parameters
    ----------
    vehicle : Vehicle
        For settings and the ambient of places.
    units : sequence of Unit
        Fitted.
    circuit : PlacedCircuit
        The circuit.

    Returns
    -------
    Place

    Raises
    ------
    KeyError
        The unit or a channel does not exist.
    """
    unit = {u.label: u for u in units}[circuit.unit]
    channels = tuple(unit.module.channel(name) for name in circuit.channels)
    rating = rating_of(vehicle, unit, channels, circuit.use)
    usable = usable_for(rating, vehicle.command(circuit.command).headroom_pct)
    return Place(unit, channels, replace(rating, usable_ma=usable))
