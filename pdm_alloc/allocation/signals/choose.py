"""Modules, control units and keypads chosen together, by price or mass."""

import heapq
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from pdm_alloc.allocation.signals.allocate import LIMIT_S, SignalAllocation, allocate_signals
from pdm_alloc.module import natural_key
from pdm_alloc.program.outcome import NOT_ENOUGH, PROVEN_BEST, STOPPED_EMPTY
from pdm_alloc.program.solver import Clock
from pdm_alloc.signals import Box, Keypad, Signal, fitted

__all__ = ["BoxChoice", "ModuleOption", "cheapest_keypads", "choose_boxes"]


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


def _cost(thing, by: str) -> float | None:
    return thing.price if by == "price" else thing.mass_g


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
    best: list[tuple[float, tuple[Keypad, ...]] | None] = [(0.0, ())]
    for wanted in range(1, keys + 1):
        options = [_extended(best[max(0, wanted - pad.keys)], pad, by) for pad in known]
        best.append(min((o for o in options if o is not None), key=lambda o: (o[0], len(o[1])), default=None))
    return None if best[keys] is None else best[keys][1]  # type: ignore[index]


def _extended(base, pad, by):
    return None if base is None else (base[0] + _cost(pad, by), (*base[1], pad))


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
    for cost, option, boxes in _by_cost(list(units), modules, by, most_units):
        if clock.is_over():
            return BoxChoice(STOPPED_EMPTY, tried=tried)
        allocation = _tried(signals, (*option.boxes, *boxes), clock)
        if allocation:
            return BoxChoice(PROVEN_BEST, base + cost, option.name, boxes, fitting, allocation, tried)
        if allocation.outcome != NOT_ENOUGH:
            return BoxChoice(allocation.outcome, tried=tried)
        tried += 1
    return BoxChoice(NOT_ENOUGH, tried=tried)


def _tried(signals, boxes, clock) -> SignalAllocation:
    return allocate_signals(signals, fitted(boxes), time_limit_s=max(0.1, clock.left_s))


def _by_cost(units, modules, by, most_units) -> Iterator[tuple[float, ModuleOption, tuple[Box, ...]]]:
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
