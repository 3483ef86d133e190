"""Which channels a growth may add, those of the module and computed ones; and what they mean to a builder."""

from bisect import bisect_left
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import NamedTuple

from pdm_alloc.circuits.classes import Rating, channel_classes, rating_of
from pdm_alloc.circuits.columns import CircuitBook, Counts
from pdm_alloc.circuits.draws import Wiring
from pdm_alloc.circuits.items import ItemType, item_types
from pdm_alloc.diagnose.bearing import size_words, why_unborne, with_rating
from pdm_alloc.diagnose.growth_parts import STEP_MA, Part
from pdm_alloc.domain.module import Channel, Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.wire import wire_sizes
from pdm_alloc.program.growth_task import SHARE_PCT, NewKind, kinds_there, plain, suits

__all__ = ["Offer", "Relaxed", "offer_of", "replacing", "with_more"]

Free = list[tuple[int, Channel]]  # number of the unit, and a channel of it

_WIDER = 1.25  # from one rating tried to the next
_TRIES = 24
_PEAKS = (16, 8, 4, 2, 1)  # times the usual ratio of peak to rating
_MOST_DROP_PCT = 10  # a load that would have to be allowed more gets a channel instead; common practice, no source
_DROPS = 1_000  # per cent of drop, in tenths: no limit
_USES = {True: ("bridge",), False: ("single", "pair")}  # of channels for a load, by whether it is reversing


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
    asked = [ask for types in item_types(vehicle).values() for ask in _asked(types)]
    asked.sort(key=lambda ask: ask.running_ma)  # a strong channel would do for weak ones too, which need none so strong
    bench = _Bench(vehicle, tuple(units), book)
    kinds = list(kinds_there(units, [t for ask in asked for t in ask.types]))
    relaxed: list[Relaxed] = []
    lost = []
    for ask in asked:
        if bench.borne_by(ask, kinds):
            continue
        made = bench.all_computed(ask)
        has_channel = bench.has_channel(ask)  # two that are paralleled, perhaps, of which there may be too few
        drops = [] if has_channel else bench.least_drops(ask, kinds)
        if drops and (max(drop.need_pct for drop in drops) <= _MOST_DROP_PCT or not made):
            relaxed += drops
            continue
        kinds += made
        if not made and not has_channel:
            lost.append((" and ".join(ask.loads), _why_lost(vehicle, units, ask, book)))
    return Offer(tuple(dict.fromkeys(kinds)), tuple(relaxed), tuple(lost))


class _Ask(NamedTuple):
    """Items of a command that must be on one channel: one alone, or all where they belong together."""

    types: tuple[ItemType, ...]
    counts: Counts

    @property
    def pwm(self) -> bool:
        return any(t.pwm for t in self.types)

    @property
    def reversing(self) -> bool:
        return self.types[0].reversing

    @property
    def running_ma(self) -> int:
        return sum(self.types[n].running_ma * k for n, k in self.counts)

    @property
    def loads(self) -> list[str]:
        return list(dict.fromkeys(name for t in self.types for name, _ in t.items))

    def with_drop(self, pct: float) -> "_Ask":
        """The same where each load is allowed at least so much drop, per cent."""
        types = (replace(t, max_drop_pct=max(pct, t.max_drop_pct)) for t in self.types)
        return self._replace(types=tuple(types))


def _asked(types: tuple[ItemType, ...]) -> Iterator[_Ask]:
    if types[0].together:
        yield _Ask(types, tuple((n, t.count) for n, t in enumerate(types)))
    else:
        yield from (_Ask((t,), ((0, 1),)) for t in types)


def _why_lost(vehicle: Vehicle, units: Sequence[Unit], ask: _Ask, book: CircuitBook) -> str:
    """Why no channel of any unit bears it; of each unit where they differ, as units in different places may."""
    item = ask.types[0]
    whys = {u.label: why_unborne(vehicle, u, item, _strongest(u, ask.pwm), book) for u in units}
    if len(set(whys.values())) == 1:
        return whys[units[0].label]
    return "; ".join(f"on {label} {why}" for label, why in whys.items())


