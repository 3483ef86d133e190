"""Boxes fitted to a vehicle, where they sit, and modules and control units chosen together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial
from heapq import heapify, heappop, heappush
from itertools import product
from math import floor
from typing import Any

import pandas as pd

from pdm_alloc.allocator import allocate_signals, key_counts, signals_of_vehicle
from pdm_alloc.diagnose.signal_shortfall import signal_shortfall
from pdm_alloc.domain.module import Box, Catalogue, Keypad, Signal, Unit, fitted
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.current import exact
from pdm_alloc.electrics.wire import mass_g_per_m
from pdm_alloc.harness.paths import lengths_of
from pdm_alloc.program.lightest import PASSED_OVER
from pdm_alloc.program.solver import BEST_SO_FAR, NOT_ENOUGH, PROVEN_BEST, Clock
from pdm_alloc.studies.alternatives import Choice, Found, known_price, objective_of
from pdm_alloc.studies.mounting_search import Judged, Search, judge_choice, module_dg
from pdm_alloc.studies.signal_side import SignalSide
from pdm_alloc.studies.signal_sizing import (
    MOST_UNITS,
    ModuleOption,
    cheapest_keypads,
    cheapest_units,
    check_boxes,
    check_nodes,
    has_signals,
    plan_bus,
    sets_by_cost,
    signals_for,
)
from pdm_alloc.studies.signal_wiring import BUS, size_for

__all__ = ["CONTROL_PLACES", "Together", "choose_together", "control_places", "signals", "signals_beside", "with_bus"]


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
    check_boxes(vehicle, offered, names, places)
    if not has_signals(vehicle):
        return None
    if wanted and not offered:
        return SignalSide(vehicle, tuple(units), None)
    beside = [b for u in units for b in catalogue.boxes if b.name == u.module.name]
    limit_s = vehicle.settings.time_limit_s if time_limit_s is None else time_limit_s
    clock = Clock(limit_s)
    chosen = [offered[name] for name in names] or cheapest_units(vehicle, list(offered.values()), beside, limit_s)
    labels = [box.label for box in fitted([*beside, *chosen])]
    pinned = [unit.place for unit in units if any(box.name == unit.module.name for box in beside)]
    sites = dict(zip(labels, [*pinned, *places], strict=False))
    at = {label: place for label, place in sites.items() if place}
    fit = partial(signals, vehicle, [*beside, *chosen], units=units, keypads=catalogue.keypads)
    side = fit(places=at, kbit=kbit, time_limit_s=clock.left_s)
    best = {} if places or not side else next(iter(_by_mass(side)), _Sites(0, 0, 0, {})).places
    check_nodes(side.nodes, stubs or ())
    if best or stubs:
        again = fit(places=at | best, kbit=kbit, stub_m=stubs, time_limit_s=clock.left_s)
        side = again if again or not side else _moved(side, best, stubs)
    return replace(side, offered=(*offered, *(pad.name for pad in catalogue.keypads)))


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


@dataclass(frozen=True, repr=False)
class Together:
    """Modules, control units and keypads chosen together, with the places of all.

    Parameters
    ----------
    choice : Choice
        Modules and their places.
    side : SignalSide
        Control units at their places, verified, and keypads where their keys are.
    price : float
        Of everything; 0 where not known.
    mass_g : float
        Of modules, control units, keypads and all wires, g.
    outcome : str
        Proven best: nothing else can be better; best so far: the time was over.
    """

    choice: Choice
    side: SignalSide
    price: float
    mass_g: float
    outcome: str

    def __repr__(self) -> str:
        """What to buy and where to mount it, in one sentence."""
        boxes = [(box.label, box.place) for box in self.side.boxes if box.box.role != "module"]
        boxes += [(pad.name, place) for _, place, pad in self.side.pads()]
        names = ", ".join([self.choice.label, *(f"{name} at {place}" if place else name for name, place in boxes)])
        price = f"price {self.price:g}, " if self.price else ""
        return f"Power and signals together: {names}: {price}{self.mass_g / 1000:.2f} kg ({self.outcome})."


@dataclass(frozen=True)
class _Node:
    """A choice as far as it is decided: modules at their places, control units, their places, and all wires."""

    choice: Choice
    boxes: tuple[Box, ...] = ()
    places: tuple[str, ...] | None = None
    side: SignalSide | None = None


class _Joint:
    """Best first over modules at places, sets of control units, and their places; the first that is whole is best.

    Every step works out one thing that was only bounded before: whether the pins are enough, the harness of the
    modules, the wires of the signal side, which are bounded by straight runs to the nearest box.
    """

    def __init__(self, search: Search, catalogue: Catalogue, clock: Clock):
        self.search, self.clock, self.vehicle = search, clock, search.vehicle
        self.objective = objective_of("price") if search.objective.is_front else search.objective
        by = "price" if self.objective.price else "mass"
        counts = key_counts(self.vehicle).items() if catalogue.keypads else ()
        self.pads = {place: cheapest_keypads(n, catalogue.keypads, by) or () for place, n in counts}
        self.pinned = {box.name: box for box in catalogue.boxes if box.role == "module"}
        units = [box for box in catalogue.boxes if box.role != "module"]
        self.sets = [boxes for *_, boxes in sets_by_cost(units, [ModuleOption("", (), 0.0, 0.0)], by, MOST_UNITS)]
        self.wanted = signals_of_vehicle(self.vehicle)
        self.enough: dict[tuple[str, ...], bool] = {}

    def run(self) -> Together | None:
        choices = [c for c in self.search.compared if c.number in self.search.least]
        heap = [(self._key(node), n, node) for n, node in enumerate(_Node(c, b) for c in choices for b in self.sets)]
        heapify(heap)
        number = len(heap)
        while heap and (heap[0][2].side is None and not self.clock.is_over()):
            key, _, node = heappop(heap)
            late = self._key(node) > key
            for child in [node] if late else self._next(node):
                number += 1
                heappush(heap, (self._key(child), number, child))
        whole = [entry for entry in heap if entry[2].side is not None]
        return self._told(min(whole)[2], whole[0] is heap[0]) if whole else None

    def _key(self, node: _Node) -> tuple[Any, ...]:
        things: list[Box | Keypad] = [*node.boxes, *(pad for pads in self.pads.values() for pad in pads)]
        price = known_price(node.choice) + sum((exact(thing.price or 0) for thing in things), Fraction(0))
        mass = module_dg(node.choice) + self._harness_dg(node.choice) + self._wire_dg(node)
        mass += round(10 * sum((thing.mass_g or 0.0 for thing in things), 0.0))
        return self.objective.key(Found(node.choice.number, price, mass))

    def _judged(self, choice: Choice) -> Judged | None:
        """What the modules came to; None: only a bound is known."""
        judged = self.search.judged.get(choice.number)
        return judged if judged is not None and judged.outcome != PASSED_OVER else None

    def _harness_dg(self, choice: Choice) -> int:
        judged = self._judged(choice)
        return self.search.least[choice.number] if judged is None else judged.harness_dg

    def _wire_dg(self, node: _Node) -> int:
        if node.side is not None:
            return round(10 * float(node.side.cut_list()["mass_g"].sum()))
        return floor(10 * sum(self._least_g(s, node.places) for s in self.wanted)) if node.places else 0

    def _least_g(self, signal: Signal, sites: Sequence[str]) -> float:
        size = size_for(self.vehicle, signal.current_ma if signal.rule.is_output else 0)
        if size is None or signal.kind == "bus" or signal.reader == "module" or "spare" in signal.needs or self.pinned:
            return 0.0
        runs = [lengths_of(self.vehicle).wire_m(site, signal.place) or 0.0 for site in sites]
        each = mass_g_per_m(size.area_mm2, self.vehicle.settings.insulation_c) * signal.rule.pins * signal.count
        return each * min(runs)

    def _next(self, node: _Node) -> list[_Node]:
        if not self._is_enough(node):
            return []
        judged = self._judged(node.choice)
        if judged is None:
            self.search.judged[node.choice.number] = judge_choice(self.search.job(node.choice, None))
            return [node]
        if not judged.circuits:
            return []
        if node.places is None:
            sites = [place.name for place in self.vehicle.places if place.mount]
            return [replace(node, places=at) for at in product(sites, repeat=len(node.boxes))]
        side = self._side(node)
        return [replace(node, side=side)] if side else []

    def _boxes(self, node: _Node) -> list[Box]:
        names = [unit.module.name for unit in node.choice.units]
        return [*(self.pinned[name] for name in names if name in self.pinned), *node.boxes]

    def _is_enough(self, node: _Node) -> bool:
        boxes = self._boxes(node)
        key = tuple(box.name for box in boxes)
        if key not in self.enough:
            limit_s = max(0.1, self.clock.left_s)
            wanted = signals_for(self.wanted, boxes)
            self.enough[key] = bool(allocate_signals(wanted, fitted(boxes), time_limit_s=limit_s))
        return self.enough[key]

    def _side(self, node: _Node) -> SignalSide:
        boxes, units = self._boxes(node), node.choice.units
        pinned = [unit.place or "" for unit in units if unit.module.name in self.pinned]
        labels = [box.label for box in fitted(boxes)]
        places = dict(zip(labels, [*pinned, *(node.places or ())], strict=True))
        side = signals(self.vehicle, boxes, places=places, units=units, time_limit_s=max(0.1, self.clock.left_s))
        return with_bus(replace(side, keypads={p: pads for p, pads in self.pads.items() if pads}, bus=None))

    def _told(self, node: _Node, first: bool) -> Together:
        assert node.side is not None
        _, price, mass, _ = self._key(node)
        judged = [self._judged(choice) for choice in self.search.compared]
        sure = first and all(j is None or j.outcome in (PROVEN_BEST, NOT_ENOUGH) for j in judged)
        return Together(node.choice, node.side, float(price), mass / 10, PROVEN_BEST if sure else BEST_SO_FAR)


def choose_together(search: Search, catalogue: Catalogue, time_limit_s: float | None = None) -> Together | None:
    """Modules, control units and keypads of the least price or mass together, with the places of all.

    Parameters
    ----------
    search : Search
        Over modules and their places, run; choices it passed over are solved where they may be better together.
    catalogue : Catalogue
        With control units and keypads.
    time_limit_s : float, optional
        For everything that is still to be solved, s; default: the vehicle's setting.

    Returns
    -------
    Together or None
        By the objective of the search, of a front by price; equals by mass. Every mass counts the wires of signals and
        of the bus. None: nothing is enough, its prices or masses are not known, or there was no time.
    """
    limit_s = search.vehicle.settings.time_limit_s if time_limit_s is None else time_limit_s
    return _Joint(search, catalogue, search.clock.within(limit_s)).run() if has_signals(search.vehicle) else None
