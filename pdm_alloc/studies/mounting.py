"""Choose modules, their places and the allocation together."""

from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Executor
from contextlib import contextmanager
from dataclasses import dataclass
from math import inf
from typing import Any

import pandas as pd

from pdm_alloc.circuits.columns import OutOfTime, TooManyCircuits
from pdm_alloc.domain.module import Catalogue
from pdm_alloc.domain.showing import handed_out, headline_table, percent
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.program.solver import BEST_SO_FAR, FAILED, NOT_ENOUGH, PROVEN_BEST, STOPPED_EMPTY, Clock
from pdm_alloc.result.allocation import Allocation, Unsolved, all_warnings, care
from pdm_alloc.result.care_rules import CareWarning, fuel_beside
from pdm_alloc.studies.alternatives import (
    Choice,
    Conventional,
    Found,
    Objective,
    choices,
    conventional,
    known_price,
    mount_places,
    objective_of,
)
from pdm_alloc.studies.mounting_bounds import why_not
from pdm_alloc.studies.mounting_search import Judged, Search, judge_choice, module_dg, unreached

__all__ = ["CHOICES", "Mounting", "mount", "mounted", "mounting_of", "search_places"]

CHOICES = (
    *("choice", "modules", "places", "price", "mass_g", "module_g", "wire_g", "feed_g", "bound_g", "outcome", "care"),
)

_NOT_TRIED = "not tried"


