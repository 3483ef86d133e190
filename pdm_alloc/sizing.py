"""`size`: which module of a catalogue is enough, and why the smaller ones are not."""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

import pandas as pd

from pdm_alloc.allocation.allocate import allocate
from pdm_alloc.allocation.not_enough import NotEnough, Unsolved
from pdm_alloc.allocation.result import Allocation
from pdm_alloc.allocation.tightest import tightest
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.module import Catalogue, Module, natural_key
from pdm_alloc.vehicle import Vehicle

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
    """

    vehicle: Vehicle
    catalogue: Catalogue
    results: dict[str, Verdict] = field(default_factory=dict)

    @cached_property
    def verdicts(self) -> pd.DataFrame:
        """A row a module, smallest first, in the columns `VERDICTS`; tightest_pct is the use of that limit, 100 is all."""
        modules = sorted((m for m in self.catalogue if m.name in self.results), key=size_key)
        rows = [_row(module, self.results[module.name]) for module in modules]
        table = pd.DataFrame(rows, columns=list(VERDICTS))
        return table.astype({"channels_used": "Int64", "spare": "Int64"})

    @property
    def smallest(self) -> str | None:
        """Name of the smallest module that is enough; None where none is."""
        enough = [m for m in self.catalogue if isinstance(self.results.get(m.name), Allocation)]
        return min(enough, key=size_key).name if enough else None

    def allocation(self, module: str) -> Allocation:
        """Allocation on a module; raises the `NotEnough` or `Unsolved` it came to, KeyError for an unknown name."""
        result = self.results[module]
        if isinstance(result, Allocation):
            return result
        raise result

    @property
    def refusals(self) -> dict[str, NotEnough]:
        """What is short, by module that is not enough."""
        return {name: r for name, r in self.results.items() if isinstance(r, NotEnough)}

    def summary(self) -> str:
        """One sentence: the smallest module that is enough."""
        if self.smallest is None:
            return "No module of the catalogue is enough."
        return f"{self.smallest} is the smallest that is enough."


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
) -> Sizing:
    """Judge every module of a catalogue.

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
        Called with the name of each module before it is judged.
    stop : callable, optional
        Asked between solves; True ends the study with what it has.

    Returns
    -------
    Sizing
        A result for each module, none is raised.
    """
    book = CircuitBook(vehicle.settings.tolerance_loads)
    results: dict[str, Verdict] = {}
    for module in sorted(catalogue, key=size_key):
        if stop is not None and stop():
            break
        if progress is not None:
            progress(module.name)
        results[module.name] = judge(vehicle, module, strategy, time_limit_s, stop, book)
    return Sizing(vehicle, catalogue, results)


def judge(vehicle: Vehicle, module: Module, strategy: str, time_limit_s, stop, book: CircuitBook) -> Verdict:
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
    subject, pct = _short(result)
    return (module.name, result.outcome, None, total, None, subject, pct, module.mass_g, module.price)


def _short(result: Verdict) -> tuple[str, float | None]:
    """What is short, and need against have in per cent."""
    if not isinstance(result, NotEnough) or not result.first:
        return "", None
    first = result.first[0]
    return result.why(), round(100 * first.need / first.have, 1) if first.have else None
