"""New channels told as what a builder would change: in place of free ones, as pairs of those there, with limits."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

from pdm_alloc.circuits.classes import unit_ambient_c
from pdm_alloc.diagnose.growth_parts import STEP_MA, Part, plain
from pdm_alloc.domain.module import Channel, Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.thermal import derating_factor
from pdm_alloc.program.growth import NewKind
from pdm_alloc.result.refusals import arithmetic_shorts

__all__ = ["extras", "limit_for", "replacing", "supply", "with_more"]

Free = list[tuple[int, Channel]]  # number of the unit, and a channel of it


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
    own, new = plain(channel), kind.channel
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
