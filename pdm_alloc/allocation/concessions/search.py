"""The cheapest sets of concessions, one after the other, each tried in full before it is shown."""

from collections.abc import Callable
from dataclasses import dataclass

from pdm_alloc.allocation.allocate import allocate
from pdm_alloc.allocation.arithmetic import arithmetic_shorts
from pdm_alloc.allocation.concessions.model import Model, concession_model, no_superset, not_exactly
from pdm_alloc.allocation.concessions.option import Option, concede, options
from pdm_alloc.allocation.not_enough import NotEnough, Unsolved
from pdm_alloc.allocation.result import Allocation
from pdm_alloc.circuits.columns import TooManyCircuits
from pdm_alloc.module import Unit
from pdm_alloc.program.outcome import NOT_ENOUGH, PROVEN_BEST
from pdm_alloc.program.solver import Clock
from pdm_alloc.program.stages import minimise
from pdm_alloc.vehicle import Vehicle

__all__ = ["ConcessionSet", "ConcessionStudy", "concession_sets", "concession_study"]

MOST_SETS = 5
_MOST_TRIES = 40


@dataclass(frozen=True)
class ConcessionSet:
    """Concessions that together make a module enough.

    Parameters
    ----------
    rank : int
        1 for the cheapest.
    made : tuple of Option
        The concessions; none of them can be dropped.
    vehicle : Vehicle
        With the concessions made.
    allocation : Allocation
        Of that vehicle on the module, checked.
    """

    rank: int
    made: tuple[Option, ...]
    vehicle: Vehicle
    allocation: Allocation

    @property
    def weight(self) -> int:
        """Sum of the weights."""
        return sum(option.weight for option in self.made)


@dataclass(frozen=True)
class ConcessionStudy:
    """Result of the search for concessions.

    Parameters
    ----------
    sets : tuple of ConcessionSet
        Cheapest first; no set contains another.
    left_open : str
        Why there may be more sets than were found; empty where that is proved not to be, or as many were
        found as were asked for.
    """

    sets: tuple[ConcessionSet, ...] = ()
    left_open: str = ""


def concession_sets(
    vehicle: Vehicle,
    units: tuple[Unit, ...],
    most: int = MOST_SETS,
    time_limit_s: float | None = None,
    stop: Callable[[], bool] | None = None,
) -> tuple[ConcessionSet, ...]:
    """The cheapest distinct sets of concessions that make a unit enough, in order: those of `concession_study`."""
    return concession_study(vehicle, units, most, time_limit_s, stop).sets


def concession_study(
    vehicle: Vehicle,
    units: tuple[Unit, ...],
    most: int = MOST_SETS,
    time_limit_s: float | None = None,
    stop: Callable[[], bool] | None = None,
) -> ConcessionStudy:
    """Search for the cheapest distinct sets of concessions that make a unit enough, in order.

    Parameters
    ----------
    vehicle : Vehicle
        As it is wanted.
    units : tuple of Unit
        One unit that is not enough; for several there are no sets.
    most : int
        How many sets at the most.
    time_limit_s : float, optional
        Clock, s; default: the vehicle's setting.
    stop : callable, optional
        True ends the search with the sets found so far.

    Returns
    -------
    ConcessionStudy
        Without sets where nothing on offer helps.
    """
    if len(units) != 1:
        return ConcessionStudy(left_open="concessions are looked for on one module at a time")
    if any(s.kind in ("inputs", "supply voltage") for s in arithmetic_shorts(vehicle, units)):
        return ConcessionStudy()
    clock = Clock(vehicle.settings.time_limit_s if time_limit_s is None else time_limit_s, stop)
    try:
        model = concession_model(vehicle, units[0], options(vehicle), clock.is_over)
    except TooManyCircuits as why:
        return ConcessionStudy(left_open=f"concessions were not looked for: {why}")
    return _searched(vehicle, units[0], model, most, clock)


def _searched(vehicle: Vehicle, unit: Unit, model: Model, most: int, clock: Clock) -> ConcessionStudy:
    found: list[ConcessionSet] = []
    for _ in range(_MOST_TRIES):
        if len(found) == most:
            return ConcessionStudy(tuple(found))
        solution = minimise(model.program, [model.cost()], clock)[0]
        if solution.outcome == NOT_ENOUGH:
            return ConcessionStudy(tuple(found))
        if solution.outcome != PROVEN_BEST:
            break
        taken = [n for n, v in enumerate(model.chosen) if round(solution.values[v])]
        made = tuple(model.options[n] for n in taken)
        result = _tried(vehicle, unit, made, clock)
        if result is None:
            not_exactly(model, taken)
        else:
            no_superset(model, taken)
            found.append(ConcessionSet(len(found) + 1, made, result.vehicle, result))
    return ConcessionStudy(tuple(found), "the search for concessions ended before it was through: there may be more")


def _tried(vehicle: Vehicle, unit: Unit, made: tuple[Option, ...], clock: Clock) -> Allocation | None:
    try:
        return allocate(concede(vehicle, made), unit, strategy="spare", time_limit_s=clock.left_s)
    except (NotEnough, Unsolved):
        return None
