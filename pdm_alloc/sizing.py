"""`size`: which module of a catalogue is enough, why the smaller ones are not, and where to mount it."""

from collections.abc import Callable, Mapping
from concurrent.futures import Executor
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import pandas as pd

from pdm_alloc.allocation.allocate import allocate
from pdm_alloc.allocation.not_enough import NotEnough, Unsolved
from pdm_alloc.allocation.result import Allocation
from pdm_alloc.allocation.tightest import tightest
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.module import Catalogue, Module, natural_key
from pdm_alloc.pairs import judge_pairs, pairs_of, pairs_table
from pdm_alloc.vehicle import Vehicle

if TYPE_CHECKING:
    from pdm_alloc.mounting.choice import Choice
    from pdm_alloc.mounting.result import Mounting

__all__ = ["VERDICTS", "Sizing", "size"]

VERDICTS = (
    "module",
    "outcome",
    "channels_used",
    "channels",
    "spare",
    "tightest",
    "tightest_pct",
    "mass_g",
    "price",
)
Verdict = Allocation | NotEnough | Unsolved


@dataclass(frozen=True)
class Sizing:
    """What each module of a catalogue came to.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    catalogue : Catalogue
        What there is to choose from.
    results : dict of str to Allocation, NotEnough or Unsolved
        By module.
    pair_results : dict of str to Allocation, NotEnough or Unsolved
        By pair of modules, those that were judged.
    mounting : Mounting or None
        The study over places; None: places were not asked for.
    """

    vehicle: Vehicle
    catalogue: Catalogue
    results: dict[str, Verdict] = field(default_factory=dict)
    pair_results: dict[str, Verdict] = field(default_factory=dict)
    mounting: "Mounting | None" = None

    @cached_property
    def verdicts(self) -> pd.DataFrame:
        """A row a module, smallest first, in the columns `VERDICTS`; tightest_pct of that limit is in use."""
        modules = sorted((m for m in self.catalogue if m.name in self.results), key=size_key)
        rows = [_row(module, self.results[module.name]) for module in modules]
        table = pd.DataFrame(rows, columns=list(VERDICTS))
        return table.astype({"channels_used": "Int64", "spare": "Int64"})

    @property
    def smallest(self) -> str | None:
        """Name of the smallest module that is enough; None where none is, and in a study over places."""
        module = smallest_enough(self.catalogue, self.results)
        return None if module is None else module.name

    @cached_property
    def pairs(self) -> pd.DataFrame:
        """A row a pair of modules: modules, outcome, channels, price, mass_g (g), and in what it beats the smallest."""
        smallest = smallest_enough(self.catalogue, self.results)
        return pairs_table(pairs_of(self.catalogue), smallest, self.pair_results)

    @property
    def choices(self) -> pd.DataFrame:
        """A row a choice of modules and places, the best first: price, mass_g (modules, wires, feeds, g), outcome."""
        return self._mounting.choices

    @property
    def best(self) -> "Choice | None":
        """The best choice of modules and places; None where none is enough."""
        return self._mounting.best

    @property
    def _mounting(self) -> "Mounting":
        if self.mounting is None:
            raise ValueError("places were not asked for: size(vehicle, catalogue, places=True)")
        return self.mounting

    @property
    def is_enough(self) -> bool:
        """Whether a module, a pair, or a choice over places is enough."""
        if self.mounting is not None:
            return self.mounting.best is not None
        return any(isinstance(r, Allocation) for r in (*self.results.values(), *self.pair_results.values()))

    def allocation(self, module: str | None = None) -> Allocation:
        """Allocation on a module, or on a pair as ``a and b``; without a name that of the best choice over places.

        Raises
        ------
        KeyError
            It was not judged.
        NotEnough, Unsolved
            What it came to.
        """
        if module is None and self._mounting.allocation is not None:
            return self._mounting.allocation
        if module is None:
            raise KeyError("no choice is enough")
        result = self.pair_results[module] if module in self.pair_results else self.results[module]
        if isinstance(result, Allocation):
            return result
        raise result

    @property
    def refusals(self) -> dict[str, NotEnough]:
        """What is short, by module that is not enough."""
        return {name: r for name, r in self.results.items() if isinstance(r, NotEnough)}

    def summary(self) -> str:
        """The smallest module that is enough, and pairs that beat it; of a study over places, the best choice."""
        if self.mounting is not None:
            return self.mounting.summary()
        found = [label for label, result in self.pair_results.items() if isinstance(result, Allocation)]
        known = "known to be" if self.open else "that is"
        doubt = (
            f" No answer for {', '.join(f'{name} ({why})' for name, why in self.open.items())}." if self.open else ""
        )
        if self.smallest is None:
            none = "No module is known to be enough." if self.open else "No module of the catalogue is enough."
            return (f"No single module is enough; {found[0]} together are." if found else none) + doubt
        beats = dict(zip(self.pairs["modules"], self.pairs["beats"], strict=True))
        more = "".join(f" {label} together are enough too, and better in {beats[label]}." for label in found)
        return f"{self.smallest} is the smallest {known} enough.{doubt}{more}"

    @property
    def open(self) -> dict[str, str]:
        """Why there is no answer, by module that would be smaller than the smallest if it were enough."""
        best = smallest_enough(self.catalogue, self.results)
        smaller = [m for m in sorted(self.catalogue, key=size_key) if best is None or size_key(m) < size_key(best)]
        found = {m.name: self.results.get(m.name) for m in smaller} | (self.pair_results if best is None else {})
        return {n: r.outcome if r else "not judged" for n, r in found.items() if r is None or isinstance(r, Unsolved)}


