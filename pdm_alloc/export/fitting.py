"""Whether the parts of a saved allocation fit together."""

from collections import Counter
from collections.abc import Iterator

from pdm_alloc.allocation.result import Allocation
from pdm_alloc.tables.fault import Fault
from pdm_alloc.tables.nearest import hint

__all__ = ["misfits"]


def misfits(allocation: Allocation, table: str) -> Iterator[Fault]:
    """Names that lead nowhere, items wired twice or not at all, channels used twice.

    Limits are not recounted here: that is what `pdm_alloc.verify` does.

    Parameters
    ----------
    allocation : Allocation
        As read.
    table : str
        Table or file it was read from, for the faults.

    Yields
    ------
    Fault
        One for each misfit.
    """
    yield from _channels(allocation, table)
    yield from _items(allocation, table)
    yield from _commands(allocation, table)


def _channels(allocation: Allocation, table: str) -> Iterator[Fault]:
    known = {(u.label, c.name) for u in allocation.units for c in u.module.channels}
    used = Counter((c.unit, name) for c in allocation.circuits for name in c.channels)
    labels = [u.label for u in allocation.units]
    for (unit, channel), times in used.items():
        if unit not in labels:
            yield Fault(table, None, "module", unit, "is not fitted", hint(unit, labels))
        elif (unit, channel) not in known:
            yield Fault(table, None, "channel", channel, f"is no channel of {unit}")
        elif times > 1:
            yield Fault(table, None, "channel", channel, f"of {unit} has {times} circuits", "give each its own")


def _items(allocation: Allocation, table: str) -> Iterator[Fault]:
    wanted = {(load.name, item) for load in allocation.vehicle.loads for item in range(1, load.count + 1)}
    wired = Counter(item for circuit in allocation.circuits for item in circuit.items)
    names = [load.name for load in allocation.vehicle.loads]
    for (load, item), times in wired.items():
        if load not in names:
            yield Fault(table, None, "load", load, "is no load of the vehicle", hint(load, names))
        elif (load, item) not in wanted:
            yield Fault(table, None, "item", str(item), f"of {load} is beyond its count")
        elif times > 1:
            yield Fault(table, None, "load", load, f"has item {item} wired {times} times", "wire it once")
    for load, item in sorted(wanted - wired.keys()):
        yield Fault(table, None, "load", load, f"has item {item} not wired", "wire it to a channel")


def _commands(allocation: Allocation, table: str) -> Iterator[Fault]:
    commands = {load.name: load.command for load in allocation.vehicle.loads}
    for circuit in allocation.circuits:
        for load in circuit.loads:
            if commands.get(load, circuit.command) != circuit.command:
                yield Fault(table, None, "command", circuit.command, f"does not switch {load}", "see the table loads")
