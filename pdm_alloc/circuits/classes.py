"""Channel classes: interchangeable channels, and capacities by which no channel is used twice."""

import math
from collections import Counter, defaultdict
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import Channel, Unit, natural_key, portions_of
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.current import derating_factor, paralleled_ma, usable_ma

__all__ = ["Capacity", "ChannelClass", "Rating", "channel_classes", "rating_of", "unit_ambient_c"]

Slots = tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Capacity:
    """At most `most` channels (or doubles) over the classes: sum of weight x uses <= most."""

    weights: tuple[tuple[int, int], ...]
    most: int


@dataclass(frozen=True, slots=True)
class Rating:
    """All that the physics asks of a channel, whichever unit and bank it is in.

    Parameters
    ----------
    rated_ma : Fraction
        Derated rating, mA; of a pair, what both take together before the larger share is too much for one.
    usable_ma : int
        Derated rating less the headroom wanted, mA.
    peak_ma, peak_ms : int, float
        Trips at once above it, of a pair of both together, mA; how long it bears that, ms.
    pwm, reversing : bool
        Whether it can dim; whether it is a bridge.
    max_wire_mm2, pins, place : float or None, int, str or None
        Largest conductor of one terminal, mm2; conductors that can be wired in parallel; where the unit sits.
    trip_step_ma, trip_error_pct : int, Fraction
        Step of the trip setting of one channel, mA; how far the module's own reading may be off, per cent.
    wires, share : int, Fraction
        Channels in parallel; largest part of the current that one of them carries, no unit.
    contact_ma : int or None
        What one pin bears, mA; None: not known, so every pin has its own wire.

    Attributes
    ----------
    kind, terminal : tuple
        All that setting and wire of a circuit depend on besides the rating: without the terminal, and with it.
    highest_ma : int
        Highest trip setting, of both channels of a pair together, mA.
    """

    rated_ma: Fraction
    usable_ma: int
    peak_ma: int
    peak_ms: float
    pwm: bool
    reversing: bool
    max_wire_mm2: float | None
    pins: int
    trip_step_ma: int
    place: str | None = None
    wires: int = 1
    share: Fraction = Fraction(1)
    trip_error_pct: Fraction = Fraction(0)
    contact_ma: int | None = None
    kind: tuple[Hashable, ...] = field(init=False, repr=False, compare=False)
    terminal: tuple[Hashable, ...] = field(init=False, repr=False, compare=False)
    highest_ma: int = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Work out what every circuit of a listing asks: arithmetic and hashes of fractions take long."""
        fractions = (*self.share.as_integer_ratio(), *self.trip_error_pct.as_integer_ratio())
        kind = (self.reversing, self.wires, self.trip_step_ma, *fractions)
        object.__setattr__(self, "kind", kind)
        object.__setattr__(self, "terminal", (*kind, self.max_wire_mm2, self.pins, self.contact_ma))
        object.__setattr__(self, "highest_ma", math.floor(self.rated_ma * self.share * self.wires))

    def __hash__(self) -> int:
        """Of what tells most ratings apart: the hash of a fraction takes long."""
        return hash((self.usable_ma, self.peak_ma, self.pwm, self.reversing, self.max_wire_mm2, self.place))

    def usable_at(self, headroom_pct: Fraction) -> int:
        """Derated rating less a headroom in per cent, mA."""
        one = usable_ma(1, self.rated_ma * self.share, headroom_pct)
        return one if self.share == 1 else paralleled_ma(one, one, 100 * self.share)


@dataclass(frozen=True, slots=True)
class ChannelClass:
    """Interchangeable outputs of one unit.

    Parameters
    ----------
    unit, use : int, str
        Number of the unit; ``single``, ``pair`` or ``bridge``.
    rating : Rating
        What the physics asks.
    bank_portions : tuple of (str, int)
        Banks it loads, and how many portions of every milliamp each carries.
    slots : tuple of tuple of str
        Channel names, one or two a slot, natural order.
    """

    unit: int
    use: str
    rating: Rating
    bank_portions: tuple[tuple[str, int], ...]
    slots: Slots

    @property
    def width(self) -> int:
        """Channels one slot takes up."""
        return len(self.slots[0])


SingleKey = tuple[Rating, str, str]
"""Rating, bank, and the label of a channel that is told apart."""

DoubleKey = tuple[str, frozenset[SingleKey], int, str]
"""Use, keys of both channels, uses these two can have, and the label of a double in a larger group."""


@dataclass
class _Draft:
    """Channels of one unit on the way to classes."""

    unit: int
    keys: dict[str, SingleKey]
    doubles: list[tuple[str, str, str]]
    whole: int


def unit_ambient_c(vehicle: Vehicle, unit: Unit) -> float:
    """Ambient around a unit: that of its place, or the setting, deg C."""
    place = vehicle.place(unit.place) if unit.place else None
    return vehicle.settings.module_ambient_c if place is None or place.ambient_c is None else place.ambient_c


def channel_classes(
    vehicle: Vehicle,
    units: Sequence[Unit],
    locked: Iterable[tuple[int, str]] = (),
    apart: Mapping[tuple[int, str], str] | None = None,
) -> tuple[tuple[ChannelClass, ...], tuple[Capacity, ...]]:
    """Classes of all units and the capacities that keep a channel from being used twice.

    Parameters
    ----------
    vehicle : Vehicle
        Its settings and places.
    units, locked : sequence of Unit, iterable of (int, str)
        Fitted; unit number and channel of locked rows: each is a class of its own.
    apart : mapping of (int, str) to str, optional
        Label by unit number and channel: channels with different labels are told apart.

    Returns
    -------
    classes : tuple of ChannelClass
        Unit by unit; singles before doubles.
    capacities : tuple of Capacity
        Weights name classes by number. Any solution within them can be handed out: the doubles
        first, then singles take what is left of their kind.

    Raises
    ------
    ValueError
        A unit's ambient is outside its module's derating table.
    """
    classes: list[ChannelClass] = []
    capacities: list[Capacity] = []
    locked = tuple(locked)
    held = dict.fromkeys(locked, "") | dict(apart or {})
    held.update({place: f"{held[place]} {place[1]}" for place in locked})
    whole = portions_of(unit.module.portions for unit in units)
    for number, unit in enumerate(units):
        capacities += _add_unit(number, _fitted(vehicle, unit), held, classes, whole)
    return tuple(classes), tuple(capacities)


def rating_of(vehicle: Vehicle, unit: Unit, channels: Sequence[Channel], use: str) -> Rating:
    """Rating of one channel, or of two that are paralleled or form a bridge.

    Parameters
    ----------
    vehicle, unit : Vehicle, Unit
        For settings and places; where they are.
    channels : sequence of Channel
        One or two.
    use : str
        ``single``, ``pair`` or ``bridge``.

    Returns
    -------
    Rating

    Raises
    ------
    ValueError
        The unit's ambient is outside its module's derating table.
    """
    if use == "single":
        return _single_rating(channels[0], _fitted(vehicle, unit))
    return _double_rating(channels[0], channels[1], use, _fitted(vehicle, unit))


class _Fitted(NamedTuple):
    """A unit where it is mounted, its derating factor there, and the vehicle's settings."""

    unit: Unit
    factor: Fraction
    settings: Settings