def smallest_enough(catalogue: Catalogue, results: Mapping[str, Verdict]) -> Module | None:
    """The smallest module with an allocation; None where none has one."""
    enough = [m for m in catalogue if isinstance(results.get(m.name), Allocation)]
    return min(enough, key=size_key, default=None)


def size_key(module: Module) -> tuple:
    """Smaller first: fewer channels, then cheaper, then lighter, then by name."""
    price = float("inf") if module.price is None else module.price
    mass = float("inf") if module.mass_g is None else module.mass_g
    return (len(module.channels), price, mass, natural_key(module.name))


def size(
    vehicle: Vehicle,
    catalogue: Catalogue,
    *,
    strategy: str = "spare",
    time_limit_s: float | None = None,
    progress: Callable[[str], None] | None = None,
    stop: Callable[[], bool] | None = None,
    places: bool = False,
    objective: str | Mapping[str, float] = "price",
    executor: Executor | None = None,
    at_once: int | None = None,
) -> Sizing:
    """Judge every module of a catalogue, and pairs; or every module and pair on every place.

    Without places, two modules together are tried where they would beat the smallest single one that
    is enough in price or mass. With places, the best choice by `objective` is proved: what could not
    be better by its bound is passed over, and the loads are allocated so that the wires are lightest.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    catalogue : Catalogue
        Modules to judge.
    strategy : str
        ``spare`` (default: how few channels will do) or ``isolate``.
    time_limit_s : float, optional
        Clock for each module, s; default: the vehicle's setting.
    progress : callable, optional
        Called with the name of each module before it is judged, of each choice after it was.
    stop : callable, optional
        Asked between solves; True ends the study with what it has.
    places : bool
        True: where to mount what, on all places with mount = yes.
    objective : str or mapping of str to float
        With places: ``price``, ``mass`` (modules, wires and feeds), ``front`` (all that nothing is both
        cheaper and lighter than), or weights by ``price`` and ``mass_g``.
    executor : concurrent.futures.Executor, optional
        With places: runs the solves, in threads, processes or on a cluster.
    at_once : int, optional
        With places: solves on their way at once; default: as many as the executor has workers.

    Returns
    -------
    Sizing
        A result for each module, none is raised; with places, its `mounting`.

    Raises
    ------
    ValueError
        With places: none can take a module, the objective is unknown, or a module lacks price or mass.
    """
    if places:
        from pdm_alloc.mounting.mount import Solving, mount

        solving = Solving(executor, at_once, time_limit_s, progress, stop)
        return Sizing(vehicle, catalogue, mounting=mount(vehicle, catalogue, objective, solving))
    judged = _Judge(vehicle, strategy, time_limit_s, progress, stop)
    results: dict[str, Verdict] = {}
    for module in sorted(catalogue, key=size_key):
        if stop is not None and stop():
            break
        results[module.name] = judged(module.name, module)
    smallest = smallest_enough(catalogue, results)
    pairs = judge_pairs(pairs_of(catalogue), smallest, lambda pair: judged(pair.label, pair.modules), stop)
    return Sizing(vehicle, catalogue, results, pairs)


class _Judge:
    """Judges modules of one vehicle with the circuits worked out so far."""

    def __init__(self, vehicle: Vehicle, strategy: str, time_limit_s, progress, stop):
        self._with = (vehicle, strategy, time_limit_s, stop, CircuitBook(vehicle.settings.tolerance_loads))
        self._progress = progress

    def __call__(self, label: str, modules) -> Verdict:
        if self._progress is not None:
            self._progress(label)
        vehicle, *more = self._with
        return judge(vehicle, modules, *more)


def judge(vehicle: Vehicle, module, strategy: str, time_limit_s, stop, book: CircuitBook) -> Verdict:
    """Allocation on a module, or why there is none; nothing of the two is raised."""
    try:
        return allocate(vehicle, module, strategy=strategy, time_limit_s=time_limit_s, stop=stop, book=book)
    except (NotEnough, Unsolved) as refusal:
        return refusal


def _row(module: Module, result: Verdict) -> tuple:
    total = len(module.channels)
    if isinstance(result, Allocation):
        used = sum(len(c.channels) for c in result.circuits)
        subject, pct = tightest(result)
        return (module.name, result.outcome, used, total, total - used, subject, pct, module.mass_g, module.price)
    why, share = _short(result)
    return (module.name, result.outcome, None, total, None, why, share, module.mass_g, module.price)


def _short(result: Verdict) -> tuple[str, float | None]:
    """What is short, and need against have in per cent."""
    if not isinstance(result, NotEnough) or not result.first:
        return "", None
    first = result.first[0]
    return result.why(), round(100 * first.need / first.have, 1) if first.have else None
