"""Every way of wiring a tiny vehicle, each judged whole by the recount."""

from pdm_alloc.verify.check import violations
from tests.oracle.slots import placed, slots_of


def wirings(vehicle, units):
    """Every way of putting every item on a slot, identical items not told apart, no channel used twice."""
    slots = slots_of(units)
    items = [(load, n) for load in vehicle.loads for n in range(1, load.count + 1)]
    yield from _extend(slots, items, {})


def _extend(slots, items, chosen):
    if len(chosen) == len(items):
        yield _circuits(slots, chosen)
        return
    load, n = items[len(chosen)]
    least = chosen.get((load.name, n - 1), 0)
    taken = {(slots[s].unit.label, name): s for s in chosen.values() for name in slots[s].names}
    for s in range(least, len(slots)):
        if all(taken.get((slots[s].unit.label, name), s) == s for name in slots[s].names):
            yield from _extend(slots, items, {**chosen, (load.name, n): s})


def _circuits(slots, chosen):
    return {s: [item for item, at in chosen.items() if at == s] for s in set(chosen.values())}


def brute(vehicle, units, strategy):
    """Best value over all wirings that break no rule; None where all do."""
    command = {load.name: load.command for load in vehicle.loads}
    slots, best = slots_of(units), None
    for wiring in wirings(vehicle, units):
        circuits = [placed(slots[s], command[items[0][0]], items) for s, items in wiring.items()]
        value = sum(len(c.channels) for c in circuits) if strategy == "spare" else -len(circuits)
        if (best is None or value < best) and not violations(vehicle, units, circuits):
            best = value
    return None if best is None else abs(best)
