"""The relaxation over whole plans: a linear program whose columns are priced as they are wanted, and its bound.

Every source (the commands that are priced together, or one with very many loads) offers the cheapest
choices at the prices of the rows that all share. What the sources' cheapest choices cost, less what
the rows are worth, is a bound on every solution whatever the prices are (Lagrange); the linear program
finds the prices for which it is best (Dantzig and Wolfe, Operations Research 8 (1960) 101).
"""

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pdm_alloc.program.choice import GRID, Bound, Choice, Line, Source
from pdm_alloc.program.linear import Linear
from pdm_alloc.program.measure import Measure
from pdm_alloc.program.solver import Clock

__all__ = ["Master"]

_EPSILON = 1e-6
_STEPS_A_SOLVE = 30


class Master:
    """The linear program over the choices of all sources.

    Parameters
    ----------
    measure : Measure
        Objectives and shared rows.
    sources : sequence of Source
        Where choices come from.

    Attributes
    ----------
    choices : list of Choice
        Those there are so far.
    least, most : array of float
        Bounds of the shared rows.
    last : float
        Work at which to stop: the same on every machine, as time is not.
    """

    def __init__(self, measure: Measure, sources: Sequence[Source]):
        self.measure, self.sources = measure, sources
        self.linear = Linear()
        self.own: dict[int, Line] = {line[0]: line for source in sources for line in source.rows(self.linear)}
        self.links = [self.linear.row(-math.inf, link.most) for link in measure.links]
        self.most = np.array([link.most for link in measure.links], float)
        self.least = np.full(len(self.links), -math.inf)
        self.choices: list[Choice] = []
        self.last = math.inf
        self._known: set[tuple] = set()
        self._columns: list[int] = []
        self._missing = [self.linear.column(1.0, {row: 1.0}) for row in self.own]
        self._missing += [self.linear.column(1.0, {row: -1.0}) for row in self.links]
        self._toll = 1.0
        for source in sources:
            self.add(source.start())

    def floor(self, objective: int) -> float:
        """A bound on an objective that takes no solving, whole."""
        return math.ceil(sum(source.floor(objective) for source in self.sources) - _EPSILON)

    @property
    def work(self) -> float:
        """What the linear program has taken so far: rows times steps, a solve taken as so many steps."""
        return self.linear.rows * (self.linear.steps + _STEPS_A_SOLVE * self.linear.solves)

    def add(self, choices: Sequence[Choice]) -> int:
        """Add the choices that are new; how many."""
        fresh = {choice.key: choice for choice in choices if choice.key not in self._known}
        for choice in fresh.values():
            entries = {row: float(k) for row, k in choice.entries}
            entries.update((row, float(w)) for row, w in zip(self.links, choice.weights, strict=True) if w)
            self._columns.append(self.linear.column(0.0, entries))
            self.choices.append(choice)
        self._known.update(fresh)
        return len(fresh)

    def bound(self, objective: int | None, clock: Clock, enough: float = math.inf, content: float = -math.inf) -> Bound:
        """Minimise an objective over fractions of choices; None: what is missing from any solution at all.

        Parameters
        ----------
        objective : int or None
            Its number.
        clock : Clock
            When to stop.
        enough : float
            Stop when the bound has come to this.
        content : float
            Stop when the fractions cost no more than this.
        """
        best = Bound(0.0 if objective is None else -math.inf, np.zeros(len(self.links)))
        while self.work < self.last and self._solved(objective, clock):
            if self.linear.objective <= content + _EPSILON:
                return best
            now, fresh = self._priced(objective)
            best = now if now.value > best.value else best
            if best.whole >= min(self.linear.objective, enough) - _EPSILON:
                return replace(best, closed=True)
            if not fresh:  # out of time there may be more that was not looked for
                return replace(best, closed=not clock.is_over())
        return best

    def _solved(self, objective: int | None, clock: Clock) -> bool:
        costs = np.zeros(self.linear.columns)
        costs[self._missing] = 1.0 if objective is None else self._toll
        if objective is not None:
            costs[self._columns] = [choice.costs[objective] for choice in self.choices]
        self.linear.price(costs)
        return self.linear.solve(clock)

    def _priced(self, objective: int | None) -> tuple[Bound, int]:
        """The bound at the prices of the last solve, and how many choices came with it."""
        prices = np.round(-self.linear.duals[self.links] * GRID) / GRID
        prices = np.where(np.isinf(self.least), np.maximum(0.0, prices), prices)
        offers = [source.offer(objective, prices, self.linear.duals) for source in self.sources]
        value = sum(offer.bound for offer in offers) - float(prices @ self.most)
        worth = {row: w for offer in offers for row, w in offer.worth.items()}
        fresh = self.add([choice for offer in offers for choice in offer.choices])
        return Bound(value, prices, worth, sum(offer.loose for offer in offers)), fresh

    def allow_missing(self, toll: float) -> None:
        """From here on something may be missing, at a cost."""
        self._toll = toll
        for column in self._missing:
            self.linear.close(column, math.inf)

    def forbid_missing(self) -> None:
        """From here on nothing may be missing."""
        for column in self._missing:
            self.linear.close(column)

    def near(self, objective: int, bound: Bound, slack: float) -> list[Choice] | None:
        """All choices that a solution at most `slack` above a bound can have; None: too many to list."""
        listed = [source.near(objective, bound, slack) for source in self.sources]
        if any(own is None for own in listed):
            return None
        return [choice for own in listed for choice in own or ()]

    def taken(self) -> list[tuple[Choice, float]]:
        """Choices of the last solve, each with how much of it is taken; those added since are not in it."""
        solved = bisect_left(self._columns, len(self.linear.values))
        values = self.linear.values[self._columns[:solved]].tolist()
        return [(choice, value) for choice, value in zip(self.choices, values, strict=False) if value > _EPSILON]

    def is_missing(self) -> bool:
        """Whether anything is missing from the last solve."""
        return bool((self.linear.values[self._missing] > _EPSILON).any())

    def hold(self, objective: int, value: int) -> None:
        """From here on an objective costs what is proved to be its least: one more shared row."""
        entries = {c: float(x.costs[objective]) for c, x in zip(self._columns, self.choices, strict=True)}
        self.measure.values[objective] = value
        self.links.append(self.linear.row(value, value, {c: w for c, w in entries.items() if w}))
        self.most, self.least = np.append(self.most, float(value)), np.append(self.least, float(value))
        self.measure.held.append(objective)
        self.choices = [replace(x, weights=(*x.weights, x.costs[objective])) for x in self.choices]

    def fix(self, choice: Choice, times: int = 1) -> None:
        """Take a choice, so that only the rest is left to be solved; with -1: put it back."""
        assert choice.owner is not None
        choice.owner.fix(choice, times)
        for row, k in choice.entries:
            number, least, most = self.own[row]
            self.own[row] = (number, least - times * k, most - times * k)
            self.linear.bound(*self.own[row])
        weights = times * np.array(choice.weights, float)
        self.most, self.least = self.most - weights, self.least - weights
        for r in np.nonzero(weights)[0].tolist():
            self.linear.bound(self.links[r], self.least[r], self.most[r])