@dataclass(frozen=True)
class _Bench:
    """Tries items on channels."""

    vehicle: Vehicle
    units: tuple[Unit, ...]
    book: CircuitBook

    @cached_property
    def ratings(self) -> tuple[Rating, ...]:
        """Of every class there is."""
        classes, _ = channel_classes(self.vehicle, self.units)
        return tuple(dict.fromkeys(c.rating for c in classes))

    @cached_property
    def wiring(self) -> Wiring:
        """Lengths and wires."""
        return self.book.wiring(self.vehicle)

    def _bears(self, ask: _Ask, rating: Rating) -> bool:
        return self.book.bears(ask.types, rating, self.wiring, ask.counts)

    def has_channel(self, ask: _Ask) -> bool:
        """Whether a channel there is bears it."""
        return any(self._bears(ask, rating) for rating in self.ratings)

    def bears(self, ask: _Ask, kind: NewKind) -> bool:
        """Whether a kind of channel bears it."""
        own = rating_of(self.vehicle, self.units[kind.unit], [kind.channel] * kind.width, kind.use)
        return self._bears(ask, own)

    def borne_by(self, ask: _Ask, kinds: Sequence[NewKind]) -> bool:
        """Whether one of the kinds bears it that is no dearer than its command has a use for."""
        return any(suits(kind, ask.types) and self.bears(ask, kind) for kind in kinds)

    def least_drops(self, ask: _Ask, kinds: Sequence[NewKind]) -> list[Relaxed]:
        """The least drop at which a channel there is, or one of the kinds, bears it; empty: no drop helps."""

        def allowed(tenths: int) -> bool:
            easier = ask.with_drop(tenths / 10)
            return self.has_channel(easier) or self.borne_by(easier, kinds)

        if not allowed(_DROPS):
            return []
        low = int(min(t.max_drop_pct for t in ask.types) * 10) + 1
        need = (low + bisect_left(range(low, _DROPS), True, key=allowed)) / 10
        instead = self._thicker(ask)
        tight = [t for t in ask.types if t.max_drop_pct < need]
        names = dict.fromkeys((name, t.max_drop_pct) for t in tight for name, _ in t.items)
        return [Relaxed(name, have, need, instead) for name, have in names]

    def _thicker(self, ask: _Ask) -> str:
        made = self.computed(ask, 0, _USES[ask.reversing][0])
        if made is None or made.channel.max_wire_mm2 is None:
            return ""
        size = size_words(self.vehicle, made.channel.max_wire_mm2)
        return f"or a channel of {made.channel.continuous_ma / 1000:g} A whose terminal takes {size}"

    def all_computed(self, ask: _Ask) -> list[NewKind]:
        """The weakest channel of each unit that bears it, or else the weakest two that are paralleled."""
        for use in _USES[ask.reversing]:
            made = [self.computed(ask, number, use) for number in range(len(self.units))]
            if any(made):
                return [kind for kind in made if kind is not None]
        return []

    def computed(self, ask: _Ask, number: int, use: str) -> NewKind | None:
        """The weakest channel that bears it: rating first, then peak, then terminal; None: none does."""
        template = _strongest(self.units[number], ask.pwm)
        widest = template.max_wire_mm2 if use == "pair" else None  # two are for current, not for distance

        def tried(ma: int, peak: int, wire: float | None) -> NewKind:
            return NewKind(number, with_rating(template, ma, peak, wire), use, is_computed=True)

        def peaked(times: int, ma: int) -> NewKind:
            return tried(ma, round(ma * ratio * times), widest)

        peaking = partial(tried, wire=widest)
        ratio = template.peak_ma / template.continuous_ma
        for times in _PEAKS:
            ma = self._least_rating(ask, partial(peaked, times))
            if ma is not None:
                ma = _as_there(self.units[number], ma)
                peak = self._least_peak(ask, ma, round(ma * ratio), round(ma * ratio * times), peaking)
                kind = peaking(ma, peak)
                return self._with_terminal(ask, kind, template.max_wire_mm2) if self.bears(ask, kind) else None
        return None

    def _least_rating(self, ask: _Ask, tried: Callable[[int], NewKind]) -> int | None:
        first = max(STEP_MA, ask.running_ma // tried(STEP_MA).width)
        steps = [-(-round(first * _WIDER**n) // STEP_MA) for n in range(_TRIES)]
        high = next((step for step in steps if self.bears(ask, tried(step * STEP_MA))), None)
        if high is None:
            return None
        low = first // STEP_MA
        span = range(low, high)
        return STEP_MA * (low + bisect_left(span, True, key=lambda step: self.bears(ask, tried(step * STEP_MA))))

    def _least_peak(self, ask: _Ask, ma: int, usual: int, upper: int, tried: Callable[[int, int], NewKind]) -> int:
        if upper <= usual or self.bears(ask, tried(ma, usual)):
            return usual
        low, high = usual // STEP_MA, -(-upper // STEP_MA)
        span = range(low, high)
        return STEP_MA * (low + bisect_left(span, True, key=lambda n: self.bears(ask, tried(ma, n * STEP_MA))))

    def _with_terminal(self, ask: _Ask, kind: NewKind, usual: float | None) -> NewKind:
        """With the smallest terminal that will do, but no smaller than the module's."""
        if usual is None or kind.use == "pair":
            return kind
        sizes = [s.area_mm2 for s in wire_sizes(self.vehicle.settings.wire_sizes) if s.area_mm2 > usual]
        for area in (usual, *sizes):
            other = replace(kind, channel=replace(kind.channel, max_wire_mm2=area))
            if self.bears(ask, other):
                return other
        return kind


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
        share_pct=max((c.share_pct for c in unit.module.channels if c.pair), default=SHARE_PCT),
        peak_ms=max(c.peak_ms for c in unit.module.channels),
        max_wire_mm2=None if None in wires else max(w for w in wires if w is not None),
    )


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
    if part.new.use == "pair":
        yield part
        return
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
    groups: dict[tuple[str | None, Channel], list[tuple[int, Channel]]] = {}
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
