"""Which items are on another channel than before: paired by load, identical items not told apart."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from pdm_alloc.allocation.result import Allocation
from pdm_alloc.module import natural_key

__all__ = ["Shift", "Spot", "shifts", "spots"]

Spot = tuple[str, str]
"""Label of a unit, and channel as tables write it."""


@dataclass(frozen=True, slots=True)
class Shift:
    """Items of one load that left a channel, came to one, or both.

    Parameters
    ----------
    load : str
        Name.
    items : int
        How many.
    before, after : (str, str) or None
        Unit and channel; None: not wired.
    """

    load: str
    items: int
    before: Spot | None
    after: Spot | None

    @property
    def what(self) -> str:
        """``load moved``, ``load added`` or ``load removed``."""
        if self.before is None:
            return "load added"
        return "load moved" if self.after else "load removed"


def spots(allocation: Allocation) -> dict[str, Counter[Spot]]:
    """How many items of each load are on each channel.

    Parameters
    ----------
    allocation : Allocation
        Any.

    Returns
    -------
    dict of str to Counter
        By load, then by unit and channel.
    """
    found: dict[str, Counter[Spot]] = {}
    for circuit in allocation.circuits:
        for load, _ in circuit.items:
            found.setdefault(load, Counter())[circuit.unit, circuit.channel] += 1
    return found


def shifts(before: Allocation, after: Allocation) -> list[Shift]:
    """What left its channel and what came to one.

    Parameters
    ----------
    before, after : Allocation
        Of one vehicle, or of two with loads of the same names.

    Returns
    -------
    list of Shift
        In natural order of loads and channels; as few items as can be are moved, added or removed.
    """
    old, new = spots(before), spots(after)
    return [
        shift
        for load in sorted({*old, *new}, key=natural_key)
        for shift in _of_load(load, old.get(load, Counter()), new.get(load, Counter()))
    ]


def _of_load(load: str, old: Counter[Spot], new: Counter[Spot]) -> Iterator[Shift]:
    """Items that stay cancel; of the others as many are moved as there are on both sides."""
    left, come = _ordered(old - new), _ordered(new - old)
    width = max(len(left), len(come))
    pairs = zip(left + [None] * (width - len(left)), come + [None] * (width - len(come)), strict=True)
    for (start, end), items in Counter(pairs).items():
        yield Shift(load, items, start, end)


def _ordered(counter: Counter[Spot]) -> list[Spot | None]:
    return [*sorted(counter.elements(), key=lambda spot: tuple(map(natural_key, spot)))]
