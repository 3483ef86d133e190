"""Choices of the relaxation, what a source offers of them, and the bound that offers prove."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from pdm_alloc.program.linear import Linear
from pdm_alloc.program.task import Column

__all__ = ["GRID", "Bound", "Choice", "Line", "Offer", "OpenSource", "Source"]

GRID = 2.0**20  # prices are whole multiples of 1 / GRID: sums of whole costs and weights stay exact
_EPSILON = 1e-6

Line = tuple[int, float, float]
"""Number of a row, least and most."""


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
    owner : OpenSource or None
        The source of a circuit on its own; None: a whole plan.
    """

    columns: tuple[Column, ...]
    entries: tuple[tuple[int, int], ...]
    costs: tuple[int, ...]
    weights: tuple[int, ...]
    most: int = 1
    owner: "OpenSource | None" = field(default=None, compare=False, repr=False)

    @property
    def key(self) -> tuple:
        """What tells it from other choices."""
        return tuple((c.command, c.counts, c.channel_class) for c in self.columns)


@dataclass(frozen=True)
class Offer:
    """What a source has at some prices.

    Parameters
    ----------
    bound : float
        Its part of the bound.
    choices : list of Choice
        Worth adding.
    worth : dict of int to float
        Of its own rows, by number.
    loose : float
        By how much circuits that are worth more than they cost lower the bound.
    """

    bound: float
    choices: list[Choice]
    worth: dict[int, float]
    loose: float = 0.0


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
    loose : float
        As of the offers it comes from.
    closed : bool
        Whether there was nothing left to add.
    """

    value: float
    prices: np.ndarray
    worth: dict[int, float] = field(default_factory=dict)
    loose: float = 0.0
    closed: bool = False

    @property
    def whole(self) -> float:
        """The least whole number that is not below the bound."""
        return math.ceil(self.value - _EPSILON) if math.isfinite(self.value) else self.value

    def over(self, choice: Choice, objective: int) -> float:
        """How much more than the bound a solution costs, at the least, when it has a choice."""
        own = sum(self.worth[row] * k for row, k in choice.entries)
        return choice.costs[objective] + float(self.prices @ np.array(choice.weights)) - own


class Source(Protocol):
    """Where choices come from."""

    def rows(self, linear: Linear) -> list[Line]:
        """Add its rows."""

    def start(self) -> list[Choice]:
        """Choices to begin with."""

    def floor(self, objective: int) -> float:
        """A bound on its part of an objective that takes no solving."""

    def offer(self, objective: int | None, prices: np.ndarray, duals: np.ndarray) -> Offer:
        """What it has at prices of the shared rows and duals of all rows."""

    def near(self, objective: int, bound: Bound, slack: float) -> list[Choice] | None:
        """All choices that a solution at most `slack` above a bound can have; None: too many to list."""


class OpenSource(Source, Protocol):
    """A source whose circuits are chosen one by one."""

    left: list[int]

    def fix(self, choice: Choice, times: int = 1) -> None:
        """Take the items of a circuit out of what is left; with -1: put them back."""

    def trimmed(self, column: Column) -> Choice | None:
        """A circuit with no more items than are left; None: nothing is left of it, or it is not allowed so."""

    def tidy(self, columns: Sequence[Column]) -> list[Choice] | None:
        """Circuits with every item in exactly one of them; None where one is not allowed with fewer items."""
