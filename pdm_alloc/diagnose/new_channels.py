"""Which channels a growth may add, those of the module and computed ones; and what they mean to a builder."""

import math
from bisect import bisect_left
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property, partial

from pdm_alloc.circuits.classes import channel_classes, rating_of, unit_ambient_c
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.circuits.items import ItemType, item_types
from pdm_alloc.diagnose.bearing import why_unborne, with_rating
from pdm_alloc.diagnose.growth_parts import STEP_MA, Part, plain
from pdm_alloc.domain.module import Channel, Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.thermal import derating_factor
from pdm_alloc.electrics.wire import wire_sizes
from pdm_alloc.program.growth import NewKind
from pdm_alloc.result.refusals import arithmetic_shorts

__all__ = ["Offer", "Relaxed", "extras", "limit_for", "offer_of", "replacing", "supply", "with_more"]

Free = list[tuple[int, Channel]]  # number of the unit, and a channel of it

_WIDER = 1.25  # from one rating tried to the next
_TRIES = 24
_PEAKS = (16, 8, 4, 2, 1)  # times the usual ratio of peak to rating
_MOST_DROP_PCT = 10  # a load that would have to be allowed more gets a channel instead; common practice, no source
_DROPS = 1_000  # per cent of drop, in tenths: no limit


@dataclass(frozen=True)
class Relaxed:
    """A load whose wire is the cause: the drop it would have to be allowed, per cent; and what would do instead."""

    load: str
    have_pct: float
    need_pct: float
    instead: str


@dataclass(frozen=True)
class Offer:
    """Channels that may be added, loads whose drop is the cause, and loads that nothing helps.

    Parameters
    ----------
    kinds : tuple of NewKind
        Of the units' own kinds, and computed ones.
    relaxed : tuple of Relaxed
        Drops that have to be allowed first.
    lost : tuple of (str, str)
        Load, and why no channel and no wire bears it.
    """

    kinds: tuple[NewKind, ...] = ()
    relaxed: tuple[Relaxed, ...] = ()
    lost: tuple[tuple[str, str], ...] = ()


def offer_of(vehicle: Vehicle, units: Sequence[Unit], book: CircuitBook) -> Offer:
    """What a growth may choose from.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : sequence of Unit
        What is fitted.
    book : CircuitBook
        Asked for the physics.

    Returns
    -------
    Offer
    """
    types = [t for own in item_types(vehicle).values() for t in own]
    bench = _Bench(vehicle, tuple(units), book)
    kinds = list(_kinds_there(units, types))
    relaxed: list[Relaxed] = []
    lost = []
    for t in types:
        if bench.borne_by(t, kinds):
            continue
        made = [kind for number in range(len(units)) if (kind := bench.computed(t, number)) is not None]
        has_channel = bench.has_channel(t)  # two that are paralleled, perhaps, of which there may be too few
        drop = None if has_channel else bench.least_drop(t, kinds)
        if drop is not None and (drop.need_pct <= _MOST_DROP_PCT or not made):
            relaxed += [replace(drop, load=name) for name in dict.fromkeys(name for name, _ in t.items)]
            continue
        kinds += made
        if not made and not has_channel:
            lost.append((t.load, why_unborne(vehicle, units[0], t, _strongest(units[0], t.pwm), book)))
    return Offer(tuple(dict.fromkeys(kinds)), tuple(relaxed), tuple(lost))


def _kinds_there(units: Sequence[Unit], types: Sequence[ItemType]):
    """The channels there are, with PWM and as reversing pairs where a load asks for it."""
    for number, unit in enumerate(units):
        channels = list(dict.fromkeys(replace(plain(c), features=frozenset()) for c in unit.module.channels))
        channels.sort(key=lambda c: (c.continuous_ma, c.peak_ma))
        if any(t.pwm for t in types):
            dimming = [replace(c, features=frozenset({"pwm"})) for c in channels]
            channels = list(dict.fromkeys([*channels, *dimming]))
        yield from (NewKind(number, c) for c in channels)
        if any(t.reversing for t in types):
            yield from (NewKind(number, c, "bridge") for c in channels)


