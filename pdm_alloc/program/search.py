"""The best whole solution of one objective: small whole-number programs over the choices near to the bound.

A solution that is at most so much above the bound has only choices that are so much above it
themselves, so a program over all of those leaves none out.
"""

import math
from collections import defaultdict
from collections.abc import Sequence

from pdm_alloc.program.master import Bound, Choice, Master
from pdm_alloc.program.outcome import NOT_ENOUGH, PROVEN_BEST
from pdm_alloc.program.solver import Clock, Program, solve_program

__all__ = ["Search"]

_EPSILON = 1e-6


class Search:
    """One objective, those before it held.

    Parameters
    ----------
    master : Master
        Choices so far, and where more come from.
    objective : int
        Its number.
    known : sequence of Choice or None
        A solution.
    clock : Clock
        When to stop.

    Attributes
    ----------
    best : list of Choice or None
        The best solution found.
    value : float
        Its cost; inf where there is none.
    proved : float
        No solution costs less; inf: there is none.
    """

    def __init__(self, master: Master, objective: int, known: Sequence[Choice] | None, clock: Clock):
        self.master, self.objective, self.clock = master, objective, clock
        self.best = None if known is None else list(known)
        self.value = math.inf if known is None else float(sum(choice.costs[objective] for choice in known))
        self.proved = -math.inf

    def run(self) -> None:
        """Search until the best is proved, nothing more can be listed, or the clock has run out."""
        bound = self.master.bound(self.objective, self.clock, enough=self.value)
        self.proved = bound.whole
        if not bound.closed or self.value <= self.proved:
            return
        first = self.proved - bound.value
        self._try([c for c in self.master.choices if bound.over(c, self.objective) <= first + _EPSILON])
        slack: float | None = first
        while slack is not None and self.value > self.proved:
            slack = self._listed(bound, slack)

    def _listed(self, bound: Bound, slack: float) -> float | None:
        """Solve over all choices at most so much above the bound; how much more to allow next, None: no more."""
        choices = self.master.near(self.objective, bound, slack + _EPSILON)
        if choices is None:
            self._try(self.master.choices)
            return None
        if not self._try(choices):
            return None
        self.proved = min(self.value, math.floor(bound.value + slack + _EPSILON) + 1.0)
        if self.best is not None:
            return max(0.0, self.value - 1 - bound.value)
        if slack > self.master.measure.most(self.objective) - bound.value:
            self.proved = math.inf
            return None
        return max(2 * slack, 1.0)

    def _try(self, choices: Sequence[Choice]) -> bool:
        """Keep the best whole solution over some choices where it is better; whether that was found out."""
        program, cost = self._program(choices)
        found = solve_program(program, cost, self.clock)
        if found and found.objective < self.value:
            self.value = float(found.objective)
            self.best = [
                choice for choice, taken in zip(choices, found.values, strict=True) for _ in range(round(taken))
            ]
        return found.outcome in (PROVEN_BEST, NOT_ENOUGH)

    def _program(self, choices: Sequence[Choice]) -> tuple[Program, dict[int, float]]:
        program = Program()
        own: dict[int, dict[int, float]] = defaultdict(dict)
        for v, choice in enumerate(choices):
            program.variable(choice.most)
            for row, k in choice.entries:
                own[row][v] = k
        for row, least in self.master.own_rows:
            program.row(own[row], least, least)
        for r, most in enumerate(self.master.most):
            program.row({v: choice.weights[r] for v, choice in enumerate(choices)}, most=float(most))
        costs = {v: float(choice.costs[self.objective]) for v, choice in enumerate(choices)}
        return program, {v: cost for v, cost in costs.items() if cost}
