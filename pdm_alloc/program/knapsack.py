"""The circuit of a command that is worth most on a class of channels, out of more than could ever be listed.

Gilmore and Gomory, Operations Research 9 (1961) 849. A table over the running current that is left
gives the most that the items still to be decided can be worth; it takes currents rounded down to its
grid and leaves out every rule but the sum, so it is never too low. A search led by it asks the physics
about every circuit it returns, so those are exact.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import gcd

import numpy as np

from pdm_alloc.circuits.fit import Counts, usable_for
from pdm_alloc.program.block import Block
from pdm_alloc.program.task import Column

__all__ = ["Found", "Knapsack"]

_FINEST = 20_000  # steps of the grid
_MOST_NODES = 4_000
_ENOUGH_NODES = 40  # where something was found by then
_EPSILON = 1e-9

Ends = Callable[[np.ndarray], np.ndarray]
"""What is added to the worth of a circuit, by its running current in mA; falling."""


@dataclass(frozen=True)
class Found:
    """What a search came to.

    Parameters
    ----------
    most : float
        No circuit is worth more.
    columns : list of Column
        Circuits worth more than was asked for, best first.
    whole : bool
        Whether the search came to its end.
    """

    most: float
    columns: list[Column]
    whole: bool


class Knapsack:
    """One command on one merged class.

    Parameters
    ----------
    block : Block
        The command.
    m : int
        Number of the class.

    Attributes
    ----------
    fitting : list of int
        Types that fit on it at all, largest current first.
    """

    def __init__(self, block: Block, m: int):
        self.block, self.m = block, m
        self.usable = usable_for(block.merged.task.classes[m].rating, block.types[0].headroom_pct)
        self.fitting = sorted(self._fitting(), key=lambda n: (-block.types[n].running_ma, n))
        shared = [n for n in self.fitting if block.types[n].share]
        self.type_of = np.array([n for n in shared for _ in range(block.types[n].count)], np.int64)
        self.rank = np.array([k for n in shared for k in range(block.types[n].count)], np.int64)
        self.running = np.array([block.types[n].running_ma for n in self.type_of], np.int64)
        # Exact where the currents have a common divisor that is coarse enough; else they are rounded down.
        self.step = max(gcd(*self.running.tolist()), -(-self.usable // _FINEST), 1)
        self.weights = self.running // self.step

    def _fitting(self) -> list[int]:
        """Types that fit on a channel: what does not fit alone does not fit with more."""
        every = range(len(self.block.types))
        return [n for n in every if self.block.suits(self.block.types[n], self.m) and self._fits_alone(n)]

    def _fits_alone(self, n: int) -> bool:
        one = ((n, 1),)
        return self.block.column(one, self.m) is not None or (one, self.m) not in self.block.hopeless

    def table(self, values: np.ndarray, end: np.ndarray) -> np.ndarray:
        """Most that the copies from each on can add: shape (copies + 1, steps left + 1)."""
        found = np.empty((len(values) + 1, len(end)))
        found[-1] = end
        for k in range(len(values) - 1, -1, -1):
            weight, row = int(self.weights[k]), found[k]
            row[:] = found[k + 1]
            if values[k] > 0 and weight < len(end):
                np.maximum(row[weight:], found[k + 1, : len(end) - weight] + values[k], out=row[weight:])
        return found

    def search(
        self,
        worth: Sequence[float],
        least: float,
        left: Sequence[int] | None = None,
        ends: Ends | None = None,
        bonus: dict[int, float] | None = None,
        every: int = 0,
        exactly: bool = False,
    ) -> Found:
        """Circuits worth more than `least`.

        Parameters
        ----------
        worth : sequence of float
            Of one item of each type; below 0 only where `exactly`.
        least : float
            What a circuit must be worth more than.
        left : sequence of int, optional
            Items of each type there are; default: all.
        ends : callable, optional
            What is added for the running current of the circuit.
        bonus : dict of int to float, optional
            What is added where a type is in the circuit at all.
        every : int
            0: the best circuit alone. More: all there are, up to so many.
        exactly : bool
            Items that are worth nothing or less count too. Elsewhere a circuit is no worse without them, and there is
            no harm in an item that is in none.

        Returns
        -------
        Found
        """
        each = np.array(worth, float)[self.type_of] if len(self.type_of) else np.zeros(0)
        for n, more in (bonus or {}).items():
            each[(self.type_of == n) & (self.rank == 0)] += more
        if left is not None and len(each):
            each[self.rank >= np.array(left, np.int64)[self.type_of]] = -np.inf
        # Of a type that costs to be there at all, the second item can be worth what the first is not.
        worthless = exactly or any(more < 0 for more in (bonus or {}).values())
        alone = self._alone(worth, least, left, ends or np.zeros_like, bonus or {})
        more = alone[0][0] if alone and not every else least
        found = _Search(self, each, more, ends or np.zeros_like, every, worthless).run()
        if not alone or (found.columns and not every):
            return found
        columns = [*found.columns, *(column for _, column in (alone if every else alone[:1]))]
        return Found(max(found.most, alone[0][0]), columns, found.whole)

    def _alone(self, worth, least: float, left, ends: Ends, bonus: dict[int, float]) -> list[tuple[float, Column]]:
        """Items that are always alone and worth more than that, best first: they would only be in the table's way."""
        found = []
        for n in self.fitting:
            if not self.block.types[n].share and (left is None or left[n] > 0):
                running = np.array([self.block.types[n].running_ma])
                value = float(worth[n]) + bonus.get(n, 0.0) + float(ends(running)[0])
                column = self.block.column(((n, 1),), self.m) if value > least + _EPSILON else None
                found += [] if column is None else [(value, column)]
        return sorted(found, key=lambda pair: -pair[0])


