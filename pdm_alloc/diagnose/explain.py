"""`explain`: enough if or not enough, what is short, what could be given up, and why locks cannot be kept."""

import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from math import comb

import pandas as pd

from pdm_alloc.allocator import allocate
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.circuits.draws import CircuitDraw
from pdm_alloc.circuits.items import load_types
from pdm_alloc.diagnose.bearing import locks_on, objection, slots_of, thick_wires, without_locks
from pdm_alloc.diagnose.concession_sets import MOST_SETS, ConcessionSet, ConcessionStudy, concession_study
from pdm_alloc.diagnose.enough_if import ENOUGH_IF, allocation_if
from pdm_alloc.diagnose.growth_parts import joined_words
from pdm_alloc.diagnose.new_channels import offer_of
from pdm_alloc.diagnose.shortfall import MANY_ITEMS, Shortfall, shortfall
from pdm_alloc.domain.concession_options import Option, coil_name, switch_for
from pdm_alloc.domain.module import Module, Unit, natural_key
from pdm_alloc.domain.showing import handed_out, headline_table
from pdm_alloc.domain.vehicle import Load, Lock, Vehicle
from pdm_alloc.program.solver import Clock, or_after
from pdm_alloc.result.allocation import (
    SHORTFALL,
    Allocation,
    NotEnough,
    Short,
    Unsolved,
    are_not_enough,
    in_words_short,
    plural,
)
from pdm_alloc.result.placed import PlacedCircuit, place_of

__all__ = [
    "CONCESSIONS",
    "ENOUGH_IF",
    "MOST_SETS",
    "Explanation",
    "LockReason",
    "alternatives",
    "concessions_table",
    "detail",
    "explain",
    "in_words",
    "lock_reasons",
    "locks_on",
    "slots_of",
]


def _wanted(chosen: ConcessionSet, load: str) -> Load:
    """The load as it stood before the concession."""
    assert chosen.wanted is not None
    return chosen.wanted.load(load)


CONCESSIONS = ("rank", "set_weight", "kind", "subject", "weight", "detail", "likewise")


def concessions_table(sets: Iterable[ConcessionSet]) -> pd.DataFrame:
    """One row per concession, in the columns `CONCESSIONS`; `likewise` is of the whole set, as `alternatives`."""
    told = [(s, alternatives(s)) for s in sets]
    rows = [(s.rank, s.weight, o.kind, o.subject, o.weight, detail(s, o), also) for s, also in told for o in s.made]
    return pd.DataFrame(rows, columns=list(CONCESSIONS))


def detail(chosen: ConcessionSet, option: Option) -> str:
    """What follows from a concession, in words and numbers.

    Parameters
    ----------
    chosen : ConcessionSet
        With its allocation.
    option : Option
        One of its concessions.

    Returns
    -------
    str
        One sentence without a full stop.
    """
    return _DETAIL[option.kind](chosen, option)


def _headroom(chosen: ConcessionSet, option: Option) -> str:
    wanted = float(chosen.vehicle.settings.headroom_pct)
    own = [c for c in chosen.allocation.circuits if option.subject in c.command.split(" + ")]
    least = min(_headroom_pct(chosen, circuit) for circuit in own)
    return (
        f"headroom of {option.subject} cut from {wanted:g} % to {least:.0f} % "
        "at the highest current its tolerance allows"
    )


def _headroom_pct(chosen: ConcessionSet, circuit: PlacedCircuit) -> float:
    """Of a circuit with its loads at the top of their tolerance."""
    vehicle, units = chosen.vehicle, chosen.allocation.units
    loads = tuple(vehicle.load(name) for name in circuit.loads)
    types = load_types(replace(vehicle, loads=loads))
    number = Counter(name for name, _ in circuit.items)
    draw = CircuitDraw([(t, number[t.load]) for t in types], vehicle.settings.tolerance_loads).draw_ma
    return 100 * (1 - draw / float(place_of(vehicle, units, circuit).rating.rated_ma))