def _fitted(vehicle: Vehicle, unit: Unit) -> _Fitted:
    factor = derating_factor(unit.module.derating, unit_ambient_c(vehicle, unit))
    return _Fitted(unit, factor, vehicle.settings)


def _add_unit(
    number: int, at: _Fitted, held: Mapping[tuple[int, str], str], classes: list[ChannelClass], whole: int
) -> Iterator[Capacity]:
    """Add the classes of a unit; its capacities."""
    channels = sorted(at.unit.module.channels, key=lambda c: natural_key(c.name))
    by_name = {c.name: c for c in channels}
    labels = {c.name: held.get((number, c.name), "") for c in channels}
    keys = {c.name: (_single_rating(c, at), c.bank or "", labels[c.name]) for c in channels}
    draft = _Draft(number, keys, _doubles(channels), whole)
    singles = _single_classes(draft, classes)
    doubles = _double_classes(draft, by_name, at, classes)
    return _capacities(draft, classes, singles, doubles.values())


def _single_rating(channel: Channel, at: _Fitted) -> Rating:
    return Rating(
        rated_ma=channel.continuous_ma * at.factor,
        usable_ma=usable_ma(channel.continuous_ma, at.factor, at.settings.headroom_pct),
        peak_ma=channel.peak_ma,
        peak_ms=channel.peak_ms,
        pwm="pwm" in channel.features,
        reversing=False,
        max_wire_mm2=channel.max_wire_mm2,
        pins=max(1, len(channel.pins)),
        trip_step_ma=at.unit.module.trip_step_ma,
        place=at.unit.place,
        trip_error_pct=at.unit.module.trip_error_pct,
        contact_ma=channel.contact_ma,
    )


def _double_rating(a: Channel, b: Channel, use: str, at: _Fitted) -> Rating:
    """Of two channels: as much as keeps the larger share within the weaker one; of a bridge the weaker one."""
    times = 2 if use == "pair" else 1
    share = max(a.share_pct, b.share_pct) if use == "pair" else Fraction(100)
    continuous = min(a.continuous_ma, b.continuous_ma)
    usable = usable_ma(continuous, at.factor, at.settings.headroom_pct)
    peak = min(a.peak_ma, b.peak_ma)
    sizes = [c.max_wire_mm2 for c in (a, b) if c.max_wire_mm2 is not None]
    contacts = [c.contact_ma for c in (a, b) if c.contact_ma is not None]
    return Rating(
        rated_ma=continuous * at.factor * 100 / share,
        usable_ma=paralleled_ma(usable, usable, share),
        peak_ma=paralleled_ma(peak, peak, share),
        peak_ms=min(a.peak_ms, b.peak_ms),
        pwm="pwm" in a.features and "pwm" in b.features,
        reversing=use == "bridge",
        max_wire_mm2=min(sizes) if sizes else None,
        pins=times * min(max(1, len(a.pins)), max(1, len(b.pins))),
        trip_step_ma=at.unit.module.trip_step_ma,
        place=at.unit.place,
        wires=times,
        share=Fraction(share) / 100,
        trip_error_pct=at.unit.module.trip_error_pct,
        contact_ma=min(contacts) if len(contacts) == 2 else None,
    )


