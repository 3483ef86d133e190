"""Channel classes of one unit without their banks: fewer of them, and every real solution still fits."""

from collections.abc import Sequence

from pdm_alloc.circuits.capacity import Capacity
from pdm_alloc.circuits.classes import ChannelClass

__all__ = ["merged"]


def merged(
    classes: Sequence[ChannelClass], capacities: Sequence[Capacity]
) -> tuple[list[ChannelClass], list[tuple[dict[int, int], int]]]:
    """Classes with one rating and use made one, whichever bank they are in.

    Parameters
    ----------
    classes : sequence of ChannelClass
        Of one unit.
    capacities : sequence of Capacity
        Of these classes.

    Returns
    -------
    classes : list of ChannelClass
        With the slots of all; their bank means nothing.
    rows : list of (dict, int)
        Weight of each merged class, and the most: sums of the capacities, so what kept them keeps these.
    """
    by_kind: dict[tuple, list[int]] = {}
    for number, c in enumerate(classes):
        by_kind.setdefault((c.unit, c.use, c.rating), []).append(number)
    kinds = list(by_kind)
    place = {number: kinds.index(kind) for kind, numbers in by_kind.items() for number in numbers}
    found = [_one([classes[n] for n in numbers]) for numbers in by_kind.values()]
    return found, _rows(classes, capacities, place)


def _one(same: Sequence[ChannelClass]) -> ChannelClass:
    first = same[0]
    return ChannelClass(first.unit, first.use, first.rating, (), tuple(slot for c in same for slot in c.slots))


def _rows(classes, capacities, place) -> list[tuple[dict[int, int], int]]:
    """Capacities of singles are added up by merged class; those of doubles alone follow from the number of slots."""
    sums: dict[int, tuple[dict[int, int], int]] = {}
    for capacity in capacities:
        number = capacity.weights[0][0]
        if classes[number].use != "single":
            continue
        weights, most = sums.get(place[number], ({}, 0))
        for other, weight in capacity.weights:
            at = place[other]
            weights[at] = min(weights.get(at, weight), weight)
        sums[place[number]] = (weights, most + capacity.most)
    return list(sums.values())
