"""A linear program that grows by columns and is solved again from where it stopped."""

import math
from collections.abc import Mapping, Sequence

import highspy
import numpy as np

from pdm_alloc.program.solver import Clock, silence_banner

__all__ = ["Linear"]

_SEED = 1


class Linear:
    """Variables of at least 0, rows of sums between bounds, one cost to minimise; HiGHS, one thread."""

    def __init__(self):
        silence_banner()
        self._highs = highspy.Highs()
        for name, value in (("output_flag", False), ("threads", 1), ("random_seed", _SEED), ("presolve", "off")):
            self._highs.setOptionValue(name, value)
        self.rows = self.columns = self.steps = self.solves = 0
        self.objective = math.nan
        self.values = self.duals = np.zeros(0)

    def row(self, least: float, most: float, entries: Mapping[int, float] | None = None) -> int:
        """Add a row least <= sum <= most over columns there are; its number."""
        numbers, weights = _arrays(entries or {})
        self._highs.addRow(_finite(least), _finite(most), len(numbers), numbers, weights)
        self.rows += 1
        return self.rows - 1

    def bound(self, row: int, least: float, most: float) -> None:
        """Change the bounds of a row."""
        self._highs.changeRowBounds(row, _finite(least), _finite(most))

    def close(self, column: int, most: float = 0.0) -> None:
        """Change the upper bound of a column."""
        self._highs.changeColBounds(column, 0.0, _finite(most))

    def column(self, cost: float, entries: Mapping[int, float]) -> int:
        """Add a column; its number."""
        rows, weights = _arrays(entries)
        self._highs.addCol(float(cost), 0.0, highspy.kHighsInf, len(rows), rows, weights)
        self.columns += 1
        return self.columns - 1

    def price(self, costs: Sequence[float] | np.ndarray) -> None:
        """Change the cost of every column."""
        numbers = np.arange(self.columns, dtype=np.int32)
        self._highs.changeColsCost(self.columns, numbers, np.asarray(costs, np.float64))

    def solve(self, clock: Clock) -> bool:
        """Solve; True where an optimum was found: then `objective`, `values` and `duals` are of it."""
        left = clock.left_s
        if left <= 0:
            return False
        self._highs.setOptionValue("time_limit", self._highs.getRunTime() + left)
        self._highs.run()
        self.solves += 1
        if self._highs.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return False
        self.steps += max(0, self._highs.getInfo().simplex_iteration_count)
        solution = self._highs.getSolution()
        self.objective = self._highs.getInfo().objective_function_value
        self.values = np.array(solution.col_value)
        self.duals = np.array(solution.row_dual)
        return True


def _arrays(entries: Mapping[int, float]):
    size = len(entries)
    return np.fromiter(entries, np.int32, size), np.fromiter(entries.values(), np.float64, size)


def _finite(bound: float) -> float:
    return math.copysign(highspy.kHighsInf, bound) if math.isinf(bound) else float(bound)