@dataclass(frozen=True, repr=False)
class Mounting:
    """Choices of modules and places, compared.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    all_choices : tuple of Choice
        What was compared.
    objective : Objective
        What is better.
    judged : dict of int to Judged
        What choices came to, by number.
    least : dict of int to int
        Least mass of the harness of a choice, tenths of a gram.
    outcome : str
        ``proven best``: nothing that was not solved can be better; ``best so far``: it was stopped;
        ``not enough``: no choice is; ``no answer in time``.
    undecided : tuple of (int, int)
        Choices that may be better and the least their harness can weigh, tenths of a gram.
    allocation : Allocation or None
        Of the best choice.
    """

    vehicle: Vehicle
    all_choices: tuple[Choice, ...]
    objective: Objective
    judged: dict[int, Judged]
    least: dict[int, int]
    outcome: str
    undecided: tuple[tuple[int, int], ...] = ()
    allocation: Allocation | None = None

    @property
    def best(self) -> Choice | None:
        """The best choice; of a front the cheapest; None where there is none."""
        found = self.objective.best(self._known())
        return None if found is None else self.all_choices[found.number]

    def _known(self) -> list[Found]:
        return [
            Found(n, known_price(self.all_choices[n]), module_dg(self.all_choices[n]) + judged.harness_dg)
            for n, judged in self.judged.items()
            if judged.outcome in (PROVEN_BEST, BEST_SO_FAR)
        ]

    @property
    def is_enough(self) -> bool:
        """True if a choice is enough."""
        return self.best is not None

    @property
    def gap(self) -> float:
        """By how much the best might be beaten, of its value; 0 when proved."""
        found = self.objective.best(self._known())
        if found is None or not self.undecided or self.objective.is_front:
            return 0.0 if not self.undecided else 1.0
        value = self.objective.key(found)[0]
        least = min(self.objective.key(self._at_least(n, dg))[0] for n, dg in self.undecided)
        return float((value - least) / value) if value else 0.0

    def _at_least(self, number: int, harness_dg: int) -> Found:
        choice = self.all_choices[number]
        return Found(number, known_price(choice), module_dg(choice) + harness_dg)

    @handed_out
    def choices(self) -> pd.DataFrame:
        """One row per choice, in the columns `CHOICES`: the best first, then those solved, then by bound.

        mass_g is modules, wires and feeds together, g, empty where the choice was not solved; bound_g is
        what it cannot be lighter than. An outcome ``passed over`` means that this bound is enough to
        know it is not better. care says where a module would be in one compartment with fuel: such choices are
        ``not tried`` where another is enough.
        """
        table = pd.DataFrame([self._row(choice) for choice in self.all_choices], columns=list(CHOICES))
        numbers = ["price", "mass_g", "module_g", "wire_g", "feed_g", "bound_g"]
        table = table.astype(dict.fromkeys(numbers, float))
        order = sorted(self.all_choices, key=self._order)
        return table.iloc[[choice.number for choice in order]].reset_index(drop=True)

    def _row(self, choice: Choice) -> dict[str, Any]:
        judged = self.judged.get(choice.number, Judged(choice.number, _NOT_TRIED))
        solved = judged.outcome in (PROVEN_BEST, BEST_SO_FAR)
        bound = max(self.least.get(choice.number, 0), judged.bound_dg)
        row = {
            "choice": choice.label,
            "modules": len(choice.units),
            "places": ", ".join(u.place or "" for u in choice.units),
            "price": choice.price,
            "module_g": choice.module_g,
            "bound_g": None if judged.outcome == NOT_ENOUGH else (module_dg(choice) + bound) / 10,
            "outcome": judged.outcome,
            "care": "in one compartment with fuel" if self._beside_fuel(choice) else "",
        }
        if solved:
            row |= {"wire_g": judged.wire_dg / 10, "feed_g": judged.feed_dg / 10}
            row["mass_g"] = (module_dg(choice) + judged.harness_dg) / 10
        return row

    def _beside_fuel(self, choice: Choice) -> bool:
        places = [self.vehicle.place(unit.place) for unit in choice.units if unit.place]
        return any(fuel_beside(self.vehicle, place) for place in places)

    def _fuel_words(self, best: Choice) -> str:
        """Why the best choice is in one compartment with fuel, or which choices were left out because of it."""
        if self._beside_fuel(best):
            return " Careful: this is in one compartment with fuel; no choice outside one is enough."
        held = sum(self._beside_fuel(c) for c in self.all_choices if c.number not in self.judged)
        return (
            f" Choices with a module in one compartment with fuel ({held}) are left out: others are enough."
            if held
            else ""
        )

    @property
    def warnings(self) -> tuple[CareWarning, ...]:
        """Rules of care on the best choice, gravest first; where there is none, on the vehicle alone."""
        if self.allocation is not None:
            return tuple(all_warnings(self.vehicle, self.allocation.units, self.allocation.wired))
        return care(self.vehicle, self.best.units if self.best else ())

    def _order(self, choice: Choice) -> tuple[Any, ...]:
        judged = self.judged.get(choice.number)
        if judged is not None and judged.outcome in (PROVEN_BEST, BEST_SO_FAR):
            return (0, self.objective.key(self._at_least(choice.number, judged.harness_dg)))
        if choice.number not in self.least or (judged is not None and judged.outcome == NOT_ENOUGH):
            return (2, (choice.number,))
        bound = max(self.least[choice.number], judged.bound_dg if judged else 0)
        return (1, self.objective.key(self._at_least(choice.number, bound)))

    @property
    def solved(self) -> pd.DataFrame:
        """Rows of `choices` that were solved, whose mass is known; for the figure of masses."""
        return self.choices.dropna(subset=["mass_g"]).reset_index(drop=True)

    def reasons(self, time_limit_s: float | None = None) -> pd.DataFrame:
        """Why choices are not enough, the same of all in one row, gravest first: as `why_not`."""
        refused = [self.all_choices[n] for n, judged in self.judged.items() if judged.outcome == NOT_ENOUGH]
        return why_not(self.vehicle, refused, time_limit_s)

    @handed_out
    def front(self) -> pd.DataFrame:
        """Rows of `choices` that are solved and beaten by no other of these in both price and mass, by price."""
        solved = self.solved.sort_values(["price", "mass_g"], kind="stable")
        before = solved["mass_g"].cummin().shift(fill_value=float("inf"))
        return solved[solved["mass_g"] < before].reset_index(drop=True)

    @property
    def places(self) -> pd.DataFrame:
        """One row per place: place, x_m, y_m, contains; for the plan."""
        rows = [(p.name, p.x_m, p.y_m, " ".join(sorted(p.contains))) for p in self.vehicle.places]
        return pd.DataFrame(rows, columns=["place", "x_m", "y_m", "contains"])

    @property
    def fitted(self) -> pd.DataFrame:
        """One row per unit of the best choice: module, place; for the plan."""
        rows = [(u.label, u.place) for u in self.best.units] if self.best else []
        return pd.DataFrame(rows, columns=["module", "place"])

    @property
    def laid_g(self) -> float | None:
        """Mass of the wires of the best choice, every bundle they lie in counted, g; None where there is none."""
        return None if self.allocation is None else float(self.allocation.wires["mass_g"].sum())

    def conventional(self, box: str | None = None) -> Conventional:
        """What conventional wiring on the same places would weigh, as `pdm_alloc.studies.alternatives`."""
        return conventional(self.vehicle, box)

    def conventional_summary(self) -> str:
        """What conventional wiring would weigh with every assumption, or why that cannot be said."""
        try:
            return self.conventional().summary()
        except ValueError as reason:
            return f"Conventional wiring is not weighed: {reason}."

    def summary(self) -> str:
        """The best choice, what it costs and weighs, how sure that is, and its wires as they are laid."""
        best = self.best
        if best is None:
            return {STOPPED_EMPTY: "No answer in time: no choice is known to be enough yet."}.get(
                self.outcome, "No module and no two modules of the catalogue are enough at any place."
            )
        row = self.choices.iloc[0]
        sure = self.outcome if self.outcome == PROVEN_BEST else f"{self.outcome}, gap {percent(self.gap)}"
        price = "" if best.price is None else f"price {best.price:g}, "
        solved = int(self.choices["mass_g"].notna().sum())
        laid = (
            "" if self.laid_g is None else f" With the actual bundle sizes the wires weigh {self.laid_g / 1000:.2f} kg."
        )
        return (
            f"{best.label}: {price}{row.mass_g / 1000:.2f} kg, of which {row.wire_g / 1000:.2f} kg is wire and "
            f"{row.feed_g / 1000:.2f} kg feeds ({sure}; {solved} of {len(self.all_choices)} choices solved).{laid}"
            + self._fuel_words(best)
            + self._apart_words(best)
        )

    def _apart_words(self, best: Choice) -> str:
        apart = unreached(self.vehicle, best.units)
        return f" Not to be relied on: {apart}; give routes." if apart else ""

    def __repr__(self) -> str:
        """As `summary`."""
        return self.summary()

    def _repr_html_(self) -> str:
        return headline_table(self.summary(), CHOICES, self.choices.itertuples(index=False))


