"""The bus of a vehicle: trunk, wire, limits, messages, and the wires it saves."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pdm_alloc.electrics.bus import BusWarning, check_bus, pair_g
from pdm_alloc.electrics.bus_time import MessageTime, bus_load, response_times
from pdm_alloc.electrics.wire import mass_g_per_m
from pdm_alloc.harness.lengths import lengths_of
from pdm_alloc.harness.trunk import Trunk, trunk_of
from pdm_alloc.signals import Keypad
from pdm_alloc.vehicle import Vehicle

__all__ = ["BusPlan", "WiresSaved", "plan_bus", "wires_saved"]

PAIR_MM2 = 0.35  # usual cross-section of a bus wire; common practice, no source


@dataclass(frozen=True)
class BusPlan:
    """The bus of a vehicle.

    Parameters
    ----------
    trunk : Trunk
        Nodes in order, with stubs and terminators.
    mass_g : float
        Of the twisted pair in trunk and stubs, g.
    warnings : tuple of BusWarning
        Published limits that are broken.
    load : float or None
        Share of time the bus is busy, no unit; None: no messages.
    times : tuple of MessageTime
        By priority.
    unplaced : tuple of str
        Nodes left out: their place is not known, or no route leads to it.
    """

    trunk: Trunk
    mass_g: float
    warnings: tuple[BusWarning, ...]
    load: float | None
    times: tuple[MessageTime, ...]
    unplaced: tuple[str, ...] = ()


def plan_bus(
    vehicle: Vehicle,
    nodes: Mapping[str, str | None],
    kbit: int = 500,
    stub_m: Mapping[str, float] | None = None,
    pair_mm2: float = PAIR_MM2,
) -> BusPlan:
    """The shortest trunk through all nodes along the routes of the vehicle, judged.

    Parameters
    ----------
    vehicle : Vehicle
        With places, routes and, where wanted, messages.
    nodes : mapping of str to str or None
        Place of each node by label.
    kbit : int
        Bit rate, kbit/s.
    stub_m : mapping of str to float, optional
        Stub of each node that the trunk does not pass through, m.
    pair_mm2 : float
        Cross-section of each wire, mm2.

    Returns
    -------
    BusPlan
        Sections have the allowances of any wire; between nodes at one place the two ends alone.

    Raises
    ------
    ValueError
        No node has a known place, or no limit is published for the bit rate.
    """
    lengths = lengths_of(vehicle)
    start = next((place for place in nodes.values() if place is not None), None)
    placed = {n: p for n, p in nodes.items() if p is not None and lengths.route_m(start, p) is not None}

    def section_m(a: str, b: str) -> float:
        return lengths.wire_m(placed[a], placed[b]) or 0.0

    stubs = {node: length for node, length in (stub_m or {}).items() if node in placed}
    trunk = trunk_of(list(placed), section_m, stubs)
    mass = pair_g(trunk.wire_m, mass_g_per_m(pair_mm2, vehicle.settings.insulation_c))
    messages = vehicle.messages
    return BusPlan(
        trunk,
        mass,
        tuple(check_bus(kbit, trunk.length_m, stubs)),
        bus_load(messages, kbit) if messages else None,
        tuple(response_times(messages, kbit)),
        tuple(sorted(set(nodes) - set(placed))),
    )


@dataclass(frozen=True, slots=True)
class WiresSaved:
    """Wires from keys to what reads them: one per key, with the bus, and the difference; negative: more."""

    one_per_switch: int
    with_bus: int

    @property
    def saved(self) -> int:
        """Wires fewer."""
        return self.one_per_switch - self.with_bus


def wires_saved(keys: Mapping[str | None, int], keypads: Mapping[str | None, Sequence[Keypad]]) -> WiresSaved:
    """Wires the bus saves against one per switch.

    Parameters
    ----------
    keys : mapping of place to int
        Keys wanted at each place.
    keypads : mapping of place to sequence of Keypad
        Keypads that read them, as `pdm_alloc.allocation.signals.choose` gives them.

    Returns
    -------
    WiresSaved
        The wires of a keypad include its supply and its ground.
    """
    return WiresSaved(sum(keys.values()), sum(pad.wires for pads in keypads.values() for pad in pads))
