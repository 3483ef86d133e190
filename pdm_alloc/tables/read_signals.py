"""Signals, messages, boxes and keypads from their rows."""

from collections import defaultdict

from pdm_alloc.module import natural_key
from pdm_alloc.signal_kinds import SIGNAL_KINDS
from pdm_alloc.signals import Box, Keypad, Message, Signal, SignalPin

__all__ = ["boxes_of", "keypads_of", "messages_of", "signals_of"]


def _by_name(things) -> tuple:
    return tuple(sorted(things, key=lambda thing: natural_key(thing.name)))


def signals_of(lines) -> tuple[Signal, ...]:
    """Signals of the rows of the table signals, in natural order of their names."""
    return _by_name(_signal(line) for line in lines)


def _signal(line):
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
    )


def messages_of(lines) -> tuple[Message, ...]:
    """Messages of the rows of the table messages, in order of priority."""
    return tuple(sorted((_message(line) for line in lines), key=lambda message: message.priority))


def _message(line):
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


def boxes_of(rows) -> tuple[Box, ...]:
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
        pins[line.values.box].append(_pin(line))
    for listed in pins.values():
        listed.sort(key=lambda pin: (natural_key(pin.connector), natural_key(pin.name)))
    units = [_unit(line, tuple(pins[line.values.box])) for line in rows["control_units"]]
    modules = [_module(line.values, pins) for line in rows["modules"] if line.values.module in pins]
    return _by_name([*units, *modules])


def _pin(line):
    row = line.values
    return SignalPin(row.pin, row.connector, row.functions, row.max_a, row.pair, line.extra)


def _unit(line, pins):
    row = line.values
    role = "expander" if row.expander else "control_unit"
    return Box(row.box, pins, role, row.mass_g, row.price, row.quiescent_ma, row.note, line.extra)


def _module(row, pins):
    return Box(row.module, tuple(pins[row.module]), "module", row.mass_g, row.price)


def keypads_of(lines) -> tuple[Keypad, ...]:
    """Keypads of the rows of the table keypads, in natural order of their names."""
    return _by_name(_keypad(line) for line in lines)


def _keypad(line):
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
