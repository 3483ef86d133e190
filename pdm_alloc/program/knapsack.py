"""The circuits of one command on one class, by reduced cost: a knapsack searched depth first.

Its tables round what items take down and know no rule but sums, so they never underestimate the worth of a
circuit; the physics is asked about each circuit on the way.
"""

import math
from collections import Counter
from collections.abc import Callable, Sequence
from math import gcd
from typing import NamedTuple

import numpy as np

from pdm_alloc.circuits.columns import CircuitBook, Counts, Fit
from pdm_alloc.circuits.draws import borne_for, usable_for
from pdm_alloc.program.stages import unevenness
from pdm_alloc.program.task import Column, Task, is_allowed

__all__ = ["EPSILON", "Knapsack", "Resource"]

EPSILON = 1e-6
_TABLE = 500_000  # entries of a table
_NODES = 2_000
_ASK_EVERY = 64  # nodes
_NEVER = -math.inf


class Resource(NamedTuple):
    """What the items of a circuit share: current, peak at switch-on, the sum of both shares; in whole steps.

    Parameters
    ----------
    step : int
        Rounded down to multiples of it.
    limit : int
        Steps there are.
    weights : array of int, shape (copies,)
        Steps that each item takes.
    """

    step: int
    limit: int
    weights: np.ndarray


class _Node(NamedTuple):
    """Search node: items chosen, remaining resources, their worth, and an upper bound on its subtree."""

    copies: tuple[int, ...]
    left: tuple[int, ...]
    value: float
    promise: float


