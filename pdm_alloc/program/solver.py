"""The solver behind one door, and the five words for how a solve ended."""

import math
import os
import sys
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import highspy
import numpy as np
import pulp

from pdm_alloc.circuits.columns import raise_late

__all__ = [
    "BEST_SO_FAR",
    "FAILED",
    "NOT_ENOUGH",
    "OUTCOMES",
    "PROVEN_BEST",
    "STOPPED_EMPTY",
    "Clock",
    "Program",
    "Solution",
    "keeps_rows",
    "or_after",
    "silence_banner",
    "solve_program",
]

PROVEN_BEST = "proven best"
BEST_SO_FAR = "best so far"
NOT_ENOUGH = "not enough"
STOPPED_EMPTY = "no answer in time"
FAILED = "failed"

OUTCOMES = (PROVEN_BEST, BEST_SO_FAR, NOT_ENOUGH, STOPPED_EMPTY, FAILED)


Row = tuple[dict[int, float], float, float]

_SEED = 1
_PRESOLVE_FROM = 20_000  # variables: below, presolve takes longer than the solve it saves
_WHOLE = 1e-9  # from whole: a millionth, the usual, times costs of millions would be worth a whole step of the cost
_OFF = 1e-6  # by how much of its sum a row may be off: the solver's own tolerances are within it
_GAP = 0.9  # costs are whole: below 1 by more than all tolerances together
_LEAST_S = 0.01
_BUSY = 3.0  # times as long as its processor time a limit may take where others use the machine
_FEASIBLE = 2  # HiGHS: a point that satisfies every row was found

# lpDot takes longer than the solve; PuLP 4 has this constructor for it, in PuLP 3.3 the class itself is one.
# Neither library is typed where it is used here.
_EXPRESSION: Any = getattr(pulp.LpAffineExpression, "from_dict", pulp.LpAffineExpression)
_HIGHS: Any = highspy.Highs
_CALLBACKS: Any = highspy.cb.HighsCallbackType

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

    def __init__(self, limit_s: float, stop: Callable[[], bool] | None = None):
        self._end = time.monotonic() + limit_s
        self._stop = stop

    def part(self, share: float) -> "Clock":
        """A clock that runs out after a share of the time left, or when this one is stopped."""
        return Clock(share * self.left_s, self._stop)

    def within(self, limit_s: float) -> "Clock":
        """A clock that runs out after so many seconds, or when this one does."""
        return Clock(min(limit_s, self.left_s), self._stop)

    def soon(self, limit_s: float) -> "Clock":
        """A clock that runs out after so much processor time, s, or when this one does; on a busy machine later."""
        return Clock(min(self.left_s, _BUSY * limit_s), or_after(limit_s, self.is_over))

    def is_over(self) -> bool:
        """Whether no time is left."""
        return self.left_s <= 0

    @property
    def left_s(self) -> float:
        """Seconds left, never negative; 0 when stopped."""
        if self._stop is not None and self._stop():
            return 0.0
        return max(0.0, self._end - time.monotonic())


