"""A command with so many different loads that its circuits cannot be listed: they are priced as they are wanted."""

import math
from collections.abc import Sequence

import numpy as np

from pdm_alloc.circuits.fit import Counts
from pdm_alloc.program.block import Block
from pdm_alloc.program.choice import GRID, Bound, Choice, Line, Offer
from pdm_alloc.program.filling import fillings
from pdm_alloc.program.knapsack import Ends, Found, Knapsack
from pdm_alloc.program.levelling import levelled
from pdm_alloc.program.linear import Linear
from pdm_alloc.program.lower import fewest_channels, least_of_curves
from pdm_alloc.program.measure import Measure
from pdm_alloc.program.solver import Clock
from pdm_alloc.program.task import Column

__all__ = ["CircuitSource"]

_EPSILON = 1e-6
_MOST_NEAR = 2_000  # circuits on one class
_MOST_ALL = 20_000


class CircuitSource:
    """One row an item type: its items are in circuits at least as often as there are items.

    An item that is in more circuits than there are of it is taken out of some in the end (`tidy`).
    Where more circuits are better, items must be in circuits exactly as often as there are items.

    Parameters
    ----------
    block : Block
        The command.
    measure : Measure
        Objectives and shared rows.
    clock : Clock
        When to stop.

    Attributes
    ----------
    left : list of int
        Items of each type that are in no fixed circuit.
    """

    def __init__(self, block: Block, measure: Measure, clock: Clock):
        self.block, self.measure, self.clock = block, measure, clock
        self.left = [t.count for t in block.types]
        self.sacks = {m: Knapsack(block, m) for m in block.classes}
        self.locks = measure.locks_of(block.command)
        self.exactly = bool((measure.class_costs < 0).any())
        self.lines: list[int] = []

    def rows(self, linear: Linear) -> list[Line]:
        """Add its rows."""
        most = [k if self.exactly else np.inf for k in self.left]
        self.lines = [linear.row(k, up) for k, up in zip(self.left, most, strict=True)]
        return list(zip(self.lines, self.left, most, strict=True))

    def floor(self, objective: int) -> float:
        """A bound that takes no solving: the cheapest class for as many circuits as the currents take at least."""
        classes = [m for m, sack in self.sacks.items() if sack.fitting]
        costs = self.measure.class_costs[objective]
        if not classes:
            return 0.0
        if self.measure.by_use(objective):
            return self._least_by_use(classes)
        cheapest = min(float(costs[m]) for m in classes)
        if cheapest < 0:
            return cheapest * sum(t.count for t in self.block.types)
        rates = (float(costs[m]) / max(1, self.sacks[m].usable) for m in classes)
        running = sum(t.running_ma * t.count for t in self.block.types)
        sizes = [t.running_ma for t in self.block.types for _ in range(t.count)]
        fewest = fewest_channels(sizes, max(self.sacks[m].usable for m in classes))
        return max(min(rates) * running, cheapest * fewest)

    def offer(self, objective: int | None, prices: np.ndarray, duals: np.ndarray) -> Offer:
        """The circuit that is worth most on each class, where it is worth more than it costs; out of time no bound."""
        worth = np.floor(np.maximum(-np.inf if self.exactly else 0.0, duals[self.lines]) * GRID) / GRID
        choices: list[Choice] = []
        loose = 0.0
        for m in self.sacks:
            if self.clock.is_over():
                return Offer(-math.inf, choices, {}, math.inf)
            found, cost = self._found(m, objective, prices, worth)
            choices += [self.choice(column) for column in found.columns]
            loose += self.block.merged.slots(m) * max(0.0, found.most - cost)
        bound = float(worth @ np.array(self.left)) - loose
        return Offer(bound, choices, dict(zip(self.lines, worth.tolist(), strict=True)), loose)

    def _found(self, m: int, objective: int | None, prices, worth, slack: float = -_EPSILON, every: int = 0):
        """Circuits on a class that cost at most `slack` more than they are worth, and what any costs there."""
        cost, ends = self._cost(m, objective, prices)
        bonus = self._bonus(m, prices)
        # A list of all that is near has to cover also the items that are worth nothing.
        worthless = self.exactly or every > 0
        found: Found = self.sacks[m].search(worth, cost - slack, self.left, ends, bonus, every, worthless)
        return found, cost

    def _cost(self, m: int, objective: int | None, prices: np.ndarray) -> tuple[float, Ends]:
        """What any circuit on a class costs at prices, and what its use takes off its worth."""
        measure, links = self.measure, len(self.measure.links)
        fixed = float(prices[measure.open_links] @ measure.class_weights[measure.open_links, m])
        by_use = 0.0
        shares = dict(zip(measure.held, prices[links:].tolist(), strict=True))
        if objective is not None:
            shares[objective] = shares.get(objective, 0.0) + 1.0
        for k, share in shares.items():
            if measure.by_use(k):
                by_use += share
            else:
                fixed += share * float(measure.class_costs[k, m])
        return fixed, self._ends(m, by_use)

    def _ends(self, m: int, share: float) -> Ends:
        rated = self.block.merged.task.classes[m].rating.rated_ma

        def ends(running_ma: np.ndarray) -> np.ndarray:
            use_ppm = -(-(running_ma * 1_000_000 * rated.denominator) // rated.numerator)
            return -share * self.measure.use_cost(use_ppm)

        return ends if share else lambda running_ma: np.zeros(len(running_ma))

    def _bonus(self, m: int, prices: np.ndarray) -> dict[int, float]:
        """What a locked load is worth on its own channel."""
        found: dict[int, float] = {}
        for r in self.locks:
            link = self.measure.links[r]
            if link.only and link.weights[m]:
                found[link.only[1]] = found.get(link.only[1], 0.0) - float(prices[r]) * link.weights[m]
        return found

    def choice(self, column: Column) -> Choice:
        """One circuit."""
        costs, weights = self.measure.of(column)
        entries = tuple((self.lines[n], k) for n, k in column.counts)
        return Choice((column,), entries, costs, weights, column.most, self)

    def near(self, objective: int, bound: Bound, slack: float) -> list[Choice] | None:
        """All circuits that a solution at most `slack` above a bound can have; None: too many to list."""
        worth = np.array([bound.worth[line] for line in self.lines])
        choices: list[Choice] = []
        for m in self.sacks:
            found, _ = self._found(m, objective, bound.prices, worth, slack + 2 * bound.loose, _MOST_NEAR)
            if not found.whole or len(choices) > _MOST_ALL or self.clock.is_over():
                return None
            choices += [self.choice(column) for column in found.columns]
        return choices

    def fix(self, choice: Choice, times: int = 1) -> None:
        """Take the items of a circuit out of what is left; with -1: put them back."""
        for n, k in choice.columns[0].counts:
            self.left[n] -= times * k

    def trimmed(self, column: Column) -> Choice | None:
        """A circuit with no more items than are left; None: nothing is left of it, or it is not allowed so."""
        counts: Counts = tuple((n, min(k, self.left[n])) for n, k in column.counts if self.left[n] > 0)
        if counts == column.counts:
            return self.choice(column)
        less = self.block.column(counts, column.channel_class) if counts else None
        return None if less is None else self.choice(less)

    def tidy(self, columns: Sequence[Column]) -> list[Choice] | None:
        """Circuits with every item in exactly one of them; None where one is not allowed with fewer items."""
        kept, found = list(self.left), []
        self.left = [t.count for t in self.block.types]
        for column in columns:
            choice = self.trimmed(column)
            if choice is not None:
                self.fix(choice)
                found.append(choice)
        complete = not any(self.left)
        self.left = kept
        return found if complete else None

    def start(self) -> list[Choice]:
        """Circuits to begin with: each type alone on each class."""
        columns = [self.block.column(((n, 1),), m) for m in self.sacks for n in range(len(self.left))]
        return [self.choice(column) for column in columns if column is not None]

    def _least_by_use(self, classes: Sequence[int]) -> float:
        """Of so many circuits as an objective that is held says, whatever the items are: by a price on the current."""
        costs = {k: set(self.measure.class_costs[k].tolist()) for k in self.measure.held}
        counted = [k for k, own in costs.items() if len(own) == 1 and own != {0}]
        if len(self.block.merged.task.types) > 1 or not counted:
            return 0.0
        circuits = self.measure.values[counted[0]] // int(self.measure.class_costs[counted[0], 0])
        curves = [-self._ends(m, 1.0)(np.arange(self.sacks[m].usable + 1)) for m in classes]
        running = sum(t.running_ma * t.count for t in self.block.types)
        return least_of_curves(curves, circuits, running)

    def levelled(self, columns: Sequence[Column]) -> list[Choice]:
        """Circuits with items moved and swapped between them until no two can be evened out."""
        return [self.choice(column) for column in levelled(self.block, columns)]

    def fillings(self) -> list[list[Choice]]:
        """Solutions for the command by rule of thumb, that with the fewest circuits first."""
        ways = [[self.choice(column) for column in way] for way in fillings(self.block, self.sacks)]
        return sorted(ways, key=len)
