"""Signals, messages, boxes and keypads from their rows and back."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import Any, TypeVar

from pdm_alloc.domain.module import SIGNAL_KINDS, Box, Catalogue, Keypad, Message, Signal, SignalPin, natural_key
from pdm_alloc.domain.showing import Named
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.files.rows import Line

__all__ = [
    "boxes_of",
    "decimal",
    "keypads_of",
    "messages_of",
    "signal_catalogue_plain",
    "signal_vehicle_plain",
    "signals_of",
    "thousandths",
]


Thing = TypeVar("Thing", bound=Named)


def by_name(things: Iterable[Thing]) -> tuple[Thing, ...]:
    """Things in natural order of their names."""
    return tuple(sorted(things, key=lambda thing: natural_key(thing.name)))


def signals_of(lines: Iterable[Line]) -> tuple[Signal, ...]:
    """Signals of the rows of the table signals, in natural order of their names."""
    return by_name(_read_signals_signal(line) for line in lines)


def _read_signals_signal(line: Line) -> Signal:
    row = line.values
    usual = SIGNAL_KINDS[row.kind].current_ma or 0
    return Signal(
        name=row.signal,
        kind=row.kind,
        count=row.count,
        place=row.place,
        importance=row.importance,
        needs=row.needs,
        current_ma=usual if row.current_a is None else row.current_a,
        current_assumed=row.current_a is None,
        note=row.note,
        extra=line.extra,
        fed_by=row.fed_by,
    )


def messages_of(lines: Iterable[Line]) -> tuple[Message, ...]:
    """Messages of the rows of the table messages, in order of priority."""
    return tuple(sorted((_read_signals_message(line) for line in lines), key=lambda message: message.priority))


def _read_signals_message(line: Line) -> Message:
    row = line.values
    return Message(
        name=row.message,
        size=row.bytes,
        period_us=row.period_ms,
        priority=row.priority,
        deadline_us=row.deadline_ms,
        jitter_us=row.jitter_ms,
        note=row.note,
        extra=line.extra,
    )


def boxes_of(rows: Mapping[str, list[Line]]) -> tuple[Box, ...]:
    """Control units, expanders and the modules that have signal pins, in natural order of their names.

    Parameters
    ----------
    rows : dict of str to list of Line
        Tables of the catalogue, checked.

    Returns
    -------
    tuple of Box
        A module's mass and price stay with the module.
    """
    pins = defaultdict(list)
    for line in rows["signal_pins"]:
        pins[line.values.box].append(_read_signals_pin(line))
    for listed in pins.values():
        listed.sort(key=lambda pin: (natural_key(pin.connector), natural_key(pin.name)))
    units = [_read_signals_unit(line, tuple(pins[line.values.box])) for line in rows["control_units"]]
    modules = [_module(line.values, pins) for line in rows["modules"] if line.values.module in pins]
    return by_name([*units, *modules])


def _read_signals_pin(line: Line) -> SignalPin:
    row = line.values
    return SignalPin(row.pin, row.connector, row.functions, row.max_a, row.pair, line.extra)


def _read_signals_unit(line: Line, pins: tuple[SignalPin, ...]) -> Box:
    row = line.values
    role = "expander" if row.expander else "control_unit"
    return Box(row.box, pins, role, row.mass_g, row.price, row.quiescent_ma, row.note, line.extra)


def _module(row: Any, pins: Mapping[str, list[SignalPin]]) -> Box:
    return Box(row.module, tuple(pins[row.module]), "module", row.mass_g, row.price)


def keypads_of(lines: Iterable[Line]) -> tuple[Keypad, ...]:
    """Keypads of the rows of the table keypads, in natural order of their names."""
    return by_name(_read_signals_keypad(line) for line in lines)


def _read_signals_keypad(line: Line) -> Keypad:
    row = line.values
    return Keypad(
        row.keypad,
        row.keys,
        row.wires,
        row.bus_nodes,
        row.mass_g,
        row.price,
        row.quiescent_ma,
        row.note,
        line.extra,
    )


def decimal(value: object) -> str:
    """A number, word, yes or no, or set of words as a cell; None is an empty cell.

    Parameters
    ----------
    value : object
        Of a field of a domain object.

    Returns
    -------
    str
        With a decimal point, without trailing zeros.
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Fraction):
        return _trimmed(f"{round(value * 10**9) / 10**9:.9f}") if value.denominator != 1 else str(value.numerator)
    if isinstance(value, float):
        return repr(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, frozenset):
        return " ".join(sorted(value))
    return str(value)