def _join(chosen: ConcessionSet, option: Option) -> str:
    one, two = option.members
    circuit = next(c for c in chosen.allocation.circuits if c.command == option.subject)
    where = f"{one} and {two} on channel {circuit.channel}"
    if option.harmless:
        return f"{where}: no loss: both are on in the same states"
    return f"{where}: they can no longer be switched separately"


def _relay(chosen: ConcessionSet, option: Option) -> str:
    load = _wanted(chosen, option.subject)
    coils = [c for c in chosen.allocation.circuits if coil_name(option.subject) in c.loads]
    coil = chosen.vehicle.load(coil_name(option.subject))
    switch = switch_for(load)
    assert switch is not None
    many = coil.count > 1
    kind = f"two change-over {switch.name}s" if many else f"an external {switch.name}"
    where = f"channel{'s' if len(coils) > 1 else ''} {' and '.join(str(c.channel) for c in coils)}"
    return (
        f"{option.subject} on {kind} of {switch.most_a:g} A with {'their' if many else 'its'} own fuse: about "
        f"{switch.mass_g * coil.count} g and a price of {switch.price * coil.count} more, "
        f"{'their coils' if many else 'its coil'} ({coil.running_ma / 1000:g} A{' each' if many else ''}) on {where}, "
        f"no trip setting for the load itself{', which is on or off without PWM' if 'pwm' in load.needs else ''}"
    )


def _separation(chosen: ConcessionSet, option: Option) -> str:
    return f"loads marked {option.subject} may share a channel: one fault takes out both"


def _soft_start(chosen: ConcessionSet, option: Option) -> str:
    circuit = next(c for c in chosen.allocation.circuits if option.subject in c.loads)
    return f"{option.subject} soft-started by PWM on channel {circuit.channel}"


def _leave_out(chosen: ConcessionSet, option: Option) -> str:
    return f"{option.subject} is left out"


def _margin(chosen: ConcessionSet, option: Option) -> str:
    left = float(chosen.vehicle.settings.module_headroom_pct)
    return f"headroom of banks and of the whole module cut from {2 * left:g} % to {left:g} %; every rating is kept"


def _keypad(chosen: ConcessionSet, option: Option) -> str:
    return f"{plural(len(option.members), 'key')} of a keypad on the bus in place of {', '.join(option.members)}"


def _drop(chosen: ConcessionSet, option: Option) -> str:
    before = _wanted(chosen, option.subject).max_drop_pct
    return f"{option.subject} may lose {option.amount:g} % of its voltage in its wire, where {before:g} % was wanted"


def _measure(chosen: ConcessionSet, option: Option) -> str:
    load = _wanted(chosen, option.subject)
    return (
        f"{option.subject} is measured and draws no more than {load.running_ma / 1000:g} A: nothing is kept for the "
        f"{float(load.tolerance_pct):g} % it may be off"
    )


def _divide(chosen: ConcessionSet, option: Option) -> str:
    half_a = chosen.vehicle.load(option.subject).running_ma / 1000
    channels = [str(c.channel) for c in chosen.allocation.circuits if option.subject in c.loads]
    where = f"channel{'s' if len(channels) > 1 else ''} {' and '.join(channels)}"
    return f"{option.subject} wired as two halves of {half_a:g} A each, if it can be divided, on {where}"


def _place(chosen: ConcessionSet, option: Option) -> str:
    [unit], wires = chosen.allocation.units, chosen.allocation.wires
    kg = f"{wires['mass_g'].sum() / 1000:.2f} kg"
    return f"{unit.label} at {option.subject} in place of {option.members[0]}: its wires then weigh {kg}"


