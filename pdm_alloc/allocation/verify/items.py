"""Rules on items: each on one channel, locked ones where they are."""

from collections import Counter, defaultdict

from pdm_alloc.allocation.verify.finding import Finding

__all__ = ["each_item_once", "locked_stay"]


def each_item_once(recount):
    """Every item of every load is on exactly one channel, and nothing else is."""
    found = Counter(item for circuit in recount.circuits for item in circuit.items)
    wanted = {(load.name, n): 1 for load in recount.vehicle.loads for n in range(1, load.count + 1)}
    for load, item in sorted(wanted.keys() | found.keys()):
        value, limit = found[load, item], wanted.get((load, item), 0)
        if value != limit:
            message = f"{load} item {item} is on {value} channels and should be on {limit}"
            yield Finding("item", subject=load, value=value, limit=limit, message=message)
    for circuit in recount.circuits:
        if not circuit.items:
            message = f"channel {circuit.channel} of {circuit.unit} is taken by a circuit without loads"
            yield Finding("item", circuit.unit, circuit.channel, value=0, limit=1, message=message)


def locked_stay(recount):
    """A locked load is on the channels its rows name and on no other, with something on each.

    Two channels used together are where a row says if it names either, or both as ``3+4``. Rows that name no unit
    here are of no concern here.
    """
    wanted = defaultdict(list)
    for lock in recount.vehicle.locked:
        label = _label(recount, lock.module)
        if label is not None:
            wanted[lock.load].append((label, lock.channel))
    for load, spots in wanted.items():
        circuits = [circuit for circuit in recount.circuits if load in circuit.loads]
        yield from _not_there(load, spots, circuits)
        yield from _elsewhere(load, spots, circuits)


def _label(recount, module):
    """Label of the unit a row means: by its label, or else the first of that module."""
    labels = [label for label, unit in recount.units.items() if unit.module.name == module]
    return module if module in recount.units else next(iter(labels), None)


def _not_there(load, spots, circuits):
    taken = set().union(*map(_names, circuits))
    for label, channel in spots:
        if (label, channel) not in taken:
            message = f"{load} is locked to channel {channel} of {label} and nothing of it is there"
            yield Finding("locked", label, channel, subject=load, message=message)


def _elsewhere(load, spots, circuits):
    for c in circuits:
        if not _names(c) & set(spots):
            places = ", ".join(f"channel {channel} of {label}" for label, channel in spots)
            message = f"{load} is on channel {c.channel} of {c.unit} and locked to {places}"
            yield Finding("locked", c.unit, c.channel, subject=load, message=message)


def _names(circuit):
    return {(circuit.unit, name) for name in (circuit.channel, *circuit.channels)}
