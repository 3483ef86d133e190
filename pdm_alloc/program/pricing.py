"""Column generation for commands whose circuits are too many to list.

The linear program over some circuits gives the duals; for each command and class a knapsack (Gilmore and
Gomory, Operations Research 9 (1961) 849) gives the circuit of least reduced cost, and the sum of those bounds
the cost of every allocation (Lagrange). The table of the knapsack rounds currents down and knows no rule but
the sum, so it never overestimates the least reduced cost; the physics is asked about each circuit added.
"""

import math
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from math import gcd
from typing import NamedTuple

import highspy
import numpy as np

from pdm_alloc.circuits.columns import CircuitBook, Counts, Fit, usable_for
from pdm_alloc.program.partition import partition
from pdm_alloc.program.solver import Clock, silence_banner
from pdm_alloc.program.stages import objectives, unevenness
from pdm_alloc.program.task import Column, Task, is_allowed, peak_slack_ma

__all__ = ["Knapsack", "Pricing"]

_TABLE = 500_000  # entries of a knapsack's table
_NODES = 2_000
_ASK_EVERY = 64  # nodes
_NEAR = 2_000  # circuits of one command on one class that are listed to close a gap
_EPSILON = 1e-6
_NEVER = -math.inf
_HEADROOM = "even headroom"
_NEAR_WHOLE = 0.7  # fractions that a dive rounds up at once
_ROUNDS = 4  # of pricing between two roundings of a dive
_MISSING = -1  # cost of the first phase: items in no circuit


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
    """Items chosen so far, what they leave of each resource, their worth, and a bound on any circuit with them."""

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
        self.wiring, self.slack = book.wiring(task.vehicle), peak_slack_ma(task, command)
        self.late = late
        self._known: dict[Counts, Fit | None] = {}
        self.usable = usable_for(self.rating, self.types[0].headroom_pct)
        fitting = [n for n in range(len(self.types)) if self.fit(((n, 1),)) is not None]
        fitting.sort(key=lambda n: (-self.types[n].running_ma, n))
        self.type_of = np.array([n for n in fitting for _ in range(self.types[n].count)], np.int64)
        self.rank = np.array([k for n in fitting for k in range(self.types[n].count)], np.int64)
        running = [self.types[n].running_ma for n in self.type_of.tolist()]
        peaks = [t.running_ma + t.excess_ma for t in (self.types[n] for n in self.type_of.tolist())]
        self.steps = max(500, _TABLE // (len(running) + 1))
        self.resources = [self._resource(running, self.usable)]
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
            allowed = is_allowed(self.task, self.command, counts, self.number, self.slack)
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
        best, nodes, floor = above, 0, _NEVER if every or above < 0 else 0.0
        stack = [_Node((), tuple(r.limit for r in self.resources), 0.0, min(t[0, -1] for t in tables))]
        while stack and nodes < self._most_nodes(bool(columns), every) and (not every or len(columns) <= every):
            if self.late and nodes % _ASK_EVERY == 0 and self.late():
                break
            node = stack.pop()
            if node.promise <= best + _EPSILON and node.copies:
                continue
            nodes += 1
            counts = tuple(sorted(Counter(self.type_of[list(node.copies)].tolist()).items()))
            if node.copies and self.fit(counts) is None:
                continue
            column = self.column(counts) if node.copies else None
            if column is not None:
                total = node.value - use_share * float(self._by_use(column.fit.running_ma))
                if total > best + _EPSILON:
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

    def _next(self, node: _Node, values, tables, best: float, floor: float) -> list[_Node]:
        """Copies to add, the most promising last; each only after the one before it of its type."""
        first = node.copies[-1] + 1 if node.copies else 0
        ready = (self.rank[first:] == 0) & (values[first:] > floor)
        ready[:1] = values[first : first + 1] > floor if node.copies else ready[:1]
        for resource, left in zip(self.resources, node.left, strict=True):
            ready &= resource.weights[first:] <= left
        at = first + np.nonzero(ready)[0]
        rests = [left - r.weights[at] for r, left in zip(self.resources, node.left, strict=True)]
        promise = node.value + values[at] + np.min([t[at + 1, rest] for t, rest in zip(tables, rests, strict=True)], 0)
        order = [n for n in np.argsort(promise, kind="stable").tolist() if promise[n] > best + _EPSILON]
        return [
            _Node(
                (*node.copies, int(at[n])),
                tuple(int(rest[n]) for rest in rests),
                node.value + float(values[at[n]]),
                float(promise[n]),
            )
            for n in order
        ]

    def _by_use(self, running_ma):
        return unevenness(1_000_000 * running_ma / float(self.rating.rated_ma))


class Pricing:
    """Columns of a task, generated as the linear program asks for them.

    Parameters
    ----------
    task : Task
        Merged classes; its columns are those to begin with.
    commands : sequence of str
        Those whose circuits are priced.
    strategy : str
        As of `objectives`.
    book, clock
        Physics; when to stop.

    Attributes
    ----------
    columns : list of Column
        All so far.
    """

    def __init__(self, task: Task, commands: Sequence[str], strategy: str, book: CircuitBook, clock: Clock):
        self.task, self.strategy, self.clock = task, strategy, clock
        self.sacks = []
        for command in commands:
            self.sacks += [Knapsack(task, command, m, book, clock.is_over) for m in range(len(task.classes))]
        self.columns: list[Column] = []
        self._keys: set[tuple[str, Counts, int]] = set()
        self.bounds = [(least, most) for _, least, most in partition(replace(task, columns=()), limits=False).rows]
        self.first = {command: sum(map(len, list(task.types.values())[:n])) for n, command in enumerate(task.types)}
        stubs = [Column(s.command, (), s.number, Fit(0, 0, 0, 0.0), 1) for s in self.sacks]
        self._stubs = list(self._entries(stubs))
        self.add(task.columns)
        for sack in self.sacks:
            alone = [((n, 1),) for n in dict.fromkeys(sack.type_of.tolist())]
            self.add([column for counts in alone if (column := sack.column(counts)) is not None])

    def add(self, columns: Sequence[Column]) -> list[Column]:
        """Add the columns that are new; those."""
        new = {(c.command, c.counts, c.channel_class): c for c in columns}
        fresh = [c for key, c in new.items() if key not in self._keys]
        self._keys.update(new)
        self.columns += fresh
        return fresh

    def _entries(self, columns: Sequence[Column]) -> Iterator[tuple[dict[int, float], list[float]]]:
        """Weight of each column in every row, and its cost by every objective."""
        task = replace(self.task, columns=tuple(columns))
        costs = [cost for _, cost in objectives(task, self.strategy)]
        weights: list[dict[int, float]] = [{} for _ in columns]
        for r, (row, _, _) in enumerate(partition(task, limits=False).rows):
            for v, weight in row.items():
                weights[v][r] = weight
        return ((weights[v], [cost.get(v, 0) for cost in costs]) for v in range(len(columns)))

    def bound(self, objective: int, held: Sequence[tuple[float, float]], circuits: int, clock: Clock) -> float:
        """Bound on an objective with the ones before it held; -inf where time ran out before there is one.

        Parameters
        ----------
        objective : int
            Its number; -1: the items that are in no circuit.
        held : sequence of (float, float)
            Lower and upper limits of the objectives before it.
        circuits : int
            Solutions of more circuits are of no interest.
        clock : Clock
            When to stop.

        Returns
        -------
        float
            Rounded up to a whole number.
        """
        self.objective, self.held, self.duals, new = objective, held, None, list(self.columns)
        self.program = _Linear([*self.bounds, *held], self._items if objective == _MISSING else 0)
        best = -math.inf
        while not clock.is_over():
            self._extend(new)
            if not self.program.solve(clock):
                return best
            value, priced = self._priced(circuits, clock)
            best = max(best, _ceil(self.program.objective + value))
            new = self.add(priced)
            if not new and value > -math.inf:
                self.duals, self.value = self.program.duals, self.program.objective + value
            if not new or best >= self.program.objective - _EPSILON:
                self._extend(new)
                return best
        return best

    def dive(self, clock: Clock) -> list[Column] | None:
        """A solution from the linear program of the last bound: the largest fractions rounded up, priced again.

        Returns
        -------
        list of Column or None
            A column as often as it is chosen; None where the heuristic ended in a dead end or time ran out.
        """
        order, least, rounds = self.program.order, Counter(), 0
        while not clock.is_over() and self.program.solve(clock):
            _, priced = self._priced(0, clock, self._rest(least))
            new, rounds = self.add(priced), rounds + 1
            self._extend(new)
            if new and rounds < _ROUNDS:
                continue
            rounds = 0
            values = self.program.values
            if (np.abs(values - np.rint(values)) < _EPSILON).all():
                return [order[v] for v, x in enumerate(np.rint(values)) for _ in range(int(x))]
            for v in _rounded_up(values):
                least[v] = math.ceil(values[v] - _EPSILON)
                self.program.at_least(v, least[v])
        return None

    def _rest(self, least: Counter[int]) -> dict[str, np.ndarray]:
        """Items of each type that no fixed column takes."""
        rest = {command: np.array([t.count for t in types], np.int64) for command, types in self.task.types.items()}
        for v, times in least.items():
            for n, k in self.program.order[v].counts:
                rest[self.program.order[v].command][n] -= k * times
        return rest

    def _extend(self, columns: Sequence[Column]) -> None:
        for column, (weights, costs) in zip(columns, self._entries(columns), strict=True):
            cost = 0.0 if self.objective == _MISSING else costs[self.objective]
            self.program.column(cost, self._with_held(weights, costs), column)

    @property
    def _items(self) -> int:
        return sum(map(len, self.task.types.values()))

    def _with_held(self, weights: dict[int, float], costs) -> dict[int, float]:
        return weights | {len(self.bounds) + h: costs[h] for h in range(len(self.held)) if costs[h]}

    def _priced(self, circuits: int, clock: Clock, rest=None) -> tuple[float, list[Column]]:
        """How far the bound is below the linear program, not above 0, and columns of negative reduced cost."""
        priced: list[Column] = []
        least = np.zeros(len(self.task.classes))
        for sack, fixed, ask in self._asks(self.program.duals):
            if clock.is_over():
                return -math.inf, priced
            bound, columns = ask(fixed + _EPSILON, left=None if rest is None else rest[sack.command])
            least[sack.number] = min(least[sack.number], fixed - bound + _EPSILON)
            priced += columns
        lowest = sorted(low for c, low in zip(self.task.classes, least, strict=True) for _ in c.slots)
        return float(sum(lowest[:circuits])), priced

    def _asks(self, duals: np.ndarray):
        """Each knapsack, the cost of any circuit in it at these duals, and its search."""
        names = [name for name, _ in objectives(replace(self.task, columns=()), self.strategy)]
        share = float(self.objective == names.index(_HEADROOM))
        if len(self.held) > names.index(_HEADROOM):
            share -= duals[len(self.bounds) + names.index(_HEADROOM)]
        for sack, (weights, costs) in zip(self.sacks, self._stubs, strict=True):
            entries = self._with_held(weights, costs)
            cost = 0.0 if self.objective == _MISSING else costs[self.objective]
            first = self.first[sack.command]
            worth = duals[first : first + len(sack.types)]
            fixed = cost - sum(duals[r] * w for r, w in entries.items())
            yield sack, fixed, partial(sack.search, worth, self._bonus(sack, duals), max(0.0, share))

    def add_near(self, value: float) -> bool:
        """Add every column that can be in a solution cheaper than `value`; True where that is all of them.

        Needs the duals of a bound that was closed: no solution has a column whose reduced cost is above its
        distance from the bound.
        """
        if self.duals is None:
            return False
        slack = value - 1 - self.value + 1e-9 * abs(value) + 10 * _EPSILON
        for _, fixed, ask in self._asks(self.duals):
            bound, columns = ask(fixed - slack, every=_NEAR)
            if self.clock.is_over() or bound == math.inf:
                return False
            self.add(columns)
        return True

    def _bonus(self, sack: Knapsack, duals: np.ndarray) -> np.ndarray:
        """Dual of the rows of locked channels, by type."""
        bonus, row = np.zeros(len(sack.types)), len(self.bounds)
        locks = [
            (command, n, (unit, name))
            for command, types in self.task.types.items()
            for n, t in enumerate(types)
            for unit, names in t.locked
            for name in names
        ]
        for row, (command, n, place) in enumerate(locks, len(self.bounds) - len(locks)):
            if command == sack.command and place in self.task.locked[sack.number]:
                bonus[n] += duals[row]
        return bonus


def _ceil(value: float) -> float:
    return math.ceil(value - _EPSILON) if math.isfinite(value) else value


def _rounded_up(values: np.ndarray) -> list[int]:
    """Columns to round up at once: those nearly a whole more, else the one of the largest fraction."""
    parts = values - np.floor(values + _EPSILON)
    near = np.nonzero(parts > _NEAR_WHOLE)[0].tolist()
    return near or [int(np.argmax(parts))]


class _Linear:
    """A linear program that grows by columns and goes on from the last basis; HiGHS, one thread."""

    def __init__(self, bounds: Sequence[tuple[float, float]], missing: int):
        silence_banner()
        self._highs = highspy.Highs()
        self.order: list[Column] = []
        for name, value in (("output_flag", False), ("threads", 1), ("random_seed", 1), ("presolve", "off")):
            self._highs.setOptionValue(name, value)
        for least, most in bounds:
            self._highs.addRow(least, most, 0, np.zeros(0, np.int32), np.zeros(0))
        for row in range(missing):
            self.column(1.0, {row: 1.0}, None)

    def column(self, cost: float, entries: dict[int, float], column: Column | None) -> None:
        rows = np.fromiter(entries, np.int32, len(entries))
        self._highs.addCol(float(cost), 0.0, highspy.kHighsInf, len(rows), rows, np.fromiter(entries.values(), float))
        self.order.append(column)

    def at_least(self, number: int, least: int) -> None:
        self._highs.changeColBounds(number, float(least), highspy.kHighsInf)

    def solve(self, clock: Clock) -> bool:
        """Solve; True where an optimum was reached: then `objective`, `values` and `duals` are of it."""
        self._highs.setOptionValue("time_limit", self._highs.getRunTime() + max(0.01, clock.left_s))
        self._highs.run()
        self.objective = self._highs.getInfo().objective_function_value
        solution = self._highs.getSolution()
        self.values, self.duals = np.array(solution.col_value), np.array(solution.row_dual)
        return self._highs.getModelStatus() == highspy.HighsModelStatus.kOptimal