@dataclass(frozen=True)
class _Bench:
    """Tries single items on channels."""

    vehicle: Vehicle
    units: tuple[Unit, ...]
    book: CircuitBook

    @cached_property
    def ratings(self):
        """Of every class there is."""
        classes, _ = channel_classes(self.vehicle, self.units)
        return tuple(dict.fromkeys(c.rating for c in classes))

    def _bears(self, t: ItemType, rating) -> bool:
        count = t.count if t.together else 1
        fit = self.book.one((t,), ((0, count),), rating, self.book.wiring(self.vehicle))
        return fit is not None and fit.made is not None

    def has_channel(self, t: ItemType) -> bool:
        """Whether an item alone is borne by a channel there is."""
        return any(self._bears(t, rating) for rating in self.ratings)

    def bears(self, t: ItemType, kind: NewKind) -> bool:
        """Whether an item alone is borne by a kind of channel."""
        own = rating_of(self.vehicle, self.units[kind.unit], [kind.channel] * kind.width, kind.use)
        return self._bears(t, own)

    def borne_by(self, t: ItemType, kinds: Sequence[NewKind]) -> bool:
        """Whether an item alone is borne by one of the kinds."""
        return any(self.bears(t, kind) for kind in kinds)

    def least_drop(self, t: ItemType, kinds: Sequence[NewKind]) -> Relaxed | None:
        """The least drop at which a channel there is, or one of the kinds, bears the item; None: no drop helps."""

        def allowed(tenths: int) -> bool:
            easier = replace(t, max_drop_pct=tenths / 10)
            return self.has_channel(easier) or self.borne_by(easier, kinds)

        if not allowed(_DROPS):
            return None
        low = int(t.max_drop_pct * 10) + 1
        need = low + bisect_left(range(low, _DROPS), True, key=allowed)
        instead = self._thicker(t)
        return Relaxed(t.load, t.max_drop_pct, need / 10, instead)

    def _thicker(self, t: ItemType) -> str:
        made = self.computed(t, 0)
        if made is None or made.channel.max_wire_mm2 is None:
            return ""
        return f"or a channel of {made.channel.continuous_ma / 1000:g} A whose terminal takes {_mm2(made.channel)}"

    def computed(self, t: ItemType, number: int) -> NewKind | None:
        """The weakest channel that bears an item: rating first, then peak, then terminal; None: none does."""
        use = "bridge" if t.reversing else "single"
        template = _strongest(self.units[number], t.pwm)

        def tried(ma: int, peak: int, wire: float | None) -> NewKind:
            return NewKind(number, with_rating(template, ma, peak, wire), use)

        def peaked(times: int, ma: int) -> NewKind:
            return tried(ma, round(ma * ratio * times), None)

        ratio = template.peak_ma / template.continuous_ma
        for times in _PEAKS:
            ma = self._least_rating(t, partial(peaked, times))
            if ma is not None:
                ma = _as_there(self.units[number], ma)
                peak = self._least_peak(t, ma, round(ma * ratio), round(ma * ratio * times), tried)
                kind = tried(ma, peak, None)
                return self._with_terminal(t, kind, template.max_wire_mm2) if self.bears(t, kind) else None
        return None

    def _least_rating(self, t: ItemType, tried: Callable[[int], NewKind]) -> int | None:
        first = max(STEP_MA, t.running_ma)
        steps = [-(-round(first * _WIDER**n) // STEP_MA) for n in range(_TRIES)]
        high = next((step for step in steps if self.bears(t, tried(step * STEP_MA))), None)
        if high is None:
            return None
        low = first // STEP_MA
        span = range(low, high)
        return STEP_MA * (low + bisect_left(span, True, key=lambda step: self.bears(t, tried(step * STEP_MA))))

    def _least_peak(self, t: ItemType, ma: int, usual: int, upper: int, tried) -> int:
        if upper <= usual or self.bears(t, tried(ma, usual, None)):
            return usual
        low, high = usual // STEP_MA, -(-upper // STEP_MA)
        span = range(low, high)
        return STEP_MA * (low + bisect_left(span, True, key=lambda n: self.bears(t, tried(ma, n * STEP_MA, None))))

    def _with_terminal(self, t: ItemType, kind: NewKind, usual: float | None) -> NewKind:
        """With the smallest terminal that will do, but no smaller than the module's."""
        if usual is None:
            return kind
        sizes = [s.area_mm2 for s in wire_sizes(self.vehicle.settings.wire_sizes) if s.area_mm2 > usual]
        for area in (usual, *sizes):
            other = replace(kind, channel=replace(kind.channel, max_wire_mm2=area))
            if self.bears(t, other):
                return other
        return kind


def _mm2(channel: Channel) -> str:
    return f"{channel.max_wire_mm2:g} mm²"


def _as_there(unit: Unit, ma: int) -> int:
    """The next rating the module has where there is one, else the computed one."""
    return min((c.continuous_ma for c in unit.module.channels if c.continuous_ma >= ma), default=ma)


def _strongest(unit: Unit, pwm: bool) -> Channel:
    """The strongest channel of a unit, with PWM where that is asked for."""
    wires = [c.max_wire_mm2 for c in unit.module.channels]
    strong = max(unit.module.channels, key=lambda c: (c.continuous_ma, c.peak_ma))
    return replace(
        plain(strong),
        features=frozenset({"pwm"}) if pwm else frozenset(),
        peak_ms=max(c.peak_ms for c in unit.module.channels),
        max_wire_mm2=None if None in wires else max(w for w in wires if w is not None),
    )


def supply(vehicle: Vehicle, number: int, unit: Unit) -> Iterator[Part]:
    """The range of supply voltage that every state keeps within, where the unit's is too narrow."""
    volts = [v for state in vehicle.states for v in state.span_v]
    low, high = unit.module.supply_min_v, unit.module.supply_max_v
    objections = any(s.kind == "supply voltage" for s in arithmetic_shorts(vehicle, [unit]))
    if objections and low is not None and min(volts) < low:
        yield Part("supply voltage", number, unit.label, low, min(volts))
    if objections and high is not None and max(volts) > high:
        yield Part("supply voltage", number, unit.label, high, max(volts))


def limit_for(vehicle: Vehicle, unit: Unit, usable_ma: int) -> int:
    """Least rating, in steps of 0.1 A, that leaves a usable limit after derating and the module headroom, mA."""
    factor = derating_factor(unit.module.derating, unit_ambient_c(vehicle, unit))
    rating = math.ceil(Fraction(usable_ma) / (factor * (1 - vehicle.settings.module_headroom_pct / 100)))
    return -(-rating // STEP_MA) * STEP_MA


def extras(channel: Channel, unit: Unit) -> Iterator[str]:
    """What a new channel must bear that its rating does not say."""
    there = unit.module.channels
    alike = [c for c in there if c.continuous_ma == channel.continuous_ma]
    ratio = max(c.peak_ma / c.continuous_ma for c in there)
    weak = [c for c in there if c.continuous_ma >= channel.continuous_ma]
    usual = any(c.peak_ma >= channel.peak_ma and c.peak_ms >= channel.peak_ms for c in alike)
    if not usual and (weak or channel.peak_ma > math.ceil(channel.continuous_ma * ratio)):
        yield f"a peak of {channel.peak_ma / 1000:g} A for {channel.peak_ms:g} ms"
    wires = [c.max_wire_mm2 for c in there if c.max_wire_mm2 is not None]
    if channel.max_wire_mm2 is not None and channel.max_wire_mm2 > max(wires, default=0.0):
        yield f"a terminal for {channel.max_wire_mm2:g} mm²"
    if channel.contact_ma is not None and len(channel.pins) > max(len(c.pins) for c in there):
        yield f"{len(channel.pins)} pins of {channel.contact_ma / 1000:g} A"


def with_more(parts: list[Part], more: Part) -> list[Part]:
    """One part per kind."""
    same = [n for n, part in enumerate(parts) if part.new == more.new]
    if not same:
        return [*parts, more]
    part = parts[same[0]]
    merged = replace(part, need=part.need + more.number, names=(*part.names, *more.names))
    return [*parts[: same[0]], merged, *parts[same[0] + 1 :]]


def replacing(part: Part, free: Free, units: Sequence[Unit], moved: dict[str, str]) -> Iterator[Part]:
    """A part of new channels, as far as can be in place of free ones; those are taken off the list."""
    assert part.new is not None
    if part.new.use == "bridge":
        yield from _paired(part, free, units, moved)
        return
    here = [(n, c) for n, c in free if n == part.unit and _is_weaker(c, part.new)][: part.number]
    for at in here:
        free.remove(at)
    names = tuple(c.name for _, c in here)
    moved.update(zip(part.names, names, strict=False))
    if here:
        have = sum(_serves(c, part.new.channel) for c in units[part.unit].module.channels)
        yield replace(part, kind="channel strength", have=have, need=have + len(here), names=names)
    yield from _left_over(part, len(here))


def _left_over(part: Part, fewer: int) -> Iterator[Part]:
    """What is still to be added when so many are had otherwise, the first of its names."""
    assert part.new is not None
    if fewer < part.number:
        yield replace(part, need=part.need - fewer, names=part.names[fewer * part.new.width :])


def _is_weaker(channel: Channel, kind: NewKind) -> bool:
    new = kind.channel
    own = replace(plain(channel), features=channel.features & new.features)
    wider = own.max_wire_mm2 is None or (new.max_wire_mm2 is not None and new.max_wire_mm2 < own.max_wire_mm2)
    replaced = replace(own, max_wire_mm2=new.max_wire_mm2) if wider else own
    return replaced != new and own.continuous_ma <= new.continuous_ma and own.peak_ma <= new.peak_ma


def _paired(part: Part, free: Free, units: Sequence[Unit], moved: dict[str, str]) -> Iterator[Part]:
    """Reversing pairs of two free channels of one kind and bank that are strong enough."""
    assert part.new is not None
    names: list[str] = []
    groups: dict[tuple, list[tuple[int, Channel]]] = {}
    for number, c in free:
        if number == part.unit and _serves(c, part.new.channel):
            groups.setdefault((c.bank, plain(c)), []).append((number, c))
    for group in groups.values():
        for pair in zip(group[::2], group[1::2], strict=False):
            if len(names) < 2 * part.number:
                names += [c.name for _, c in pair]
                free[:] = [at for at in free if at not in pair]
    moved.update(zip(part.names, names, strict=False))
    pairs = len(names) // 2
    if pairs:
        have = len({c.bridge for c in units[part.unit].module.channels if c.bridge})
        yield Part("reversing channels", part.unit, part.subject, have, have + pairs, None, tuple(names), part.loads)
    yield from _left_over(part, pairs)


def _serves(channel: Channel, wanted: Channel) -> bool:
    enough = channel.continuous_ma >= wanted.continuous_ma and channel.peak_ma >= wanted.peak_ma
    return enough and channel.peak_ms >= wanted.peak_ms and channel.features >= wanted.features
