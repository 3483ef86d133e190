"""Objectives minimised in order over the circuits of a task, listed or priced."""

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from pdm_alloc.circuits.columns import CircuitBook, OutOfTime, TooManyCircuits
from pdm_alloc.circuits.draws import borne_for
from pdm_alloc.circuits.items import ItemType
from pdm_alloc.program.handout import NoSolution
from pdm_alloc.program.knapsack import Knapsack, levelled
from pdm_alloc.program.partition import Column, Task, columns_of, key_of, partition
from pdm_alloc.program.pricing import Pricing
from pdm_alloc.program.solver import BEST_SO_FAR, NOT_ENOUGH, PROVEN_BEST, STOPPED_EMPTY, Clock, Program, Solution
from pdm_alloc.program.stages import minimise, objectives, packed, unevenness

__all__ = ["NOTHING_PROVED", "Gap", "Listing", "Optimum", "Relaxation", "listed", "optimise", "optimise_priced"]

_MOST_SUBSETS = 8_000  # of items of one command, by current alone, on all kinds of channels: above, it is priced
_MOST_ON_ONE = 1_000  # on one kind: above, pricing proves in a second what a program over all circuits does not in 20 s

_LOADS = 500  # of a command on a class that the relaxation tells apart
_NEAR_BOUND = 3  # values from the bound on at which levelling is tried

_Known = Sequence[Column] | None  # a solution, a column as often as it is chosen

_Held = Sequence[tuple[float, float]]  # bounds of the costs before

_BY_CLASS = ("circuits", "channels", "strength")  # costs of a circuit that depend on its class alone


class Gap(NamedTuple):
    """Relative gap of the first cost that is not proved, and the objective or objectives it is of."""

    share: float
    unproved: str = ""


NOTHING_PROVED = Gap(1.0)


@dataclass(frozen=True)
class Optimum:
    """How far the objectives of a task are minimised.

    Parameters
    ----------
    outcome : str
        Of the last solve.
    task : Task
        With its columns.
    names : tuple of str
        What each cost is.
    costs : tuple of mapping
        Cost of each column, by objective or by several joined into one, in order.
    bounds : tuple of float
        Proved lower bound of each cost that was reached, the ones before it held.
    values : tuple of tuple of int
        How often each column is chosen in each solution, best last.
    is_priced : bool
        Whether there are more circuits than the columns of the task.
    """

    outcome: str
    task: Task
    names: tuple[str, ...] = ()
    costs: tuple[Mapping[int, float], ...] = ()
    bounds: tuple[float, ...] = ()
    values: tuple[tuple[int, ...], ...] = ()
    is_priced: bool = False

    def gap(self, columns: Sequence[Column]) -> Gap:
        """Relative gap of a solution given as columns with repetition; see `gap_of`."""
        numbers = {key_of(c): v for v, c in enumerate(self.task.columns)}
        if any(key_of(c) not in numbers for c in columns):
            return NOTHING_PROVED
        return self.gap_of(Counter(numbers[key_of(c)] for c in columns))

    def gap_of(self, times: Mapping[int, int]) -> Gap:
        """Relative gap of the first cost that is not at its bound; 0: proved best in all; 1: nothing known."""
        for number, (cost, bound) in enumerate(zip(self.costs, self.bounds, strict=False)):
            value = sum(cost.get(v, 0) * k for v, k in times.items())
            if value > bound:
                share = (value - bound) / max(1.0, abs(value)) if math.isfinite(bound) else 1.0
                return Gap(share, self.names[number])
        return Gap(1.0, self.names[len(self.bounds)]) if len(self.bounds) < len(self.costs) else Gap(0.0)


class Listing(NamedTuple):
    """Every circuit of the commands that are listed as columns, and the commands whose circuits are priced."""

    columns: tuple[Column, ...]
    priced: tuple[str, ...]


def listed(
    task: Task, book: CircuitBook, clock: Clock, most: int | None = None, on_one: float | None = None
) -> Listing:
    """List the circuits of every command, or leave it to pricing: the one place that decides.

    A command is priced that has more sets of items, by current alone, than `most` on all kinds of channels together
    (default: 8,000), or than `on_one` on one kind (default: 1,000).
    """
    columns: list[Column] = []
    priced = []
    for command in task.types:
        try:
            if not is_listable(task, command, most, _MOST_ON_ONE if on_one is None else on_one):
                raise TooManyCircuits(command)
            columns += columns_of(task, command, book, clock.is_over)
        except TooManyCircuits:
            priced.append(command)
    return Listing(tuple(columns), tuple(priced))


