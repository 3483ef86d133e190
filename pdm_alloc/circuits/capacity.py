"""Capacities: how often channel classes can be used together, so that no channel is used twice."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

__all__ = ["Capacity", "Draft", "capacities_of"]


@dataclass(frozen=True, slots=True)
class Capacity:
    """At most `most` channels (or doubles) over the classes: sum of weight x uses <= most."""

    weights: tuple[tuple[int, int], ...]
    most: int


@dataclass
class Draft:
    """Channels of one unit on the way to classes."""

    unit: int
    keys: dict[str, tuple]
    doubles: list[tuple[str, str, str]]
    atoms: dict[str, int] = field(default_factory=dict)


def capacities_of(draft: Draft, classes: Sequence[Any], singles, doubles) -> Iterator[Capacity]:
    """Capacities of one unit.

    Parameters
    ----------
    draft : Draft
        Its channels.
    classes : sequence of ChannelClass
        All classes so far, the unit's own among them.
    singles, doubles : dict
        Numbers of its classes by key.

    Yields
    ------
    Capacity
        For each kind of channel the singles and the doubles that take channels of that kind.
    """
    slots = {number: classes[number].slots for number in doubles.values()}
    for key, number in singles.items():
        weights = [(number, 1)]
        for double, pairs in slots.items():
            taken = sum(draft.keys[name] == key for name in pairs[0])
            if taken:
                weights.append((double, taken))
        yield Capacity(tuple(weights), len(classes[number].slots))
    yield from _double_capacities(draft, slots)


def _double_capacities(draft: Draft, slots):
    """Groups of two: as many doubles as groups. Larger groups: every channel once."""
    by_channel: dict[str, list[int]] = {}
    for double, pairs in slots.items():
        for name in pairs[0] if len(pairs) == 1 else ():
            by_channel.setdefault(name, []).append(double)
    seen = set()
    for name in by_channel:
        together = tuple(sorted(set(by_channel[name])))
        if together not in seen:
            seen.add(together)
            yield Capacity(tuple((d, 1) for d in together), 1)
    groups: dict[tuple, list[int]] = {}
    for double, pairs in slots.items():
        if len(pairs) > 1:
            groups.setdefault(pairs, []).append(double)
    for pairs, doubles in groups.items():
        yield Capacity(tuple((d, 1) for d in doubles), len(pairs))
