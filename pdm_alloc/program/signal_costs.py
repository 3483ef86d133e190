"""What an assignment of signals is minimised for, stage by stage; whole numbers all."""

from collections.abc import Callable

from pdm_alloc.program.signal_program import SignalProgram

__all__ = [
    "NEW_CONNECTOR",
    "added_current",
    "added_pins",
    "moved_signals",
    "on_expanders",
    "surplus",
    "versatility",
    "wire_cost",
]

NEW_CONNECTOR = "added"  # connector of pins a box would have to gain


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
