"""The independent recount of signals on pins: from the tables alone, with nothing of the program that placed them."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Protocol

from pdm_alloc.domain.signals import FittedBox, Signal, SignalPin
from pdm_alloc.verify.recount import Finding

__all__ = ["PinUse", "verify_signals"]


class PinUse(Protocol):
    """One item of a signal, the box it is on, its pins, and the shared pins that feed it."""

    @property
    def signal(self) -> str:
        """Name of the signal."""

    @property
    def item(self) -> int:
        """Number of the item, from 1."""

    @property
    def box(self) -> str:
        """Label of the box."""

    @property
    def pins(self) -> tuple[str, ...]:
        """Labels of its pins."""

    @property
    def supply(self) -> str | None:
        """Label of the 5 V supply that it shares; None: it needs none."""

    @property
    def ground(self) -> str | None:
        """Label of the sensor ground that it shares; None: it needs none."""


_Pins = Mapping[tuple[str, str | None], SignalPin]  # by label of the box and of the pin


# Written out again on purpose: function and number of pins of each kind, whether a label must join them, whether the
# signal's current goes through its pin.
_TAKES = {
    "voltage": ("voltage_input", 1, False, False),
    "resistance": ("resistance_input", 1, False, False),
    "switch_to_ground": ("switch_to_ground", 1, False, False),
    "switch_to_battery": ("switch_to_battery", 1, False, False),
    "frequency": ("frequency", 1, False, False),
    "frequency_pair": ("frequency_pair", 2, True, False),
    "low_side": ("low_side", 1, False, True),
    "high_side": ("high_side", 1, False, True),
    "half_bridge": ("half_bridge", 1, False, True),
    "full_bridge": ("half_bridge", 2, False, True),
    "ignition_trigger": ("ignition_trigger", 1, False, True),
    "injector": ("injector_driver", 1, False, True),
    "bus": ("bus", 2, True, False),
}


def verify_signals(signals: Sequence[Signal], boxes: Sequence[FittedBox], uses: Iterable[PinUse]) -> list[Finding]:
    """Every rule that signals on pins break.

    Parameters
    ----------
    signals : sequence of Signal
        What must be placed.
    boxes : sequence of FittedBox
        Where.
    uses : iterable of PinUse
        What is where.

    Returns
    -------
    list of Finding
        Empty where every item has its pins, no pin is used twice, every pin can do what it must and bear it, and every
        shared supply and ground is within its limit.
    """
    uses = list(uses)
    by_name = {signal.name: signal for signal in signals}
    pins: _Pins = {(box.label, _label(pin)): pin for box in boxes for pin in box.box.pins}
    roles = {box.label: box.box.role for box in boxes}
    known = [use for use in uses if use.signal in by_name and use.box in roles]
    strangers = [use for use in uses if use.signal not in by_name or use.box not in roles]
    findings = [_finding("stranger", use, f"{use.signal} or {use.box} is not in the tables") for use in strangers]
    findings += _counted(signals, uses)
    findings += _twice(uses)
    for use in known:
        findings += _of_use(by_name[use.signal], use, pins, roles[use.box])
    return findings + list(_overdrawn(by_name, known, pins))


def _label(pin: SignalPin) -> str:
    return pin.name if pin.connector == "" else pin.connector + "-" + pin.name


def _finding(
    rule: str, use: PinUse, message: str, value: float | None = None, limit: float | None = None, unit: str = ""
) -> Finding:
    where = ", ".join(use.pins)
    return Finding(rule, use.box, where, "", use.signal, value, limit, unit, message)


def _counted(signals: Iterable[Signal], uses: Iterable[PinUse]) -> Iterator[Finding]:
    """Every item of every signal once."""
    times = Counter((use.signal, use.item) for use in uses)
    for signal in signals:
        for item in range(1, signal.count + 1):
            if times.pop((signal.name, item), 0) != 1:
                message = f"item {item} of {signal.name} is not placed exactly once"
                yield Finding("placed", subject=signal.name, message=message)
    for name, item in times:
        yield Finding("placed", subject=name, message=f"there is no item {item} of {name}")


def _twice(uses: Iterable[PinUse]) -> Iterator[Finding]:
    taken = Counter((use.box, pin) for use in uses for pin in use.pins)
    for (box, pin), times in taken.items():
        if times > 1:
            yield Finding("pin", box, pin, value=times, limit=1, message=f"pin {pin} is used {times} times")


def _of_use(signal: Signal, use: PinUse, pins: _Pins, role: str) -> Iterator[Finding]:
    function, count, joined, loaded = _TAKES[signal.kind]
    taken = [pins[use.box, label] for label in use.pins if (use.box, label) in pins]
    if len(use.pins) != count or len(taken) != count:
        yield _finding("pins", use, f"a {signal.kind} takes {count} pins of the box", len(taken), count)
    if signal.reader is not None and signal.reader != role:
        yield _finding("reader", use, f"{signal.name} is to be read by a {signal.reader}, not a {role}")
    if signal.importance == "vital" and role == "expander":
        yield _finding("vital", use, f"{signal.name} is vital and {use.box} depends on the bus")
    if joined and (len({pin.pair for pin in taken}) != 1 or any(pin.pair is None for pin in taken)):
        yield _finding("pair", use, f"the pins of {signal.name} are not a pair")
    for pin in taken:
        yield from _of_pin(signal, use, pin, function, loaded)
    yield from _fed(signal, use, pins)


def _of_pin(signal: Signal, use: PinUse, pin: SignalPin, function: str, loaded: bool) -> Iterator[Finding]:
    if function not in pin.functions:
        yield _finding("function", use, f"pin {_label(pin)} has no {function}")
    if "pwm" in signal.needs and "pwm" not in pin.functions:
        yield _finding("pwm", use, f"pin {_label(pin)} has no PWM")
    if loaded and pin.max_ma is not None and signal.current_ma > pin.max_ma:
        message = f"{signal.name} takes {signal.current_ma} mA, pin {_label(pin)} bears {pin.max_ma} mA"
        yield _finding("current", use, message, signal.current_ma / 1000, pin.max_ma / 1000, "A")


def _fed(signal: Signal, use: PinUse, pins: _Pins) -> Iterator[Finding]:
    """Shared pins are there where they are needed, of the same box and the right function."""
    spare = "spare" in signal.needs
    for word, label in (("supply_5v", use.supply), ("sensor_ground", use.ground)):
        wanted = word in signal.needs and not spare
        pin = pins.get((use.box, label))
        if wanted != (label is not None):
            yield _finding(word, use, f"{signal.name} {'has no' if wanted else 'needs no'} {word}")
        elif wanted and (pin is None or word not in pin.functions):
            yield _finding(word, use, f"{label} is not a {word} of {use.box}")


def _overdrawn(signals: Mapping[str, Signal], uses: Iterable[PinUse], pins: _Pins) -> Iterator[Finding]:
    drawn: dict[tuple[str, str], int] = defaultdict(int)
    for use in uses:
        for label in (use.supply, use.ground):
            if label is not None:
                drawn[use.box, label] += signals[use.signal].current_ma
    for (box, label), current in drawn.items():
        limit = pins[box, label].max_ma if (box, label) in pins else None
        if limit is not None and current > limit:
            message = f"sensors take {current} mA from {label}, which bears {limit} mA"
            yield Finding("shared", box, label, "", "", current / 1000, limit / 1000, "A", message)
