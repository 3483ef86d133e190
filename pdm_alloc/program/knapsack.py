"""The circuits of one command on one class, by reduced cost: a knapsack searched depth first.

Its tables round what items take down and know no rule but sums, so they never underestimate the worth of a
circuit; the physics is asked about each circuit on the way. And the items of a command levelled over given channels.
"""

import math
import random
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from math import gcd
from typing import NamedTuple

import numpy as np

from pdm_alloc.circuits.columns import CircuitBook, Counts, Fit
from pdm_alloc.circuits.draws import borne_for, usable_for
from pdm_alloc.domain.vehicle import PPM
from pdm_alloc.program.partition import Column, Task, is_allowed
from pdm_alloc.program.solver import Clock
from pdm_alloc.program.stages import unevenness

__all__ = ["EPSILON", "Knapsack", "Resource", "levelled"]

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
        self.item_ma = tuple(t.volt_ma[at] for t in self.types)
        fitting.sort(key=lambda n: (-self.types[n].volt_ma[at], n))
        copies = {n: min(self.types[n].count, self.usable // max(1, self.types[n].volt_ma[at])) for n in fitting}
        self.type_of = np.array([n for n in fitting for _ in range(copies[n])], np.int64)
        self.rank = np.array([k for n in fitting for k in range(copies[n])], np.int64)
        running = [self.types[n].volt_ma[at] for n in self.type_of.tolist()]
        peaks = [t.volt_ma[at] + t.volt_excess_ma[at] for t in (self.types[n] for n in self.type_of.tolist())]
        self.steps = max(500, _TABLE // (len(running) + 1))
        self.borne = borne_for(self.rating, self.types[0].headroom_pct)
        self.resources = [self._resource(running, self.borne)]
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

    @property
    def total_ma(self) -> int:
        """Current of every item of the command, mA."""
        return sum(ma * t.count for ma, t in zip(self.item_ma, self.types, strict=True))

    def stub(self, running_ma: int) -> Column:
        """A circuit that draws so much, whatever is on it."""
        use_ppm = math.ceil(PPM * running_ma / self.rating.rated_ma)
        often = len(self.task.classes[self.number].slots)
        return Column(self.command, (), self.number, Fit(running_ma, use_ppm), often)

    def loads(self, number: int) -> list[tuple[int, int]]:
        """Currents that items add up to, mA, as spans from the least to the largest, about so many."""
        unit = max(1, gcd(*self.item_ma))
        reach, within = 1, (1 << self.borne // unit + 1) - 1
        for n in self.type_of.tolist():
            reach = (reach | reach << self.item_ma[n] // unit) & within
        sums = [load * unit for load in range(1, reach.bit_length()) if reach >> load & 1]
        step = max(1, -(-len(sums) // number))
        return [(span[0], span[-1]) for k in range(0, len(sums), step) if (span := sums[k : k + step])]

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
                total = node.value - use_share * float(self.by_use(column.fit.running_ma))
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
            table[-1] = -use_share * self.by_use(np.arange(resource.limit, -1, -1) * resource.step)
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

    def by_use(self, running_ma: int | np.ndarray) -> np.ndarray:
        """Unevenness of a circuit by its running current, mA."""
        return unevenness(1_000_000 * running_ma / float(self.rating.rated_ma))


_SEED = 1
_MOVES = 200  # of each circuit, without a better sum, after which the search for a way within the channels ends
_LEVEL_MOVES = 1_000  # likewise the levelling that follows: the last thousandth takes longest
_FROM_ABOVE = 0.7  # of the moves, from a fuller circuit
_OF = 3  # circuits of which it is the fullest
_ROUNDING = 3  # units by which a better split may be further off, as unevenness is rounded


def levelled(
    sacks: Mapping[int, Knapsack], classes: Sequence[int], goal: float, clock: Clock
) -> tuple[Column, ...] | None:
    """The items of one command over as many circuits as classes are given: two circuits at a time split anew.

    Parameters
    ----------
    sacks : mapping of int to Knapsack
        By class.
    classes : sequence of int
        Class of each circuit.
    goal : float
        Unevenness at which to stop.
    clock : Clock
        When to stop.

    Returns
    -------
    tuple of Column or None
        One per class; None where the local search ended with a circuit that is not allowed.
    """
    for evenly in (True, False) if classes else ():
        search = _Levelling(sacks, classes, evenly)
        search.run(0.0, clock)
        if search.total == 0 and search.columns() is not None:
            search.is_within = True
            search.total = sum(map(search.cost, range(len(classes)), search.load))
            search.run(goal, clock)
            return search.columns()
    return None


class _Levelling:
    """Local search by exact splits of two circuits, one of them often of very large or very small marginal cost."""

    def __init__(self, sacks: Mapping[int, Knapsack], classes: Sequence[int], evenly: bool):
        self.sacks = [sacks[m] for m in classes]
        self.random = random.Random(_SEED)
        item_ma = self.sacks[0].item_ma
        self.unit = max(1, gcd(*item_ma))
        self.units = [ma // self.unit for ma in item_ma]
        self.borne = [sack.borne // self.unit for sack in self.sacks]
        self.weight = [1 / float(sack.rating.rated_ma) ** 2 for sack in self.sacks]
        self.is_within = False  # once no circuit is beyond its channel, unevenness counts
        prices: dict[int, dict[int, float]] = {m: {} for m in classes}
        self.price = [prices[m] for m in classes]
        self.share = [1 / weight for weight in self.weight]
        self.items = self._filled(evenly)
        self.load = [sum(self.units[n] for n in items) for items in self.items]
        self.total = sum(self.cost(at, load) for at, load in enumerate(self.load))

    def _filled(self, evenly: bool) -> list[list[int]]:
        """One circuit after the other filled to its part of what is left, or fully, with the largest items for it."""
        types = self.sacks[0].types
        left = sorted((n for n, t in enumerate(types) for _ in range(t.count)), key=lambda n: -self.units[n])
        circuits = []
        for at in range(len(self.sacks) - 1):
            part = sum(self.units[n] for n in left) * self.share[at] / sum(self.share[at:])
            circuits.append(self._nearest(left, min(self.borne[at], math.ceil(part) if evenly else self.borne[at])))
            left = list((Counter(left) - Counter(circuits[-1])).elements())
        return [*circuits, left]

    def _nearest(self, left: Sequence[int], wanted: int) -> list[int]:
        """The largest item, and the largest of the others that come nearest to a load without passing it."""
        rest = wanted - self.units[left[0]] if left else 0
        if rest <= 0:
            return [*left[:1]]
        reach, within = [1], (1 << rest + 1) - 1
        for n in left[1:]:
            reach.append((reach[-1] | reach[-1] << self.units[n]) & within)
        return [left[0], *_parted(left[1:], reach, reach[-1].bit_length() - 1, self.units)]

    def run(self, goal: float, clock: Clock) -> None:
        """Split pairs of circuits anew until the sum is at the goal, or nothing comes of it any more."""
        quiet, circuits = 0, len(self.items)
        most = (_LEVEL_MOVES if self.is_within else _MOVES) * (circuits + 1)
        while circuits > 1 and self.total > goal and quiet < most and not clock.is_over():
            before = self.total
            self.split(*self.pair())
            quiet = 0 if self.total < before else quiet + 1

    def cost(self, at: int, load: int) -> float:
        """What a circuit is beyond its channel; once none is, its unevenness."""
        price = self.price[at]
        if load > self.borne[at] or not self.is_within:
            return math.inf if self.is_within else float(max(0, load - self.borne[at]))
        if load not in price:
            price[load] = float(self.sacks[at].by_use(load * self.unit))
        return price[load]

    def pair(self) -> tuple[int, int]:
        """A circuit of large or small marginal cost, and any other."""
        pick = max if self.random.random() < _FROM_ABOVE else min
        few = self.random.sample(range(len(self.items)), min(_OF, len(self.items)))
        first = pick(few, key=lambda at: (self.load[at] > self.borne[at], self.load[at] * self.weight[at]))
        second = self.random.randrange(len(self.items) - 1) if len(self.items) > 1 else first
        return first, second + (second >= first)

    def split(self, first: int, second: int) -> None:
        """Split the items of two circuits between them at least cost, where the physics allows it."""
        pool = [*self.items[first], *self.items[second]]
        self.random.shuffle(pool)
        reach = [1]  # bit n: n units can be reached with the items so far
        for n in pool:
            reach.append(reach[-1] | reach[-1] << self.units[n])
        total = self.load[first] + self.load[second]
        costs = {
            load: self.cost(first, load) + self.cost(second, total - load)
            for load in self._loads(first, second, reach[-1])
        }
        now = self.cost(first, self.load[first]) + self.cost(second, self.load[second])
        least = min(costs.values(), default=now + 1)
        if least <= now:
            wanted = self.random.choice([load for load, cost in costs.items() if cost == least])
            self._exchange(first, second, pool, _parted(pool, reach, wanted, self.units))

    def _loads(self, first: int, second: int, reach: int) -> Iterator[int]:
        """Loads of the first circuit that are no further from the ideal than now, nearly."""
        total = self.load[first] + self.load[second]
        ideal = total * self.weight[second] / (self.weight[first] + self.weight[second])
        ideal = min(max(ideal, total - self.borne[second]), self.borne[first])
        off = abs(self.load[first] - ideal) + _ROUNDING
        span = () if self.is_within else (total - self.borne[second], self.borne[first])
        lower, upper = (
            max(1, min([math.ceil(ideal - off), *span])),
            min(total - 1, max([math.floor(ideal + off), *span])),
        )
        bits = reach >> lower & (1 << max(0, upper - lower + 1)) - 1
        while bits:
            lowest = bits & -bits
            yield lower + lowest.bit_length() - 1
            bits ^= lowest

    def _exchange(self, first: int, second: int, pool: list[int], chosen: list[int]) -> None:
        rest = list((Counter(pool) - Counter(chosen)).elements())
        halves = [(at, items, sum(self.units[n] for n in items)) for at, items in ((first, chosen), (second, rest))]
        if any(load <= self.borne[at] and self.sacks[at].column(_counts(items)) is None for at, items, load in halves):
            return
        for at, items, load in halves:
            self.total += self.cost(at, load) - self.cost(at, self.load[at])
            self.items[at], self.load[at] = items, load

    def columns(self) -> tuple[Column, ...] | None:
        """The circuits as they are; None where one is not allowed."""
        pairs = zip(self.sacks, self.items, strict=True)
        columns = [sack.column(_counts(items)) if items else None for sack, items in pairs]
        return None if None in columns else tuple(c for c in columns if c is not None)


def _counts(items: Sequence[int]) -> Counts:
    return tuple(sorted(Counter(items).items()))


def _parted(pool: Sequence[int], reach: Sequence[int], wanted: int, weights: Sequence[int]) -> list[int]:
    """Items of a pool that weigh as much as is wanted; `reach` has the sums of its first items as bits."""
    chosen = []
    for k in range(len(pool) - 1, -1, -1):
        if not reach[k] >> wanted & 1:
            chosen.append(pool[k])
            wanted -= weights[pool[k]]
    return chosen
