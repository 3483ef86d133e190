"""Chance that a fixed allocation keeps every limit, whatever the guesses turn out to be."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pdm_alloc.allocation.result import Allocation
from pdm_alloc.uncertainty.interval import wilson
from pdm_alloc.uncertainty.limits import Limits, limits_of

__all__ = ["Risk", "allocation_risk", "factors"]

_SLACK = 1e-6  # mA: sums of floats must not miss a limit they meet exactly
_BLOCK = 20_000  # draws at a time: keeps memory small


@dataclass(frozen=True)
class Risk:
    """What a number of draws came to.

    Parameters
    ----------
    draws, kept : int
        How many draws; in how many of them every limit was kept.
    limits : DataFrame
        A row a limit that was passed in any draw: subject, chance, limit_a, worst_a.
    measure_first : DataFrame
        A row a load whose guess matters: load, tolerance_pct, chance_now, chance_if_measured: the
        chance that every limit is kept if this load turns out to draw what the table says.
    """

    draws: int
    kept: int
    limits: pd.DataFrame
    measure_first: pd.DataFrame

    @property
    def chance(self) -> float:
        """Chance that every limit is kept, between 0 and 1."""
        return self.kept / self.draws

    @property
    def interval(self) -> tuple[float, float]:
        """Its 95 % confidence interval."""
        return wilson(self.kept, self.draws)

    def summary(self) -> str:
        """One sentence with the chance, its interval and what to measure first."""
        low, high = self.interval
        text = f"every limit is kept in {100 * self.chance:.2f} % of {self.draws:,} draws"
        text += f" (95 % confidence: {100 * low:.2f} to {100 * high:.2f} %)"
        return text if self.measure_first.empty else f"{text}; measure first: {self.measure_first.load.iloc[0]}"


def allocation_risk(allocation: Allocation, draws: int = 100_000, seed: int = 1) -> Risk:
    """Draw every guess within its tolerance and count how often all limits are kept.

    Each load of the table is drawn once a draw, evenly over plus and minus its tolerance, and
    independently of the others; its items are off together.

    Parameters
    ----------
    allocation : Allocation
        Stays as it is.
    draws : int
        How many, at least 1.
    seed : int
        Same seed, same draws.

    Returns
    -------
    Risk

    Raises
    ------
    ValueError
        There are no draws.
    """
    if draws < 1:
        raise ValueError(f"{draws} draws are not possible: at least 1")
    limits = limits_of(allocation)
    count = _Count(limits)
    random = np.random.default_rng(seed)
    for start in range(0, draws, _BLOCK):
        count.add(factors(random, limits.tolerance, min(_BLOCK, draws - start)))
    return Risk(draws, count.kept, count.limits_table(draws), count.measure_table(draws))


def factors(random: np.random.Generator, tolerance: np.ndarray, draws: int) -> np.ndarray:
    """What each load draws over what the table says.

    Parameters
    ----------
    random : numpy Generator
        Where the numbers come from.
    tolerance : ndarray, shape (loads,)
        How far each may be off, as a fraction.
    draws : int
        How many.

    Returns
    -------
    ndarray, shape (draws, loads)
    """
    return 1 + tolerance * random.uniform(-1, 1, (draws, len(tolerance)))


class _Count:
    """What is kept and what is passed, added up block by block."""

    def __init__(self, limits: Limits):
        self.given = limits
        worst = limits.weights @ (1 + limits.tolerance)
        self.at_risk = np.flatnonzero(worst > limits.most + _SLACK)
        self.weights, self.most = limits.weights[self.at_risk], limits.most[self.at_risk]
        self.uncertain = [n for n in np.flatnonzero(limits.tolerance) if self.weights[:, n].any()]
        self.kept = 0
        self.passed = np.zeros(len(self.at_risk), dtype=int)
        self.worst = np.zeros(len(self.at_risk))
        self.kept_if_known = np.zeros(len(self.uncertain), dtype=int)

    def add(self, drawn: np.ndarray) -> None:
        """Count one block of draws, shape (draws, loads)."""
        if not len(self.at_risk):
            self.kept += len(drawn)
            return
        sums = drawn @ self.weights.T
        over = sums - self.most
        self.kept += int((over <= _SLACK).all(axis=1).sum())
        self.passed += (over > _SLACK).sum(axis=0)
        self.worst = np.maximum(self.worst, sums.max(axis=0))
        for i, n in enumerate(self.uncertain):
            known = over - np.outer(drawn[:, n] - 1, self.weights[:, n])
            self.kept_if_known[i] += int((known <= _SLACK).all(axis=1).sum())

    def limits_table(self, draws: int) -> pd.DataFrame:
        """Limits that were passed, the likeliest first."""
        rows = [
            (self.given.subjects[n], self.passed[i] / draws, self.most[i] / 1000, round(self.worst[i] / 1000, 3))
            for i, n in enumerate(self.at_risk)
            if self.passed[i]
        ]
        rows.sort(key=lambda row: (-row[1], row[0]))
        return pd.DataFrame(rows, columns=["subject", "chance", "limit_a", "worst_a"])

    def measure_table(self, draws: int) -> pd.DataFrame:
        """Loads whose guess drives the risk, the most rewarding first."""
        now = self.kept / draws
        rows = [
            (self.given.loads[n], 100 * self.given.tolerance[n], now, self.kept_if_known[i] / draws)
            for i, n in enumerate(self.uncertain)
            if self.kept_if_known[i] > self.kept
        ]
        rows.sort(key=lambda row: (-row[3], row[0]))
        return pd.DataFrame(rows, columns=["load", "tolerance_pct", "chance_now", "chance_if_measured"])
