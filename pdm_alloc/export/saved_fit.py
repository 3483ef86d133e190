"""Whether the parts of a saved allocation fit together, its signal side among them."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from pdm_alloc.allocator import SignalAllocation, signals_of_vehicle
from pdm_alloc.circuits.classes import unit_ambient_c
from pdm_alloc.domain.kinds import KINDS
from pdm_alloc.domain.module import Box, FittedBox, Keypad, Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.current import derating_factor
from pdm_alloc.export.lists import signal_side_of
from pdm_alloc.files.faults import Fault, InputError, hint
from pdm_alloc.program.handout import PinUse
from pdm_alloc.result.allocation import Allocation, plural
from pdm_alloc.studies.signal_places import with_bus
from pdm_alloc.studies.signal_side import SignalSide
from pdm_alloc.studies.signal_sizing import signals_for
from pdm_alloc.verify.check import verify_signals

__all__ = [
    "BOXES",
    "KEYPADS",
    "SIGNAL_USES",
    "PlacedKeypad",
    "SavedSignals",
    "altered",
    "bought",
    "misfits",
    "saved_signals",
    "side_of",
    "signal_misfits",
    "signal_settings",
    "signal_tables",
    "signals_from_rows",
]

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


BOXES = ("label", "box", "place")

KEYPADS = ("label", "keypad", "place")

SIGNAL_USES = ("signal", "item", "box", "pin", "second_pin", "supply", "ground")


@dataclass(frozen=True, slots=True)
class PlacedKeypad:
    """A keypad and the place it sits at."""

    keypad: Keypad
    place: str | None = None


@dataclass(frozen=True, slots=True)
class SavedSignals:
    """What a saved allocation keeps of its signal side; the signals themselves are in the vehicle.

    Parameters
    ----------
    outcome : str
        ``proven best`` or ``best so far``.
    boxes : tuple of FittedBox
        Control units, expanders, modules with signal pins.
    uses : tuple of PinUse
        Which item is on which pins.
    costs : tuple of int
        Of each stage of the assignment.
    keypads : tuple of PlacedKeypad
        In their order.
    kbit : int
        Bit rate of the bus, kbit/s.
    stubs_m : tuple of (str, float)
        Stub of each node of the trunk, m, by its label.
    """

    outcome: str
    boxes: tuple[FittedBox, ...]
    uses: tuple[PinUse, ...]
    costs: tuple[int, ...] = ()
    keypads: tuple[PlacedKeypad, ...] = ()
    kbit: int = 500
    stubs_m: tuple[tuple[str, float], ...] = ()


def saved_signals(allocation: Allocation) -> SavedSignals | None:
    """What is kept of the signal side of an allocation; None: it has none, or its boxes are not enough."""
    side = signal_side_of(allocation)
    if side is None or side.allocation is None:
        return None
    trunk = side.bus.trunk if side.bus else None
    stubs = sorted(zip(trunk.nodes, trunk.stubs_m, strict=True)) if trunk else ()
    pads = tuple(PlacedKeypad(pad, place) for _, place, pad in side.pads())
    made = side.allocation
    return SavedSignals(made.outcome, made.boxes, made.uses, made.costs, pads, side.kbit, tuple(stubs))


def side_of(saved: SavedSignals | None, vehicle: Vehicle, units: tuple[Unit, ...]) -> SignalSide | None:
    """The signal side that was saved, its trunk laid anew.

    Parameters
    ----------
    saved : SavedSignals or None
        As kept.
    vehicle : Vehicle
        With its signals.
    units : tuple of Unit
        Modules fitted.

    Returns
    -------
    SignalSide or None
        Equal to the one that was saved where nothing has been changed.
    """
    if saved is None:
        return None
    wanted = tuple(signals_for(signals_of_vehicle(vehicle), [box.box for box in saved.boxes]))
    placed = SignalAllocation(saved.outcome, wanted, saved.boxes, saved.uses, saved.costs)
    pads: dict[str | None, tuple[Keypad, ...]] = {}
    for one in saved.keypads:
        pads[one.place] = (*pads.get(one.place, ()), one.keypad)
    bare = SignalSide(vehicle, units, placed, pads, None, saved.kbit)
    stubs = {node: stub for node, stub in saved.stubs_m if node in bare.nodes}
    return with_bus(bare, dict.fromkeys(bare.nodes, 0.0) | stubs)


def signal_misfits(saved: SavedSignals | None, vehicle: Vehicle, table: str) -> Iterator[Fault]:
    """Places that are none, and every rule the signals on their pins break, recounted.

    Parameters
    ----------
    saved : SavedSignals or None
        As read.
    vehicle : Vehicle
        As read.
    table : str
        Table or file it was read from, for the faults.

    Yields
    ------
    Fault
    """
    if saved is None:
        return
    places = [place.name for place in vehicle.places]
    for what, place in [(b.label, b.place) for b in saved.boxes] + [(p.keypad.name, p.place) for p in saved.keypads]:
        if place is not None and place not in places:
            yield Fault(table, None, "place", place, f"of {what} is not a place", hint(place, places))
    wanted = signals_for(signals_of_vehicle(vehicle), [box.box for box in saved.boxes])
    for finding in verify_signals(wanted, saved.boxes, saved.uses):
        where = f"{finding.module} {finding.channel}".strip() or finding.subject
        yield Fault(table, None, "signals", where, f"breaks a rule: {finding.message}", "allocate again")


def bought(saved: SavedSignals | None) -> tuple[tuple[Box, ...], tuple[Keypad, ...]]:
    """Boxes and keypads of the catalogue a saved signal side was made of, each once."""
    if saved is None:
        return (), ()
    return tuple(dict.fromkeys(b.box for b in saved.boxes)), tuple(dict.fromkeys(p.keypad for p in saved.keypads))


def signal_tables(saved: SavedSignals) -> dict[str, pd.DataFrame]:
    """Tables ``boxes``, ``keypads`` and ``signal_uses``: what is fitted where, and which item is on which pins."""
    boxes = [(b.label, b.box.name, b.place or "") for b in saved.boxes]
    pads = [(f"{p.keypad.name} K{n}", p.keypad.name, p.place or "") for n, p in enumerate(saved.keypads, 1)]
    uses = [
        (u.signal, u.item, u.box, u.pins[0], "".join(u.pins[1:]), u.supply or "", u.ground or "") for u in saved.uses
    ]
    return {
        "boxes": pd.DataFrame(boxes, columns=list(BOXES)),
        "keypads": pd.DataFrame(pads, columns=list(KEYPADS)),
        "signal_uses": pd.DataFrame(uses, columns=list(SIGNAL_USES)),
    }


def signals_from_rows(
    rows: Mapping[str, list[dict[str, str]]], boxes: Iterable[Box], pads: Iterable[Keypad], settings: Mapping[str, str]
) -> SavedSignals | None:
    """The signal side in the rows of its tables.

    Parameters
    ----------
    rows : mapping of str to list of dict
        Rows of ``boxes``, ``keypads`` and ``signal_uses``; empty: there was none.
    boxes : iterable of Box
        Of the saved catalogue.
    pads : iterable of Keypad
        Of the saved catalogue.
    settings : mapping of str to str
        With ``signals outcome``, ``signals costs`` and ``signals kbit``.

    Returns
    -------
    SavedSignals or None

    Raises
    ------
    InputError
        A box or keypad is not in the saved catalogue, or a number is none.
    """
    if "signals outcome" not in settings:
        return None
    faults = list(_unreadable(rows, settings))
    known, keypads = {box.name: box for box in boxes}, {pad.name: pad for pad in pads}
    faults += [_unknown("boxes", "box", row["box"], known) for row in rows["boxes"] if row["box"] not in known]
    faults += [
        _unknown("keypads", "keypad", row["keypad"], keypads) for row in rows["keypads"] if row["keypad"] not in keypads
    ]
    if faults:
        raise InputError(faults)
    fitted = tuple(FittedBox(row["label"], known[row["box"]], row["place"] or None) for row in rows["boxes"])
    placed = tuple(PlacedKeypad(keypads[row["keypad"]], row["place"] or None) for row in rows["keypads"])
    costs = tuple(int(cost) for cost in settings["signals costs"].split())
    stubs = tuple((name, float(value)) for name, value in _pairs(settings, "stub "))
    uses = tuple(map(_use, rows["signal_uses"]))
    return SavedSignals(settings["signals outcome"], fitted, uses, costs, placed, int(settings["signals kbit"]), stubs)


def signal_settings(saved: SavedSignals) -> list[tuple[str, str]]:
    """What is kept beside the tables: names and values as `signals_from_rows` takes them."""
    costs = " ".join(map(str, saved.costs))
    rows = [("signals outcome", saved.outcome), ("signals costs", costs), ("signals kbit", str(saved.kbit))]
    return rows + [(f"stub {node}", repr(stub)) for node, stub in saved.stubs_m]


def _pairs(settings: Mapping[str, str], word: str) -> list[tuple[str, str]]:
    return sorted((name.removeprefix(word), value) for name, value in settings.items() if name.startswith(word))


def _unreadable(rows: Mapping[str, list[dict[str, str]]], settings: Mapping[str, str]) -> Iterator[Fault]:
    remedy = "give the file as it was written"
    if settings["signals outcome"] not in ("proven best", "best so far"):
        yield Fault("allocation", None, "signals outcome", settings["signals outcome"], "is not known here", remedy)
    whole = [("signals kbit", settings.get("signals kbit", ""))]
    whole += [("signals costs", cost) for cost in settings.get("signals costs", "none").split()]
    for name, value in whole:
        if not value.isascii() or not value.isdigit() or len(value) > 12 or (name == "signals kbit" and not int(value)):
            yield Fault("allocation", None, name, value, "is not a whole number", remedy)
    for name, value in _pairs(settings, "stub "):
        if not _is_length(value):
            yield Fault("allocation", None, f"stub {name}", value, "is not a length in m", remedy)
    for row in rows["signal_uses"]:
        if not row["item"].isascii() or not row["item"].isdigit():
            yield Fault("signal_uses", None, "item", row["item"], "is not a whole number", "count items from 1")


def _is_length(text: str) -> bool:
    try:
        return 0 <= float(text) < 1e6
    except ValueError:
        return False


def _unknown(table: str, column: str, name: str, known: Iterable[str]) -> Fault:
    return Fault(table, None, column, name, "is not in the saved catalogue", hint(name, list(known)))


def _use(row: dict[str, str]) -> PinUse:
    pins = tuple(pin for pin in (row["pin"], row["second_pin"]) if pin)
    return PinUse(row["signal"], int(row["item"]), row["box"], pins, row["supply"] or None, row["ground"] or None)