def _trimmed(text: str) -> str:
    return text.rstrip("0").rstrip(".") if "." in text else text


def thousandths(value: int | None, digits: int = 3) -> str:
    """A whole number of thousandths (or of 10 to the minus `digits`) as a decimal; None is an empty cell."""
    if value is None:
        return ""
    whole, rest = divmod(value, 10**digits)
    return _trimmed(f"{whole}.{rest:0{digits}d}")


Rows = list[dict[str, str]]


def signal_vehicle_plain(vehicle: Vehicle) -> dict[str, Rows]:
    """Tables ``signals`` and ``messages`` of a vehicle; rows as text."""
    return {
        "signals": [_plain_signals_signal(signal) for signal in vehicle.signals],
        "messages": [_plain_signals_message(message) for message in vehicle.messages],
    }


def signal_catalogue_plain(catalogue: Catalogue) -> dict[str, Rows]:
    """Tables ``control_units``, ``signal_pins`` and ``keypads`` of a catalogue; rows as text."""
    return {
        "control_units": [_plain_signals_unit(box) for box in catalogue.boxes if box.role != "module"],
        "signal_pins": [_plain_signals_pin(box, pin) for box in catalogue.boxes for pin in box.pins],
        "keypads": [_plain_signals_keypad(keypad) for keypad in catalogue.keypads],
    }


def _plain_signals_signal(signal: Signal) -> dict[str, str]:
    return {
        "signal": signal.name,
        "kind": signal.kind,
        "count": str(signal.count),
        "place": signal.place or "",
        "importance": signal.importance,
        "needs": decimal(signal.needs),
        "current_a": "" if signal.current_assumed else thousandths(signal.current_ma),
        "fed_by": signal.fed_by or "",
        "note": signal.note,
        **dict(signal.extra),
    }


def _plain_signals_message(message: Message) -> dict[str, str]:
    return {
        "message": message.name,
        "bytes": str(message.size),
        "period_ms": thousandths(message.period_us),
        "priority": str(message.priority),
        "deadline_ms": thousandths(message.deadline_us),
        "jitter_ms": thousandths(message.jitter_us),
        "note": message.note,
        **dict(message.extra),
    }


def _plain_signals_unit(box: Box) -> dict[str, str]:
    return {
        "box": box.name,
        "expander": decimal(box.role == "expander"),
        **_worth(box),
        "note": box.note,
        **dict(box.extra),
    }


def _worth(thing: Box | Keypad) -> dict[str, str]:
    return {name: decimal(getattr(thing, name)) for name in ("mass_g", "price", "quiescent_ma")}


def _plain_signals_pin(box: Box, pin: SignalPin) -> dict[str, str]:
    return {
        "box": box.name,
        "pin": pin.name,
        "connector": pin.connector,
        "functions": decimal(pin.functions),
        "max_a": thousandths(pin.max_ma),
        "pair": pin.pair or "",
        **dict(pin.extra),
    }


def _plain_signals_keypad(keypad: Keypad) -> dict[str, str]:
    return {
        "keypad": keypad.name,
        "keys": str(keypad.keys),
        "wires": str(keypad.wires),
        "bus_nodes": str(keypad.bus_nodes),
        **_worth(keypad),
        "note": keypad.note,
        **dict(keypad.extra),
    }
