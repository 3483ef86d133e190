"""Boxes chosen together, the bus between them, and the signal side of `size`: why smaller ones are not enough."""

import heapq
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import inf

import pandas as pd

from pdm_alloc.allocator import LIMIT_S, SignalAllocation, allocate_signals, key_counts, signals_of_vehicle
from pdm_alloc.diagnose.signal_shortfall import SignalRemedy, SignalShortfall, signal_remedies, signal_shortfall
from pdm_alloc.domain.module import Box, Catalogue, Keypad, Signal, fitted, natural_key
from pdm_alloc.domain.showing import counted
from pdm_alloc.domain.vehicle import Load, Vehicle
from pdm_alloc.electrics.signal_lines import BusWarning, MessageTime, bus_load, check_bus, pair_g, response_times
from pdm_alloc.electrics.wire import mass_g_per_m
from pdm_alloc.files.faults import Fault, InputError
from pdm_alloc.harness.paths import lengths_of
from pdm_alloc.harness.trunk import Trunk, trunk_of
from pdm_alloc.program.solver import NOT_ENOUGH, PROVEN_BEST, STOPPED_EMPTY, Clock

__all__ = [
    "MOST_UNITS",
    "SIGNAL_VERDICTS",
    "BoxChoice",
    "BusPlan",
    "ModuleOption",
    "SignalSizing",
    "WiresSaved",
    "cheapest_keypads",
    "cheapest_units",
    "check_boxes",
    "check_nodes",
    "choose_boxes",
    "has_signals",
    "plan_bus",
    "read_by_signals",
    "sets_by_cost",
    "signals_for",
    "size_signals",
    "unit_key",
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
        Keypads that read them, as `pdm_alloc.studies.signal_sizing` gives them.

    Returns
    -------
    WiresSaved
        The wires of a keypad include its supply and its ground.
    """
    return WiresSaved(sum(keys.values()), sum(pad.wires for pads in keypads.values() for pad in pads))


SIGNAL_VERDICTS = (
    *("box", "verdict", "outcome", "pins_used", "pins", "spare", "tightest", "tightest_pct", "mass_g", "price"),
)

_NO_WAY = (
    "  no resistor ladder, keypad, expander or relays alone were found to be enough; what is vital stays on its pin"
)

MOST_UNITS = 3  # control units and expanders tried together


@dataclass(frozen=True, repr=False)
class SignalSizing:
    """What each control unit of a catalogue came to.

    Parameters
    ----------
    vehicle : Vehicle
        Whose signals are read.
    boxes : tuple of Box
        Control units, smallest first.
    results : dict of str to SignalAllocation
        By control unit, each alone beside the modules.
    shortfalls : dict of str to SignalShortfall
        What is short, by control unit that is not enough.
    remedies : dict of str to list of SignalRemedy
        What would make it enough, by control unit that is not; empty lists unless asked for.
    choice : BoxChoice or None
        Modules, control units, expanders and keypads at the least cost together; None: the study was stopped.
    by : str
        ``price``, ``mass``, or ``count`` of boxes where neither is known of all: what `choice` is the least in.
    """

    vehicle: Vehicle
    boxes: tuple[Box, ...]
    results: dict[str, SignalAllocation] = field(default_factory=dict)
    shortfalls: dict[str, SignalShortfall] = field(default_factory=dict)
    remedies: dict[str, list[SignalRemedy]] = field(default_factory=dict)
    choice: BoxChoice | None = None
    by: str = "price"

    @property
    def outcome(self) -> str:
        """``enough``, ``not enough``, ``not judged`` (there is no control unit), or why there is no answer."""
        if self.smallest is not None or (self.choice is not None and self.choice.allocation):
            return "enough"
        if not self.boxes:
            return "not judged"
        return STOPPED_EMPTY if self.choice is None else self.choice.outcome

    @property
    def smallest(self) -> str | None:
        """Name of the smallest control unit that is enough by itself; None where none is."""
        return next((box.name for box in self.boxes if self.results.get(box.name)), None)

    @property
    def verdicts(self) -> pd.DataFrame:
        """One row per control unit, smallest first, in the columns `SIGNAL_VERDICTS`; pins without shared ones."""
        rows = [self._row(box) for box in self.boxes if box.name in self.results]
        table = pd.DataFrame(rows, columns=list(SIGNAL_VERDICTS))
        return table.astype({"pins_used": "Int64", "spare": "Int64"})

    def _row(self, box: Box) -> tuple[object, ...]:
        result, total = self.results[box.name], signal_pin_count(box)
        worth = (box.mass_g, box.price)
        if result:
            spare = result.free_pins[box.name]
            subject, share = _tightest(result, box.name)
            return (box.name, "enough", result.outcome, total - spare, total, spare, subject, share, *worth)
        short = self.shortfalls[box.name].sentence if box.name in self.shortfalls else ""
        return (box.name, result.outcome, result.outcome, None, total, None, short, None, *worth)

    def summary(self) -> str:
        """The smallest control unit that is enough, what larger ones would leave empty, the cheapest choice."""
        if self.outcome == "not judged":
            return "Signals are not judged: the catalogue has no control unit (tables control_units and signal_pins)."
        least = [self._least()] if self.results else []
        return " ".join([*least, *self._larger(), *self._together()])

    def sentence(self) -> str:
        """Which control unit is enough, and what larger ones would leave empty."""
        if not self.boxes or not self.results:
            return self.summary()
        return " ".join([self._least(), *self._larger()])

    def _least(self) -> str:
        if self.smallest is None:
            proved = all(result.outcome == NOT_ENOUGH for result in self.results.values())
            more = f", nor are up to {MOST_UNITS} boxes together" if self.outcome == NOT_ENOUGH else ""
            return f"No single control unit is {'' if proved else 'known to be '}enough for the signals{more}."
        spare = self.results[self.smallest].free_pins[self.smallest]
        certainty = "known to be" if self._is_open_below() else "that is"
        return (
            f"{self.smallest} is the smallest control unit {certainty} enough, with {counted(spare, 'pin')} to spare."
        )

    def _is_open_below(self) -> bool:
        names = [box.name for box in self.boxes]
        smaller = names[: names.index(self.smallest)] if self.smallest is not None else names
        return any(self.results[name].outcome != NOT_ENOUGH for name in smaller if name in self.results)

    def _larger(self) -> list[str]:
        larger = [b for b in self.boxes if b.name != self.smallest and self.results.get(b.name)]
        left = [f"{self.results[b.name].free_pins[b.name]} of its {signal_pin_count(b)} pins" for b in larger]
        return [f"{b.name} would leave {text} empty." for b, text in zip(larger, left, strict=True)]

    def _together(self) -> list[str]:
        choice = self.choice
        if choice is None or not choice.allocation:
            return []
        pads = [pad.name for pads in choice.keypads.values() for pad in pads]
        names = [name for name in (choice.modules, *(box.name for box in choice.boxes), *pads) if name]
        if not names:
            return []
        what = "fewest boxes" if self.by == "count" else f"lowest {self.by}"
        cost = "" if self.by == "count" else f" ({choice.cost:g}{' g' if self.by == 'mass' else ''})"
        return [f"For power and signals together the {what}: {', '.join(names)}{cost}."]

    def why(self, everything: bool = False) -> list[str]:
        """A line per control unit that is not enough, and per remedy that makes it so; else the first remedy alone."""
        lines = []
        for name, short in self.shortfalls.items():
            lines.append(f"{name} is not enough for the signals. {short.sentence}".strip())
            ways = self.remedies.get(name, [])
            lines += [f"  or: {remedy.sentence}" for remedy in (ways if everything else ways[:1])]
            lines += [_NO_WAY] if everything and not ways else []
        return lines

    def __repr__(self) -> str:
        """As `summary`."""
        return self.summary()


def has_signals(vehicle: Vehicle) -> bool:
    """Whether a vehicle has a signal side: signals, or inputs with a reader."""
    return bool(signals_of_vehicle(vehicle) or key_counts(vehicle))


def read_by_signals(vehicle: Vehicle) -> Vehicle:
    """A vehicle as far as boxes, pins, wires of signals and the bus depend on it: of loads, names and places alone."""
    loads = tuple(Load(load.name, "", 0, place=load.place) for load in vehicle.loads)
    return replace(vehicle, loads=loads, commands=(), locked=(), concessions=(), table_hashes=())


def signal_pin_count(box: Box) -> int:
    """Pins of a box without its sensor supplies and grounds, which sensors share."""
    return sum(not pin.functions & {"supply_5v", "sensor_ground"} for pin in box.pins)


def unit_key(box: Box) -> tuple[object, ...]:
    """Smaller first: fewer pins, then cheaper, then lighter, then by name."""
    price = float("inf") if box.price is None else box.price
    mass = float("inf") if box.mass_g is None else box.mass_g
    return (signal_pin_count(box), price, mass, natural_key(box.name))


def _tightest(result: SignalAllocation, label: str) -> tuple[str, float]:
    """Pins, supply or ground of a box with the largest share in use, and the share in per cent."""
    [box] = [b.box for b in result.boxes if b.label == label]
    total = signal_pin_count(box)
    shares = [("pins", 100 * (1 - result.free_pins[label] / total) if total else 0.0)]
    shared = result.shared()
    here = shared[shared["box"] == label]
    shares += zip(here["pin"] + ", " + here["function"], 100 - here["headroom_pct"], strict=True)
    subject, share = max(shares, key=lambda item: item[1])
    return subject, round(share, 1)


def size_signals(
    vehicle: Vehicle,
    catalogue: Catalogue,
    modules: Sequence[ModuleOption] = (),
    *,
    time_limit_s: float | None = None,
    stop: Callable[[], bool] | None = None,
    why: bool = False,
    whole: Clock | None = None,
) -> SignalSizing:
    """Judge every control unit of a catalogue by itself, and find the least cost of everything together.

    Parameters
    ----------
    vehicle : Vehicle
        With signals.
    catalogue : Catalogue
        With control units, expanders and keypads.
    modules : sequence of ModuleOption
        Modules that are enough for the power side, the smallest first: that one is taken beside each control unit.
    time_limit_s : float, optional
        For each control unit, and for the choice, s; default: the vehicle's setting.
    stop : callable, optional
        Asked between solves; True ends the study with what it has.
    why : bool
        True: every remedy for each control unit that is not enough; False: only what is short.
    whole : Clock, optional
        Of the study that this is a part of: no limit lasts longer.

    Returns
    -------
    SignalSizing
        A result for each control unit, each verified.
    """
    limit_s = vehicle.settings.time_limit_s if time_limit_s is None else time_limit_s
    clock = whole or Clock(inf, stop)

    def left_s() -> float:
        return min(limit_s, clock.left_s)

    units = tuple(sorted((b for b in catalogue.boxes if b.role == "control_unit"), key=unit_key))
    beside = modules[0].boxes if modules else ()
    wanted = signals_of_vehicle(vehicle)
    results: dict[str, SignalAllocation] = {}
    for unit in units if wanted else ():
        if clock.is_over():
            break
        results[unit.name] = _judged(wanted, (*beside, unit), left_s())
    refused = [unit for unit in units if unit.name in results and results[unit.name].outcome == NOT_ENOUGH]
    shorts = {unit.name: _short(wanted, (*beside, unit), left_s()) for unit in refused}
    ways = {unit.name: _ways(wanted, (*beside, unit), catalogue, left_s()) if why else [] for unit in refused}
    by = _by([*catalogue.boxes, *catalogue.keypads, *modules])
    halted = not units or clock.is_over()
    together = None if halted else _choice(vehicle, catalogue, modules, by, left_s())
    return SignalSizing(vehicle, units, results, shorts, ways, together, by)


def _judged(wanted: Sequence[Signal], boxes: Sequence[Box], limit_s: float) -> SignalAllocation:
    return allocate_signals(signals_for(wanted, boxes), fitted(boxes), time_limit_s=limit_s)


def _short(wanted: Sequence[Signal], boxes: Sequence[Box], limit_s: float) -> SignalShortfall:
    return signal_shortfall(signals_for(wanted, boxes), fitted(boxes), limit_s)


def _ways(wanted: Sequence[Signal], boxes: Sequence[Box], catalogue: Catalogue, limit_s: float) -> list[SignalRemedy]:
    expanders = [box for box in catalogue.boxes if box.role == "expander"]
    return signal_remedies(signals_for(wanted, boxes), fitted(boxes), catalogue.keypads, expanders, limit_s)


def _by(things: Sequence[Box | Keypad | ModuleOption]) -> str:
    """What is known of everything that could be bought: price, or else mass; or else only how many boxes it is."""
    bought = [thing for thing in things if getattr(thing, "role", "") != "module"]
    known = [by for by in ("price", "mass_g") if all(getattr(thing, by) is not None for thing in bought)]
    return known[0].removesuffix("_g") if known else "count"


def _choice(
    vehicle: Vehicle, catalogue: Catalogue, modules: Sequence[ModuleOption], by: str, limit_s: float
) -> BoxChoice:
    """Keys are counted only where keypads are on offer; where no costs are known every box costs one."""
    units = [box for box in catalogue.boxes if box.role != "module"]
    options: Sequence[ModuleOption] = modules or (ModuleOption("", (), 0.0, 0.0),)
    keypads = catalogue.keypads
    if by == "count":
        units = [replace(unit, price=1.0) for unit in units]
        options = [replace(option, price=1.0) for option in options]
        keypads = tuple(replace(keypad, price=1.0) for keypad in keypads)
    keys = key_counts(vehicle) if keypads else {}
    measure = "price" if by == "count" else by
    wanted = signals_of_vehicle(vehicle)
    return choose_boxes(wanted, units, options, keys, keypads, measure, MOST_UNITS, limit_s)


def cheapest_units(vehicle: Vehicle, offered: Sequence[Box], beside: Sequence[Box], limit_s: float) -> list[Box]:
    """Control units that are enough beside modules at the least price, mass or number; else the one of most pins."""
    if not signals_of_vehicle(vehicle):
        return []
    options = [ModuleOption("", tuple(beside), 0.0, 0.0)]
    choice = _choice(vehicle, Catalogue("", (), boxes=tuple(offered)), options, _by(offered), limit_s)
    return list(choice.boxes) if choice.allocation else [max(offered, key=lambda box: len(box.pins))]


def check_boxes(vehicle: Vehicle, offered: Collection[str], names: Sequence[str], places: Sequence[str]) -> None:
    """Raise `InputError` where a control unit or place is not there, or there are more or fewer places than units."""
    faults = [_unknown("--control-unit", name, offered) for name in names if name not in offered]
    known = [place.name for place in vehicle.places]
    faults += [_unknown("--control-place", place, known) for place in places if place not in known]
    if places and len(places) != len(names):
        text = f"{counted(len(places), 'place')} for {counted(len(names), 'control unit')}"
        faults.append(Fault("command line", None, "--control-place", None, text, "give one place for each, or none"))
    if faults:
        raise InputError(faults)


def check_nodes(nodes: Collection[str], stubs: Iterable[str]) -> None:
    """Raise `InputError` where a stub is of no node of the bus."""
    faults = [_unknown("--bus-stub", name, nodes) for name in stubs if name and name not in nodes]
    if faults:
        raise InputError(faults)


def _unknown(option: str, name: str, known: Collection[str]) -> Fault:
    remedy = f"one of: {', '.join(known)}" if known else "the tables have none"
    return Fault("command line", None, option, name, "is not known", remedy)
