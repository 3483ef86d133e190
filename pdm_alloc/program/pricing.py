"""Column generation for commands whose circuits are too many to list.

The linear program over some circuits gives the duals; for each command and class a knapsack (Gilmore and
Gomory, Operations Research 9 (1961) 849) gives the circuit of least reduced cost, and the sum of those bounds
the cost of every allocation (Lagrange). A dive rounds the fractions of the linear program up, the largest
first, and prices again, until every item is in a circuit.
"""

import math
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import highspy
import numpy as np

from pdm_alloc.circuits.columns import CircuitBook, Counts, Fit, OutOfTime
from pdm_alloc.program.knapsack import EPSILON, Knapsack
from pdm_alloc.program.partition import Column, Task, partition
from pdm_alloc.program.solver import Clock, silence_banner
from pdm_alloc.program.stages import objectives, slack

__all__ = ["Pricing"]

_NEAR = 10_000  # circuits of one command on one class that are listed to close a gap
_HEADROOM = "even headroom"
_NEAR_WHOLE = 0.7  # fractions that a dive rounds up at once
_ROUNDS = 4  # of pricing between two roundings of a dive
_MISSING = -1  # cost of the first phase: items in no circuit


class Pricing:
    """Column generation on a task.

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
    names : list of str
        The objectives in order.
    """

    def __init__(self, task: Task, commands: Sequence[str], strategy: str, book: CircuitBook, clock: Clock):
        self.task, self.strategy, self.clock = task, strategy, clock
        self.names = [name for name, _ in objectives(replace(task, columns=()), strategy)]
        self.sacks = []
        for command in commands:
            if clock.is_over():
                raise OutOfTime(command)
            self.sacks += [Knapsack(task, command, m, book, clock.is_over) for m in range(len(task.classes))]
        self.columns: list[Column] = []
        self._keys: set[tuple[str, Counts, int]] = set()
        self.bounds = [(least, most) for _, least, most in partition(replace(task, columns=()), limits=False).rows]
        self.first = {command: sum(map(len, list(task.types.values())[:n])) for n, command in enumerate(task.types)}
        stubs = [Column(s.command, (), s.number, Fit(0, 0), 1) for s in self.sacks]
        self._stubs = list(self._entries(stubs))
        self.add(task.columns)
        for sack in self.sacks:
            alone = [((n, 1),) for n in dict.fromkeys(sack.type_of.tolist())]
            self.add([column for counts in alone if (column := sack.column(counts)) is not None])

    def cost(self, columns: Sequence[Column], objective: int) -> float:
        """Value of an objective, a column as often as it is chosen."""
        return sum(objectives(replace(self.task, columns=tuple(columns)), self.strategy)[objective][1].values())

    def add(self, columns: Sequence[Column]) -> list[Column]:
        """Add the columns that are new; returns them."""
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
        self.order: list[Column] = []
        self.program = _Linear([*self.bounds, *held], self._items if objective == _MISSING else 0)
        best = -math.inf
        while not clock.is_over():
            self._extend(new)
            if not self.program.solve(clock):
                return best
            value, priced = self._priced(circuits, clock)
            best = max(best, self._whole_above(value))
            new = self.add(priced)
            if not new and value > -math.inf:
                self.duals, self.value = self.program.duals, self.program.objective + value
            if not new or best >= self.program.objective - EPSILON:
                self._extend(new)
                return best
        return best

    def _whole_above(self, value: float) -> float:
        """The linear program and how far the bound is below it, rounded up; what its numbers may be off is left out."""
        total: float = self.program.objective + value - slack(self.program.objective)
        return math.ceil(total) if math.isfinite(total) else total

    def dive(self, clock: Clock) -> list[Column] | None:
        """Diving heuristic from the linear program of the last bound: largest fractions rounded up, priced again.

        Returns
        -------
        list of Column or None
            A column as often as it is chosen; None where the heuristic ended in a dead end or time ran out.
        """
        rounds = 0
        least: Counter[int] = Counter()
        while not clock.is_over() and self.program.solve(clock):
            _, priced = self._priced(0, clock, self._rest(least))
            new, rounds = self.add(priced), rounds + 1
            self._extend(new)
            if new and rounds < _ROUNDS:
                continue
            rounds = 0
            values = self.program.values
            if (np.abs(values - np.rint(values)) < EPSILON).all():
                return [self.order[v] for v, x in enumerate(np.rint(values)) for _ in range(int(x))]
            if not self._round_up(values, least):
                return None
        return None

    def _round_up(self, values: np.ndarray, least: Counter[int]) -> bool:
        """Diving step: fix nearly integral columns, else the one of the largest fraction; False where none can be."""
        rest, parts, fixed = self._rest(least), values - np.floor(values + EPSILON), 0
        for v in np.argsort(-parts, kind="stable").tolist():
            if parts[v] < (_NEAR_WHOLE if fixed else EPSILON):
                break
            column, times = self.order[v], math.ceil(values[v] - EPSILON) - least[v]
            left = rest[column.command]
            fits = all(left[n] >= k * times for n, k in column.counts)
            for n, k in column.counts if fits else ():
                left[n] -= k * times
            least[v] += times if fits else 0
            self.program.between(v, least[v], math.inf if fits else math.floor(values[v]))
            fixed += 1
        return bool(fixed)

    def _rest(self, least: Counter[int]) -> dict[str, np.ndarray]:
        """Items of each type that the fixed columns leave uncovered."""
        rest = {command: np.array([t.count for t in types], np.int64) for command, types in self.task.types.items()}
        for v, times in least.items():
            for n, k in self.order[v].counts:
                rest[self.order[v].command][n] -= k * times
        return rest

    def _extend(self, columns: Sequence[Column]) -> None:
        for weights, costs in self._entries(columns):
            cost = 0.0 if self.objective == _MISSING else costs[self.objective]
            self.program.column(cost, self._with_held(weights, costs))
        self.order += columns

    @property
    def _items(self) -> int:
        return sum(map(len, self.task.types.values()))

    def _with_held(self, weights: dict[int, float], costs: Sequence[float]) -> dict[int, float]:
        return weights | {len(self.bounds) + h: costs[h] for h in range(len(self.held)) if costs[h]}

    def _priced(
        self, circuits: int, clock: Clock, rest: dict[str, np.ndarray] | None = None
    ) -> tuple[float, list[Column]]:
        """Lagrangian bound less the linear program, never above 0, and columns of negative reduced cost."""
        priced: list[Column] = []
        least = np.zeros(len(self.task.classes))
        for sack, fixed, ask in self._asks(self.program.duals):
            if clock.is_over():
                return -math.inf, priced
            bound, columns = ask(fixed + EPSILON, left=None if rest is None else rest[sack.command])
            # The search leaves out what is better by less than EPSILON, above what it was asked for too.
            least[sack.number] = min(least[sack.number], fixed - bound - EPSILON)
            priced += columns
        lowest = sorted(low for c, low in zip(self.task.classes, least, strict=True) for _ in c.slots)
        return float(sum(lowest[:circuits])), priced

    def _asks(self, duals: np.ndarray) -> Iterator[tuple[Knapsack, float, Callable[..., tuple[float, list[Column]]]]]:
        """Pricing subproblems: knapsack, reduced cost of an empty circuit at these duals, and the search."""
        headroom = self.names.index(_HEADROOM)
        share = float(self.objective == headroom)
        if len(self.held) > headroom:
            share -= duals[len(self.bounds) + headroom]
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
        slack = value - 1 - self.value + 1e-9 * abs(value) + 10 * EPSILON
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


