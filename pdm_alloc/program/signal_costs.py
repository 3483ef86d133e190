"""What an assignment of signals is minimised for, and which item is on which pin."""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from pdm_alloc.program.signal_program import NEW_CONNECTOR, SignalProgram

__all__ = [
    "NEW_CONNECTOR",
    "PinUse",
    "added_current",
    "added_pins",
    "hand_out_pins",
    "moved_signals",
    "on_expanders",
    "surplus",
    "versatility",
    "wire_cost",
]


def versatility(model: SignalProgram) -> dict[int, int]:
    """Functions lost with every pin taken: a pin that can do more is kept free; breaking a pair counts as one more."""
    paired = {side for pair in model.pins.pairs for side in pair.sides}
    cost: dict[int, int] = {}
    for v, t, c in model.uses():
        spoilt = c in paired and not model.types[t].rule.labelled
        cost[v] = cost.get(v, 0) + len(model.pins.classes[c].functions) - 1 + spoilt
    return {v: c for v, c in cost.items() if c}


def surplus(model: SignalProgram) -> dict[int, int]:
    """Rating beyond an output's current, in steps of 0.1 A, so that strong pins stay free."""
    cost: dict[int, int] = {}
    for v, t, c in model.uses():
        rating, kind = model.pins.classes[c].max_ma, model.types[t]
        if rating is not None and kind.rule.is_output:
            cost[v] = cost.get(v, 0) + (rating - kind.current_ma) // 100
    return {v: c for v, c in cost.items() if c}


def wire_cost(length_m: Callable[[str | None, str | None], float | None]) -> Callable[[SignalProgram], dict[int, int]]:
    """Length of wire, cm.

    Parameters
    ----------
    length_m : callable
        Place of the box and of the signal to m; None: not known, counts as nothing.

    Returns
    -------
    callable
        Cost of each variable of a program.
    """

    def cost(model: SignalProgram) -> dict[int, int]:
        places = {c.box.label: c.box.place for c in model.pins.classes}
        lengths = {v: _cm(length_m(places[label], model.types[t].place)) for v, t, label in model.placed()}
        wires = {v: t for v, t, _ in model.placed()}
        cost = {v: length * model.types[wires[v]].rule.pins for v, length in lengths.items() if length}
        return {} if len(places) < 2 else cost

    return cost


def _cm(length: float | None) -> int:
    return round((length or 0) * 100)


def added_pins(model: SignalProgram) -> dict[int, int]:
    """Pins a box does not have yet."""
    cost: dict[int, int] = {}
    for v, _, c in model.uses():
        if model.pins.classes[c].pins[0].connector == NEW_CONNECTOR:
            cost[v] = cost.get(v, 0) + 1
    return cost


def added_current(model: SignalProgram) -> dict[int, int]:
    """Current of sensors on supplies and grounds a box does not have yet, mA."""
    return {
        v: model.types[t].current_ma
        for (t, s), v in model.shared.items()
        if model.pins.shared[s].pin.connector == NEW_CONNECTOR and model.types[t].current_ma
    }


def moved_signals(model: SignalProgram) -> dict[int, int]:
    """Signals that become something else."""
    return dict.fromkeys(model.moved.values(), 1)


def on_expanders(model: SignalProgram) -> dict[int, int]:
    """Signals that are on an expander of the bus."""
    roles = {c.box.label: c.box.box.role for c in model.pins.classes}
    return {v: 1 for v, _, label in model.placed() if roles[label] == "expander"}


@dataclass(frozen=True, slots=True)
class PinUse:
    """One item of a signal, the box it is on, its pins, and the shared pins that feed it.

    Parameters
    ----------
    signal : str
        Name of the signal.
    item : int
        Number of the item, from 1.
    box : str
        Label of the box.
    pins : tuple of str
        Labels of its pins.
    supply, ground : str or None
        Labels of the 5 V supply and of the sensor ground it shares; None: it needs none.
    """

    signal: str
    item: int
    box: str
    pins: tuple[str, ...]
    supply: str | None = None
    ground: str | None = None


def hand_out_pins(model: SignalProgram, values: tuple[int, ...], count: int) -> tuple[PinUse, ...]:
    """Pins of every item.

    Parameters
    ----------
    model : SignalProgram
        The program.
    values : tuple of int
        Its solution.
    count : int
        How many of its types are signals of the vehicle; those after it stand for moved ones and get no pins here.

    Returns
    -------
    tuple of PinUse
        By type, then in natural order of the names.
    """
    places = _places(model, values)
    uses = []
    for t in range(count):
        items = iter(model.types[t].members)
        for label in sorted({label for kind, label in places if kind == t}, key=_label_order(model)):
            taken = [(next(items), pins) for pins in places[t, label]]
            fed = {word: _feeds(model, values, t, label, word) for word in model.types[t].supplies}
            uses += [_use(item, label, pins, n, fed) for n, (item, pins) in enumerate(taken)]
    return tuple(uses)


def _label_order(model: SignalProgram) -> Callable[[str], int]:
    order = {c.box.label: n for n, c in enumerate(model.pins.classes)}
    return order.__getitem__


def _use(item: tuple[str, int], label: str, pins: tuple[str, ...], n: int, fed: Mapping[str, Sequence[str]]) -> PinUse:
    shared = {word: pins_of_word[n] for word, pins_of_word in fed.items()}
    name, number = item
    return PinUse(name, number, label, pins, shared.get("supply_5v"), shared.get("sensor_ground"))


def _feeds(model: SignalProgram, values: Sequence[int], t: int, label: str, word: str) -> list[str]:
    """The shared pin of each item of a type in one box, in order."""
    pins = [(s, p) for s, p in enumerate(model.pins.shared) if (p.box.label, p.word) == (label, word)]
    return [p.pin.label for s, p in pins for _ in range(values[model.shared[t, s]])]


def _places(model: SignalProgram, values: Sequence[int]) -> dict[tuple[int, str], list[tuple[str, ...]]]:
    """Pins of each whole signal by type and box: pairs first, what they leave to single pins and bridges."""
    places: dict[tuple[int, str], list[tuple[str, ...]]] = defaultdict(list)
    used: set[int] = set()
    for p, pair in enumerate(model.pins.pairs):
        queue = iter(pair.pairs)
        for t in range(len(model.types)):
            for _ in range(values[model.pair[t, p]] if (t, p) in model.pair else 0):
                couple = next(queue)
                used.update(map(id, couple))
                places[t, pair.box.label].append(tuple(pin.label for pin in couple))
    halves: dict[tuple[int, str], list[str]] = defaultdict(list)
    for c, group in enumerate(model.pins.classes):
        free = iter([pin for pin in group.pins if id(pin) not in used])
        for t in range(len(model.types)):
            for _ in range(values[model.single[t, c]] if (t, c) in model.single else 0):
                places[t, group.box.label].append((next(free).label,))
            for _ in range(values[model.half[t, c]] if (t, c) in model.half else 0):
                halves[t, group.box.label].append(next(free).label)
    for key, labels in halves.items():
        places[key] += [tuple(labels[n : n + 2]) for n in range(0, len(labels), 2)]
    return places
