"""Fit boxes to a vehicle: signals on their pins, keypads, the bus between all nodes, and where a control unit sits."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import product

import pandas as pd

from pdm_alloc.allocator import allocate_signals, key_counts, signals_of_vehicle
from pdm_alloc.diagnose.signal_shortfall import signal_shortfall
from pdm_alloc.domain.module import Catalogue, Unit
from pdm_alloc.domain.showing import counted
from pdm_alloc.domain.signals import Box, Keypad, fitted
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.files.faults import Fault, InputError
from pdm_alloc.harness.paths import lengths_of
from pdm_alloc.program.solver import NOT_ENOUGH, Clock
from pdm_alloc.studies.signals.boxes_and_bus import ModuleOption, cheapest_keypads, choose_boxes, plan_bus, signals_for
from pdm_alloc.studies.signals.signal_side import SignalSide
from pdm_alloc.studies.signals.signal_sizing import has_signals
from pdm_alloc.studies.signals.signal_wiring import BUS

__all__ = ["CONTROL_PLACES", "control_places", "signals", "signals_beside", "with_bus"]


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


def _keypads(vehicle, keypads) -> dict[str | None, tuple[Keypad, ...]]:
    by = "price" if all(pad.price is not None for pad in keypads) else "mass"
    chosen = {place: cheapest_keypads(count, keypads, by) for place, count in key_counts(vehicle).items()}
    return {place: pads for place, pads in chosen.items() if pads}


def signals_beside(
    vehicle: Vehicle,
    catalogue: Catalogue,
    units: Sequence[Unit],
    names: Sequence[str] = (),
    places: Sequence[str] = (),
    time_limit_s: float | None = None,
    kbit: int | None = None,
    stubs: Mapping[str, float] | None = None,
) -> SignalSide | None:
    """The signal side beside modules: on control units by name, or on those that cost least.

    Parameters
    ----------
    vehicle : Vehicle
        Any.
    catalogue : Catalogue
        With control units and keypads.
    units : sequence of Unit
        Modules fitted.
    names : sequence of str
        Control units and expanders; empty: the cheapest that are enough, or else the largest.
    places : sequence of str
        Where they sit, one each; empty: where their wires and the trunk are lightest, see `control_places`.
    time_limit_s : float, optional
        s; default: the vehicle's setting.
    kbit : int, optional
        Bit rate of the bus, kbit/s; default: the vehicle's setting.
    stubs : mapping of str to float, optional
        Stub of nodes of the bus by label, m; of all others: the vehicle's setting.

    Returns
    -------
    SignalSide or None
        None: the vehicle has no signal side.

    Raises
    ------
    InputError
        A box, place or node of that name does not exist, or there are more or fewer places than boxes.
    """
    wanted, offered = signals_of_vehicle(vehicle), {b.name: b for b in catalogue.boxes if b.role != "module"}
    _check(vehicle, offered, names, places)
    if not has_signals(vehicle):
        return None
    if wanted and not offered:
        return SignalSide(vehicle, tuple(units), None)
    beside = [b for u in units for b in catalogue.boxes if b.name == u.module.name]
    limit_s = vehicle.settings.time_limit_s if time_limit_s is None else time_limit_s
    clock = Clock(limit_s)
    chosen = [offered[name] for name in names] or _cheapest(wanted, offered, beside, limit_s)
    labels = [box.label for box in fitted([*beside, *chosen])]
    sites = dict(zip(labels, [*(u.place for u in units if _pinned(u, beside)), *places], strict=False))
    at = {label: place for label, place in sites.items() if place}
    fit = partial(signals, vehicle, [*beside, *chosen], units=units, keypads=catalogue.keypads)
    side = fit(places=at, kbit=kbit, time_limit_s=clock.left_s)
    best = {} if places or not side else next(iter(_by_mass(side)), _Sites(0, 0, 0, {})).places
    _check_nodes(side, stubs or {})
    if not best and not stubs:
        return side
    again = fit(places=at | best, kbit=kbit, stub_m=stubs, time_limit_s=clock.left_s)
    return again if again or not side else _moved(side, best, stubs)


CONTROL_PLACES = ("boxes", "places", "wire_g", "bus_g", "mass_g", "trunk_m")

MOST_SITES = 600  # combinations of places tried one by one; beyond that all boxes sit at one place


@dataclass(frozen=True, slots=True)
class _Sites:
    """Places of boxes, by label, and what wires of signals and of the bus weigh then, g; length of the trunk, m."""

    wire_g: float
    bus_g: float
    trunk_m: float
    places: dict[str, str]


def control_places(side: SignalSide) -> pd.DataFrame:
    """What the wires weigh with the control units at each place where a box can be mounted, lightest first.

    Parameters
    ----------
    side : SignalSide
        With boxes that are enough; modules stay where they are, and every signal on its pin.

    Returns
    -------
    DataFrame
        Columns `CONTROL_PLACES`: masses in g, all wires of the signal side; length of the trunk in m. Exact: every
        place is worked out (with several boxes every combination of up to `MOST_SITES`, else one place for all).
    """
    masses = [(one, one.wire_g, one.bus_g, one.wire_g + one.bus_g, one.trunk_m) for one in _by_mass(side)]
    rows = [(", ".join(one.places), ", ".join(one.places.values()), *grams) for one, *grams in masses]
    return pd.DataFrame(rows, columns=list(CONTROL_PLACES)).round(3)


def _by_mass(side: SignalSide) -> list[_Sites]:
    """Every combination of places, lightest first; none where no place or no route is known."""
    labels = [box.label for box in side.boxes if box.box.role != "module"]
    sites = [place.name for place in side.vehicle.places if place.mount]
    few = len(sites) ** len(labels) <= MOST_SITES
    each = product(sites, repeat=len(labels)) if few else ((site,) * len(labels) for site in sites)
    every = [_at(side, dict(zip(labels, at, strict=True))) for at in each] if labels else []
    return sorted(every, key=lambda one: (round(one.wire_g + one.bus_g, 3), tuple(one.places.values())))


def _at(side: SignalSide, places: dict[str, str]) -> _Sites:
    """The same signals on the same pins, with boxes at other places."""
    moved = _moved(side, places)
    table = moved.cut_list()
    of_bus = table["role"] == BUS
    wire, bus = (float(table[mask]["mass_g"].sum()) for mask in (~of_bus, of_bus))
    return _Sites(wire, bus, moved.bus.trunk.length_m if moved.bus else 0.0, places)


def _moved(side: SignalSide, places: Mapping[str, str], stub_m: Mapping[str, float] | None = None) -> SignalSide:
    assert side.allocation is not None
    boxes = tuple(replace(box, place=places.get(box.label, box.place)) for box in side.boxes)
    return with_bus(replace(side, allocation=replace(side.allocation, boxes=boxes), bus=None), stub_m)


def _check_nodes(side: SignalSide, stubs: Mapping[str, float]) -> None:
    faults = [_unknown("--bus-stub", name, list(side.nodes)) for name in stubs if name and name not in side.nodes]
    if faults:
        raise InputError(faults)


def _pinned(unit, boxes) -> bool:
    return any(box.name == unit.module.name for box in boxes)


def _cheapest(wanted, offered, beside, limit_s) -> list[Box]:
    if not wanted:
        return []
    units = list(offered.values())
    choice = choose_boxes(wanted, units, (ModuleOption("", tuple(beside), 0.0, 0.0),), time_limit_s=limit_s)
    return list(choice.boxes) if choice.allocation else [max(units, key=lambda box: len(box.pins))]


def _check(vehicle, offered, names, places) -> None:
    faults = [_unknown("--control-unit", name, offered) for name in names if name not in offered]
    known = [place.name for place in vehicle.places]
    faults += [_unknown("--control-place", place, known) for place in places if place not in known]
    if places and len(places) != len(names):
        text = f"{counted(len(places), 'place')} for {counted(len(names), 'control unit')}"
        faults.append(Fault("command line", None, "--control-place", None, text, "give one place for each, or none"))
    if faults:
        raise InputError(faults)


def _unknown(option, name, known) -> Fault:
    remedy = f"one of: {', '.join(known)}" if known else "the tables have none"
    return Fault("command line", None, option, name, "is not known", remedy)
