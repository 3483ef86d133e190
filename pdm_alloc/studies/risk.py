"""Chance that an answer survives the guesses in the load table."""

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
import pandas as pd

from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.circuits.items import ItemType, load_types, scenes_of
from pdm_alloc.domain.module import Module, Unit, natural_key, units_of
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.protection import inrush_use
from pdm_alloc.program.allocation_solve import is_enough
from pdm_alloc.program.solver import BEST_SO_FAR, NOT_ENOUGH, PROVEN_BEST, Clock
from pdm_alloc.program.sums import Loading, Sums, Worst, item_ma
from pdm_alloc.result.allocation import Allocation, arithmetic_shorts
from pdm_alloc.result.placed import PlacedCircuit, place_of
from pdm_alloc.result.worst import limit_name, sums_of

__all__ = ["Limits", "ModuleRisk", "Risk", "allocation_risk", "factors", "limits_of", "module_risk", "wilson"]

LimitRow = tuple[str, dict[str, float], float]  # what it limits, share of each load, the limit, mA


@dataclass(frozen=True)
class Limits:
    """Limits of an allocation, linear in what each load draws.

    Parameters
    ----------
    loads : tuple of str
        Loads, in the order of the columns of `weights`.
    tolerance : ndarray, shape (loads,)
        How far each may be off, as a fraction of its running current.
    subjects : tuple of str
        What each limit is of, in the order of the rows.
    weights : ndarray, shape (limits, loads)
        Current of each load in each limit when its guess is right, mA.
    most : ndarray, shape (limits,)
        The limit, mA.
    """

    loads: tuple[str, ...]
    tolerance: np.ndarray
    subjects: tuple[str, ...]
    weights: np.ndarray
    most: np.ndarray


def limits_of(allocation: Allocation) -> Limits:
    """Limits of every channel (running and inrush), bank and module in every state.

    Parameters
    ----------
    allocation : Allocation
        Stays as it is.

    Returns
    -------
    Limits
    """
    types = {t.load: t for t in load_types(allocation.vehicle)}
    names = tuple(sorted(types, key=natural_key))
    rows = [*_channels(allocation, types), *_sums(allocation)]
    table = np.array([[share.get(name, 0.0) for name in names] for _, share, _ in rows])
    tolerance = np.array([float(allocation.vehicle.load(name).tolerance_pct) / 100 for name in names])
    most = np.array([limit for _, _, limit in rows], dtype=float)
    return Limits(names, tolerance, tuple(subject for subject, _, _ in rows), table, most)


def _channels(allocation: Allocation, types: dict[str, ItemType]) -> Iterator[LimitRow]:
    for circuit in allocation.circuits:
        share = _largest_share(circuit, types)
        where = f"{circuit.unit} channel {circuit.channel}"
        usable = place_of(allocation.vehicle, allocation.units, circuit).rating.usable_ma
        yield f"{where}, running", share, usable
        borne = most_running_ma(allocation, circuit)
        if borne < usable:
            yield f"{where}, inrush", share, borne


def _largest_share(circuit: PlacedCircuit, types: dict[str, ItemType]) -> dict[str, float]:
    """Current of each load at the voltage at which the circuit draws most, mA."""
    number = {name: sum(n == name for n, _ in circuit.items) for name in circuit.loads}
    at = max(
        range(len(types[circuit.loads[0]].volt_ma)),
        key=lambda v: sum(types[name].volt_ma[v] * k for name, k in number.items()),
    )
    return {name: float(types[name].volt_ma[at] * k) for name, k in number.items()}


def most_running_ma(allocation: Allocation, circuit: PlacedCircuit) -> float:
    """Running current up to which a channel bears the inrush of its circuit, mA: above it, it trips.

    The inrush above running is what the table says; what is uncertain is the running current below
    it. What the channel bears only falls as that rises, so bisection finds the one crossing.
    """
    vehicle = allocation.vehicle
    rating = place_of(vehicle, allocation.units, circuit).rating
    types = {t.load: t for t in load_types(vehicle)}
    waves = [types[name].surge_ma / 1000 for name, _ in circuit.items]
    tau = [types[name].tau_ms for name, _ in circuit.items]

    def bears(running_ma: float) -> bool:
        channel = (rating.usable_ma / 1000, rating.peak_ma / 1000, rating.peak_ms)
        return inrush_use(running_ma / 1000, waves, tau, *channel).passes

    low, high = 0.0, float(rating.usable_ma)
    if bears(high):
        return high
    while high - low > 0.5:
        middle = (low + high) / 2
        low, high = (middle, high) if bears(middle) else (low, middle)
    return low


def _sums(allocation: Allocation) -> Iterator[LimitRow]:
    """Banks and modules under the combination that is worst when every guess is right, in every state."""
    sums, loadings = sums_of(allocation.vehicle, allocation.units, allocation.circuits)
    for scene in scenes_of(allocation.vehicle):
        for limit in sums.limits:
            worst = sums.worst(limit, loadings[limit], scene)
            if worst is not None:
                where = f"{allocation.units[limit.unit].label} {limit_name(limit)} in {scene.state}"
                yield where, *_row(sums, loadings[limit], worst)


