"""An integer program in plain numbers, and its solution by HiGHS through PuLP.

Variables are known by number, so that no name of a load can collide with another in the solver.
"""

import math
import os
import sys
import threading
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import highspy
import pulp

from pdm_alloc.program.outcome import BEST_SO_FAR, FAILED, NOT_ENOUGH, PROVEN_BEST, STOPPED_EMPTY

__all__ = ["Clock", "Program", "Solution"]

_SEED = 1
_FEASIBLE = 2  # HiGHS: a point that satisfies every row was found
_quiet = threading.Lock()
_silenced = False


class Clock:
    """Time left of a limit, s; also asked whether someone wants to stop.

    Parameters
    ----------
    limit_s : float
        Seconds from now.
    stop : callable or None
        Returns True when the work is no longer wanted.
    """

    def __init__(self, limit_s: float, stop=None):
        self._end = time.monotonic() + limit_s
        self._stop = stop

    @property
    def left_s(self) -> float:
        """Seconds left, never negative; 0 when stopped."""
        if self._stop is not None and self._stop():
            return 0.0
        return max(0.0, self._end - time.monotonic())


@dataclass(frozen=True, slots=True)
class Solution:
    """How a solve ended.

    Parameters
    ----------
    outcome : str
        One of the five words.
    values : tuple of int
        Value of each variable; empty unless the outcome is proven best or best so far.
    objective, bound : float
        Cost of the values; proved bound on any.
    """

    outcome: str
    values: tuple[int, ...] = ()
    objective: float = math.inf
    bound: float = -math.inf

    @property
    def gap(self) -> float:
        """(objective - bound) / objective; 0 when closed."""
        if self.outcome == PROVEN_BEST or self.objective == self.bound:
            return 0.0
        return abs(self.objective - self.bound) / max(1.0, abs(self.objective))

    def __bool__(self) -> bool:
        """Whether there are values."""
        return bool(self.values) or self.outcome in (PROVEN_BEST, BEST_SO_FAR)


@dataclass
class Program:
    """Whole-number variables, rows of sums between bounds, costs to minimise one after the other."""

    most: list[int] = field(default_factory=list)
    rows: list[tuple[dict[int, float], float, float]] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)

    def variable(self, most: int, whole: bool = True) -> int:
        """Add a variable between 0 and `most`; its number."""
        self.most.append(most)
        self.whole.append(whole)
        return len(self.most) - 1

    def row(self, weights: Mapping[int, float], least: float = -math.inf, most: float = math.inf) -> None:
        """Add least <= sum of weight x variable <= most."""
        self.rows.append(({v: w for v, w in weights.items() if w}, least, most))

    def minimise(self, costs: Sequence[Mapping[int, float]], clock: Clock) -> list[Solution]:
        """Minimise the costs in order, each proved and then held while the next is minimised.

        Parameters
        ----------
        costs : sequence of mapping
            Cost of each variable by number, whole numbers; earlier ones matter more.
        clock : Clock
            When to stop.

        Returns
        -------
        list of Solution
            One a cost, as far as it came: it ends with the first that is not proved. The last one
            with values is the answer.
        """
        if any(not weights and not least <= 0 <= most for weights, least, most in self.rows):
            return [Solution(NOT_ENOUGH)]
        if not self.most:
            return [Solution(PROVEN_BEST, (), 0.0, 0.0) for _ in costs]
        problem, variables = self._problem()
        solutions: list[Solution] = []
        for cost in costs:
            solution = _solve(problem, variables, cost, clock)
            solutions.append(solution)
            if solution.outcome != PROVEN_BEST:
                break
            if cost:
                problem += _sum(cost, variables) <= round(solution.objective)
        return solutions

    def _problem(self):
        problem = pulp.LpProblem("circuits", pulp.LpMinimize)
        variables = [
            problem.add_variable(f"x{n}", 0, most, "Integer" if whole else "Continuous")
            for n, (most, whole) in enumerate(zip(self.most, self.whole, strict=True))
        ]
        for weights, least, most in self.rows:
            if not weights:
                continue
            total = _sum(weights, variables)
            if least == most:
                problem += total == least
                continue
            if least > -math.inf:
                problem += total >= least
            if most < math.inf:
                problem += total <= most
        return problem, variables


def _sum(weights, variables):
    return pulp.lpDot(list(weights.values()), [variables[v] for v in weights])


def _solve(problem, variables, cost, clock: Clock) -> Solution:
    left = clock.left_s
    if left <= 0:
        return Solution(STOPPED_EMPTY)
    _silence_banner()
    problem.setObjective(_sum(cost, variables) if cost else pulp.lpSum([0 * variables[0]]))
    solver = pulp.HiGHS(msg=False, threads=1, gapRel=0.0, gapAbs=0.999, timeLimit=left, random_seed=_SEED)
    try:
        problem.solve(solver)
    except (pulp.PulpSolverError, RuntimeError):
        return Solution(FAILED)
    return _read(problem.solverModel, variables)


def _read(model, variables) -> Solution:
    """The verdict from the solver's own status: PuLP calls a stopped run optimal and an impossible one valued."""
    status, info = model.getModelStatus(), model.getInfo()
    state = highspy.HighsModelStatus
    if status in (state.kInfeasible, state.kUnboundedOrInfeasible):
        return Solution(NOT_ENOUGH)
    if info.primal_solution_status != _FEASIBLE:
        return Solution(STOPPED_EMPTY if status in (state.kTimeLimit, state.kInterrupt) else FAILED)
    values = tuple(round(v.varValue) for v in variables)
    objective = float(round(info.objective_function_value))
    if status == state.kOptimal:
        return Solution(PROVEN_BEST, values, objective, objective)
    return Solution(BEST_SO_FAR, values, objective, math.ceil(info.mip_dual_bound - 1e-6))


def _silence_banner() -> None:
    """The solver greets on file descriptor 1 at its first start, before it can be told not to."""
    global _silenced
    with _quiet:
        if _silenced:
            return
        sys.stdout.flush()
        kept, nowhere = os.dup(1), os.open(os.devnull, os.O_WRONLY)
        try:
            os.dup2(nowhere, 1)
            highspy.Highs()
        finally:
            os.dup2(kept, 1)
            os.close(kept)
            os.close(nowhere)
        _silenced = True