def or_after(limit_s: float, stop: Callable[[], bool] | None) -> Callable[[], bool]:
    """Whether to stop: so much processor time is spent, s, or somebody says so."""
    end = time.process_time() + limit_s
    return lambda: time.process_time() > end or (stop is not None and stop())


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
    reduced : tuple of float
        Reduced cost of each variable, where fractions were allowed.
    """

    outcome: str
    values: tuple[float, ...] = ()
    objective: float = math.inf
    bound: float = -math.inf
    reduced: tuple[float, ...] = ()

    def __bool__(self) -> bool:
        """Whether there are values."""
        return bool(self.values) or self.outcome in (PROVEN_BEST, BEST_SO_FAR)


@dataclass
class Program:
    """Whole-number variables, rows of sums between bounds, costs to minimise one after the other."""

    most: list[float] = field(default_factory=list)
    rows: list[Row] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)
    late: Callable[[], bool] | None = field(default=None, compare=False, repr=False)
    late_rows: Any = field(default=None, compare=False, repr=False)

    def variable(self, most: float, whole: bool = True) -> int:
        """Add a variable between 0 and `most`; its number."""
        self.most.append(most)
        self.whole.append(whole)
        return len(self.most) - 1

    def row(self, weights: Mapping[int, float], least: float = -math.inf, most: float = math.inf) -> None:
        """Add least <= sum of weight x variable <= most; `OutOfTime` is raised where `late` says so."""
        raise_late(self.late)
        self.rows.append(({v: w for v, w in weights.items() if w}, least, most))

    def impossible(self) -> bool:
        """Whether a row without variables already cannot hold."""
        return any(not weights and not least <= 0 <= most for weights, least, most in self.rows)

    def narrowed(self, active: Sequence[int]) -> "tuple[Program, list[int]]":
        """The program with every variable outside `active` at 0, and the old number of each new variable."""
        numbers = {old: new for new, old in enumerate(active)}
        small = Program([self.most[v] for v in active], [], [self.whole[v] for v in active])
        small.rows = [({numbers[v]: w for v, w in row[0].items() if v in numbers}, *row[1:]) for row in self.rows]
        if self.late_rows:
            small.late_rows = self.late_rows.narrowed(active, len(self.most))
        return small, list(active)


def solve_program(program: Program, cost: Mapping[int, float], clock: Clock, whole: bool = True) -> Solution:
    """Minimise one cost.

    Parameters
    ----------
    program : Program
        Variables and rows.
    cost : mapping of int to float
        Cost of each variable by number; whole numbers where `whole`.
    clock : Clock
        When to stop.
    whole : bool
        False: fractions are allowed, and reduced costs come with the answer.

    Returns
    -------
    Solution
        Without values unless its outcome is proven best or best so far.
    """
    start = clock.left_s
    if start <= 0:
        return Solution(STOPPED_EMPTY)
    if program.impossible():
        return Solution(NOT_ENOUGH)
    if not program.most:
        return Solution(PROVEN_BEST, (), 0.0, 0.0)
    silence_banner()
    problem, variables = _problem(program, cost, whole, clock)
    if problem is None:
        return Solution(STOPPED_EMPTY)
    left = clock.left_s
    left = max(_LEAST_S, left - (start - left))  # the solver's own model takes as long again to build
    try:
        solver = _InOnePiece(variables, whole, left, clock)
        problem.solve(solver)
        model = solver.model
        solution = _read(model, variables, program.whole if whole else None)
        if solution.outcome == NOT_ENOUGH and (clock.is_over() or model.getRunTime() >= left):
            return Solution(STOPPED_EMPTY)  # stopped in a relaxation, HiGHS may take that for one without a solution
        if not keeps_rows(program, solution.values):
            return Solution(FAILED)
        return _recounted(solution, program, cost) if whole else solution
    except Exception:  # whatever goes wrong inside a solver, there is no answer
        return Solution(FAILED)


_INTERRUPTS = [_CALLBACKS.kCallbackMipInterrupt, _CALLBACKS.kCallbackSimplexInterrupt]


def _interrupt(kind: Any, message: str, known: Any, answer: Any, clock: Clock) -> None:
    """Tell HiGHS to stop where the clock says so: its own limit knows neither processor time nor who waits."""
    answer.user_interrupt = clock.is_over()


def keeps_rows(program: Program, values: Sequence[float], of_sum: bool = True) -> bool:
    """True if the values lie within bounds and rows, to a millionth (of what is summed); True without values."""
    if not values:
        return True
    if not all(-_OFF <= value <= most + _OFF * (1 + most) for value, most in zip(values, program.most, strict=True)):
        return False
    for weights, least, most in program.rows:
        terms = [weight * values[v] for v, weight in weights.items()]
        off = _OFF * (1 + (sum(map(abs, terms)) if of_sum else 0))
        if not least - off <= sum(terms) <= most + off:
            return False
    return True


def _recounted(solution: Solution, program: Program, cost: Mapping[int, float]) -> Solution:
    """The cost of whole values as they are, which may be more than that of the nearly whole ones they come from."""
    if not solution.values or not all(program.whole[v] for v in cost):
        return solution
    objective = float(sum(c * solution.values[v] for v, c in cost.items()))
    outcome = BEST_SO_FAR if objective > solution.bound else solution.outcome
    return replace(solution, outcome=outcome, objective=objective)


def _problem(
    program: Program, cost: Mapping[int, float], whole: bool, clock: Clock
) -> tuple[pulp.LpProblem | None, list[pulp.LpVariable]]:
    """The program in PuLP and its variables; None in place of the program where time ran out."""
    problem = pulp.LpProblem("circuits", pulp.LpMinimize)
    variables = [
        problem.add_variable(f"x{n}", 0, None if most == math.inf else most, "Integer" if w and whole else "Continuous")
        for n, (most, w) in enumerate(zip(program.most, program.whole, strict=True))
    ]
    for weights, least, most in program.rows:
        if clock.is_over():
            return None, variables
        if weights:
            for constraint in _constraints(_sum(weights, variables), least, most):
                problem += constraint
    problem.setObjective(_sum(cost, variables) if cost else _sum({0: 0}, variables))
    return problem, variables


class _InOnePiece(pulp.LpSolver):
    """HiGHS with the matrix of a problem in one piece: PuLP's own way of handing it over takes longer than most solves.

    Parameters
    ----------
    variables : sequence of LpVariable
        Of the problem; they get their values and reduced costs.
    whole : bool
        False: fractions are allowed.
    limit_s, clock : float, Clock
        Time limit, s; asked besides.
    """

    def __init__(self, variables: Sequence[pulp.LpVariable], whole: bool, limit_s: float, clock: Clock):
        super().__init__(mip=whole, msg=False, timeLimit=limit_s)
        self.variables = sorted(variables, key=lambda v: v.name)  # runs of like columns lead the solver astray
        self.model = _model(limit_s, len(variables), clock)

    def actualSolve(self, lp: Any, **_: Any) -> Any:
        """Solve; what PuLP would make of the status is not asked for."""
        self.model.passModel(_matrix(lp, self.variables, self.mip))
        self.model.run()
        columns = self.model.getSolution()
        for v, value, reduced in zip(self.variables, list(columns.col_value), list(columns.col_dual), strict=True):
            v.varValue, v.dj = value, reduced
        return None


def _model(limit_s: float, columns: int, clock: Clock) -> Any:
    """HiGHS with our options, for a program of so many columns."""
    model = _HIGHS()
    options: dict[str, Any] = {"output_flag": False, "threads": 1, "random_seed": _SEED, "time_limit": limit_s}
    options |= {"mip_rel_gap": 0.0, "mip_abs_gap": _GAP, "mip_feasibility_tolerance": _WHOLE}
    if columns < _PRESOLVE_FROM:
        options |= dict.fromkeys(("mip_detect_symmetry", "mip_heuristic_run_feasibility_jump"), False)
        options["presolve"] = "off"
    for name, value in options.items():
        model.setOptionValue(name, value)
    model.setCallback(_interrupt, clock)
    for kind in _INTERRUPTS:
        model.startCallback(kind)
    return model


def _matrix(problem: Any, variables: Sequence[pulp.LpVariable], whole: bool) -> Any:
    """A problem as HiGHS takes it, its columns in the order of the variables."""
    lp, constraints = highspy.HighsLp(), problem.constraints()
    numbers = {v.name: n for n, v in enumerate(variables)}
    entries = [(numbers[v.name], weight) for row in constraints for v, weight in row.items()]
    costs = {v.name: weight for v, weight in problem.objective.items()}
    lp.num_col_, lp.num_row_ = len(variables), len(constraints)
    lp.col_cost_ = np.array([costs.get(v.name, 0.0) for v in variables])
    lp.col_lower_, lp.col_upper_ = _limits((v.lowBound, v.upBound) for v in variables)
    lp.row_lower_, lp.row_upper_ = _limits((row.getLb(), row.getUb()) for row in constraints)
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = np.cumsum([0, *map(len, constraints)], dtype=np.int32)
    lp.a_matrix_.index_ = np.array([column for column, _ in entries], np.int32)
    lp.a_matrix_.value_ = np.array([weight for _, weight in entries], float)
    kinds = highspy.HighsVarType
    lp.integrality_ = (
        [kinds.kInteger if v.cat == pulp.LpInteger else kinds.kContinuous for v in variables] if whole else []
    )
    return lp


def _limits(pairs: Iterable[tuple[float | None, float | None]]) -> tuple[np.ndarray, np.ndarray]:
    both = [(-math.inf if least is None else least, math.inf if most is None else most) for least, most in pairs]
    lower, upper = np.array(both, float).reshape(-1, 2).T
    return np.ascontiguousarray(lower), np.ascontiguousarray(upper)


def _constraints(total: Any, least: float, most: float) -> Iterator[Any]:
    if least == most:
        yield total == least
        return
    if least > -math.inf:
        yield total >= least
    if most < math.inf:
        yield total <= most


def _sum(weights: Mapping[int, float], variables: Sequence[pulp.LpVariable]) -> Any:
    return _EXPRESSION({variables[v]: weight for v, weight in weights.items()})


def _read(model: Any, variables: Sequence[pulp.LpVariable], whole: Sequence[bool] | None) -> Solution:
    """The verdict from the solver's own status: a stopped run may have values, an impossible one has them too.

    Values of the variables that are `whole` are rounded, no others: a part of a milliamp can be what a row has left.
    """
    status, info = model.getModelStatus(), model.getInfo()
    state = highspy.HighsModelStatus
    if status in (state.kInfeasible, state.kUnboundedOrInfeasible):
        return Solution(NOT_ENOUGH)
    if info.primal_solution_status != _FEASIBLE:
        return Solution(STOPPED_EMPTY if status in (state.kTimeLimit, state.kInterrupt) else FAILED)
    value = info.objective_function_value
    values = tuple(v.varValue or 0.0 for v in variables)
    if whole is None:
        outcome = PROVEN_BEST if status == state.kOptimal else STOPPED_EMPTY
        return Solution(outcome, values, value, value, tuple(v.dj or 0.0 for v in variables))
    rounded = tuple(round(each) if is_whole else each for each, is_whole in zip(values, whole, strict=True))
    if status == state.kOptimal:
        return Solution(PROVEN_BEST, rounded, round(value), round(value))
    bound = info.mip_dual_bound
    return Solution(BEST_SO_FAR, rounded, round(value), math.ceil(bound - 1e-6) if math.isfinite(bound) else -math.inf)


def silence_banner() -> None:
    """Start HiGHS once with stdout redirected: it prints a banner to it before any option is read."""
    global _silenced
    with _quiet:
        if _silenced:
            return
        _print_banner()
        _silenced = True


def _print_banner() -> None:
    if sys.stdout is not None:
        sys.stdout.flush()
    try:
        kept = os.dup(1)
    except OSError:  # nothing is printed to
        _HIGHS()
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        _HIGHS()
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)
