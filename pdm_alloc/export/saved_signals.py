"""The signal side of a saved allocation: boxes, keypads, pins and bus; every rule is recounted when it is read."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import pandas as pd

from pdm_alloc.allocator import SignalAllocation, signals_of_vehicle
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.signals import Box, FittedBox, Keypad
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.export.signal_sheets import signal_side_of
from pdm_alloc.files.faults import Fault, InputError, hint
from pdm_alloc.program.signals.signal_costs import PinUse
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.studies.signals.boxes_and_bus import signals_for
from pdm_alloc.studies.signals.signal_fitting import with_bus
from pdm_alloc.studies.signals.signal_side import SignalSide
from pdm_alloc.verify.signal_check import verify_signals

__all__ = [
    *("BOXES", "KEYPADS", "SIGNAL_USES", "PlacedKeypad", "SavedSignals", "bought", "saved_signals", "signal_misfits"),
    *("side_of", "signal_settings", "signal_tables", "signals_from_rows"),
]

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