def is_listable(task: Task, command: str, most: int | None = None, on_one: float = math.inf) -> bool:
    """Whether the circuits of a command are few enough to list: sets of items by current alone, in all and on one kind.

    Default: 8,000 in all.
    """
    if task.types[command][0].together:
        return True
    subsets = _subsets(task, command)
    return sum(subsets) <= (_MOST_SUBSETS if most is None else most) and max(subsets) <= on_one


def _subsets(task: Task, command: str) -> list[float]:
    """Sets of items within the current of each kind of channel, other rules apart: dynamic programming over currents.

    Where there are no more than `_MOST_ON_ONE` whatever they draw, that number stands.
    """
    shared = [t for t in task.types[command] if t.share and not t.together]
    ratings = list(dict.fromkeys(c.rating for c in task.classes))
    every = math.prod(t.count + 1 for t in shared)
    if every <= _MOST_ON_ONE:
        return [every] * len(ratings)
    return [_borne_subsets(shared, borne_for(rating, task.types[command][0].headroom_pct)) for rating in ratings]


def _borne_subsets(shared: Sequence[ItemType], usable_ma: int) -> float:
    step = max(1, usable_ma // 1_000)
    ways = np.zeros(usable_ma // step + 1)
    ways[0] = 1.0
    for t in shared:
        weight, before = max(1, t.running_ma // step), ways.copy()
        for k in range(1, t.count + 1):
            if k * weight < len(ways):
                ways[k * weight :] += before[: len(ways) - k * weight]
    return float(ways.sum())


def optimise(
    task: Task,
    program: Program,
    named: Sequence[tuple[str, Mapping[int, float]]],
    clock: Clock,
    stages: int | None = None,
    known: Sequence[Column] | None = None,
) -> Optimum:
    """Minimise objectives in order over listed columns.

    Parameters
    ----------
    task : Task
        With its columns.
    program : Program
        Its rows.
    named : sequence of (str, mapping)
        Objectives in order.
    clock : Clock
        When to stop.
    stages : int, optional
        Stop after so many costs.
    known : sequence of Column, optional
        A solution, a column as often as it is chosen.

    Returns
    -------
    Optimum

    Raises
    ------
    NoSolution
        The solver's values are no solution.
    """
    stages_named = _in_stages(named, task.channels())
    names, costs = tuple(name for name, _ in stages_named), tuple(cost for _, cost in stages_named)
    in_hand = None if known is None or len(program.most) > len(task.columns) else _counted(task, known)
    solutions = minimise(program, costs[:stages] or [{}], clock, in_hand)
    values = tuple(_whole(task, s) for s in solutions if s)
    bounds = tuple(s.objective if s.outcome == PROVEN_BEST else s.bound for s in solutions)
    last = solutions[-1].outcome
    outcome = BEST_SO_FAR if values and last != PROVEN_BEST else last
    return Optimum(outcome, task, names, costs, bounds[: len(costs)], values)


def _in_stages(
    named: Sequence[tuple[str, Mapping[int, float]]], channels: int
) -> list[tuple[str, Mapping[int, float]]]:
    """Costs to minimise one after the other: up to the number of channels each alone, the others joined."""
    names = [name for name, _ in named]
    alone = names.index("channels") + 1 if "channels" in names else 0
    later = [(name, cost) for name, cost in named[alone:] if cost]
    joined = packed([cost for _, cost in later], channels)
    together = ", ".join(name for name, _ in later)
    labels = [name for name, _ in later] if len(joined) == len(later) else [together] * len(joined)
    return [*((name, c) for name, c in named[:alone] if c), *zip(labels, joined, strict=True)]


def _whole(task: Task, solution: Solution) -> tuple[int, ...]:
    """How often each column is chosen.

    Raises
    ------
    NoSolution
        An item is not in exactly one circuit, or a column is chosen more often than it can be.
    """
    values = tuple(round(v) for v in solution.values[: len(task.columns)])
    items: dict[tuple[str, int], int] = defaultdict(int)
    for column, times in zip(task.columns, values, strict=True):
        if not 0 <= times <= column.most:
            raise NoSolution
        for n, k in column.counts if times else ():
            items[column.command, n] += k * times
    if any(items[command, n] != t.count for command, types in task.types.items() for n, t in enumerate(types)):
        raise NoSolution
    return values


class Relaxation:
    """Relaxation of a pricing: of the items of a priced command only the sum of their currents counts.

    Its circuits are the loads that some set of the items makes up; where those are many, spans of them, each with the
    largest current and the least cost of its loads.

    Parameters
    ----------
    pricing : Pricing
        Column generation that it bounds and gives circuits to.
    """

    def __init__(self, pricing: Pricing):
        self.pricing, listed_columns = pricing, pricing.task.columns
        self.sacks: dict[str, dict[int, Knapsack]] = defaultdict(dict)
        self.stubs: dict[str, dict[int, float]] = defaultdict(dict)  # number and largest load of each, by command
        self.columns = list(listed_columns)
        for sack in pricing.sacks:
            self.sacks[sack.command][sack.number] = sack
            for least_ma, most_ma in sack.loads(_LOADS):
                self.stubs[sack.command][len(self.columns)] = most_ma
                self.columns.append(sack.stub(least_ma))
        task = replace(pricing.task, columns=tuple(self.columns))
        named = objectives(task, pricing.strategy)
        self.costs = [cost for _, cost in named]
        self.is_exact = [name in _BY_CLASS for name, _ in named]  # elsewhere its costs are below those of circuits
        self.program = partition(task, limits=False)
        # Items of priced commands are in none of these circuits; one of a listed command in none is on no channel.
        items = [command for command, types in task.types.items() for _ in types]
        self.program.rows = [
            row for n, row in enumerate(self.program.rows) if row[0] or (n < len(items) and items[n] not in self.sacks)
        ]
        for command, sacks in self.sacks.items():
            self.program.row(self.stubs[command], least=next(iter(sacks.values())).total_ma)

    def _at(self, k: int, held: _Held, lower: float, upper: float) -> Program:
        """The rows, with the objectives before one held, and that one between limits where its costs are exact."""
        program = Program(self.program.most, [*self.program.rows], self.program.whole)
        for cost, limits in zip(self.costs, held, strict=False):
            program.row(cost, *limits)
        if self.is_exact[k]:
            program.row(self.costs[k], lower, upper)
        return program

    def bound(self, k: int, held: _Held, lower: float, clock: Clock) -> float:
        """Bound on an objective, at least the one given, the earlier ones held."""
        return max(lower, minimise(self._at(k, held, lower, math.inf), [self.costs[k]], clock)[0].bound)

    def start(self, clock: Clock) -> list[Column] | None:
        """A solution of as many circuits as there can be, which are the easiest to fill, not evened out; or None."""
        program = self._at(0, (), -math.inf, math.inf)
        for command, numbers in self.stubs.items():
            program.row(dict.fromkeys(numbers, 1.0), most=sum(t.count for t in self.pricing.task.types[command]))
        many = dict.fromkeys(range(len(self.columns)), -1.0)
        solution = minimise(program, [many], clock.part(0.3))[0]
        chosen = self._chosen(solution)
        return _of_relaxation(self, chosen, math.inf, clock) if chosen else None

    def circuits(self, k: int, held: _Held, value: float, clock: Clock) -> tuple[list[Column], float]:
        """The most even circuits at a value of an objective, and a bound on their unevenness; empty where none are."""
        solution = minimise(self._at(k, held, value, value), [self.costs[-1]], clock)[0]
        return self._chosen(solution), solution.bound

    def _chosen(self, solution: Solution) -> list[Column]:
        times = zip(self.columns, solution.values, strict=False)
        return [c for c, number in times for _ in range(round(number))]


def optimise_priced(
    whole: Relaxation,
    clock: Clock,
    rows: Callable[[Task], Program],
    known: Sequence[Column] | None,
    stages: int | None = None,
) -> Optimum:
    """Minimise objectives in order over listed and priced columns.

    Parameters
    ----------
    whole : Relaxation
        Of the column generation, with the columns that are listed.
    clock : Clock
        When to stop.
    rows : callable
        The program of a task.
    known : sequence of Column or None
        A solution, a column as often as it is chosen.
    stages : int, optional
        Stop after so many objectives.

    Returns
    -------
    Optimum
        Its bounds hold for all circuits, generated or not.
    """
    pricing, task = whole.pricing, whole.pricing.task
    pricing.add([replace(c, most=task.upper(c.command, c.counts, c.channel_class)) for c in known or ()])
    if known is None and pricing.bound(-1, (), task.channels(), clock) > 0:
        return Optimum(NOT_ENOUGH, task)
    held: list[tuple[float, float]] = []
    bounds: list[float] = []
    best = known
    for k, name in list(enumerate(pricing.names))[:stages]:
        if clock.is_over():
            break
        stage = _Stage(whole, k, held, best, rows, _trivial(task, name))
        try:
            stage.run(clock)
        except OutOfTime:
            break
        best = stage.best
        bounds.append(stage.bound)
        if best is None:
            break
        held.append((stage.bound if name in _BY_CLASS else -math.inf, stage.value))
    full = replace(task, columns=tuple(pricing.columns))
    costs = tuple(cost for _, cost in objectives(full, pricing.strategy))
    values = () if best is None else (_counted(full, best),)
    reached = best is not None and bounds == [pricing.cost(best, k) for k in range(len(costs))]
    outcome = STOPPED_EMPTY if best is None else PROVEN_BEST if reached else BEST_SO_FAR
    return Optimum(outcome, full, tuple(pricing.names), costs, tuple(bounds), values, is_priced=True)


def _trivial(task: Task, name: str) -> float:
    """Bound of an objective without solving: no circuit costs less than nothing, and none is without an item."""
    return -float(sum(t.count for t in task.all_types())) if name == "circuits" else 0.0


class _Stage:
    """One objective over listed and priced circuits, the earlier ones held: the best solution so far, and a bound."""

    def __init__(
        self, whole: Relaxation, k: int, held: _Held, best: _Known, rows: Callable[[Task], Program], bound: float
    ):
        self.whole, self.pricing, self.k, self.held, self.rows, self.bound = whole, whole.pricing, k, held, rows, bound
        self.best: _Known = None
        self.value = math.inf
        self.offer(best)

    def offer(self, columns: _Known) -> None:
        """A solution, kept where it is better."""
        if columns is not None and (value := self.pricing.cost(columns, self.k)) < self.value:
            self.best, self.value = columns, value

    def run(self, clock: Clock) -> None:
        """From what is cheap to what is dear, until the best solution is at the bound."""
        for step in (self._level, self._price, self._close):
            if self.value > self.bound:
                step(clock)

    def _level(self, clock: Clock) -> None:
        """The bound of the relaxation, and circuits levelled as it chooses them, at the bound or near."""
        self._relax(clock)
        part = clock.part(0.3)
        for near in range(_NEAR_BOUND if self.whole.is_exact[self.k] else 1):
            if self.bound + near >= self.value or not math.isfinite(self.bound):
                return
            chosen, goal = self.whole.circuits(self.k, self.held, self.bound + near, part.part(0.3))
            columns = _of_relaxation(self.whole, chosen, goal, part.part(0.5)) if chosen else None
            self.pricing.add(columns or ())
            self.offer(columns)

    def _relax(self, clock: Clock) -> None:
        self.bound = self.whole.bound(self.k, self.held, self.bound, clock.part(0.2))

    def _price(self, clock: Clock) -> None:
        """The bound of column generation; a dive, and the best solution over the columns generated."""
        self.bound = max(self.bound, self.pricing.bound(self.k, self.held, self._circuits(), clock.part(0.5)))
        self._relax(clock)
        if self.value > self.bound:
            self.offer(self.pricing.dive(clock.part(0.4)))
        if self.value > self.bound:
            self._solve(clock.part(0.4))

    def _close(self, clock: Clock) -> None:
        """Every circuit that can be in a better solution, if they are few: then what is solved is proved."""
        if math.isfinite(self.value) and self.pricing.add_near(self.value):
            self.bound = max(self.bound, min(self.value, self._solve(clock.part(0.6))))

    def _circuits(self) -> int:
        """Upper bound on the number of circuits of an improving solution."""
        at = self.pricing.names.index("channels")
        if self.k > at:
            return round(self.held[at][1])
        return round(self.value) if self.k == at and self.best is not None else self.pricing.task.channels()

    def _solve(self, clock: Clock) -> float:
        """Restricted master: the best integer solution over the columns generated so far; its bound, inf for none."""
        task = replace(self.pricing.task, columns=tuple(self.pricing.columns))
        costs = [cost for _, cost in objectives(task, self.pricing.strategy)]
        program = self.rows(task)
        for cost, (_, limit) in zip(costs, self.held, strict=False):
            program.row(cost, most=limit)
        solution = minimise(program, [costs[self.k]], clock)[0]
        if solution:
            times = zip(task.columns, _whole(task, solution), strict=True)
            self.offer([c for c, number in times for _ in range(number)])
        return math.inf if solution.outcome == NOT_ENOUGH else solution.bound


def _of_relaxation(whole: Relaxation, chosen: Sequence[Column], goal: float, clock: Clock) -> list[Column] | None:
    """Listed circuits as the relaxation chose them, those of priced commands levelled over the classes it chose."""
    columns = [c for c in chosen if c.command not in whole.sacks]
    for command, sacks in whole.sacks.items():
        classes = [c.channel_class for c in chosen if c.command == command]
        others = sum(float(unevenness(c.fit.use_ppm)) for c in chosen if c.command != command)
        circuits = levelled(sacks, classes, goal - others, clock)
        if circuits is None:
            return None
        columns += circuits
    return columns


def _counted(task: Task, columns: Sequence[Column]) -> tuple[int, ...]:
    numbers = {key_of(c): v for v, c in enumerate(task.columns)}
    values = [0] * len(task.columns)
    for c in columns:
        values[numbers[key_of(c)]] += 1
    return tuple(values)