def _second_module(chosen: ConcessionSet, option: Option) -> str:
    unit = option.unit
    assert unit is not None
    costs = [
        *([] if unit.module.mass_g is None else [f"{unit.module.mass_g:g} g"]),
        *([] if unit.module.price is None else [f"a price of {unit.module.price:g}"]),
    ]
    loads = list(dict.fromkeys(load for c in chosen.allocation.circuits if c.unit == unit.label for load in c.loads))
    at = f" at {unit.place}" if unit.place else ""
    more = f": {' and '.join(costs)} more" if costs else ""
    return f"{unit.label} as a second module{at}{more}; on it {joined_words(loads, _NAMED)}"


_NAMED = 4  # loads on a second module told by name

_DETAIL = {
    "headroom": _headroom,
    "join": _join,
    "relay": _relay,
    "separation": _separation,
    "soft_start": _soft_start,
    "leave_out": _leave_out,
    "margin": _margin,
    "keypad": _keypad,
    "drop": _drop,
    "measure": _measure,
    "place": _place,
    "divide": _divide,
    "second_module": _second_module,
}


def in_words(chosen: ConcessionSet) -> str:
    """A set in one line, heaviest first, each kind told once, with what may be given up instead of like things."""
    also = alternatives(chosen)
    kinds: dict[str, list[Option]] = {}
    for option in _heaviest_first(chosen.made):
        kinds.setdefault(option.kind, []).append(option)
    return "; ".join(map(_together, kinds.values())) + (f" (likewise: {also})" if also else "")


def _together(alike: Sequence[Option]) -> str:
    """Concessions of one kind: ``a, b and c left out``; of many the first few."""
    first = alike[0]
    if len(alike) == 1:
        return _short(first)
    if first.kind == "join":
        return f"two by two on one channel each: {', '.join(' with '.join(o.members) for o in alike)}"
    return _PLURAL.get(first.kind, _SHORT[first.kind]).format(joined_words([o.subject for o in alike], _TOLD))


def alternatives(chosen: ConcessionSet) -> str:
    """What may be given up instead of like things: ``any 2 of a, b, c left out``; empty where nothing is known.

    Every alternative named was allocated and checked; there may be others. Which switches go to a keypad is not told
    apart: one keypad is as good as another.
    """
    sets = [frozenset(chosen.made), *map(frozenset, filter(partial(_is_other, chosen.made), chosen.alike))]
    common = frozenset.intersection(*sets)
    varying = frozenset.union(*sets) - common
    number, kinds = len(sets[0] - common), {option.kind for option in varying}
    whole = comb(len(varying), number) == len(set(sets))
    if len(sets) > 1 and whole and len(kinds) == 1 and not kinds & {"join", "keypad"}:
        names = ", ".join(sorted((option.subject for option in varying), key=natural_key))
        return _SHORT[kinds.pop()].format(f"any {number} of {names}")
    others = [s for s in sets[1:] if not any(less - sets[0] < s - sets[0] for less in sets[1:])]  # no two swaps in one
    swaps = [_swap(sets[0], other) for other in others[:_ALIKE]]
    more = f"; {len(others) - _ALIKE} more like these" if len(others) > _ALIKE else ""
    return f"{' / '.join(swaps)}{more}" if swaps else ""


def _is_other(made: Iterable[Option], alike: Iterable[Option]) -> bool:
    return any(option.kind != "keypad" for option in {*made} ^ {*alike})


_ALIKE = 3  # alternatives told in full


def _swap(made: frozenset[Option], other: frozenset[Option]) -> str:
    come, gone = (", ".join(map(_short, _heaviest_first(part))) for part in (other - made, made - other))
    return f"{come} in place of {gone}"


def _heaviest_first(made: Iterable[Option]) -> list[Option]:
    return sorted(made, key=lambda o: (-o.weight, o.kind, natural_key(o.subject)))


def _short(option: Option) -> str:
    return _SHORT[option.kind].format(option.subject, *option.members)


