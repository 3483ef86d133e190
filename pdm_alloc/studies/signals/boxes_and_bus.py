"""Boxes chosen together by price or mass, and the bus between them."""

import heapq
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from pdm_alloc.allocator import LIMIT_S, SignalAllocation, allocate_signals
from pdm_alloc.domain.module import natural_key
from pdm_alloc.domain.signals import Box, Keypad, Signal, fitted
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.bus import BusWarning, MessageTime, bus_load, check_bus, pair_g, response_times
from pdm_alloc.electrics.wire import mass_g_per_m
from pdm_alloc.harness.paths import lengths_of
from pdm_alloc.harness.trunk import Trunk, trunk_of
from pdm_alloc.program.solver import NOT_ENOUGH, PROVEN_BEST, STOPPED_EMPTY, Clock

__all__ = [
    "BoxChoice",
    "BusPlan",
    "ModuleOption",
    "WiresSaved",
    "cheapest_keypads",
    "choose_boxes",
    "plan_bus",
    "sets_by_cost",
    "signals_for",
    "wires_saved",
]


@dataclass(frozen=True, slots=True)
class ModuleOption:
    """Modules that are enough for the power side: their boxes with signal pins, and what they cost together."""

    name: str
    boxes: tuple[Box, ...] = ()
    price: float | None = None
    mass_g: float | None = None


@dataclass(frozen=True)
class BoxChoice:
    """What to buy.

    Parameters
    ----------
    outcome : str
        Proven best: every cheaper choice was tried and is not enough.
    cost : float
        Of modules, boxes and keypads together, in the unit asked for.
    modules : str
        Name of the option for the power side; empty where none was given.
    boxes : tuple of Box
        Control units and expanders.
    keypads : dict of place to tuple of Keypad
        Keypads at each place.
    allocation : SignalAllocation or None
        On these boxes, verified.
    tried : int
        Choices that were tried and are not enough.
    """

    outcome: str
    cost: float = 0.0
    modules: str = ""
    boxes: tuple[Box, ...] = ()
    keypads: dict[str | None, tuple[Keypad, ...]] = field(default_factory=dict)
    allocation: SignalAllocation | None = None
    tried: int = 0


def _cost(thing: Box | Keypad | ModuleOption, by: str) -> float | None:
    return thing.price if by == "price" else thing.mass_g


_Pads = tuple[float, tuple[Keypad, ...]]  # cost, and keypads


def cheapest_keypads(keys: int, keypads: Iterable[Keypad], by: str = "price") -> tuple[Keypad, ...] | None:
    """Keypads with at least so many keys together, at the least cost.

    Parameters
    ----------
    keys : int
        Keys wanted.
    keypads : iterable of Keypad
        Those whose cost is not known are left out.
    by : str
        ``price`` or ``mass``.

    Returns
    -------
    tuple of Keypad or None
        Exact, by dynamic programming over keys; None where no keypad has a known cost and keys are wanted.
    """
    known = sorted((k for k in keypads if _cost(k, by) is not None), key=lambda k: natural_key(k.name))
    best: list[_Pads | None] = [(0.0, ())]
    for wanted in range(1, keys + 1):
        options = [_extended(best[max(0, wanted - pad.keys)], pad, by) for pad in known]
        best.append(min((o for o in options if o is not None), key=lambda o: (o[0], len(o[1])), default=None))
    return None if best[keys] is None else best[keys][1]  # type: ignore[index]


def _extended(base: _Pads | None, pad: Keypad, by: str) -> _Pads | None:
    return None if base is None else (base[0] + (_cost(pad, by) or 0.0), (*base[1], pad))


