"""The best whole solution of one objective: small whole-number programs over the choices near to the bound.

A solution that is at most so much above the bound has only choices that are so much above it
themselves, so a program over all of those leaves none out.
"""

import math
from collections import defaultdict
from collections.abc import Sequence

from pdm_alloc.program.choice import Bound, Choice
from pdm_alloc.program.circuit_source import CircuitSource
from pdm_alloc.program.dive import Dive
from pdm_alloc.program.master import Master
from pdm_alloc.program.outcome import NOT_ENOUGH, PROVEN_BEST
from pdm_alloc.program.solver import Clock, Program, solve_program

__all__ = ["Search"]

_EPSILON = 1e-6
_WORK = (24e6, 8e6)  # as `Master.work` counts it, for one purpose: of the first objective, of a later one


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
        self.value = math.inf if known is None else self._cost(known)
        self.proved = -math.inf
        self.open = [source for source in master.sources if isinstance(source, CircuitSource)]

    def _cost(self, choices: Sequence[Choice]) -> float:
        return float(sum(choice.costs[self.objective] for choice in choices))

    def run(self) -> None:
        """Search until the best is proved, nothing more can be listed, or the clock has run out."""
        self.proved = self.master.floor(self.objective)
        if self.open:
            self._level()
            self.master.last = self._work()
        if self.value <= self.proved:
            return
        bound = self.master.bound(self.objective, self.clock, enough=self.value)
        self.proved = max(self.proved, bound.whole)
        if self.open and self.value > self.proved:
            self._dive()
        if not bound.closed or self.value <= self.proved:
            return
        first = max(0.0, self.proved - bound.value)
        if not self.open:
            self._try([c for c in self.master.choices if bound.over(c, self.objective) <= first + _EPSILON])
        slack: float | None = first
        while slack is not None and self.value > self.proved:
            slack = self._listed(bound, slack)

    def _work(self) -> float:
        return self.master.work + _WORK[min(self.objective, 1)]

    def _level(self) -> None:
        """Even out the solution in hand."""
        if self.best is None or not self.master.measure.by_use(self.objective):
            return
        found = [choice for choice in self.best if choice.owner is None]
        for source in self.open:
            found += source.levelled([choice.columns[0] for choice in self.best if choice.owner is source])
        self._keep(found)

    def _dive(self) -> None:
        """Dive for what is proved; where that fails, for what lies between that and the solution in hand."""
        last = self.master.last = self._work()
        failed, target, step = -math.inf, self.proved, 1.0
        while target < self.value and self.master.work < last and not self.clock.is_over():
            dive = Dive(self.master, self.objective, self.clock, (last - self.master.work) / 2)
            found = dive.run(target)
            if found is None or not self._keep([*found, *self._rest(found)]):
                failed, step = target, 2 * step
            target = max(failed + 1, self.proved)
            if math.isfinite(failed):
                target = failed + step if math.isinf(self.value) else max(target, (failed + self.value) // 2)

    def _rest(self, fixed: Sequence[Choice]) -> list[Choice]:
        """Plans for the other commands beside fixed circuits; nothing where none is found."""
        plans = [choice for choice in self.master.choices if choice.owner is None]
        for choice in fixed if plans else ():
            self.master.fix(choice)
        found = solve_program(*self._program(plans), self.clock) if plans else None
        for choice in fixed if plans else ():
            self.master.fix(choice, -1)
        return _repeated(plans, found.values) if found else []

    def _keep(self, choices: Sequence[Choice]) -> bool:
        """Keep a solution where it is one, and better; whether it was kept."""
        covered = {row for choice in choices for row, _ in choice.entries}
        if len(covered) < len(self.master.own) or self._cost(choices) >= self.value:
            return False
        self.best, self.value = list(choices), self._cost(choices)
        self.master.add(self.best)
        return True

    def _listed(self, bound: Bound, slack: float) -> float | None:
        """Solve over all choices at most so much above the bound; how much more to allow next, None: no more."""
        choices = self.master.near(self.objective, bound, slack + _EPSILON)
        if choices is None:
            if not self.open:
                self._try(self.master.choices)
            return None
        if not self._try(choices):
            return None
        self.proved = min(self.value, math.floor(bound.value + slack + _EPSILON) + 1.0)
        if self.best is not None:  # step by step: all that is near to a poor solution is far more than to a good one
            return max(0.0, min(self.value - 1 - bound.value, max(2 * slack, 1.0)))
        if slack > self.master.measure.most(self.objective) - bound.value:
            self.proved = math.inf
            return None
        return max(2 * slack, 1.0)

    def _try(self, choices: Sequence[Choice]) -> bool:
        """Keep the best whole solution over some choices where it is better; whether that was found out."""
        found = solve_program(*self._program(choices), self.clock)
        kept = bool(found) and self._keep(self._tidied(_repeated(choices, found.values)))
        return found.outcome == NOT_ENOUGH or (found.outcome == PROVEN_BEST and (kept or found.objective >= self.value))

    def _tidied(self, choices: Sequence[Choice]) -> list[Choice]:
        """Every item once; nothing of a command where that is not allowed."""
        found = [choice for choice in choices if choice.owner is None]
        for source in self.open:
            found += source.tidy([choice.columns[0] for choice in choices if choice.owner is source]) or []
        return found

    def _program(self, choices: Sequence[Choice]) -> tuple[Program, dict[int, float]]:
        program = Program()
        own: dict[int, dict[int, float]] = defaultdict(dict)
        for v, choice in enumerate(choices):
            program.variable(choice.most)
            for row, k in choice.entries:
                own[row][v] = k
        for row, least, most in self.master.own.values():
            program.row(own[row], least, most)
        for r, (least, most) in enumerate(zip(self.master.least.tolist(), self.master.most.tolist(), strict=True)):
            program.row({v: choice.weights[r] for v, choice in enumerate(choices)}, least, most)
        costs = {v: float(choice.costs[self.objective]) for v, choice in enumerate(choices)}
        return program, {v: cost for v, cost in costs.items() if cost}


def _repeated(choices: Sequence[Choice], values: Sequence[float]) -> list[Choice]:
    """Every choice as often as it is taken."""
    return [choice for choice, taken in zip(choices, values, strict=True) for _ in range(round(taken))]
