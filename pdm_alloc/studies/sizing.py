"""`size`: which module of a catalogue is enough, and why the smaller ones are not."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import pandas as pd

from pdm_alloc.allocator import Modules, allocate
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.diagnose.concession_sets import MOST_SETS
from pdm_alloc.diagnose.explain import Explanation, explain
from pdm_alloc.domain.module import Catalogue, Module, natural_key
from pdm_alloc.domain.showing import UnknownName, chosen_word, handed_out, headline_table
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.program.stages import STRATEGIES
from pdm_alloc.result.allocation import Allocation, tightest
from pdm_alloc.result.refusals import NotEnough, Unsolved
from pdm_alloc.studies.module_choices import judge_pairs, pairs_of, pairs_table

__all__ = ["VERDICTS", "Sizing", "size"]

VERDICTS = (
    "module",
    "verdict",
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


@dataclass(frozen=True, repr=False)
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
    explanations : dict of str to Explanation
        What is short and what could be given up, by module that is not enough.
    """

    vehicle: Vehicle
    catalogue: Catalogue
    results: dict[str, Verdict] = field(default_factory=dict)
    pair_results: dict[str, Verdict] = field(default_factory=dict)
    explanations: dict[str, Explanation] = field(default_factory=dict)

    @handed_out
    def verdicts(self) -> pd.DataFrame:
        """One row per module, smallest first, in the columns `VERDICTS`; tightest_pct of that limit is in use."""
        modules = sorted((m for m in self.catalogue if m.name in self.results), key=size_key)
        rows = [_row(module, self.results[module.name], self.explanations.get(module.name)) for module in modules]
        table = pd.DataFrame(rows, columns=list(VERDICTS))
        return table.astype({"channels_used": "Int64", "spare": "Int64"})

    @property
    def smallest(self) -> str | None:
        """Name of the smallest module that is enough; None where none is."""
        module = smallest_enough(self.catalogue, self.results)
        return None if module is None else module.name

    @handed_out
    def pairs(self) -> pd.DataFrame:
        """One row per two modules: modules, outcome, channels, price, mass_g (g), and in what it beats the smallest."""
        smallest = smallest_enough(self.catalogue, self.results)
        return pairs_table(pairs_of(self.catalogue), smallest, self.pair_results)

    @property
    def is_enough(self) -> bool:
        """True if a module, or two together, are enough."""
        return any(isinstance(r, Allocation) for r in (*self.results.values(), *self.pair_results.values()))

    def allocation(self, module: str) -> Allocation:
        """Allocation on a module, or on two as ``a and b``.

        Raises
        ------
        UnknownName
            It was not judged (a KeyError).
        NotEnough, Unsolved
            What it came to.
        """
        judged = {**self.results, **self.pair_results}
        if module not in judged:
            raise UnknownName("result for", module, judged)
        result = judged[module]
        if isinstance(result, Allocation):
            return result
        raise result

    @property
    def refusals(self) -> dict[str, NotEnough]:
        """The refusal, by module that is not enough."""
        return {name: r for name, r in self.results.items() if isinstance(r, NotEnough)}

    def summary(self) -> str:
        """The smallest module that is enough, and two together where they beat it."""
        enough = [label for label, result in self.pair_results.items() if isinstance(result, Allocation)]
        known = "known to be" if self.open else "that is"
        doubt = (
            f" No answer for {', '.join(f'{name} ({why})' for name, why in self.open.items())}." if self.open else ""
        )
        if self.smallest is None:
            none = "No module is known to be enough." if self.open else "No module of the catalogue is enough."
            return (f"No single module is enough; {enough[0]} together are." if enough else none) + doubt
        beats = dict(zip(self.pairs["modules"], self.pairs["beats"], strict=True))
        more = "".join(f" {label} together are enough too, and better in {beats[label]}." for label in enough)
        return f"{self.smallest} is the smallest {known} enough.{doubt}{more}"

    @property
    def open(self) -> dict[str, str]:
        """Why there is no answer, by module that would be smaller than the smallest if it were enough."""
        best = smallest_enough(self.catalogue, self.results)
        smaller = [m for m in sorted(self.catalogue, key=size_key) if best is None or size_key(m) < size_key(best)]
        judged = {m.name: self.results.get(m.name) for m in smaller} | (self.pair_results if best is None else {})
        return {n: r.outcome if r else "not tried" for n, r in judged.items() if r is None or isinstance(r, Unsolved)}

    def __repr__(self) -> str:
        """As `summary`."""
        return self.summary()

    def _repr_html_(self) -> str:
        return headline_table(self.summary(), VERDICTS, self.verdicts.itertuples(index=False))


