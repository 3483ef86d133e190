"""`explain`: enough if or not enough, what is short, what could be given up, and why locks cannot be kept."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field

import pandas as pd

from pdm_alloc.allocator import allocate
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.diagnose.bearing import locks_on, objection, slots_of, without_locks
from pdm_alloc.diagnose.concession_sets import MOST_SETS, SEARCH_S, ConcessionSet, ConcessionStudy, concession_study
from pdm_alloc.diagnose.concession_words import concessions_table, in_words
from pdm_alloc.diagnose.enough_if import ENOUGH_IF, allocation_if
from pdm_alloc.diagnose.new_channels import offer_of
from pdm_alloc.diagnose.shortfall import Shortfall, shortfall
from pdm_alloc.domain.module import Module, Unit
from pdm_alloc.domain.showing import handed_out, headline_table
from pdm_alloc.domain.vehicle import Lock, Vehicle
from pdm_alloc.program.solver import Clock, or_after
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.refusals import SHORTFALL, NotEnough, Short, Unsolved, are_not_enough, in_words_short

__all__ = ["ENOUGH_IF", "MOST_SETS", "Explanation", "LockReason", "explain", "lock_reasons", "locks_on", "slots_of"]

_IF_S = 1.0  # of processor time for an allocation that gives up margins and guesses
_STOPPED = "no allocation keeps every limit; time ran out before it was known which limits would have to grow"
_NOT_NAMED = "no allocation keeps every limit; no growth of its limits was found that would be enough"


@dataclass(frozen=True, repr=False)
class Explanation:
    """Why units are not enough, and the ways out.

    Parameters
    ----------
    refusal : NotEnough
        What is explained.
    growth : Shortfall
        The cheapest complete growth of the units, allocated and verified.
    concession_sets : tuple of ConcessionSet
        Cheapest sets of concessions that make the units enough, each solved again and checked.
    left_open : str
        Why there may be more sets than these; empty where it is proved that there are not, or there
        are as many as were asked for.
    is_stopped : bool
        Whether time ran out, or someone stopped it, before all limits were looked at.
    allocation_if : Allocation or None
        Of the vehicle without the margins and guesses that are not kept; None where ratings are missed too.
    conditions : tuple of str
        Which margins and guesses those are, and by how much.
    """

    refusal: NotEnough = field(compare=False)
    growth: Shortfall = field(default_factory=Shortfall)
    concession_sets: tuple[ConcessionSet, ...] = ()
    left_open: str = ""
    is_stopped: bool = False
    allocation_if: Allocation | None = None
    conditions: tuple[str, ...] = ()

    @property
    def verdict(self) -> str:
        """``enough if`` where every rating is kept and a margin or a guess is not; otherwise ``not enough``."""
        return ENOUGH_IF if self.allocation_if is not None else self.outcome

    @property
    def outcome(self) -> str:
        """``not enough``."""
        return self.refusal.outcome

    @property
    def shorts(self) -> tuple[Short, ...]:
        """What is short: group 1 is enough together, group 0 what is missed whatever else grows."""
        return tuple(self.growth.shorts) or self.refusal.shorts

    @property
    def first(self) -> tuple[Short, ...]:
        """The complete growth: all of it must grow."""
        return tuple(s for s in self.shorts if s.group == self.shorts[0].group)

    @handed_out
    def shortfall(self) -> pd.DataFrame:
        """One row per kind of limit, in the columns `SHORTFALL`."""
        return pd.DataFrame([s.row() for s in self.shorts], columns=list(SHORTFALL))

    @handed_out
    def concessions(self) -> pd.DataFrame:
        """One row per concession: rank of its set, weight of the set, kind, subject, weight, detail, likewise."""
        return concessions_table(self.concession_sets)

    @property
    def cheapest(self) -> str:
        """The cheapest set of concessions in one line; empty where none is known."""
        return in_words(self.concession_sets[0]) if self.concession_sets else ""

    def why(self) -> str:
        """The growth that is enough, in words."""
        return self.growth.sentence or in_words_short(self.first) or (_STOPPED if self.is_stopped else _NOT_NAMED)

    def sentence(self) -> str:
        """One line: which units, and what is short."""
        if self.conditions:
            label = " and ".join(unit.label for unit in self.refusal.units)
            return f"{label} {'is' if len(self.refusal.units) == 1 else 'are'} enough if: {'; '.join(self.conditions)}"
        return f"{are_not_enough(self.refusal.units)}: {self.why()}"

    def summary(self) -> str:
        """What is short, and below it the cheapest set of concessions where there is one."""
        return f"{self.sentence()}\n  or give up: {self.cheapest}" if self.cheapest else self.sentence()

    def __repr__(self) -> str:
        """As `summary`."""
        return self.summary()

    def _repr_html_(self) -> str:
        columns = ["set", "kind", "have", "need", "unit", "sentence"]
        short = headline_table(self.sentence(), columns, self.shortfall[columns].itertuples(index=False))
        columns = ["rank", "set_weight", "kind", "subject", "detail", "likewise"]
        headline = f"Ways to make it enough: {len(self.concession_sets)}"
        return short + headline_table(headline, columns, self.concessions[columns].itertuples(index=False))


def explain(
    refusal: NotEnough,
    *,
    time_limit_s: float | None = None,
    every_limit: bool = True,
    sets: int = MOST_SETS,
    stop: Callable[[], bool] | None = None,
    book: CircuitBook | None = None,
    catalogue: Iterable[Module] = (),
) -> Explanation:
    """Work out what is short where units are not enough, and what could be given up instead.

    Parameters
    ----------
    refusal : NotEnough
        As `pdm_alloc.allocate` raised it.
    time_limit_s : float, optional
        Time limit of the whole, s: half of it at most for what is short, the rest for what could be
        given up. Default: the vehicle's setting for each of the two.
    every_limit : bool
        False: only the easiest way out of the shortfall.
    sets : int
        How many sets of concessions at most; 0: none are looked for.
    stop : callable, optional
        Asked between solves; True ends the study with what it has.
    book : CircuitBook, optional
        Circuits of this vehicle known from an earlier call.
    catalogue : Catalogue or iterable of Module, optional
        From which a second module may be taken, where that would be enough.

    Returns
    -------
    Explanation
        Whatever was not proved in time is left out; `left_open` says so of the concessions.

    Raises
    ------
    TypeError
        It is no refusal.
    """
    if not isinstance(refusal, NotEnough):
        raise TypeError(f"explain takes the NotEnough that allocate raised, not {type(refusal).__name__}")
    setting_s = refusal.vehicle.settings.time_limit_s * (2 if sets else 1)
    clock = Clock(setting_s if time_limit_s is None else time_limit_s, stop)
    book = book or refusal.book or CircuitBook(refusal.vehicle.settings.tolerance_loads)
    half = Clock(clock.left_s / 2 if sets else clock.left_s, stop)
    offer = offer_of(refusal.vehicle, refusal.units, book)
    growth = shortfall(refusal.vehicle, refusal.units, half, book, alone=every_limit, offer=offer)
    is_stopped = half.is_over()
    given = allocation_if(refusal, clock.part(1 / 3).soon(_IF_S), book)
    enough_time = stop if time_limit_s is not None else or_after(SEARCH_S, stop)
    study = ConcessionStudy()
    if sets:
        asked = (refusal.vehicle, refusal.units, sets, clock.left_s, enough_time, book, offer)
        study = concession_study(*asked, catalogue)
    conditions = () if given is None else given.conditions
    return Explanation(refusal, growth, study.sets, study.left_open, is_stopped, given, conditions)


_CLOCK_S = 10.0
_ENOUGH = "enough"
_MOST_TRIED = 12


@dataclass(frozen=True, slots=True)
class LockReason:
    """Why a load cannot be on the channel it is locked to; load and channel empty: said of all locks together."""

    load: str
    channel: str
    words: str


def lock_reasons(vehicle: Vehicle, unit: Unit, stop: Callable[[], bool]) -> Iterator[list[LockReason]]:
    """Reasons why the loads of a unit that is not enough cannot be where they are locked.

    Parameters
    ----------
    vehicle : Vehicle
        With locks.
    unit : Unit
        What is fitted, and is not enough.
    stop : callable
        Asked between solves; True ends the search.

    Yields
    ------
    list of LockReason
        All that is known so far. First what speaks against each lock by itself, as `verify` recounts it; then, solved
        for each, whether the unit is enough once it is unlocked.
    """
    locks = locks_on(vehicle, unit)
    barred = [(lock, why) for lock in locks if (why := objection(vehicle, unit, lock))]
    yield [_reason(lock, why) for lock, why in barred]
    tried: list[LockReason] = []
    asked = barred or [(lock, "cannot be kept together with all the rest") for lock in reversed(locks)]
    for lock, why in asked[:_MOST_TRIED]:
        if stop():
            return
        verdict = _verdict(vehicle, unit, (lock,), stop)
        if barred or verdict == _ENOUGH:
            tried.append(_reason(lock, f"{why}. With it unlocked {unit.label} is {verdict}"))
            yield [*tried, *(_reason(*other) for other in barred[len(tried) :])]
    is_open = not any(reason.words.endswith(f"is {_ENOUGH}.") for reason in tried)
    if is_open and (len(locks) > 1 or not tried) and not stop():
        verdict = _verdict(vehicle, unit, locks, stop)
        yield [*tried, LockReason("", "", f"With nothing locked {unit.label} is {verdict}.")]


def _reason(lock: Lock, why: str) -> LockReason:
    return LockReason(lock.load, lock.channel, f"{lock.load} on channel {lock.channel}: {why}.")


def _verdict(vehicle: Vehicle, unit: Unit, unlocked: tuple[Lock, ...], stop: Callable[[], bool]) -> str:
    """What the unit is once these are unlocked."""
    try:
        allocate(without_locks(vehicle, unlocked), unit, time_limit_s=_CLOCK_S, stop=stop)
    except NotEnough:
        return "not enough"
    except Unsolved:
        return "not judged in time"
    return _ENOUGH
