"""Parts of a growth: what is added to a module, or allowed to a load, how it is applied, and one step less of it."""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any

from pdm_alloc.domain.module import Channel, Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.program.growth_task import NewKind
from pdm_alloc.result.allocation import Short, amps, plural

__all__ = ["Grown", "Part", "applied", "in_one_phrase", "joined_words", "one_step_less"]

STEP_MA = 100

Grown = tuple[Vehicle, tuple[Unit, ...]]


@dataclass(frozen=True)
class Part:
    """One part of a growth.

    Parameters
    ----------
    kind : str
        ``channels`` (new ones), ``channel strength`` (in place of weaker ones), ``reversing channels`` (of two that
        are there), ``bank``, ``whole module``, ``whole module peak``, ``inputs``, ``supply voltage``, ``drop`` or
        ``lock`` (a row of the table of locks that is gone).
    unit : int
        Number of the unit.
    subject : str
        Bank, load or label of the unit.
    have, need : float
        Before and after: channels; mA of a bank or module; inputs; V; per cent of drop.
    new : NewKind or None
        Kind of the channels.
    names : tuple of str
        Channels that are new, are replaced, or form reversing pairs.
    loads : tuple of str
        What it is for.
    note : str
        Of channels what else they must bear, parts divided by a semicolon; otherwise what would do as well, in words.
    """

    kind: str
    unit: int
    subject: str
    have: float
    need: float
    new: NewKind | None = None
    names: tuple[str, ...] = ()
    loads: tuple[str, ...] = ()
    note: str = ""

    @property
    def number(self) -> int:
        """By how many channels or inputs it grows."""
        return round(self.need - self.have)

    def short(self, group: int = 1) -> Short:
        """As a row of the table of shortfalls."""
        scale, word = _UNITS[self.kind]
        by = ", ".join(self.loads)
        return Short(self.kind, self.subject, "", self.have / scale, self.need / scale, word, _words(self), by, group)


_UNITS = {
    "channels": (1, "channels"),
    "channel strength": (1, "channels"),
    "reversing channels": (1, "pairs"),
    "bank": (1000, "A"),
    "whole module": (1000, "A"),
    "whole module peak": (1000, "A"),
    "inputs": (1, "inputs"),
    "supply voltage": (1, "V"),
    "drop": (1, "%"),
    "lock": (1, "locks"),
}


def applied(vehicle: Vehicle, units: Sequence[Unit], parts: Sequence[Part]) -> Grown:
    """Copies of a vehicle and its units with parts of a growth applied.

    Parameters
    ----------
    vehicle : Vehicle
        As it is wanted.
    units : sequence of Unit
        As they are.
    parts : sequence of Part
        Of one growth.

    Returns
    -------
    tuple of (Vehicle, tuple of Unit)
    """
    grown = (vehicle, tuple(units))
    for part in parts:
        grown = _APPLY[part.kind](grown, part)
    return grown


def _with_module(grown: Grown, number: int, **changes: Any) -> Grown:
    vehicle, units = grown
    unit = units[number]
    unit = replace(unit, module=replace(unit.module, **changes))
    return vehicle, (*units[:number], unit, *units[number + 1 :])


def _more_channels(grown: Grown, part: Part) -> Grown:
    assert part.new is not None
    width = part.new.width
    labels = [None if width == 1 else name for name in part.names[::width] for _ in range(width)]
    new = [replace(part.new.channel, name=n, bridge=label) for n, label in zip(part.names, labels, strict=True)]
    if part.new.use == "pair":
        new = [replace(c, bridge=None, pair=c.bridge) for c in new]
    return _with_module(grown, part.unit, channels=(*grown[1][part.unit].module.channels, *new))


def _stronger(grown: Grown, part: Part) -> Grown:
    assert part.new is not None
    ratings = part.new.channel

    def strong(c: Channel) -> Channel:
        own = {name: getattr(c, name) for name in ("name", "connector", "bank", "extra")}
        pins = (*c.pins, *ratings.pins[len(c.pins) :])
        return replace(ratings, pins=pins, **own) if c.name in part.names else c

    return _with_module(grown, part.unit, channels=tuple(map(strong, grown[1][part.unit].module.channels)))


def _reversing(grown: Grown, part: Part) -> Grown:
    labels = {name: part.names[n - n % 2] for n, name in enumerate(part.names)}
    channels = grown[1][part.unit].module.channels
    bridged = (replace(c, bridge=labels[c.name]) if c.name in labels else c for c in channels)
    return _with_module(grown, part.unit, channels=tuple(bridged))


def _bank(grown: Grown, part: Part) -> Grown:
    limits = {**grown[1][part.unit].module.bank_ma, part.subject: round(part.need)}
    return _with_module(grown, part.unit, bank_ma=limits)


