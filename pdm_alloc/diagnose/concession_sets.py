"""The cheapest sets of concessions, each tried in full before it is shown."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from pdm_alloc.allocator import any_allocation
from pdm_alloc.circuits.classes import channel_classes
from pdm_alloc.circuits.columns import CircuitBook, TooManyCircuits
from pdm_alloc.diagnose.new_channels import Offer, offer_of
from pdm_alloc.domain.concession_options import Option, concede, eased, options
from pdm_alloc.domain.module import Unit, natural_key
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.program.concession_program import Model, concession_model, no_superset, not_exactly, opens
from pdm_alloc.program.solver import NOT_ENOUGH, PROVEN_BEST, Clock
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.refusals import arithmetic_shorts

__all__ = ["MOST_SETS", "SEARCH_S", "ConcessionSet", "ConcessionStudy", "concession_sets", "concession_study"]

MOST_SETS = 5
SEARCH_S = 3.0  # for which sets are looked for where no limit is given: whoever asks why waits for it
_MOST_TRIES = 40
SMALL_MA = 3_000  # loads in the same step of so much are alike to whoever gives one up; ours


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
    wanted : Vehicle or None
        Before any concession.
    alike : tuple of tuple of Option
        Sets that differ from `made` only in which of like loads they concern; each was allocated and checked too.
    """

    rank: int
    made: tuple[Option, ...]
    vehicle: Vehicle
    allocation: Allocation
    wanted: Vehicle | None = None
    alike: tuple[tuple[Option, ...], ...] = ()

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
    book: CircuitBook | None = None,
    offer: Offer | None = None,
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
    book : CircuitBook, optional
        Circuits of this vehicle known from an earlier call.
    offer : Offer, optional
        As `offer_of` gives it, where it is known.

    Returns
    -------
    ConcessionStudy
        Without sets where nothing on offer helps.
    """
    if len(units) != 1:
        return ConcessionStudy(left_open="concessions are looked for on one module at a time")
    if any(s.kind == "supply voltage" for s in arithmetic_shorts(vehicle, units)):
        return ConcessionStudy()
    clock = Clock(vehicle.settings.time_limit_s if time_limit_s is None else time_limit_s, stop)
    book = CircuitBook(vehicle.settings.tolerance_loads) if book is None else book
    try:
        model = concession_model(vehicle, units[0], offered(vehicle, units, book, offer), book, clock.is_over)
    except TooManyCircuits as why:
        return ConcessionStudy(left_open=f"concessions were not looked for: {why}")
    return _searched(vehicle, units[0], model, most, clock, book)


def offered(
    vehicle: Vehicle, units: tuple[Unit, ...], book: CircuitBook, offer: Offer | None = None
) -> tuple[Option, ...]:
    """Concessions on offer: those of the vehicle that these units have a use for, and more drop where a wire needs it.

    A soft start or a measured current is one only where a kind of channel then bears the load that did not before.
    """
    drops = [o for r in (offer or offer_of(vehicle, units, book)).relaxed for o in eased(vehicle, r.load, r.need_pct)]
    ratings = {c.rating for c in channel_classes(vehicle, units)[0]}
    useful = [o for o in options(vehicle) if o.kind not in _OPENERS or opens(vehicle, o, ratings, book)]
    return tuple(sorted((*useful, *drops), key=lambda o: (o.weight, o.kind, natural_key(o.subject))))


_OPENERS = ("soft_start", "measure")


def _searched(
    vehicle: Vehicle, unit: Unit, model: Model, most: int, clock: Clock, book: CircuitBook
) -> ConcessionStudy:
    found: list[ConcessionSet] = []
    known: dict[tuple[object, ...], int] = {}
    for _ in range(_MOST_TRIES):
        if len(found) == most:
            return ConcessionStudy(tuple(found))
        solution = model.cheapest(clock)
        if solution.outcome == NOT_ENOUGH:
            return ConcessionStudy(tuple(found))
        if solution.outcome != PROVEN_BEST:
            break
        taken = [n for n, v in enumerate(model.chosen) if round(solution.values[v])]
        made = tuple(model.options[n] for n in taken)
        result = any_allocation(concede(vehicle, made), (unit,), clock, book)
        if result is None:
            not_exactly(model, taken)
        else:
            no_superset(model, taken)
            at = known.setdefault(_kind_of_set(vehicle, made), len(found))
            if at < len(found):
                found[at] = replace(found[at], alike=(*found[at].alike, made))
                continue
            found.append(ConcessionSet(len(found) + 1, made, result.vehicle, result, vehicle))
    return ConcessionStudy(tuple(found), "the search for concessions ended before it was through: there may be more")


def _kind_of_set(vehicle: Vehicle, made: tuple[Option, ...]) -> tuple[object, ...]:
    """What a set gives up, whichever of like things: mirror twins and equal small loads are one set."""
    return tuple(sorted((o.kind, o.weight, tuple(sorted(_likeness(vehicle, m) for m in o.members))) for o in made))


def _likeness(vehicle: Vehicle, name: str) -> str:
    """Of a load, or of all loads of a command; a label is itself."""
    if any(i.name == name for i in vehicle.inputs):
        return "switch"
    loads = [x for x in vehicle.loads if name in (x.name, x.command)]
    if not loads:
        return name
    return str(sorted((x.kind, x.importance, x.running_ma * x.count // SMALL_MA) for x in loads))
