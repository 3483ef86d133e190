"""Whether the parts of a saved allocation fit together."""

from collections import Counter
from collections.abc import Iterator
from typing import Any

from pdm_alloc.circuits.classes import unit_ambient_c
from pdm_alloc.domain.kinds import KINDS
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.thermal import derating_factor
from pdm_alloc.files.faults import Fault, hint
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.refusals import plural

__all__ = ["altered", "misfits"]

_WIDTHS = {"single": 1, "pair": 2, "bridge": 2}


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
    yield from _units(allocation, table)
    yield from _names(allocation.vehicle, table)
    yield from _numbers(allocation, table)
    yield from _channels(allocation, table)
    yield from _items(allocation, table)
    yield from _commands(allocation, table)


def _units(allocation: Allocation, table: str) -> Iterator[Fault]:
    places = [place.name for place in allocation.vehicle.places]
    for label, times in Counter(unit.label for unit in allocation.units).items():
        if times > 1:
            yield Fault(table, None, "unit", label, f"is there {times} times", "give each a label of its own")
    for unit in allocation.units:
        if unit.place is not None and unit.place not in places:
            yield Fault(table, None, "place", unit.place, f"of {unit.label} is not a place", hint(unit.place, places))
        else:
            yield from _ambient(allocation.vehicle, unit, table)


def _ambient(vehicle: Vehicle, unit: Unit, table: str) -> Iterator[Fault]:
    try:
        derating_factor(unit.module.derating, unit_ambient_c(vehicle, unit))
    except ValueError as error:
        yield Fault(table, None, "ambient_c", None, f"of {unit.label} cannot be used", str(error))


def _names(vehicle: Vehicle, table: str) -> Iterator[Fault]:
    """Kinds and places that the vehicle names and does not have."""
    places = [place.name for place in vehicle.places]
    named = [(load.name, load.place) for load in vehicle.loads]
    named += [(f"{r.start} to {r.end}", end) for r in vehicle.routes for end in (r.start, r.end)]
    named += [(item.name, item.place) for item in vehicle.inputs] + [("battery", vehicle.settings.battery_place)]
    for subject, place in named:
        if place is not None and place not in places:
            yield Fault(table, None, "place", place, f"of {subject} is not a place", hint(place, places))
    commands = [command.name for command in vehicle.commands]
    for load in vehicle.loads:
        if load.command not in commands:
            yield Fault(table, None, "command", load.command, f"of {load.name} is none", hint(load.command, commands))
        if load.kind not in KINDS:
            yield Fault(table, None, "kind", load.kind, f"of {load.name} is not known here", hint(load.kind, KINDS))


def _numbers(allocation: Allocation, table: str) -> Iterator[Fault]:
    """Numbers that something is divided by, or that count something."""
    vehicle = allocation.vehicle
    numbers = [
        ("settings", name, getattr(vehicle.settings, name)) for name in ("system_v", "reference_v", "bundle_wires")
    ]
    numbers += [(state.name, "supply_v", state.supply_v) for state in vehicle.states]
    numbers += [(load.name, name, getattr(load, name)) for load in vehicle.loads for name in ("running_ma", "count")]
    for module in [unit.module for unit in allocation.units]:
        numbers += [
            (module.name, name, getattr(module, name)) for name in ("total_ma", "total_peak_ma", "trip_step_ma")
        ]
        numbers += [(f"bank {bank}", "limit", limit) for bank, limit in module.bank_ma.items()]
        numbers += [
            (c.name, n, getattr(c, n)) for c in module.channels for n in ("continuous_ma", "peak_ma", "peak_ms")
        ]
        numbers += [(f"{module.name} at {c:g} deg C", "factor", factor) for c, factor in module.derating]
    for subject, name, value in numbers:
        if not value > 0:
            yield Fault(table, None, name, str(value), f"of {subject} is not above 0")


def _channels(allocation: Allocation, table: str) -> Iterator[Fault]:
    known = {(u.label, c.name) for u in allocation.units for c in u.module.channels}
    used = Counter((c.unit, name) for c in allocation.circuits for name in c.channels)
    labels = [u.label for u in allocation.units]
    for c in allocation.circuits:
        if len(c.channels) != _WIDTHS.get(c.use) or not c.items:
            message = f"is a {c.use} of {plural(len(c.channels), 'channel')} with {plural(len(c.items), 'item')}"
            yield Fault(table, None, "channel", c.channel, message, "a single has one channel, a pair or bridge two")
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


def altered(name: str, given: Any, kept: Any, path: str = "") -> Iterator[Fault]:
    """Where the objects are not what the document says: keys left out, values taken for something else."""
    if isinstance(given, dict) and isinstance(kept, dict):
        for key in kept.keys() - given.keys():
            yield Fault(name, None, f"{path}{key}", None, "is missing", "give the file as it was written")
        for key in given.keys() & kept.keys():
            yield from altered(name, given[key], kept[key], f"{path}{key}.")
    elif isinstance(given, list) and isinstance(kept, list) and len(given) == len(kept):
        for i, (one, other) in enumerate(zip(given, kept, strict=True)):
            yield from altered(name, one, other, f"{path}{i}.")
    elif given != kept:
        yield Fault(
            name, None, path.rstrip("."), str(given)[:60], f"is taken for {str(kept)[:60]}", "write it that way"
        )