def _supply(grown: Grown, part: Part) -> Grown:
    name = "supply_min_v" if part.need < part.have else "supply_max_v"
    return _with_module(grown, part.unit, **{name: part.need})


def _drop(grown: Grown, part: Part) -> Grown:
    vehicle, units = grown
    loads = (replace(x, max_drop_pct=part.need) if x.name == part.subject else x for x in vehicle.loads)
    return replace(vehicle, loads=tuple(loads)), units


def _unlocked(grown: Grown, part: Part) -> Grown:
    vehicle, units = grown
    names = (units[part.unit].label, units[part.unit].module.name)
    locked = (x for x in vehicle.locked if (x.load, x.channel) != (part.subject, *part.names) or x.module not in names)
    return replace(vehicle, locked=tuple(locked)), units


_APPLY = {
    "channels": _more_channels,
    "channel strength": _stronger,
    "reversing channels": _reversing,
    "bank": _bank,
    "whole module": lambda grown, part: _with_module(grown, part.unit, total_ma=round(part.need)),
    "whole module peak": lambda grown, part: _with_module(grown, part.unit, total_peak_ma=round(part.need)),
    "inputs": lambda grown, part: _with_module(grown, part.unit, inputs=round(part.need)),
    "supply voltage": _supply,
    "drop": _drop,
    "lock": _unlocked,
}


def one_step_less(part: Part, ratings: Sequence[int] = ()) -> Iterator[Part | None]:
    """The part with one step less of what it asks for; None: without it.

    Parameters
    ----------
    part : Part
        Of a growth.
    ratings : sequence of int
        Continuous ratings a channel of the module may have, mA, rising: a rating among them has the next lower one
        as its step, any other 0.1 A.

    Yields
    ------
    Part or None
        A channel, a pair or an input fewer, a rating or a peak one step lower, 0.1 A, 0.1 V or 0.1 % less.
    """
    if part.kind in ("channels", "channel strength", "reversing channels", "inputs"):
        fewer = replace(part, need=part.need - 1, names=_fewer(part))
        yield fewer if fewer.need > fewer.have else None
        if part.new is not None:
            yield from _weaker(part, ratings)
        return
    if part.kind == "lock":
        yield None
        return
    step = {"supply voltage": 0.1, "drop": 0.1}.get(part.kind, float(STEP_MA))
    rises = part.need > part.have
    need = part.need - step if rises else part.need + step
    yield replace(part, need=need) if (need > part.have) == rises and need != part.have else None


def _fewer(part: Part) -> tuple[str, ...]:
    two = part.kind == "reversing channels" or (part.new is not None and part.new.width == 2)
    return part.names[: -2 if two else -1]


def _weaker(part: Part, ratings: Sequence[int]) -> Iterator[Part]:
    assert part.new is not None
    channel = part.new.channel
    if channel.continuous_ma not in ratings:
        low = replace(channel, continuous_ma=channel.continuous_ma - STEP_MA)
        yield replace(part, new=replace(part.new, channel=low))


def _words(part: Part) -> str:
    """A part in words, with what else would do where that is known."""
    return _SAID[part.kind](part)


def _channel_words(part: Part) -> str:
    """``8 A with PWM, a peak of 90 A for 50 ms and terminals for 10 mm²``."""
    assert part.new is not None
    channel = part.new.channel
    extras = ["PWM"] if "pwm" in channel.features else []
    extras += [note for note in part.note.split("; ") if note]
    each = " a channel" if part.new.use == "bridge" else ""
    return amps(channel.continuous_ma) + each + (f" with {_and(extras)}" if extras else "")


def _channels_said(part: Part) -> str:
    assert part.new is not None
    if part.new.use == "pair":
        more = plural(2 * part.number, "more channel")
        return f"{more} of {_channel_words(part)} that can be paralleled{' by twos' if part.number > 1 else ''}"
    return f"{_head(part)} {_channel_words(part)}"


def _amps_more(part: Part) -> str:
    return amps(round(part.need - part.have))


def _against(part: Part) -> str:
    return f"({amps(round(part.need))} against {amps(round(part.have))})"


def bank_words(name: str) -> str:
    """``bank east``; the name alone where it says that it is a bank."""
    return name if name.lower().startswith("bank") else f"bank {name}"


def _volts(part: Part) -> str:
    way = "down" if part.need < part.have else "up"
    return f"a supply range {way} to {part.need:g} V (it works {way} to {part.have:g} V)"