class _Search:
    """Depth first, the most promising copy next, cut where the table promises too little."""

    def __init__(self, sack: Knapsack, values: np.ndarray, least: float, ends: Ends, every: int, worthless: bool):
        self.floor = -np.inf if worthless else 0.0
        self.sack, self.values, self.least, self.ends, self.every = sack, values, least, ends, every
        steps = np.arange(sack.usable // sack.step, -1, -1)
        self.table = sack.table(values, ends(steps * sack.step).astype(float))
        self.found: list[tuple[float, Column]] = []
        self.nodes = 0

    def run(self) -> Found:
        top = float(self.table[0, -1])
        whole = self._visit((), self.table.shape[1] - 1, 0.0)
        self.found.sort(key=lambda pair: -pair[0])
        reached = max([self.least, *(value for value, _ in self.found[:1])])
        return Found(reached if whole else top, [column for _, column in self.found], whole)

    def _visit(self, copies: tuple[int, ...], left: int, value: float) -> bool:
        """Go through all circuits that have these copies and later ones; False where that was cut short."""
        self.nodes += 1
        if self.nodes > self._limit() or len(self.found) > max(self.every, 1):
            return False
        for at, promise in self._next(copies, left, value):
            if promise <= self.least + _EPSILON:
                break
            more, worth = (*copies, at), value + float(self.values[at])
            if self._may_grow(more, worth) and not self._visit(more, left - int(self.sack.weights[at]), worth):
                return False
        return True

    def _limit(self) -> int:
        if self.every:
            return _MOST_NODES + self.every
        return _ENOUGH_NODES if self.found else _MOST_NODES

    def _next(self, copies: tuple[int, ...], left: int, value: float) -> list[tuple[int, float]]:
        """Copies to add and what they promise at most; each only after the one before it of its type."""
        first = copies[-1] + 1 if copies else 0
        weights, values = self.sack.weights[first:], self.values[first:]
        ready = self.sack.rank[first:] == 0
        ready[:1] |= bool(copies)
        fit = np.nonzero(ready & (weights <= left) & (values > self.floor))[0]
        promise = value + values[fit] + self.table[first + fit + 1, left - weights[fit]]
        order = np.argsort(-promise, kind="stable")
        return list(zip((first + fit[order]).tolist(), promise[order].tolist(), strict=True))

    def _may_grow(self, copies: tuple[int, ...], worth: float) -> bool:
        """Whether more can be added to a circuit; it is kept where it is worth enough itself."""
        running = int(self.sack.running[list(copies)].sum())
        counts = self._counts(copies)
        if not self.sack.block.may_be(counts, self.sack.m):
            return False
        worth += float(self.ends(np.array([running]))[0])
        if worth <= self.least + _EPSILON:
            return True
        column = self.sack.block.column(counts, self.sack.m)
        if column is None:
            return (counts, self.sack.m) not in self.sack.block.hopeless
        self._keep(worth, column)
        return True

    def _keep(self, worth: float, column: Column) -> None:
        if not self.every:
            self.least = worth
            self.found.clear()
        self.found.append((worth, column))

    def _counts(self, copies: tuple[int, ...]) -> Counts:
        return tuple(sorted(Counter(self.sack.type_of[list(copies)].tolist()).items()))
