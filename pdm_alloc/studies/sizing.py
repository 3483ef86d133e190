"""`size`: which module of a catalogue is enough, and why the smaller ones are not."""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import inf
from typing import Any

import pandas as pd

from pdm_alloc.allocator import Modules, allocate
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.diagnose.concession_sets import MOST_SETS
from pdm_alloc.diagnose.explain import Explanation, explain
from pdm_alloc.domain.module import Box, Catalogue, Module, natural_key
from pdm_alloc.domain.showing import UnknownName, chosen_word, handed_out, headline_table
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.program.solver import NOT_ENOUGH, Clock
from pdm_alloc.program.stages import STRATEGIES
from pdm_alloc.result.allocation import Allocation, NotEnough, Unsolved, tightest
from pdm_alloc.studies.alternatives import NOT_TRIED, judge_pairs, number_of_pairs, pairable, pairs_of, pairs_table
from pdm_alloc.studies.signal_sizing import ModuleOption, SignalSizing, has_signals, size_signals

__all__ = ["ANSWERS", "VERDICTS", "Sizing", "module_options", "size"]

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

ANSWERS = ("side", "box", *VERDICTS[1:3], "used", "available", *VERDICTS[5:])

Verdict = Allocation | NotEnough | Unsolved

_BESIDE_S = 0.5  # for what is no solving: with no time at all every module is still held against plain sums


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
    signals : SignalSizing or None
        What each control unit came to; None: the vehicle has no signals.
    """

    vehicle: Vehicle
    catalogue: Catalogue
    results: dict[str, Verdict] = field(default_factory=dict)
    pair_results: dict[str, Verdict] = field(default_factory=dict)
    explanations: dict[str, Explanation] = field(default_factory=dict)
    signals: SignalSizing | None = None

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

    @handed_out
    def answers(self) -> pd.DataFrame:
        """Power and signals in one table: one row per module and per control unit, in the columns `ANSWERS`.

        used and available are channels of a module, pins of a control unit.
        """
        tables = [("power", self.verdicts)]
        if self.signals is not None and len(self.signals.verdicts):
            tables.append(("signals", self.signals.verdicts))
        rows = [(side, *row) for side, table in tables for row in table.itertuples(index=False)]
        return pd.DataFrame(rows, columns=list(ANSWERS)).astype({"used": "Int64", "spare": "Int64"})

    @property
    def is_enough(self) -> bool:
        """True if a module, or two together, are enough; and where signals were judged, control units too."""
        return self.is_power_enough and (self.signals is None or self.signals.outcome in ("enough", "not judged"))

    @property
    def is_power_enough(self) -> bool:
        """True if a module, or two together, are enough for the loads."""
        return any(isinstance(r, Allocation) for r in (*self.results.values(), *self.pair_results.values()))

    @property
    def is_proved_short(self) -> bool:
        """True if it is proved that no module and no two are enough, or no control units."""
        power = not self.is_power_enough and not self.open
        return power or (self.signals is not None and self.signals.outcome == NOT_ENOUGH)

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
        """The smallest module that is enough, two together where they beat it; and the same of the control units."""
        return self._power() if self.signals is None else f"{self._power()}\n{self.signals.summary()}"

    def _power(self) -> str:
        enough = [label for label, result in self.pair_results.items() if isinstance(result, Allocation)]
        known = "known to be" if self.open else "that is"
        doubt = (
            f" No answer for {', '.join(f'{name} ({why})' for name, why in self.open.items())}." if self.open else ""
        )
        if self.smallest is None:
            none = "No module is known to be enough." if self.open else "No module of the catalogue is enough."
            known = "known to be " if any(module.name in self.open for module in self.catalogue) else ""
            return (f"No single module is {known}enough; {enough[0]} together are." if enough else none) + doubt
        beats = dict(zip(self.pairs["modules"], self.pairs["beats"], strict=True)) if enough else {}
        more = "".join(f" {label} together are enough too, and better in {beats[label]}." for label in enough)
        return f"{self.smallest} is the smallest {known} enough.{doubt}{more}"

    @property
    def open(self) -> dict[str, str]:
        """Why there is no answer, by module that would be smaller than the smallest if it were enough."""
        best = smallest_enough(self.catalogue, self.results)
        smaller = [m for m in sorted(self.catalogue, key=size_key) if best is None or size_key(m) < size_key(best)]
        judged = {m.name: self.results.get(m.name) for m in smaller} | (self.pair_results if best is None else {})
        outcomes = {n: NOT_TRIED if r is None else r.outcome for n, r in judged.items() if not _is_settled(r)}
        if best is None and not self.is_enough:
            untried = number_of_pairs(self.catalogue) - len(self.pair_results)
            outcomes |= {f"{untried} more pair{'s' * (untried > 1)} of modules": NOT_TRIED} if untried else {}
        return outcomes

    def __repr__(self) -> str:
        """As `summary`."""
        return self.summary()

    def _repr_html_(self) -> str:
        if self.signals is None:
            return headline_table(self.summary(), VERDICTS, self.verdicts.itertuples(index=False))
        return headline_table(self.summary(), ANSWERS, self.answers.itertuples(index=False))


def _is_settled(result: Verdict | None) -> bool:
    return isinstance(result, (Allocation, NotEnough))


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
        Time limit per module and control unit, s: what these leave of it together goes to pairs, to the explanations
        and to the choice of control units. Default: the vehicle's setting, for each of these anew.
    progress : callable, optional
        Called with the name of each module before it is judged, and again before it is explained.
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
    whole = Clock(inf if time_limit_s is None else catalogue.to_judge * time_limit_s + _BESIDE_S, stop)
    judged = _Judge(vehicle, time_limit_s, progress, whole)
    results: dict[str, Verdict] = {}
    for module in sorted(catalogue, key=size_key):
        if whole.is_over():
            break
        results[module.name] = result = judged(module.name, module)
        if isinstance(result, Allocation):
            tightest(result)  # its tables are remembered: of 500 modules they take seconds, which the clock is to count
    smallest = smallest_enough(catalogue, results)
    limit_s = vehicle.settings.time_limit_s if time_limit_s is None else time_limit_s
    clock = Clock(limit_s * len(results), whole.is_over)
    every_pair = [] if clock.is_over() else pairs_of(pairable(catalogue, smallest))  # of 500 modules 125,000
    pairs = judge_pairs(every_pair, smallest, lambda p: judged(p.label, p.modules), clock.is_over)
    refusals = {name: r for name, r in results.items() if isinstance(r, NotEnough)}
    explanations = {name: judged.explained(name, refusal, why) for name, refusal in refusals.items()}
    study = Sizing(vehicle, catalogue, results, pairs, explanations)
    return replace(study, signals=_signals(study, time_limit_s, whole, why)) if has_signals(vehicle) else study


def _signals(study: Sizing, limit_s: float | None, whole: Clock, why: bool) -> SignalSizing:
    """The signal side beside the modules that are enough, the smallest first."""
    enough = {m.name for m in study.catalogue if isinstance(study.results.get(m.name), Allocation)}
    every = pairs_of(study.catalogue) if study.pair_results else []
    both = [p for p in every if isinstance(study.pair_results.get(p.label), Allocation)]
    options = module_options(study.catalogue, enough, [(p.label, p.modules) for p in both])
    return size_signals(study.vehicle, study.catalogue, options, time_limit_s=limit_s, whole=whole, why=why)


def module_options(
    catalogue: Catalogue, enough: Collection[str], pairs: Iterable[tuple[str, Sequence[Module]]] = ()
) -> list[ModuleOption]:
    """Modules to choose from together with control units, the smallest first.

    Parameters
    ----------
    catalogue : Catalogue
        Their signal pins and costs.
    enough : collection of str
        Names of the modules that are enough for the power side.
    pairs : iterable of (str, sequence of Module)
        Two modules that are enough together, by their label.

    Returns
    -------
    list of ModuleOption
    """
    pinned = {box.name: box for box in catalogue.boxes if box.role == "module"}
    fitted = [(m.name, (m,)) for m in sorted(catalogue, key=size_key) if m.name in enough]
    return [_option(name, modules, pinned) for name, modules in (*fitted, *pairs)]


def _option(name: str, modules: Sequence[Module], pinned: Mapping[str, Box]) -> ModuleOption:
    """Modules with the boxes of their signal pins, and what they cost together; None where one is not known."""
    boxes = tuple(pinned[module.name] for module in modules if module.name in pinned)
    return ModuleOption(name, boxes, _sum(m.price for m in modules), _sum(m.mass_g for m in modules))


def _sum(values: Iterable[float | None]) -> float | None:
    known = list(values)
    return None if None in known else sum(v for v in known if v is not None)


class _Judge:
    """Judges modules of one vehicle with the circuits worked out so far."""

    def __init__(
        self,
        vehicle: Vehicle,
        time_limit_s: float | None,
        progress: Callable[[str], None] | None,
        whole: Clock,
    ):
        self._vehicle, self._limit_s, self._progress, self._whole = vehicle, time_limit_s, progress, whole
        self._book = CircuitBook(vehicle.settings.tolerance_loads)

    def _in_time(self) -> dict[str, Any]:
        """Limits of one solve, none later than that of the whole."""
        limit_s = None if self._limit_s is None else min(self._limit_s, self._whole.left_s)
        return {"time_limit_s": limit_s, "stop": self._whole.is_over, "book": self._book}

    def __call__(self, label: str, modules: Modules) -> Verdict:
        """Allocation on what is fitted, or why there is none; nothing of the two is raised."""
        if self._progress is not None:
            self._progress(label)
        try:
            return allocate(self._vehicle, modules, **self._in_time())
        except (NotEnough, Unsolved) as refusal:
            return refusal

    def explained(self, label: str, refusal: NotEnough, in_full: bool) -> Explanation:
        """What is short, and what could be given up: all of it, or the easiest way out of each."""
        if self._progress is not None:
            self._progress(f"what is short on {label}")
        return explain(refusal, every_limit=in_full, sets=MOST_SETS if in_full else 1, **self._in_time())


def _row(module: Module, result: Verdict, explanation: Explanation | None) -> tuple[object, ...]:
    total = len(module.channels)
    if isinstance(result, Allocation):
        used = sum(len(c.channels) for c in result.circuits)
        subject, pct = tightest(result)
        figures = (used, total, total - used, subject, pct, module.mass_g, module.price)
        return (module.name, "enough", result.outcome, *figures)
    short, share = _short(explanation)
    verdict = explanation.verdict if explanation is not None else result.outcome
    return (module.name, verdict, result.outcome, None, total, None, short, share, module.mass_g, module.price)


def _short(explanation: Explanation | None) -> tuple[str, float | None]:
    """What is short, and need against have in per cent."""
    if explanation is None or not explanation.first:
        return "", None
    first = explanation.first[0]
    return explanation.why(), round(100 * first.need / first.have, 1) if first.have else None
