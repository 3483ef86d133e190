"""A circuit where it ended up: its unit, its channel or channels, and the items wired to it."""

from dataclasses import dataclass

__all__ = ["PlacedCircuit"]


@dataclass(frozen=True, slots=True)
class PlacedCircuit:
    """Loads wired together on one channel, or on two that are paralleled or form a bridge.

    Parameters
    ----------
    unit : str
        Label of the unit.
    channels : tuple of str
        Names of its channels, one or two, in natural order.
    use : str
        ``single``, ``pair`` (two channels paralleled) or ``bridge`` (a reversing pair).
    command : str
        What switches it.
    items : tuple of (str, int)
        Load and item number, counted from 1, sorted.
    """

    unit: str
    channels: tuple[str, ...]
    use: str
    command: str
    items: tuple[tuple[str, int], ...]

    @property
    def channel(self) -> str:
        """The channel as tables write it: ``3``, or ``3+4``."""
        return "+".join(self.channels)

    @property
    def loads(self) -> tuple[str, ...]:
        """Names of its loads, once each, sorted."""
        return tuple(dict.fromkeys(load for load, _ in self.items))