def smallest_enough(catalogue: Catalogue, results: Mapping[str, Verdict]) -> Module | None:
    """The smallest module with an allocation; None where none has one."""
    enough = [m for m in catalogue if isinstance(results.get(m.name), Allocation)]
    return min(enough, key=size_key, default=None)


def size_key(module: Module) -> tuple[object, ...]:
    """Smaller first: fewer channels, then cheaper, then lighter, then by name."""
    price = float("inf") if module.price is None else module.price
    mass = float("inf") if module.mass_g is None else module.mass_g
    return (len(module.channels), price, mass, natural_key(module.name))


def size(
    vehicle: Vehicle,
    catalogue: Catalogue,
    *,
    strategy: str | None = None,
    time_limit_s: float | None = None,
    progress: Callable[[str], None] | None = None,
    stop: Callable[[], bool] | None = None,
    why: bool = False,
) -> Sizing:
    """Judge every module of a catalogue, and two together where that would be better than one.

    Two modules together are tried where they would beat the smallest single one that is enough in
    price or mass. Where to mount what is a study of its own: `pdm_alloc.mount`.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    catalogue : Catalogue
        Modules to judge.
    strategy : str, optional
        ``isolate`` or ``spare``; default: the vehicle's setting, as for `pdm_alloc.allocate`.
    time_limit_s : float, optional
        Time limit per module, s, and as much again to explain each that is not enough; default: the
        vehicle's setting.
    progress : callable, optional
        Called with the name of each module before it is judged.
    stop : callable, optional
        Asked between solves; True ends the study with what it has.
    why : bool
        True: explain each module that is not enough in full, as `pdm_alloc.explain` does; False: only
        the easiest way out and the cheapest set of concessions.

    Returns
    -------
    Sizing
        A result for each module, none is raised.

    Raises
    ------
    UnknownName
        Unknown strategy (a KeyError and a ValueError).
    """
    if strategy is not None:
        word = chosen_word("strategy", strategy, STRATEGIES)
        vehicle = replace(vehicle, settings=replace(vehicle.settings, strategy=word))
    judged = _Judge(vehicle, time_limit_s, progress, stop)
    results: dict[str, Verdict] = {}
    for module in sorted(catalogue, key=size_key):
        if stop is not None and stop():
            break
        results[module.name] = judged(module.name, module)
    smallest = smallest_enough(catalogue, results)
    pairs = judge_pairs(pairs_of(catalogue), smallest, lambda pair: judged(pair.label, pair.modules), stop)
    refusals = {name: r for name, r in results.items() if isinstance(r, NotEnough)}
    explanations = {name: judged.explained(refusal, why) for name, refusal in refusals.items()}
    return Sizing(vehicle, catalogue, results, pairs, explanations)


class _Judge:
    """Judges modules of one vehicle with the circuits worked out so far."""

    def __init__(
        self,
        vehicle: Vehicle,
        time_limit_s: float | None,
        progress: Callable[[str], None] | None,
        stop: Callable[[], bool] | None,
    ):
        self._vehicle, self._limit_s, self._progress, self._stop = vehicle, time_limit_s, progress, stop
        self._book = CircuitBook(vehicle.settings.tolerance_loads)

    def __call__(self, label: str, modules: Modules) -> Verdict:
        """Allocation on what is fitted, or why there is none; nothing of the two is raised."""
        if self._progress is not None:
            self._progress(label)
        try:
            return allocate(self._vehicle, modules, time_limit_s=self._limit_s, stop=self._stop, book=self._book)
        except (NotEnough, Unsolved) as refusal:
            return refusal

    def explained(self, refusal: NotEnough, in_full: bool) -> Explanation:
        """What is short, and what could be given up: all of it, or the easiest way out of each."""
        return explain(
            refusal,
            time_limit_s=self._limit_s,
            every_limit=in_full,
            sets=MOST_SETS if in_full else 1,
            stop=self._stop,
            book=self._book,
        )


def _row(module: Module, result: Verdict, explanation: Explanation | None) -> tuple[object, ...]:
    total = len(module.channels)
    if isinstance(result, Allocation):
        used = sum(len(c.channels) for c in result.circuits)
        subject, pct = tightest(result)
        return (
            module.name,
            "enough",
            result.outcome,
            used,
            total,
            total - used,
            subject,
            pct,
            module.mass_g,
            module.price,
        )
    short, share = _short(explanation)
    verdict = explanation.verdict if explanation is not None else result.outcome
    return (module.name, verdict, result.outcome, None, total, None, short, share, module.mass_g, module.price)


def _short(explanation: Explanation | None) -> tuple[str, float | None]:
    """What is short, and need against have in per cent."""
    if explanation is None or not explanation.first:
        return "", None
    first = explanation.first[0]
    return explanation.why(), round(100 * first.need / first.have, 1) if first.have else None
