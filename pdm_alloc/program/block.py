"""A command on merged classes: which of its circuits may be allowed, by the rules that are sums, for all at once.

What is not a sum (the energy of the inrush, the wire, the trip setting) is asked of the physics when a
circuit is first wanted: of the very many circuits of a large vehicle few ever are.
"""

from functools import cached_property

import numpy as np

from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.circuits.fit import Counts, may_share, usable_for
from pdm_alloc.circuits.items import ItemType
from pdm_alloc.circuits.wiring import Wiring
from pdm_alloc.program.merge import Merged
from pdm_alloc.program.shape import Shape, shape_of
from pdm_alloc.program.task import Column

__all__ = ["Block"]


class Block:
    """One command.

    Parameters
    ----------
    merged : Merged
        Classes.
    command : str
        Its name.
    book : CircuitBook
        Where the physics is asked.
    wiring : Wiring
        Lengths and wires of the vehicle.

    Attributes
    ----------
    hopeless : set of (tuple, int)
        Circuits and classes on which they are not allowed, nor with more on them.
    """

    def __init__(self, merged: Merged, command: str, book: CircuitBook, wiring: Wiring):
        self.merged, self.command, self.book, self.wiring = merged, command, book, wiring
        self.types = merged.task.types[command]
        self.together = self.types[0].together
        counts = [t.count for t in self.types]
        self.order = sorted(range(len(counts)), key=lambda n: (-counts[n], n))
        self.counts = (1,) if self.together else tuple(counts[n] for n in self.order)
        self.classes = tuple(m for m in range(len(merged.members)) if self._serves(m))
        self.hopeless: set[tuple[Counts, int]] = set()
        self._known: dict[tuple[Counts, int], Column | None] = {}

    def _serves(self, m: int) -> bool:
        """A locked channel serves the command of its load alone."""
        held = {place for t in self.types for unit, names in t.locked for place in ((unit, name) for name in names)}
        return not self.merged.is_locked(m) or any(self.merged.has(m, unit, channel) for unit, channel in held)

    @property
    def shape(self) -> Shape:
        """States of its items, types in the order `order`; all in one where they belong together."""
        return shape_of(self.counts)

    def circuit(self, state: int) -> Counts:
        """The circuit a state alone would be."""
        if self.together:
            return tuple((n, t.count) for n, t in enumerate(self.types))
        digits = self.shape.digits[state].tolist()
        return tuple(sorted((self.order[rank], k) for rank, k in enumerate(digits) if k))

    def column(self, counts: Counts, m: int) -> Column | None:
        """A circuit on a merged class as the physics sees it; None where it is not allowed."""
        if (counts, m) not in self._known:
            self._known[counts, m] = self._asked(counts, m)
        return self._known[counts, m]

    def _asked(self, counts: Counts, m: int) -> Column | None:
        if not all(self.suits(self.types[n], m) for n, _ in counts):
            self.hopeless.add((counts, m))
            return None
        found = self.book.one(self.types, counts, self.merged.task.classes[m].rating, self.wiring)
        if found is None or not self.merged.bears_peak(self.command, counts, m):
            self.hopeless.add((counts, m))
            return None
        most = min(self.merged.slots(m), *(self.types[n].count // k for n, k in counts))
        return Column(self.command, counts, m, found, most) if found.made else None

    @cached_property
    def _items(self):
        """Items of each type in every state: array of int, shape (states, types)."""
        if self.together:
            return np.array([[0] * len(self.types), [t.count for t in self.types]])
        return self.shape.digits[:, np.argsort(self.order)]

    def _sum(self, of) -> np.ndarray:
        return self._items @ np.array([of(t) for t in self.types])

    @cached_property
    def running_ma(self) -> np.ndarray:
        """Of every circuit, mA: shape (states,)."""
        return self._sum(lambda t: t.running_ma)

    @cached_property
    def highest_ma(self) -> np.ndarray:
        """Running with as many loads at the top of their tolerance as are guarded against, mA: shape (states,)."""
        rises = self._items * np.array([t.deviation_ma for t in self.types])
        at_once = min(self.book.tolerance_loads, rises.shape[1])
        worst = np.sort(rises, axis=1)[:, rises.shape[1] - at_once :].sum(axis=1)
        return self.running_ma + worst

    def use_ppm(self) -> np.ndarray:
        """Running over the derated rating of each class, ppm, rounded up: shape (states, classes)."""
        rated = [self.merged.task.classes[m].rating.rated_ma for m in self.classes]
        columns = [-(-(self.running_ma * 1_000_000 * r.denominator) // r.numerator) for r in rated]
        return np.stack(columns, axis=1)

    def allowed(self) -> np.ndarray:
        """Whether the sums of a circuit allow it on a class: array of bool, shape (states, classes)."""
        free = self._may_share()
        columns = [free & self._on_class(m) for m in self.classes]
        return np.stack(columns, axis=1) if columns else np.zeros((len(free), 0), bool)

    def _may_share(self) -> np.ndarray:
        some = self._items > 0
        alone = np.array([not t.share for t in self.types])
        free = ~(some[:, alone].any(axis=1) & (self._items.sum(axis=1) > 1))
        for label in {t.separate for t in self.types if t.separate}:
            free &= some[:, [t.separate == label for t in self.types]].sum(axis=1) <= 1
        return free

    def _on_class(self, m: int) -> np.ndarray:
        rating = self.merged.task.classes[m].rating
        peak = self.running_ma + self._sum(lambda t: t.excess_ma)
        suits = np.array([self.suits(t, m) for t in self.types])
        fits = (self._items[:, ~suits] == 0).all(axis=1) & (peak <= rating.peak_ma)
        return fits & (self.highest_ma <= usable_for(rating, self.types[0].headroom_pct))

    def suits(self, t: ItemType, m: int) -> bool:
        """Whether a class is of the kind that a load needs."""
        rating = self.merged.task.classes[m].rating
        return t.reversing == rating.reversing and (rating.pwm or not t.pwm) and self.merged.may_hold(t, m)

    def may_be(self, counts: Counts, m: int) -> bool:
        """Whether the sums of one circuit allow it on a class."""
        rating = self.merged.task.classes[m].rating
        running = sum(self.types[n].running_ma * k for n, k in counts)
        excess = sum(self.types[n].excess_ma * k for n, k in counts)
        fits = running <= usable_for(rating, self.types[0].headroom_pct) and running + excess <= rating.peak_ma
        return fits and may_share(self.types, counts)
