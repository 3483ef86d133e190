"""Circuits on merged classes handed out to units and banks, within every limit that merging left out.

The circuits that take most are placed first, each where it leaves the fullest limit least full. One
that finds no room makes some by moving another; failing that, all is begun again with those that
found none in front.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pdm_alloc.program.bins import Bins, Draw, draw_of
from pdm_alloc.program.merge import Merged
from pdm_alloc.program.solver import Clock
from pdm_alloc.program.task import Column

__all__ = ["pack", "room"]

_ROUNDS = 12


def pack(merged: Merged, columns: Sequence[Column], clock: Clock) -> tuple[Column, ...] | None:
    """Assign circuits on merged classes to classes before merging: first-fit decreasing with repair.

    Parameters
    ----------
    merged : Merged
        Classes before and after merging.
    columns : sequence of Column
        Circuits on merged classes, one a channel or double.
    clock : Clock
        When to stop.

    Returns
    -------
    tuple of Column or None
        The circuits in order, on classes before merging; None where the heuristic failed, which proves nothing.
    """
    bins = Bins(merged)
    draws = [draw_of(merged.task, column) for column in columns]
    order = _by_size(bins, columns, draws)
    for _ in range(_ROUNDS):
        places, homeless = _place(bins, merged, columns, draws, order)
        if not homeless:
            return tuple(replace(c, channel_class=places[n], most=1) for n, c in enumerate(columns))
        if clock.is_over():
            break
        order = [*homeless, *(n for n in order if n not in set(homeless))]
    return None


def _by_size(bins: Bins, columns: Sequence[Column], draws: Sequence[Draw]) -> list[int]:
    """Doubles first, for singles can take any channel that is left; then by the share of a limit they would take."""
    bins.clear()
    members = bins.merged.members
    size = [-float(bins.use(np.array(members[c.channel_class]), d).min()) for c, d in zip(columns, draws, strict=True)]
    width = [-bins.merged.task.classes[c.channel_class].width for c in columns]
    return sorted(range(len(columns)), key=lambda n: (width[n], size[n], n))


def _place(bins: Bins, merged: Merged, columns, draws, order) -> tuple[dict[int, int], list[int]]:
    """Class of each circuit that found one, and the circuits that found none."""
    bins.clear()
    places: dict[int, int] = {}
    homeless = []
    for n in order:
        number = room(bins, merged.members[columns[n].channel_class], draws[n])
        if number is None:
            number = _made_room(bins, merged, columns, draws, places, n)
        if number is None:
            homeless.append(n)
        else:
            places[n] = number
            bins.put(number, draws[n])
    return places, homeless


def room(bins: Bins, members: Sequence[int], draw: Draw) -> int | None:
    """The class on which a circuit leaves the fullest limit least full."""
    numbers = np.array(members)
    use = bins.use(numbers, draw)
    for at in np.argsort(use, kind="stable").tolist():
        if use[at] > 1:
            return None
        number = int(numbers[at])
        if bins.bears(number, draw):
            return number
    return None


def _made_room(bins: Bins, merged: Merged, columns, draws, places: dict[int, int], n: int) -> int | None:
    """A class for a circuit after another was moved away from its unit or bank."""
    members = np.array(merged.members[columns[n].channel_class])
    units = list(dict.fromkeys(bins.unit[members[np.argsort(bins.use(members, draws[n]), kind="stable")]].tolist()))
    for unit in units:
        own = tuple(m for m in members.tolist() if bins.unit[m] == unit)
        for other in sorted(m for m, place in places.items() if bins.unit[place] == unit):
            number = _swapped(bins, merged, columns, draws, places, other, own, draws[n])
            if number is not None:
                return number
    return None


def _swapped(bins: Bins, merged: Merged, columns, draws, places, other: int, own, draw: Draw) -> int | None:
    """One of a unit's classes for a circuit, if one comes free by moving another circuit and that finds room too."""
    old = places[other]
    bins.take(old, draws[other])
    number, new = room(bins, own, draw), None
    if number is not None:
        bins.put(number, draw)
        new = room(bins, merged.members[columns[other].channel_class], draws[other])
        bins.take(number, draw)
    places[other] = old if new is None else new
    bins.put(places[other], draws[other])
    return number if new is not None else None
