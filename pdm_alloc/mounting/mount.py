"""Choose modules, their places and the allocation together."""

from collections.abc import Callable, Mapping
from concurrent.futures import Executor

from pdm_alloc.allocation.not_enough import Unsolved
from pdm_alloc.allocation.result import Allocation
from pdm_alloc.circuits.columns import TooManyCircuits
from pdm_alloc.module import Catalogue
from pdm_alloc.mounting.choice import choices, mount_places
from pdm_alloc.mounting.judge import judge_choice
from pdm_alloc.mounting.objective import Objective, objective_of
from pdm_alloc.mounting.result import Mounting, mounting_of
from pdm_alloc.mounting.search import Search
from pdm_alloc.program.outcome import FAILED, PROVEN_BEST
from pdm_alloc.vehicle import Vehicle

__all__ = ["mount"]


def mount(
    vehicle: Vehicle,
    catalogue: Catalogue,
    objective: str | Mapping[str, float] = "price",
    *,
    time_limit_s: float | None = None,
    progress: Callable[[str], None] | None = None,
    stop: Callable[[], bool] | None = None,
    executor: Executor | None = None,
    at_once: int | None = None,
    most: int = 2,
) -> Mounting:
    """The best choice of modules and of places to mount them, proved.

    Every module and every two modules of the catalogue are compared on all places with mount = yes.
    What could not be better by its bound is passed over, and the loads are allocated so that the
    wires are lightest.

    Parameters
    ----------
    vehicle : Vehicle
        With places.
    catalogue : Catalogue
        Modules to choose from.
    objective : str or mapping of str to float
        ``price``, ``mass``, ``front`` (all that nothing is both cheaper and lighter than), or weights
        by ``price`` and ``mass_g``.
    time_limit_s : float, optional
        Time limit per choice, s; default: the vehicle's setting.
    progress : callable, optional
        Called with the label of each choice that was solved.
    stop : callable, optional
        Asked between solves; True ends the study with the best so far.
    executor : concurrent.futures.Executor, optional
        Runs the solves: threads, processes, or a cluster's; default: one after the other, here.
    at_once : int, optional
        Solves under way at once; default: as many as the executor has workers.
    most : int
        Modules in one choice at most.

    Returns
    -------
    Mounting

    Raises
    ------
    UnknownName
        Unknown objective (a KeyError and a ValueError).
    ValueError
        No place can take a module, or a module lacks the price or mass it is compared by.
    Unsolved
        A command has too many different loads to list its circuits.
    """
    places = mount_places(vehicle)
    if not places:
        raise ValueError("no place can take a module: set mount to yes for one in the table places")
    wanted = objective_of(objective)
    _check(catalogue, wanted)
    limit_s = vehicle.settings.time_limit_s if time_limit_s is None else time_limit_s
    try:
        search = Search(vehicle, choices(catalogue, places, most), wanted, limit_s)
        search.run(executor, at_once, progress, stop)
        return mounting_of(search, _allocation(search))
    except TooManyCircuits as why:
        raise Unsolved(FAILED, str(why)) from None


def _check(catalogue: Catalogue, wanted: Objective) -> None:
    """Every module has the numbers it is to be compared by."""
    for column, needed in (("price", wanted.price or wanted.is_front), ("mass_g", wanted.mass_dg or wanted.is_front)):
        missing = [m.name for m in catalogue if getattr(m, column) is None] if needed else []
        if missing:
            raise ValueError(f"{column} is missing for {', '.join(missing)}: enter it in the table modules")


def _allocation(search: Search) -> Allocation | None:
    """The circuits of the best choice, on the channels of their units that make the headroom most even."""
    best = search.objective.best(search.known.values())
    if best is None:
        return None
    choice, judged = search.choices[best.number], search.judged[best.number]
    settled = judge_choice(search.job(choice, None, settle=True))
    final = settled if settled.circuits and settled.harness_dg <= judged.harness_dg else judged
    wanted = search.vehicle.settings.strategy  # what a later change to the design is made by
    objectives = (("wires, 0.1 g", final.wire_dg), ("feeds, 0.1 g", final.feed_dg))
    gap = 0.0 if judged.outcome == PROVEN_BEST else 1 - judged.bound_dg / max(1, judged.harness_dg)
    return Allocation(search.vehicle, choice.units, final.circuits, wanted, judged.outcome, gap, objectives)