def mounting_of(search: Search, allocation: Allocation | None = None) -> Mounting:
    """Result of a search as far as it went.

    Parameters
    ----------
    search : Search
        After `Search.run`.
    allocation : Allocation, optional
        Of its best choice.

    Returns
    -------
    Mounting
    """
    left = tuple((choice.number, least) for choice, least in search.undecided())
    known = bool(search.known)
    outcome = (BEST_SO_FAR if known else STOPPED_EMPTY) if left else (PROVEN_BEST if known else NOT_ENOUGH)
    parts = (search.vehicle, search.choices, search.objective, dict(search.judged), dict(search.least))
    return Mounting(*parts, outcome, left, allocation)


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
    wires are lightest. Choices with a module in one compartment with fuel are compared only where no other is enough.

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
        Time limit per choice, s, and for each module of the catalogue as much for all choices together; default:
        the vehicle's setting per choice.
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
    UnknownName, ValueError
        Unknown objective; no place can take a module, or a module lacks the price or mass it is compared by.
    Unsolved
        A command has too many different loads to list its circuits.
    """
    how = {"executor": executor, "at_once": at_once, "progress": progress}
    return mounted(search_places(vehicle, catalogue, objective, time_limit_s, most, stop, **how))


def search_places(
    vehicle: Vehicle,
    catalogue: Catalogue,
    objective: str | Mapping[str, float] = "price",
    time_limit_s: float | None = None,
    most: int = 2,
    stop: Callable[[], bool] | None = None,
    **how: Any,
) -> Search:
    """The search of `mount`, run; see there."""
    places, wanted = mount_places(vehicle), objective_of(objective)
    if not places:
        raise ValueError("no place can take a module: set mount to yes for one in the table places")
    _check(catalogue, wanted)
    limit_s = vehicle.settings.time_limit_s if time_limit_s is None else time_limit_s
    whole = Clock(inf if time_limit_s is None else limit_s * len(catalogue), stop)
    with _listed():
        listed = choices(catalogue, places, most)
        beside = {name for name in places if fuel_beside(vehicle, vehicle.place(name))}
        held = frozenset(choice.number for choice in listed if beside & {unit.place for unit in choice.units})
        search = Search(vehicle, listed, wanted, limit_s, whole, held=held)
        search.run(stop=stop, **how)
        if search.late is not None and not search.known and (stop is None or time_limit_s is not None):
            raise search.late  # whoever stops a search gets what there is, whoever gives it a limit is told
    return search


def mounted(search: Search) -> Mounting:
    """Result of a search that was run, with the allocation of its best choice."""
    with _listed():
        return mounting_of(search, _allocation(search))


@contextmanager
def _listed() -> Iterator[None]:
    try:
        yield
    except TooManyCircuits as why:
        raise Unsolved(STOPPED_EMPTY if isinstance(why, OutOfTime) else FAILED, str(why)) from None


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
