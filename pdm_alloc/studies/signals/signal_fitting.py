"""Fit boxes to a vehicle: signals on their pins, keypads, and the bus between all nodes."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from pdm_alloc.allocator import allocate_signals, key_counts, signals_of_vehicle
from pdm_alloc.diagnose.signal_shortfall import signal_shortfall
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.signals import Box, Keypad, fitted
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.harness.paths import lengths_of
from pdm_alloc.program.solver import NOT_ENOUGH, Clock
from pdm_alloc.studies.signals.boxes_and_bus import cheapest_keypads, plan_bus, signals_for
from pdm_alloc.studies.signals.signal_side import SignalSide

__all__ = ["signals", "with_bus"]


def signals(
    vehicle: Vehicle,
    boxes: Box | Sequence[Box],
    *,
    places: Mapping[str, str] | None = None,
    units: Sequence[Unit] = (),
    keypads: Sequence[Keypad] = (),
    kbit: int | None = None,
    stub_m: Mapping[str, float] | None = None,
    time_limit_s: float | None = None,
) -> SignalSide:
    """Assign the signals of a vehicle to pins of the boxes fitted, and lay the bus between all nodes.

    Parameters
    ----------
    vehicle : Vehicle
        With signals, or inputs that state what reads them.
    boxes : Box or sequence of Box
        Control units, expanders, modules with signal pins: ``catalogue.boxes``.
    places : mapping of str to str, optional
        Place of each box by label; a box that comes twice has the labels ``name #1`` and ``name #2``.
    units : sequence of Unit
        Modules of the power side with their places: nodes of the bus, and drawn from when parked.
    keypads : sequence of Keypad
        To choose from for the keys.
    kbit : int, optional
        Bit rate of the bus, kbit/s; default: the vehicle's setting.
    stub_m : mapping of str to float, optional
        Stub of a node by its label, m; default of all others: the vehicle's setting.
    time_limit_s : float, optional
        For everything, s; default: the vehicle's setting.

    Returns
    -------
    SignalSide
        True where every signal has its pins; each assignment is verified. Where it is not enough `short` says why.
    """
    limit_s = vehicle.settings.time_limit_s if time_limit_s is None else time_limit_s
    at = fitted([boxes] if isinstance(boxes, Box) else boxes, places)
    wanted = signals_for(signals_of_vehicle(vehicle), [box.box for box in at])
    length_m = lengths_of(vehicle).wire_m if any(box.place for box in at) else None
    clock = Clock(limit_s)
    allocation = allocate_signals(wanted, at, length_m, limit_s)
    is_short = at and allocation.outcome == NOT_ENOUGH
    short = signal_shortfall(wanted, at, clock.left_s).sentence if is_short else ""
    rate = vehicle.settings.bus_kbit if kbit is None else kbit
    return with_bus(
        SignalSide(vehicle, tuple(units), allocation, _keypads(vehicle, keypads), None, rate, short), stub_m
    )


def with_bus(side: SignalSide, stub_m: Mapping[str, float] | None = None) -> SignalSide:
    """A signal side with the trunk through all its nodes, where at least two have a known place.

    Parameters
    ----------
    side : SignalSide
        Without a bus.
    stub_m : mapping of str to float, optional
        Stub of a node by its label, m, with an empty name of all others; default: the vehicle's setting.

    Returns
    -------
    SignalSide

    Raises
    ------
    ValueError
        A stub is of no node.
    """
    known = {place.name for place in side.vehicle.places}
    stubs = {"": side.vehicle.settings.bus_stub_m, **(stub_m or {})}
    strangers = sorted(stubs.keys() - {"", *side.nodes})
    if strangers:
        raise ValueError(f"{', '.join(strangers)}: not on the bus; its nodes are {', '.join(side.nodes) or 'none'}")
    if sum(place in known for place in side.nodes.values()) < 2:
        return side
    each = {node: stubs.get(node, stubs[""]) for node in side.nodes}
    return replace(side, bus=plan_bus(side.vehicle, side.nodes, side.kbit, each))


def _keypads(vehicle: Vehicle, keypads: Sequence[Keypad]) -> dict[str | None, tuple[Keypad, ...]]:
    by = "price" if all(pad.price is not None for pad in keypads) else "mass"
    chosen = {place: cheapest_keypads(count, keypads, by) for place, count in key_counts(vehicle).items()}
    return {place: pads for place, pads in chosen.items() if pads}
