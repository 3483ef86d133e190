"""Chance that a module is enough when the loads may be allocated anew once they are known."""

from collections.abc import Callable, Iterable
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from pdm_alloc.allocation.arithmetic import arithmetic_shorts
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.module import Module, Unit, units_of
from pdm_alloc.program.outcome import BEST_SO_FAR, NOT_ENOUGH, PROVEN_BEST
from pdm_alloc.program.solve import is_enough
from pdm_alloc.program.solver import Clock
from pdm_alloc.uncertainty.fixed import factors
from pdm_alloc.uncertainty.interval import wilson
from pdm_alloc.vehicle import Vehicle

__all__ = ["ModuleRisk", "module_risk"]

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
    found: list[str] = []
    for words in _decided(vehicle, units, chunks, executor, time_limit_s):
        found += words
        if progress is not None:
            progress(len(found), draws)
    return _counted(found)


def _decided(vehicle, units, chunks, executor: Executor | None, time_limit_s: float):
    if executor is None:
        yield from (_outcomes(vehicle, units, chunk, time_limit_s) for chunk in chunks)
        return
    waiting = [executor.submit(_outcomes, vehicle, units, chunk, time_limit_s) for chunk in chunks]
    yield from (future.result() for future in waiting)


def _counted(found: list[str]) -> ModuleRisk:
    decided = [word for word in found if word in (PROVEN_BEST, BEST_SO_FAR, NOT_ENOUGH)]
    if not decided:
        raise ValueError("no draw was decided in time: give it more time_limit_s")
    return ModuleRisk(len(decided), sum(w != NOT_ENOUGH for w in decided), len(found) - len(decided))


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