class Knapsack:
    """The circuits of one command on one class, by reduced cost.

    Parameters
    ----------
    task : Task
        Classes.
    command : str
        Its name.
    number : int
        Of the class.
    book : CircuitBook
        Asked for the physics.
    late : callable, optional
        True cuts a search short.
    """

    def __init__(
        self, task: Task, command: str, number: int, book: CircuitBook, late: Callable[[], bool] | None = None
    ):
        self.task, self.command, self.number, self.book = task, command, number, book
        self.types, self.rating = task.types[command], task.classes[number].rating
        self.wiring = book.wiring(task.vehicle)
        self.late = late
        self._known: dict[Counts, Fit | None] = {}
        self.usable = usable_for(self.rating, self.types[0].headroom_pct)
        fitting = [n for n in range(len(self.types)) if self.fit(((n, 1),)) is not None]
        # At one voltage, whichever, a circuit draws no more than at its worst: the table never overestimates it.
        sums = [sum(t.volt_ma[v] * t.count for t in self.types) for v in range(len(self.types[0].volt_ma))]
        at = sums.index(max(sums))
        fitting.sort(key=lambda n: (-self.types[n].volt_ma[at], n))
        copies = {n: min(self.types[n].count, self.usable // max(1, self.types[n].volt_ma[at])) for n in fitting}
        self.type_of = np.array([n for n in fitting for _ in range(copies[n])], np.int64)
        self.rank = np.array([k for n in fitting for k in range(copies[n])], np.int64)
        running = [self.types[n].volt_ma[at] for n in self.type_of.tolist()]
        peaks = [t.volt_ma[at] + t.volt_excess_ma[at] for t in (self.types[n] for n in self.type_of.tolist())]
        self.steps = max(500, _TABLE // (len(running) + 1))
        borne = borne_for(self.rating, self.types[0].headroom_pct)
        self.resources = [self._resource(running, borne)]
        if any(p * self.usable > r * self.rating.peak_ma for p, r in zip(peaks, running, strict=True)):
            both = [p * self.usable + r * self.rating.peak_ma for p, r in zip(peaks, running, strict=True)]
            self.resources.append(self._resource(peaks, self.rating.peak_ma))
            self.resources.append(self._resource(both, 2 * self.usable * self.rating.peak_ma))

    def _resource(self, amounts: Sequence[int], limit: int) -> Resource:
        """Exact where the amounts have a common divisor that is coarse enough; else they are rounded down."""
        step = max(gcd(*amounts) if amounts else 1, -(-limit // self.steps), 1)
        return Resource(step, limit // step, np.array([amount // step for amount in amounts], np.int64))

    def fit(self, counts: Counts) -> Fit | None:
        """Physics of a circuit; None: not allowed, nor with more on it."""
        if counts not in self._known:
            allowed = is_allowed(self.task, self.command, counts, self.number)
            fit = self.book.one(self.types, counts, self.rating, self.wiring) if allowed else None
            self._known[counts] = fit
        return self._known[counts]

    def column(self, counts: Counts) -> Column | None:
        """A circuit as a column; None: not allowed as it is."""
        fit = self.fit(counts)
        if fit is None or fit.made is None:
            return None
        return Column(self.command, counts, self.number, fit, self.task.upper(self.command, counts, self.number))

    def search(
        self,
        worth: np.ndarray,
        bonus: np.ndarray,
        use_share: float,
        above: float,
        every: int = 0,
        left: np.ndarray | None = None,
    ) -> tuple[float, list[Column]]:
        """Circuits of most worth, less a cost by their use.

        Parameters
        ----------
        worth, bonus : array of float, shape (types,)
            Of each item; once more where a type is in the circuit at all.
        use_share : float
            Factor of the cost by use, 0 or more.
        above : float
            Circuits of no more worth are of no interest.
        every : int
            More than 0: all circuits of more worth, up to so many, items worth nothing included.
        left : array of int, shape (types,), optional
            No more items of each type than these.

        Returns
        -------
        bound : float
            No circuit is worth more; at least `above`.
        columns : list of Column
            Circuits worth more than `above`, best last.
        """
        values = worth[self.type_of] + np.where(self.rank == 0, bonus[self.type_of], 0.0)
        values = np.where(self.rank < self._left(left), values, _NEVER)
        tables = self._tables(values, use_share)
        columns: list[Column] = []
        needs_more = above < 0 or any(t.stalls for t in self.types)  # an item worth nothing may be what allows it
        best, nodes, floor = above, 0, _NEVER if every or needs_more else 0.0
        stack = [_Node((), tuple(r.limit for r in self.resources), 0.0, min(t[0, -1] for t in tables))]
        while stack and nodes < self._most_nodes(bool(columns), every) and (not every or len(columns) <= every):
            if self.late and nodes % _ASK_EVERY == 0 and self.late():
                break
            node = stack.pop()
            if node.promise <= best + EPSILON and node.copies:
                continue
            nodes += 1
            counts = tuple(sorted(Counter(self.type_of[list(node.copies)].tolist()).items()))
            if node.copies and self.fit(counts) is None:
                continue
            column = self.column(counts) if node.copies else None
            if column is not None:
                total = node.value - use_share * float(self._by_use(column.fit.running_ma))
                if total > best + EPSILON:
                    best = best if every else total
                    columns.append(column)
            stack += self._next(node, values, tables, best, floor)
        open_bound = max((node.promise for node in stack), default=best)
        return (math.inf if stack and every else max(best, float(open_bound))), columns

    def _left(self, left: np.ndarray | None) -> np.ndarray:
        """How many of its type each copy may be one of."""
        every = np.array([t.count for t in self.types], np.int64)
        return (every if left is None else left)[self.type_of]

    @staticmethod
    def _most_nodes(any_column: bool, every: int) -> int:
        if every:
            return _NODES + 4 * every
        return _NODES // 50 if any_column else _NODES

    def _tables(self, values: np.ndarray, use_share: float) -> list[np.ndarray]:
        """Most that the copies from each on can add, by what is left of each resource: shape (copies + 1, left + 1)."""
        return [self._table(r, values, use_share if n == 0 else 0.0) for n, r in enumerate(self.resources)]

    def _table(self, resource: Resource, values: np.ndarray, use_share: float) -> np.ndarray:
        table = np.zeros((len(values) + 1, resource.limit + 1))
        if use_share:
            table[-1] = -use_share * self._by_use(np.arange(resource.limit, -1, -1) * resource.step)
        for k in range(len(values) - 1, -1, -1):
            weight = int(resource.weights[k])
            table[k] = table[k + 1]
            if values[k] > 0 and weight <= resource.limit:
                end = resource.limit + 1 - weight
                np.maximum(table[k, weight:], table[k + 1, :end] + values[k], out=table[k, weight:])
        return table

    def _next(
        self, node: _Node, values: np.ndarray, tables: Sequence[np.ndarray], best: float, floor: float
    ) -> list[_Node]:
        """Child nodes, the most promising last; copies of a type are chosen in order, which breaks their symmetry."""
        first = node.copies[-1] + 1 if node.copies else 0
        ready = (self.rank[first:] == 0) & (values[first:] > floor)
        ready[:1] = values[first : first + 1] > floor if node.copies else ready[:1]
        for resource, left in zip(self.resources, node.left, strict=True):
            ready &= resource.weights[first:] <= left
        at = first + np.nonzero(ready)[0]
        rests = [left - r.weights[at] for r, left in zip(self.resources, node.left, strict=True)]
        promise = node.value + values[at] + np.min([t[at + 1, rest] for t, rest in zip(tables, rests, strict=True)], 0)
        order = [n for n in np.argsort(promise, kind="stable").tolist() if promise[n] > best + EPSILON]
        return [
            _Node(
                (*node.copies, int(at[n])),
                tuple(int(rest[n]) for rest in rests),
                node.value + float(values[at[n]]),
                float(promise[n]),
            )
            for n in order
        ]

    def _by_use(self, running_ma: int | np.ndarray) -> np.ndarray:
        return unevenness(1_000_000 * running_ma / float(self.rating.rated_ma))