_SAID: Mapping[str, Callable[[Part], str]] = {
    "channels": _channels_said,
    "channel strength": lambda p: f"{plural(p.number, 'channel')} of {_channel_words(p)} in place of {_weaker_ones(p)}",
    "reversing channels": lambda p: f"{plural(p.number, 'more reversing pair')} made of channels that are there",
    "bank": lambda p: f"{_amps_more(p)} more in {bank_words(p.subject)} {_against(p)}",
    "whole module": lambda p: f"{_amps_more(p)} more of the whole module {_against(p)}",
    "whole module peak": lambda p: f"{_amps_more(p)} more peak of the whole module {_against(p)}",
    "inputs": lambda p: f"{plural(p.number, 'more input')} ({p.need:g} switches and senders against {p.have:g})",
    "supply voltage": _volts,
    "lock": lambda p: f"the lock of {p.subject} on channel {p.names[0]}{f' ({p.note})' if p.note else ''}",
    "drop": lambda p: f"{p.need:g} % drop allowed to {p.subject} ({'; '.join(filter(None, (_now(p), p.note)))})",
}


def _now(part: Part) -> str:
    return f"{part.have:g} % now"


def _weaker_ones(part: Part) -> str:
    return "a weaker one" if part.number == 1 else "weaker ones"


def in_one_phrase(parts: Sequence[Part], units: Sequence[Unit] = ()) -> str:
    """All parts as one phrase: ``2 more channels of 8 A, 1 of 14 A and 12 A more in bank east (...)``.

    Equal channels are added up over the units; of several units it is said which of them each part is for. Locks that
    are in the way come first: ``without the lock of a on channel 3: 2 more channels of 8 A``.
    """
    locks, others = [p for p in parts if p.kind == "lock"], [p for p in parts if p.kind != "lock"]
    if locks:
        rest = f": {in_one_phrase(others, units)}" if others else f" {'it is' if len(units) < 2 else 'they are'} enough"
        return f"without {_and(list(map(_words, locks)))}{rest}"
    labels = [unit.label for unit in units] if len(units) > 1 else []
    ordered = sorted(_equal_ones(parts), key=lambda each: _place_of(each[0]))
    groups = (list(group) for _, group in groupby(ordered, key=_told_with))
    return _and([words for group in groups for words in _group_words(group, labels)])


def _told_with(equal: Sequence[Part]) -> object:
    """What channels are told together: the first of a kind in full, of the others how many and of what."""
    part = equal[0]
    return id(part) if part.new is None or part.new.use == "pair" else (part.kind, part.new.use)


def _group_words(group: Sequence[Sequence[Part]], labels: Sequence[str]) -> list[str]:
    """``2 more channels of 12 A``, ``1 of 25 A``, of several units with which; those in place of weaker ones as one."""
    said = []
    for n, equal in enumerate(group):
        part = equal[0] if len(equal) == 1 else replace(equal[0], need=equal[0].have + sum(p.number for p in equal))
        words = _words(part)
        if len(group) > 1 and part.kind == "channel strength":
            words = f"{part.number} of {_channel_words(part)}"
        said.append((words.replace(_head(part), f"{part.number} of", 1) if n else words) + _on_units(equal, labels))
    if len(group) > 1 and group[0][0].kind == "channel strength":
        number = sum(part.number for equal in group for part in equal)
        return [f"{number} channels in place of weaker ones ({_and(said)})"]
    return said


def _place_of(part: Part) -> tuple[int, bool, int]:
    """New channels first, weak ones before strong ones and those with PWM; what else grows keeps its order."""
    if part.new is None:
        return (len(_USES) + 1, False, 0)
    use = _USES.index(part.new.use) if part.kind == "channels" else len(_USES)
    return (use, "pwm" in part.new.channel.features, part.new.channel.continuous_ma)


_USES = ("single", "pair", "bridge")


def _equal_ones(parts: Sequence[Part]) -> Iterator[list[Part]]:
    """Parts that ask for the same kind of channel on different units; any other part by itself."""
    groups: dict[object, list[Part]] = {}
    for n, part in enumerate(parts):
        kind = n if part.new is None else (part.kind, part.new.use, _channel_words(part))
        groups.setdefault(kind, []).append(part)
    yield from groups.values()


def _on_units(equal: Sequence[Part], labels: Sequence[str]) -> str:
    """Of several units, which: `` on m``, or ``, 1 on m and 2 on n``."""
    if not labels or equal[0].kind in ("inputs", "drop"):
        return ""
    if len(equal) == 1:
        word = "of" if equal[0].kind == "bank" else "on"
        return f" {word} {labels[equal[0].unit]}"
    return ", " + _and([f"{p.number} on {labels[p.unit]}" for p in equal])


def _head(part: Part) -> str:
    assert part.new is not None
    return f"{plural(part.number, 'more channel' if part.new.use == 'single' else 'more reversing pair')} of"


def joined_words(names: Sequence[str], most: int = 4) -> str:
    """``a, b and c``; beyond `most`, how many more."""
    unique = list(Counter(names))
    if len(unique) > most:
        unique = [*unique[: most - 1], f"{len(unique) - most + 1} more"]
    return _and(unique)


def _and(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}" if words else ""