def _row(sums: Sums, loading: Loading, worst: Worst) -> tuple[dict[str, float], float]:
    """Running currents of what is on, and the limit less the inrush of what is switched on, which the table says."""
    share: dict[str, float] = {}
    most = float(worst.limit.most_ma)
    for (command, n), portions in loading.items():
        t = sums.types[command][n]
        ma, draw = item_ma(t, worst.cut, worst.limit.settle_s)[0], t.draws[worst.scene.number]
        is_new = command in (worst.cut.switched_on or ())
        share[t.load] = portions * (draw.running_ma if is_new else ma) / worst.limit.whole
        most -= portions * draw.excess_ma / worst.limit.whole if is_new else 0
    return share, most


def wilson(hits: int, draws: int, z: float = 1.959964) -> tuple[float, float]:
    """Confidence interval of a chance, Wilson's score interval.

    Parameters
    ----------
    hits, draws : int
        How often it came true, of how many draws; at least one draw.
    z : float
        Quantile of the normal distribution; 1.96: 95 % confidence.

    Returns
    -------
    low, high : float
        Between 0 and 1.

    Raises
    ------
    ValueError
        There are no draws, or more hits than draws.
    """
    if draws < 1 or not 0 <= hits <= draws:
        raise ValueError(f"{hits} hits of {draws} draws are not possible")
    share = hits / draws
    scale = 1 + z * z / draws
    middle = (share + z * z / (2 * draws)) / scale
    half = z * math.sqrt(share * (1 - share) / draws + z * z / (4 * draws * draws)) / scale
    return max(0.0, middle - half), min(1.0, middle + half)


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


_CHUNK = 10  # draws a task: few enough for progress, enough to be worth the trip to another process


@dataclass(frozen=True)
class ModuleRisk:
    """In how many draws a module was enough.

    Parameters
    ----------
    draws, enough : int
        Draws that were decided; how many of them found the module enough.
    undecided : int
        Draws whose clock ran out.
    """

    draws: int
    enough: int
    undecided: int = 0

    @property
    def chance(self) -> float:
        """Chance that the module is enough, between 0 and 1."""
        return self.enough / self.draws

    @property
    def interval(self) -> tuple[float, float]:
        """Its 95 % confidence interval."""
        return wilson(self.enough, self.draws)


def module_risk(
    vehicle: Vehicle,
    modules: Module | Unit | Iterable[Module | Unit],
    draws: int = 200,
    seed: int = 1,
    *,
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
    time_limit_s: float = 10.0,
) -> ModuleRisk:
    """Draw every guess within its tolerance and ask each time whether the module is enough.

    Parameters
    ----------
    vehicle : Vehicle
        With tolerances.
    modules : Module, Unit or iterable of these
        What is fitted.
    draws : int
        How many, at least 1.
    seed : int
        Same seed, same draws, whatever the executor.
    executor : concurrent.futures.Executor, optional
        Where the draws are decided; default: here, one after the other.
    progress : callable, optional
        Called with draws done and draws in all.
    time_limit_s : float
        Clock of one draw, s.

    Returns
    -------
    ModuleRisk

    Raises
    ------
    ValueError
        There are no draws, or none was decided in time.
    """
    if draws < 1:
        raise ValueError(f"{draws} draws are not possible: at least 1")
    units = units_of(modules)
    tolerance = np.array([float(load.tolerance_pct) / 100 for load in vehicle.loads])
    drawn = factors(np.random.default_rng(seed), tolerance, draws)
    chunks = [drawn[n : n + _CHUNK] for n in range(0, draws, _CHUNK)]
    outcomes: list[str] = []
    for words in _decided(vehicle, units, chunks, executor, time_limit_s):
        outcomes += words
        if progress is not None:
            progress(len(outcomes), draws)
    return _counted(outcomes)


def _decided(
    vehicle: Vehicle,
    units: tuple[Unit, ...],
    chunks: Sequence[np.ndarray],
    executor: Executor | None,
    time_limit_s: float,
) -> Iterator[list[str]]:
    if executor is None:
        yield from (_outcomes(vehicle, units, chunk, time_limit_s) for chunk in chunks)
        return
    waiting = [executor.submit(_outcomes, vehicle, units, chunk, time_limit_s) for chunk in chunks]
    yield from (future.result() for future in waiting)


def _counted(outcomes: list[str]) -> ModuleRisk:
    decided = [word for word in outcomes if word in (PROVEN_BEST, BEST_SO_FAR, NOT_ENOUGH)]
    if not decided:
        raise ValueError("no draw was decided in time: give it more time_limit_s")
    return ModuleRisk(len(decided), sum(w != NOT_ENOUGH for w in decided), len(outcomes) - len(decided))


def _outcomes(vehicle: Vehicle, units: tuple[Unit, ...], drawn: np.ndarray, time_limit_s: float) -> list[str]:
    """Outcome word of each draw."""
    return [_outcome(_turned_out(vehicle, row), units, time_limit_s) for row in drawn]


def _outcome(vehicle: Vehicle, units: tuple[Unit, ...], time_limit_s: float) -> str:
    if arithmetic_shorts(vehicle, units):
        return NOT_ENOUGH
    return is_enough(vehicle, units, Clock(time_limit_s), CircuitBook(0)).outcome


def _turned_out(vehicle: Vehicle, drawn: np.ndarray) -> Vehicle:
    """The vehicle as one draw has it: nothing is uncertain any more; the inrush above running stays."""
    loads = []
    for load, factor in zip(vehicle.loads, drawn, strict=True):
        running = max(1, round(load.running_ma * factor))
        peak = running + max(0, load.inrush_ma - load.running_ma)
        loads.append(replace(load, running_ma=running, inrush_ma=peak, tolerance_pct=Fraction(0)))
    return replace(vehicle, loads=tuple(loads))
