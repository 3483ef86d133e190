"""Signals and pins grouped so that what no rule can tell apart is counted, not listed."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from pdm_alloc.domain.module import natural_key
from pdm_alloc.domain.signals import QUALIFIERS, SIGNAL_KINDS, SUPPLIES, FittedBox, Signal, SignalKind, SignalPin

__all__ = [
    *("NEW_CONNECTOR", "PairClass", "PinClass", "Pins", "SharedPin", "SignalType", "fits_pin", "pins_of", "types_of"),
]

Member = tuple[str, int]

# Kind, qualifiers, supplies, current, place, reader, and whether it is vital.
_Key = tuple[str, tuple[str, ...], tuple[str, ...], int, str | None, str | None, bool]

NEW_CONNECTOR = "added"  # connector of pins a box would have to gain

_Traits = tuple[tuple[str, ...], int, bool]  # functions and rating of a pin, mA (-1: not judged); whether it is added


@dataclass(frozen=True, slots=True)
class SignalType:
    """Signals that no rule can tell apart.

    Parameters
    ----------
    kind : str
        Kind of signal.
    qualifiers : tuple of str
        What its pin must have beside the function.
    supplies : tuple of str
        Shared supplies it needs.
    current_ma : int
        Current of one, mA.
    place, reader : str or None
        Where it sits; kind of box it must be on.
    vital : bool
        Whether it is vital.
    members : tuple of (str, int)
        Name of the signal and number of the item, from 1, in natural order.
    """

    kind: str
    qualifiers: tuple[str, ...]
    supplies: tuple[str, ...]
    current_ma: int
    place: str | None
    reader: str | None
    vital: bool
    members: tuple[Member, ...] = ()

    @property
    def rule(self) -> SignalKind:
        """What its kind takes."""
        return SIGNAL_KINDS[self.kind]

    def reads(self, box: FittedBox) -> bool:
        """Whether the box is of the kind it must be on; what is vital is never on an expander of the bus."""
        if self.vital and box.box.role == "expander":
            return False
        return self.reader is None or box.box.role == self.reader


@dataclass(frozen=True, slots=True)
class PinClass:
    """Pins of one box that no rule can tell apart."""

    box: FittedBox
    functions: frozenset[str]
    max_ma: int | None
    pins: tuple[SignalPin, ...]


@dataclass(frozen=True, slots=True)
class PairClass:
    """Pairs of pins of one box that no rule can tell apart; `sides` are the numbers of the classes of their pins."""

    box: FittedBox
    pairs: tuple[tuple[SignalPin, SignalPin], ...]
    sides: tuple[int, int]


@dataclass(frozen=True, slots=True)
class SharedPin:
    """A supply or ground pin that sensors of one box share."""

    box: FittedBox
    word: str
    pin: SignalPin


@dataclass(frozen=True, slots=True)
class Pins:
    """All pins of the fitted boxes: classes, pairs and shared pins, in canonical order."""

    classes: tuple[PinClass, ...]
    pairs: tuple[PairClass, ...]
    shared: tuple[SharedPin, ...]


def types_of(signals: Iterable[Signal], placed: bool = False) -> tuple[SignalType, ...]:
    """Signals grouped into types, in an order that does not depend on their names or rows.

    Parameters
    ----------
    signals : iterable of Signal
        Any.
    placed : bool
        Whether signals at different places are different.

    Returns
    -------
    tuple of SignalType
        Types of one key are one type; its members are in natural order.
    """
    members: dict[_Key, list[Member]] = defaultdict(list)
    for signal in sorted(signals, key=lambda s: natural_key(s.name)):
        qualifiers = tuple(sorted(signal.needs & set(QUALIFIERS)))
        place = signal.place if placed else None
        key = (signal.kind, qualifiers, signal.supplies, signal.current_ma, place, signal.reader)
        members[*key, signal.importance == "vital"] += [(signal.name, n + 1) for n in range(signal.count)]
    return tuple(replace(_typed(key), members=tuple(members[key])) for key in sorted(members, key=_order))


def _typed(key: _Key) -> SignalType:
    kind, qualifiers, supplies, current, place, reader, vital = key
    return SignalType(kind, qualifiers, supplies, current, place, reader, vital)


def _order(key: _Key) -> tuple[object, ...]:
    kind, qualifiers, supplies, current, place, reader, vital = key
    return (kind, qualifiers, supplies, -current, natural_key(place or ""), reader or "", not vital)


def fits_pin(kind: SignalType, functions: frozenset[str], max_ma: int | None) -> bool:
    """Whether a pin has what one pin of the signal must have.

    Parameters
    ----------
    kind : SignalType
        The signal.
    functions : frozenset of str
        Functions of the pin.
    max_ma : int or None
        What the pin may carry, mA; None: not judged.

    Returns
    -------
    bool
        Functions and, of an output, current; a sensor's current does not go through its pin.
    """
    if kind.rule.function not in functions or not functions.issuperset(kind.qualifiers):
        return False
    return max_ma is None or not kind.rule.is_output or kind.current_ma <= max_ma


def pins_of(boxes: Sequence[FittedBox]) -> Pins:
    """Pins of fitted boxes grouped into classes, pairs and shared pins.

    Parameters
    ----------
    boxes : sequence of FittedBox
        With labels of their own.

    Returns
    -------
    Pins
        Boxes in natural order of their labels.
    """
    classes: list[PinClass] = []
    pairs: list[PairClass] = []
    shared: list[SharedPin] = []
    for box in sorted(boxes, key=lambda b: natural_key(b.label)):
        shared += _shared(box)
        _add_classes(box, classes, pairs)
    return Pins(tuple(classes), tuple(pairs), tuple(shared))


def _shared(box: FittedBox) -> list[SharedPin]:
    return [SharedPin(box, word, pin) for word in SUPPLIES for pin in box.box.pins if word in pin.functions]


def _traits(pin: SignalPin) -> _Traits:
    rating = -1 if pin.max_ma is None else pin.max_ma
    return (tuple(sorted(pin.functions)), rating, pin.connector == NEW_CONNECTOR)


def _add_classes(box: FittedBox, classes: list[PinClass], pairs: list[PairClass]) -> None:
    """Classes and pairs of one box; pins of pairs are classed by both traits of their pair."""
    couples = _couples(box)
    paired = {id(pin): tuple(sorted(map(_traits, couple))) for couple in couples for pin in couple}
    groups: dict[tuple[_Traits, tuple[_Traits, ...]], list[SignalPin]] = defaultdict(list)
    for pin in box.box.pins:
        if not pin.functions & set(SUPPLIES):
            groups[_traits(pin), paired.get(id(pin), ())].append(pin)
    numbers = {key: len(classes) + n for n, key in enumerate(sorted(groups))}
    for key in sorted(groups):
        pins = groups[key]
        classes.append(PinClass(box, pins[0].functions, pins[0].max_ma, tuple(pins)))
    alike: dict[tuple[_Traits, ...], list[tuple[SignalPin, SignalPin]]] = defaultdict(list)
    for couple in couples:
        alike[tuple(sorted(map(_traits, couple)))].append(couple)
    for traits in sorted(alike):
        sides = (numbers[traits[0], traits], numbers[traits[1], traits])
        pairs.append(PairClass(box, tuple(alike[traits]), sides))


def _couples(box: FittedBox) -> list[tuple[SignalPin, SignalPin]]:
    labels: dict[str, list[SignalPin]] = defaultdict(list)
    for pin in box.box.pins:
        if pin.pair is not None:
            labels[pin.pair].append(pin)
    couples = [(pins[0], pins[1]) for pins in labels.values() if len(pins) == 2]
    return sorted(couples, key=lambda couple: [(natural_key(p.connector), natural_key(p.name)) for p in couple])