_SHORT = {
    "headroom": "less headroom on {0}",
    "join": "{1} and {2} on one channel",
    "relay": "{0} on an external relay or contactor",
    "separation": "{0} no longer kept apart",
    "soft_start": "soft start for {0}",
    "leave_out": "{0} left out",
    "margin": "less headroom on banks and whole module",
    "keypad": "{0} on the bus in place of switches",
    "drop": "more voltage drop allowed to {0}",
    "measure": "{0} measured and within its guess",
    "place": "the module at {0}",
    "divide": "{0} divided into two circuits",
    "second_module": "{0} as a second module",
}


_TOLD = 6  # of one kind told by name in a line; the table has them all
_PLURAL = {
    "relay": "{0} on external relays or contactors",
    "measure": "{0} measured and within their guesses",
    "divide": "{0} divided into two circuits each",
}

# Of processor time where no limit is given: for all, for sets at least, for an allocation that gives up margins.
_WHY_S, _SETS_S, _IF_S = 1.6, 0.3, 0.8
_LATE_S = 0.5
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
    wires : tuple of str
        Of loads that need a thicker wire than any terminal of the unit takes: what sets its size, and what cures it.
    why_none : str
        That no set of concessions is enough, and why, as far as that is known.
    """

    refusal: NotEnough = field(compare=False)
    growth: Shortfall = field(default_factory=Shortfall)
    concession_sets: tuple[ConcessionSet, ...] = ()
    left_open: str = ""
    is_stopped: bool = False
    allocation_if: Allocation | None = None
    conditions: tuple[str, ...] = ()
    wires: tuple[str, ...] = ()
    why_none: str = ""

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
        given up. Default: the vehicle's setting for each of the two, of which sets take what is left of 1.6 s of
        processor time, 0.3 s at least, of 1.1 s above 200 items.
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
    clock, start = Clock(setting_s if time_limit_s is None else time_limit_s, stop), time.process_time()
    book = book or refusal.book or CircuitBook(refusal.vehicle.settings.tolerance_loads)
    if clock.is_over():
        return Explanation(refusal, Shortfall(), (), _UNSOUGHT if sets else "", True)
    half = Clock(clock.left_s / 2 if sets else clock.left_s, stop)
    offer = offer_of(refusal.vehicle, refusal.units, book)
    growth = shortfall(refusal.vehicle, refusal.units, half, book, alone=every_limit, offer=offer)
    is_stopped = half.is_over()
    wires = () if is_stopped or not every_limit else tuple(_thick_wires(refusal, growth, book))
    why_s, if_s = _allowance_s(refusal.vehicle)
    given = allocation_if(refusal, clock.part(1 / 3).soon(if_s), book)
    left_s = max(_SETS_S, why_s - (time.process_time() - start))
    enough_time = stop if time_limit_s is not None else or_after(left_s, stop)
    study = ConcessionStudy()
    if sets:
        study = concession_study(
            refusal.vehicle, refusal.units, sets, clock.left_s, enough_time, book, offer, catalogue
        )
    conditions = () if given is None else given.conditions
    told = (study.sets, study.left_open, is_stopped, given, conditions, wires, study.why_none)
    return Explanation(refusal, growth, *told)


def _allowance_s(vehicle: Vehicle) -> tuple[float, float]:
    """Time in all and for enough if, s: less for many items, since the solves of large programs end late."""
    is_large = vehicle.items > MANY_ITEMS
    return (_WHY_S - _LATE_S, _IF_S / 2) if is_large else (_WHY_S, _IF_S)


def _thick_wires(refusal: NotEnough, growth: Shortfall, book: CircuitBook) -> Iterator[str]:
    """Of the loads that new channels are for, those whose wire no terminal takes."""
    for number, unit in enumerate(refusal.units):
        parts = [part for part in growth.parts if part.unit == number and part.new is not None]
        loads = dict.fromkeys(load for part in parts for load in part.loads)
        yield from thick_wires(refusal.vehicle, unit, loads, book)


_UNSOUGHT = "concessions were not looked for: the time was over"
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
