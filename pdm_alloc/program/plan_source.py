"""The commands whose plans are priced together, as a source of choices."""

from collections import defaultdict
from collections.abc import Sequence
from functools import cache

import numpy as np

from pdm_alloc.program.block import Block
from pdm_alloc.program.choice import Bound, Choice, Line, Offer
from pdm_alloc.program.group import Group, Plan
from pdm_alloc.program.linear import Linear
from pdm_alloc.program.measure import Measure
from pdm_alloc.program.near import TooManyPlans, near_plans
from pdm_alloc.program.solver import Clock

__all__ = ["PlanSource"]

_EPSILON = 1e-6
_PLANS_A_PRICE = 20
_KEY_BITS = 48  # a shared row's weights in a plan stay far below 2 ** 47


class PlanSource:
    """One row a command: exactly one plan.

    Parameters
    ----------
    blocks : sequence of Block
        The commands.
    measure : Measure
        Objectives and shared rows.
    clock : Clock
        When to stop asking the physics: bounds hold then too, for nothing unasked is refused.
    """

    def __init__(self, blocks: Sequence[Block], measure: Measure, clock: Clock):
        self.measure, self.clock = measure, clock
        alike: dict[tuple, list[Block]] = defaultdict(list)
        for block in blocks:
            alike[block.counts, len(block.classes)].append(block)
        self.groups = [Group(group, measure) for group in alike.values()]
        self.lines: list[list[int]] = []

    def rows(self, linear: Linear) -> list[Line]:
        """Add its rows."""
        self.lines = [[linear.row(1, 1) for _ in group.blocks] for group in self.groups]
        return [(line, 1, 1) for lines in self.lines for line in lines]

    def start(self) -> list[Choice]:
        """Nothing: plans come as they are priced."""
        return []

    def floor(self, objective: int) -> float:
        """Its cheapest plans, whatever they take of the shared rows."""
        free = np.zeros(len(self.measure.links) + len(self.measure.held))
        for group in self.groups:
            group.price(objective, free)
        return float(sum(group.least[-1].sum() for group in self.groups))

    def offer(self, objective: int | None, prices: np.ndarray, duals: np.ndarray) -> Offer:
        """The cheapest plan of every command that is worth more than it costs."""
        choices: list[Choice] = []
        worth: dict[int, float] = {}
        for group, lines in zip(self.groups, self.lines, strict=True):
            group.price(objective, prices)
            wanted = self._worth(group, duals[lines] - _EPSILON, objective, prices)
            choices += [self._choice(group, j, lines[j], group.plan(j)) for j in wanted]
            worth.update(zip(lines, group.least[-1].tolist(), strict=True))
        return Offer(sum(worth.values()), choices, worth)

    def _worth(self, group: Group, most: np.ndarray, objective: int | None, prices: np.ndarray) -> list[int]:
        """Commands whose cheapest plans cost less than so much, the physics having been asked about each."""
        while not self.clock.is_over():
            wanted = np.nonzero(group.least[-1] < most)[0].tolist()
            wrong = [j for j in wanted if not self._settled(group, j, objective, prices)]
            if not wrong:
                return wanted
            group.price(objective, prices, wrong)
        return []

    def _settled(self, group: Group, j: int, objective: int | None, prices: np.ndarray) -> bool:
        """Whether all was as it seemed; else the physics is asked about the next few plans too.

        What is left to place seems as cheap to them as before: working that out again takes far longer.
        """
        plan = group.plan(j)
        if plan is None or group.settle(j, plan):
            return True
        for _ in range(_PLANS_A_PRICE):
            group.price_own(objective, prices, [j])
            plan = group.plan(j)
            if plan is None or group.settle(j, plan):
                break
        return False

    def _choice(self, group: Group, j: int, line: int, plan: Plan | None) -> Choice:
        assert plan is not None  # what costs less than infinity has one
        columns = group.columns(j, plan)
        costs, weights = zip(*(self.measure.of(column) for column in columns), strict=True)
        return Choice(columns, ((line, 1),), _sums(costs), _sums(weights))

    def near(self, objective: int, bound: Bound, slack: float) -> list[Choice] | None:
        """All plans that a solution at most `slack` above a bound can have; None: too many to list."""
        found: list[Choice] = []
        for group, lines in zip(self.groups, self.lines, strict=True):
            group.price(objective, bound.prices)
            for j, line in enumerate(lines):
                room = slack - (float(group.least[-1, j]) - bound.worth[line])
                plans = self._near(group, j, objective, bound.prices, room)
                if plans is None:
                    return None
                found += [self._choice(group, j, line, plan) for plan in plans]
        return found

    def _near(self, group: Group, j: int, objective: int | None, prices: np.ndarray, slack: float) -> list[Plan] | None:
        """Near plans of one command, once the physics has nothing to say against any of them; None: too many."""
        while not self.clock.is_over():
            try:
                plans = near_plans(group, j, slack, self._key_of(group, j))
            except TooManyPlans:
                return None
            settled = [group.settle(j, plan) for plan in plans]
            if all(settled):
                return plans
            group.price(objective, prices, [j])
        return None

    def _key_of(self, group: Group, j: int):
        """All weights of a circuit in shared rows as one number, so that sums of weights are sums of numbers."""

        @cache
        def key_of(state: int, i: int) -> int:
            return sum(int(w) << (_KEY_BITS * n) for n, w in enumerate(group.weights(j, state, i)) if w)

        return key_of


def _sums(rows) -> tuple[int, ...]:
    return tuple(map(sum, zip(*rows, strict=True)))
