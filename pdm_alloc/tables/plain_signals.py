"""Signals, messages, boxes and keypads turned back into tables of text, as somebody would type them."""

from pdm_alloc.signals import Box, Keypad, Message, Signal, SignalPin
from pdm_alloc.tables.decimals import decimal, thousandths

__all__ = ["signal_catalogue_plain", "signal_vehicle_plain"]

Rows = list[dict[str, str]]


def signal_vehicle_plain(vehicle) -> dict[str, Rows]:
    """Tables ``signals`` and ``messages`` of a vehicle; rows as text."""
    return {
        "signals": [_signal(signal) for signal in vehicle.signals],
        "messages": [_message(message) for message in vehicle.messages],
    }


def signal_catalogue_plain(catalogue) -> dict[str, Rows]:
    """Tables ``control_units``, ``signal_pins`` and ``keypads`` of a catalogue; rows as text."""
    return {
        "control_units": [_unit(box) for box in catalogue.boxes if box.role != "module"],
        "signal_pins": [_pin(box, pin) for box in catalogue.boxes for pin in box.pins],
        "keypads": [_keypad(keypad) for keypad in catalogue.keypads],
    }


def _signal(signal: Signal) -> dict[str, str]:
    return {
        "signal": signal.name,
        "kind": signal.kind,
        "count": str(signal.count),
        "place": signal.place or "",
        "importance": signal.importance,
        "needs": decimal(signal.needs),
        "current_a": "" if signal.current_assumed else thousandths(signal.current_ma),
        "note": signal.note,
        **dict(signal.extra),
    }


def _message(message: Message) -> dict[str, str]:
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


def _unit(box: Box) -> dict[str, str]:
    return {
        "box": box.name,
        "expander": decimal(box.role == "expander"),
        **_worth(box),
        "note": box.note,
        **dict(box.extra),
    }


def _worth(thing) -> dict[str, str]:
    return {name: decimal(getattr(thing, name)) for name in ("mass_g", "price", "quiescent_ma")}


def _pin(box: Box, pin: SignalPin) -> dict[str, str]:
    return {
        "box": box.name,
        "pin": pin.name,
        "connector": pin.connector,
        "functions": decimal(pin.functions),
        "max_a": thousandths(pin.max_ma),
        "pair": pin.pair or "",
        **dict(pin.extra),
    }


def _keypad(keypad: Keypad) -> dict[str, str]:
    return {
        "keypad": keypad.name,
        "keys": str(keypad.keys),
        "wires": str(keypad.wires),
        "bus_nodes": str(keypad.bus_nodes),
        **_worth(keypad),
        "note": keypad.note,
        **dict(keypad.extra),
    }