def _doubles(channels: Sequence[Channel]) -> list[tuple[str, str, str]]:
    """(use, first, second) of every label, in natural order."""
    doubles = []
    for use in ("pair", "bridge"):
        by_label: dict[str, list[str]] = {}
        for channel in channels:
            label = channel.pair if use == "pair" else channel.bridge
            if label:
                by_label.setdefault(label, []).append(channel.name)
        doubles += [(use, a, b) for a, b in by_label.values()]
    return doubles


def _atoms(draft: _Draft) -> dict[str, int]:
    """Number of the group of channels that labels tie together, by channel."""
    group = {name: n for n, name in enumerate(draft.keys)}
    for _, a, b in draft.doubles:
        old, new = group[b], group[a]
        group = {name: new if g == old else g for name, g in group.items()}
    return group


def _single_classes(draft: _Draft, classes: list[ChannelClass]) -> dict[SingleKey, int]:
    """Class number by key of channel."""
    by_key: dict[SingleKey, list[str]] = {}
    for name, key in draft.keys.items():
        by_key.setdefault(key, []).append(name)
    numbers = {}
    for (rating, bank, label), names in by_key.items():
        numbers[rating, bank, label] = len(classes)
        portions = ((bank, draft.whole),) if bank else ()
        classes.append(ChannelClass(draft.unit, "single", rating, portions, tuple((n,) for n in names)))
    return numbers


def _double_classes(
    draft: _Draft, by_name: Mapping[str, Channel], at: _Fitted, classes: list[ChannelClass]
) -> dict[DoubleKey, int]:
    """Class number by (use, keys, size of its group, how evenly it shares): larger groups are classes of their own."""
    atoms = _atoms(draft)
    sizes = Counter(atoms.values())
    grouped: dict[DoubleKey, list[tuple[str, str]]] = {}
    for use, a, b in draft.doubles:
        alone = f"{max(by_name[x].share_pct for x in (a, b))} %" if sizes[atoms[a]] == 2 else f"{use} {a} {b}"
        kinds = frozenset((u, draft.keys[x], draft.keys[y]) for u, x, y in draft.doubles if {x, y} == {a, b})
        both = frozenset((draft.keys[a], draft.keys[b]))
        grouped.setdefault((use, both, len(kinds), alone), []).append((a, b))
    numbers = {}
    for key, slots in grouped.items():
        first, second = (by_name[name] for name in slots[0])
        numbers[key] = len(classes)
        rating = _double_rating(first, second, key[0], at)
        classes.append(
            ChannelClass(draft.unit, key[0], rating, _double_portions(first, second, key[0], draft), tuple(slots))
        )
    return numbers


def _double_portions(a: Channel, b: Channel, use: str, draft: _Draft) -> tuple[tuple[str, int], ...]:
    """Of a pair each bank bears the larger share; a bridge feeds from either, so each must bear it all."""
    one_bank, share = a.bank == b.bank, max(a.share_pct, b.share_pct) / 100
    each = draft.whole if use == "bridge" or one_bank else math.ceil(draft.whole * share)
    return tuple((bank, each) for bank in sorted({bank for bank in (a.bank, b.bank) if bank}))


def _capacities(
    draft: _Draft, classes: Sequence[ChannelClass], singles: Mapping[SingleKey, int], doubles: Iterable[int]
) -> Iterator[Capacity]:
    """Capacities of one unit: for each kind of channel the singles and the doubles that take channels of that kind."""
    slots = {number: classes[number].slots for number in doubles}
    for key, number in singles.items():
        taken = ((double, sum(draft.keys[name] == key for name in pairs[0])) for double, pairs in slots.items())
        yield Capacity(((number, 1), *((d, k) for d, k in taken if k)), len(classes[number].slots))
    yield from _double_capacities(slots)


def _double_capacities(slots: Mapping[int, Slots]) -> Iterator[Capacity]:
    """Groups of two: as many doubles as groups. Larger groups: every channel once."""
    by_channel: dict[str, dict[int, int]] = defaultdict(dict)
    groups: dict[Slots, dict[int, int]] = defaultdict(dict)
    for double, pairs in slots.items():
        for name in pairs[0] if len(pairs) == 1 else ():
            by_channel[name][double] = 1
        if len(pairs) > 1:
            groups[pairs][double] = 1
    for weights in dict.fromkeys(tuple(sorted(doubles.items())) for doubles in by_channel.values()):
        yield Capacity(weights, 1)
    for pairs, doubles in groups.items():
        yield Capacity(tuple(doubles.items()), len(pairs))