def choose_boxes(
    signals: Sequence[Signal],
    units: Iterable[Box],
    modules: Sequence[ModuleOption] = (ModuleOption("", (), 0.0, 0.0),),
    keys: dict[str | None, int] | None = None,
    keypads: Iterable[Keypad] = (),
    by: str = "price",
    most_units: int = 3,
    time_limit_s: float = LIMIT_S,
) -> BoxChoice:
    """The cheapest modules, control units and keypads that give every signal its pins and every key its place.

    Best-first over sets in order of cost; each is tried by `allocate_signals`, so the first that is enough is the best.

    Parameters
    ----------
    signals : sequence of Signal
        All of them.
    units : iterable of Box
        Control units and expanders to choose from; those whose cost is not known are left out.
    modules : sequence of ModuleOption
        One of these is taken.
    keys : dict of place to int, optional
        Keys wanted at each place.
    keypads : iterable of Keypad
        To choose from.
    by : str
        ``price`` or ``mass``.
    most_units : int
        Units at most.
    time_limit_s : float
        For everything, s.

    Returns
    -------
    BoxChoice
        Not enough where no set within `most_units` is.

    Raises
    ------
    ValueError
        `by` is neither price nor mass.
    """
    if by not in ("price", "mass"):
        raise ValueError(f"choose by price or mass, not by {by}")
    clock = Clock(time_limit_s)
    pads = {place: cheapest_keypads(count, keypads, by) for place, count in (keys or {}).items()}
    if None in pads.values():
        return BoxChoice(NOT_ENOUGH)
    fitting = {place: chosen for place, chosen in pads.items() if chosen is not None}
    base = sum(_cost(pad, by) or 0 for chosen in fitting.values() for pad in chosen)
    tried = 0
    for cost, option, boxes in sets_by_cost(list(units), modules, by, most_units):
        if clock.is_over():
            return BoxChoice(STOPPED_EMPTY, tried=tried)
        allocation = _tried(signals, (*option.boxes, *boxes), clock)
        if allocation:
            return BoxChoice(PROVEN_BEST, base + cost, option.name, boxes, fitting, allocation, tried)
        if allocation.outcome != NOT_ENOUGH:
            return BoxChoice(allocation.outcome, tried=tried)
        tried += 1
    return BoxChoice(NOT_ENOUGH, tried=tried)


def signals_for(signals: Iterable[Signal], boxes: Iterable[Box]) -> list[Signal]:
    """Signals that boxes must have pins for: without a module's pins in the tables, its inputs are counted by power."""
    has_module = any(box.role == "module" for box in boxes)
    return [signal for signal in signals if has_module or signal.reader != "module"]


def _tried(signals: Sequence[Signal], boxes: Sequence[Box], clock: Clock) -> SignalAllocation:
    return allocate_signals(signals_for(signals, boxes), fitted(boxes), time_limit_s=max(0.1, clock.left_s))


def sets_by_cost(
    units: Sequence[Box], modules: Sequence[ModuleOption], by: str, most_units: int
) -> Iterator[tuple[float, ModuleOption, tuple[Box, ...]]]:
    """Every set in order of cost: a set grows only by units at or after its last one, so none comes twice."""
    priced = [(cost, unit) for unit in units if (cost := _cost(unit, by)) is not None]
    priced.sort(key=lambda item: (item[0], natural_key(item[1].name)))
    options = [(cost, module) for module in modules if (cost := _cost(module, by)) is not None]
    heap: list[tuple[float, int, int, tuple[int, ...]]] = [(cost, 0, n, ()) for n, (cost, _) in enumerate(options)]
    heapq.heapify(heap)
    while heap:
        cost, count, option, chosen = heapq.heappop(heap)
        yield cost, options[option][1], tuple(priced[n][1] for n in chosen)
        for n in range(chosen[-1] if chosen else 0, len(priced) if count < most_units else 0):
            heapq.heappush(heap, (cost + priced[n][0], count + 1, option, (*chosen, n)))


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
        Keypads that read them, as `pdm_alloc.studies.signals.boxes_and_bus` gives them.

    Returns
    -------
    WiresSaved
        The wires of a keypad include its supply and its ground.
    """
    return WiresSaved(sum(keys.values()), sum(pad.wires for pads in keypads.values() for pad in pads))
