"""The relaxation over whole plans: a linear program whose columns are priced as they are wanted, and its bound.

Every source (the commands that are priced together, or one with very many loads) offers the cheapest
choices at the prices of the rows that all share. What the sources' cheapest choices cost, less what
the rows are worth, is a bound on every solution whatever the prices are (Lagrange); the linear program
finds the prices for which it is best (Dantzig and Wolfe, Operations Research 8 (1960) 101).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np

from pdm_alloc.program.linear import Linear
from pdm_alloc.program.measure import Measure
from pdm_alloc.program.solver import Clock
from pdm_alloc.program.task import Column

__all__ = ["Bound", "Choice", "Master", "Offer", "Source"]

_GRID = 2.0**20  # prices are whole multiples of 1 / _GRID: sums of whole costs and weights stay exact
_EPSILON = 1e-6


@dataclass(frozen=True)
class Choice:
    """Circuits chosen together: a plan of a command, or one circuit of a command with very many loads.

    Parameters
    ----------
    columns : tuple of Column
        The circuits, on merged classes.
    entries : tuple of (int, int)
        Weight in rows of the source, by their numbers in the linear program.
    costs, weights : tuple of int
        By objective; by shared row.
    most : int
        How often it can be taken.
    """

    columns: tuple[Column, ...]
    entries: tuple[tuple[int, int], ...]
    costs: tuple[int, ...]
    weights: tuple[int, ...]
    most: int = 1

    @property
    def key(self) -> tuple:
        """What tells it from other choices."""
        return tuple((c.command, c.counts, c.channel_class) for c in self.columns)


@dataclass(frozen=True)
class Bound:
    """What is proved of an objective, and the prices that prove it.

    Parameters
    ----------
    value : float
        No solution costs less.
    prices : array
        Of the shared rows.
    worth : dict of int to float
        Of the sources' own rows, by number.
    closed : bool
        Whether the linear program itself has been solved to its end.
    """

    value: float
    prices: np.ndarray
    worth: dict[int, float] = field(default_factory=dict)
    closed: bool = False

    @property
    def whole(self) -> float:
        """The least whole number that is not below the bound."""
        return math.ceil(self.value - _EPSILON) if math.isfinite(self.value) else self.value

    def over(self, choice: "Choice", objective: int) -> float:
        """How much more than the bound a solution costs, at the least, when it has a choice."""
        own = sum(self.worth[row] * k for row, k in choice.entries)
        return choice.costs[objective] + float(self.prices @ np.array(choice.weights)) - own


@dataclass(frozen=True)
class Offer:
    """A source's part of a bound, the choices that are worth adding, and the worth of its own rows."""

    bound: float
    choices: list[Choice]
    worth: dict[int, float]


class Source(Protocol):
    """Where choices come from."""

    def rows(self, linear: Linear) -> list[tuple[int, int]]:
        """Add its rows; number and what each must come to."""

    def offer(self, objective: int | None, prices: np.ndarray, duals: np.ndarray) -> "Offer":
        """What it has at prices of the shared rows and duals of all rows."""

    def near(self, objective: int, bound: Bound, slack: float) -> list[Choice] | None:
        """All choices that a solution at most `slack` above a bound can have; None: too many to list."""


@dataclass
class Master:
    """The linear program over the choices of all sources.

    Parameters
    ----------
    measure : Measure
        Objectives and shared rows.
    sources : sequence of Source
        Where choices come from.
    """

    measure: Measure
    sources: Sequence[Source]
    choices: list[Choice] = field(default_factory=list)

    def __post_init__(self):
        self.linear = Linear()
        self.own_rows = [row for source in self.sources for row in source.rows(self.linear)]
        self.links = [self.linear.row(-math.inf, link.most) for link in self.measure.links]
        self.most = np.array([link.most for link in self.measure.links], np.float64)
        self._known: set[tuple] = set()
        self._columns: list[int] = []
        self.missing = self._add_missing()

    def _add_missing(self) -> list[int]:
        """What takes the place of choices that are not there yet, at a cost of 1 in the search for any solution."""
        own = [self.linear.column(1.0, {row: 1.0}) for row, _ in self.own_rows]
        return own + [self.linear.column(1.0, {row: -1.0}) for row in self.links]

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

    def bound(self, objective: int | None, clock: Clock, enough: float = math.inf) -> Bound:
        """Minimise an objective over fractions of choices; None: what is missing from any solution at all.

        Parameters
        ----------
        objective : int or None
            Its number.
        clock : Clock
            When to stop.
        enough : float
            Stop when the bound has come to this.
        """
        best = Bound(0.0 if objective is None else -math.inf, np.zeros(len(self.links)))
        while self._solved(objective, clock):
            prices = np.maximum(0.0, np.round(-self.linear.duals[self.links] * _GRID)) / _GRID
            offers = [source.offer(objective, prices, self.linear.duals) for source in self.sources]
            value = sum(offer.bound for offer in offers) - float(prices @ self.most)
            if value > best.value:
                best = Bound(value, prices, {row: w for offer in offers for row, w in offer.worth.items()})
            fresh = self.add([choice for offer in offers for choice in offer.choices])
            if not fresh or best.whole >= min(self.linear.objective, enough) - _EPSILON:
                return replace(best, closed=True)
        return best

    def _solved(self, objective: int | None, clock: Clock) -> bool:
        self._price(objective)
        return self.linear.solve(clock)

    def _price(self, objective: int | None) -> None:
        costs = np.zeros(self.linear.columns)
        if objective is None:
            costs[self.missing] = 1.0
        else:
            costs[self._columns] = [choice.costs[objective] for choice in self.choices]
        self.linear.price(costs)

    def forbid_missing(self) -> None:
        """From here on nothing may be missing."""
        for column in self.missing:
            self.linear.close(column)

    def near(self, objective: int, bound: Bound, slack: float) -> list[Choice] | None:
        """All choices that a solution at most `slack` above a bound can have; None: too many to list."""
        listed = [source.near(objective, bound, slack) for source in self.sources]
        if any(own is None for own in listed):
            return None
        return [choice for own in listed for choice in own or ()]

    def taken(self) -> list[tuple[Choice, float]]:
        """Choices of the last solve, each with how much of it is taken."""
        values = self.linear.values[self._columns].tolist()
        return [(choice, value) for choice, value in zip(self.choices, values, strict=True) if value > _EPSILON]

    def hold(self, objective: int, most: int) -> None:
        """From here on an objective may cost no more: one more shared row."""
        entries = {c: float(x.costs[objective]) for c, x in zip(self._columns, self.choices, strict=True)}
        self.links.append(self.linear.row(-math.inf, most, {c: w for c, w in entries.items() if w}))
        self.most = np.append(self.most, float(most))
        self.measure.held.append(objective)
        self.choices = [replace(x, weights=(*x.weights, x.costs[objective])) for x in self.choices]