class _Linear:
    """Restricted master linear program, grown by columns, warm-started from the last basis; HiGHS, one thread."""

    def __init__(self, bounds: Sequence[tuple[float, float]], missing: int):
        silence_banner()
        self._highs: Any = highspy.Highs()  # type: ignore[no-untyped-call]  # the library has no types
        for name, value in (("output_flag", False), ("threads", 1), ("random_seed", 1), ("presolve", "off")):
            self._highs.setOptionValue(name, value)
        for least, most in bounds:
            self._highs.addRow(least, most, 0, np.zeros(0, np.int32), np.zeros(0))
        for row in range(missing):
            self.column(1.0, {row: 1.0})

    def column(self, cost: float, entries: dict[int, float]) -> None:
        rows = np.fromiter(entries, np.int32, len(entries))
        self._highs.addCol(float(cost), 0.0, highspy.kHighsInf, len(rows), rows, np.fromiter(entries.values(), float))

    def between(self, number: int, lower: float, upper: float) -> None:
        self._highs.changeColBounds(number, float(lower), min(upper, highspy.kHighsInf))

    def solve(self, clock: Clock) -> bool:
        """Solve; True where an optimum was reached: then `objective`, `values` and `duals` are of it."""
        self._highs.setOptionValue("time_limit", self._highs.getRunTime() + max(0.01, clock.left_s))
        self._highs.run()
        self.objective = self._highs.getInfo().objective_function_value
        solution = self._highs.getSolution()
        self.values, self.duals = np.array(solution.col_value), np.array(solution.row_dual)
        return bool(self._highs.getModelStatus() == highspy.HighsModelStatus.kOptimal)
