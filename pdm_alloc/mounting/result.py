"""What a study over places came to."""

from dataclasses import dataclass

import pandas as pd

from pdm_alloc.allocation.result import Allocation
from pdm_alloc.frames import handed_out
from pdm_alloc.mounting.choice import Choice
from pdm_alloc.mounting.conventional import Conventional, conventional
from pdm_alloc.mounting.judge import Judged
from pdm_alloc.mounting.objective import Found, Objective, known_price
from pdm_alloc.mounting.search import Search, module_dg
from pdm_alloc.program.outcome import BEST_SO_FAR, NOT_ENOUGH, PROVEN_BEST, STOPPED_EMPTY
from pdm_alloc.shown import headline_table
from pdm_alloc.vehicle import Vehicle

__all__ = ["CHOICES", "Mounting", "mounting_of"]

CHOICES = (
    "choice",
    "modules",
    "places",
    "price",
    "mass_g",
    "module_g",
    "wire_g",
    "feed_g",
    "bound_g",
    "outcome",
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
        know it is not better.
        """
        table = pd.DataFrame([self._row(choice) for choice in self.all_choices], columns=list(CHOICES))
        numbers = ["price", "mass_g", "module_g", "wire_g", "feed_g", "bound_g"]
        table = table.astype(dict.fromkeys(numbers, float))
        order = sorted(self.all_choices, key=self._order)
        return table.iloc[[choice.number for choice in order]].reset_index(drop=True)

    def _row(self, choice: Choice) -> dict:
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
        }
        if solved:
            row |= {"wire_g": judged.wire_dg / 10, "feed_g": judged.feed_dg / 10}
            row["mass_g"] = (module_dg(choice) + judged.harness_dg) / 10
        return row

    def _order(self, choice: Choice) -> tuple:
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
        """What conventional wiring on the same places would weigh, as `pdm_alloc.mounting.conventional`."""
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
        sure = self.outcome if self.outcome == PROVEN_BEST else f"{self.outcome}, gap {100 * self.gap:.1f} %"
        price = "" if best.price is None else f"price {best.price:g}, "
        solved = int(self.choices["mass_g"].notna().sum())
        laid = (
            "" if self.laid_g is None else f" With the actual bundle sizes the wires weigh {self.laid_g / 1000:.2f} kg."
        )
        return (
            f"{best.label}: {price}{row.mass_g / 1000:.2f} kg, of which {row.wire_g / 1000:.2f} kg is wire and "
            f"{row.feed_g / 1000:.2f} kg feeds ({sure}; {solved} of {len(self.all_choices)} choices solved).{laid}"
        )

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
