"""*Enough if*: every rating is kept, a margin or a guess is not: which, and what to measure; the verdict on paper."""

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from fractions import Fraction

from pdm_alloc.allocator import any_allocation
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.diagnose.bearing import Unproved, is_enough_for, unborne
from pdm_alloc.diagnose.growth_parts import joined_words
from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import natural_key
from pdm_alloc.domain.vehicle import MARGINS, Load, Vehicle, without_margins
from pdm_alloc.program.solver import NOT_ENOUGH, Clock
from pdm_alloc.result.allocation import Allocation, NotEnough, Unsolved
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.verify.assignment import Finding
from pdm_alloc.verify.check import violations

__all__ = ["ENOUGH_IF", "allocation_if", "verdict_lines"]

ENOUGH_IF = "enough if"
"""The verdict between enough and not enough: every rating is kept, a margin or a guess is not."""

_TRIED = tuple(frozenset(m for n, m in enumerate(MARGINS) if bits >> n & 1) for bits in (1, 2, 4, 3, 5, 6, 7))


def allocation_if(refusal: NotEnough, clock: Clock, book: CircuitBook) -> Allocation | None:
    """An allocation that keeps every rating and as many of the margins as will do.

    Parameters
    ----------
    refusal : NotEnough
        As `pdm_alloc.allocate` raised it.
    clock : Clock
        Time there is.
    book : CircuitBook
        Circuits of the vehicle known so far.

    Returns
    -------
    Allocation or None
        With the margins and guesses that are not kept as its `conditions`; None: there is none, or no time.
    """
    with suppress(Unproved, NotEnough, Unsolved):
        if not is_enough_for(without_margins(refusal.vehicle, _TRIED[-1]), refusal.units, clock, book):
            return None
        for margins in _TRIED:
            vehicle = without_margins(refusal.vehicle, margins)
            allocation = None if vehicle == refusal.vehicle else _allocated(refusal, vehicle, clock, book)
            if allocation is not None:
                return _with_fewest_guesses(refusal, allocation, clock, book)
    return None


def _allocated(refusal: NotEnough, vehicle: Vehicle, clock: Clock, book: CircuitBook) -> Allocation | None:
    """An allocation of the vehicle with fewer margins or guesses; None: there is none, or none in time."""
    if any(unborne(vehicle, refusal.units, book)):
        return None
    return any_allocation(vehicle, refusal.units, clock, book)


def _with_fewest_guesses(refusal: NotEnough, allocation: Allocation, clock: Clock, book: CircuitBook) -> Allocation:
    """Solved without the guesses; again with those left as guesses of which nothing has to be known."""
    conditions = list(_Conditions(refusal, allocation).all())
    measured = _measured(conditions)
    guessing = exact(replace(refusal.vehicle, settings=_margins_of(refusal, allocation)), measured)
    other = None if guessing.loads == allocation.vehicle.loads else _allocated(refusal, guessing, clock, book)
    if other is not None:
        fewer = list(_Conditions(refusal, other).all())
        if _measured(fewer) <= measured:
            allocation, conditions = other, fewer
    return replace(allocation, conditions=tuple(dict.fromkeys(c.words for c in conditions)))  # of like items once


def _margins_of(refusal: NotEnough, allocation: Allocation) -> Settings:
    """Settings of an allocation, with the strategy that was asked for."""
    return replace(allocation.vehicle.settings, strategy=refusal.vehicle.settings.strategy)


def exact(vehicle: Vehicle, names: frozenset[str]) -> Vehicle:
    """The vehicle with the currents of some loads known to be as the table says."""
    loads = (replace(x, tolerance_pct=Fraction(0)) if x.name in names else x for x in vehicle.loads)
    return replace(vehicle, loads=tuple(loads))


@dataclass(frozen=True)
class _Condition:
    """One thing that has to be: in words, and the loads whose currents have to be measured for it."""

    words: str
    measured: frozenset[str] = frozenset()


def _measured(conditions: Sequence[_Condition]) -> frozenset[str]:
    return frozenset().union(*(c.measured for c in conditions))


_Where = tuple[str, ...]


class _Conditions:
    """What a recount with the margins and guesses as they are wanted objects to, limit by limit."""

    def __init__(self, refusal: NotEnough, allocation: Allocation):
        self.vehicle, self.units, self.circuits = refusal.vehicle, refusal.units, allocation.circuits
        self.rated = replace(refusal.vehicle, settings=allocation.vehicle.settings)
        self.by_channel = {(c.unit, name): c for c in self.circuits for name in c.channels}

    def all(self) -> Iterator[_Condition]:
        """Margins that are not kept; guesses that have to be measured, against what is wanted or against a rating."""
        every = frozenset(load.name for load in self.vehicle.loads)
        stated = self.objections(exact(self.vehicle, every))
        ratings = self.objections(self.rated)
        for where, finding in self.objections(self.vehicle).items():
            if where in stated:
                yield _Condition(self.margin(finding))
            at_top = ratings.get(where) if where in stated else finding
            if at_top is not None:
                yield self.guess(where, at_top, self.rated if where in stated else self.vehicle)

    def objections(self, vehicle: Vehicle) -> dict[_Where, Finding]:
        """The first finding by circuit, or by bank or module."""
        by_place: dict[_Where, Finding] = {}
        for finding in violations(vehicle, self.units, self.circuits):
            by_place.setdefault(self.where(finding), finding)
        return by_place

    def where(self, finding: Finding) -> _Where:
        circuit = self.circuit(finding)
        return (finding.module, circuit.channel) if circuit else (finding.rule, finding.module, finding.subject)

    def circuit(self, finding: Finding) -> PlacedCircuit | None:
        return self.by_channel.get((finding.module, finding.channel.split("+")[0]))

    def subject(self, finding: Finding) -> str:
        circuit = self.circuit(finding)
        if circuit is not None:
            return ", ".join(circuit.loads)
        return f"bank {finding.subject} of {finding.module}" if finding.rule == "bank" else finding.module

    def margin(self, finding: Finding) -> str:
        """A margin that is not kept even by the currents as the table has them."""
        if finding.rule in ("bank", "total"):
            pct = float(self.vehicle.settings.module_headroom_pct)
            return f"{self.subject(finding)}: {finding.message}, with the {pct:g} % wanted on banks and whole module"
        if finding.rule == "continuous":
            value, limit = finding.value, finding.limit
            return f"{self.subject(finding)}: {value:g} A on a channel that takes {limit:g} A with the headroom wanted"
        wanted = " with the headroom wanted" if self.circuit(finding) is not None else ""
        return f"{self.subject(finding)}: {finding.message}{wanted}"

    def guess(self, where: _Where, finding: Finding, vehicle: Vehicle) -> _Condition:
        """What a limit is asked for with guesses at their top, and the currents at which a recount has no objection."""
        names, circuit = self.fewest(where, finding, vehicle), self.circuit(finding)
        loads = [self.vehicle.load(name) for name in names]
        volts, is_peak = vehicle.settings.reference_v, finding.rule in _PEAKS
        asked, limit = (part.format(finding) for part in _SAID.get(finding.rule, ("{0.message}", "")))
        alone = circuit is not None and len(circuit.loads) == 1
        if alone and finding.rule == "continuous":
            top = f"the {float(loads[0].tolerance_pct):g} % guess is at its top"
        else:
            top = _tops(loads, volts, is_peak)
        plain = alone and _top_ma(loads[0]) == round(1000 * (finding.value or 0))
        fine = f"at {loads[0].running_ma / 1000:g} A" if plain else f"at {_stated(loads, volts, is_peak)}"
        verb = "it is" if len(loads) == 1 else "they are"
        them = "it" if alone else joined_words(names, len(names))
        words = f"{self.subject(finding)}: {asked} if {top}{limit}; {fine} {verb} fine: measure {them}"
        return _Condition(words, frozenset(names))

    def fewest(self, where: _Where, finding: Finding, vehicle: Vehicle) -> list[str]:
        """Guesses that matter most to a limit, as many as have to be measured before a recount does not object."""
        circuit = self.circuit(finding)
        on = [circuit] if circuit else [c for c in self.circuits if self.is_summed(c, finding)]
        loads = [vehicle.load(name) for name in dict.fromkeys(name for c in on for name in c.loads)]
        guessed = sorted((x for x in loads if x.tolerance_pct), key=lambda x: (-_lift_ma(x), natural_key(x.name)))
        names = [load.name for load in guessed]
        low, high = 1, len(names)
        while low < high:
            middle = (low + high) // 2
            objected = where in self.objections(exact(vehicle, frozenset(names[:middle])))
            low, high = (middle + 1, high) if objected else (low, middle)
        return names[:high]

    def is_summed(self, circuit: PlacedCircuit, finding: Finding) -> bool:
        """Whether a circuit counts in the bank or module of a finding."""
        (unit,) = (u for u in self.units if u.label == circuit.unit)
        banks = {unit.module.channel(name).bank for name in circuit.channels}
        return circuit.unit == finding.module and (finding.rule != "bank" or finding.subject in banks)


_PEAKS = ("peak", "energy", "total_peak")
_SAID = {
    "continuous": ("{0.value:g} A", ", the channel takes {0.limit:g} A"),
    "trip": ("a trip setting of {0.value:g} A is asked for", ", the rating allows {0.limit:g} A"),
    "peak": ("{0.value:g} A at switch-on", ", the channel trips at {0.limit:g} A"),
    "energy": ("{0.value:.4g} A² ms of inrush above what it carries for good", ", the channel trips at {0.limit:.4g}"),
}


def _lift_ma(load: Load) -> Fraction:
    return max(load.running_ma, load.inrush_ma) * load.count * load.tolerance_pct / 100


def _each(load: Load) -> str:
    return " each" if load.count > 1 else ""


def _top_ma(load: Load) -> int:
    return round(load.running_ma * (1 + load.tolerance_pct / 100))


def _tops(loads: Sequence[Load], reference_v: float, is_peak: bool) -> str:
    """Which guesses are at their top, and what their loads draw there."""
    tops = [f"the {float(x.tolerance_pct):g} % guess of {x.name} is at its top of {_top(x, is_peak)}" for x in loads]
    return f"{joined_words(tops, len(tops))} at {reference_v:g} V"


def _top(load: Load, is_peak: bool) -> str:
    rise = 1 + load.tolerance_pct / 100
    running, peak = float(load.running_ma * rise) / 1000, float(load.inrush_ma * rise) / 1000
    return f"{running:.4g} A{f' with a peak of {peak:.4g} A' if is_peak else ''}{_each(load)}"


def _stated(loads: Sequence[Load], reference_v: float, is_peak: bool) -> str:
    """The table's currents, with the voltage they are stated at."""
    words = [
        f"{x.running_ma / 1000:g} A{f' with a peak of {x.inrush_ma / 1000:g} A' if is_peak else ''}{_each(x)}"
        for x in loads
    ]
    words = words if len(loads) == 1 else [f"{x.name} {said}" for x, said in zip(loads, words, strict=True)]
    return f"the table's {joined_words(words, len(words))} at {reference_v:g} V"


def verdict_lines(allocation: Allocation) -> list[tuple[str, str]]:
    """Whether the modules are enough, every limit recounted.

    Parameters
    ----------
    allocation : Allocation
        What is documented.

    Returns
    -------
    list of (str, str)
        ``verdict`` and ``enough``, ``enough if`` or ``not enough``; then a line per condition or per limit not kept.
    """
    missed = list(dict.fromkeys(_missed(allocation)))
    if missed:
        more = [("not kept", f"and {len(missed) - _MISSED} more")] if len(missed) > _MISSED else []
        return [("verdict", NOT_ENOUGH), *(("not kept", text) for text in missed[:_MISSED]), *more]
    margins = f"every limit is kept; {_margins(allocation.vehicle)}"
    if allocation.conditions:
        given = f"{ENOUGH_IF} each of the conditions below is met: {margins}"
        return [("verdict", given), *((ENOUGH_IF, text) for text in allocation.conditions)]
    whole = allocation.signals is None or bool(allocation.signals)
    return [("verdict", f"enough{'' if whole else ' for the loads, the signals are not settled'}: {margins}")]


_MISSED = 8


def _missed(allocation: Allocation) -> Iterator[str]:
    for finding in violations(allocation.vehicle, allocation.units, allocation.circuits):
        where = " ".join(part for part in (finding.module, finding.channel) if part)
        yield ": ".join(part for part in (where, finding.subject, finding.message) if part)


def _margins(vehicle: Vehicle) -> str:
    settings = vehicle.settings
    others = [f"{float(c.headroom_pct):g} % on {c.name}" for c in vehicle.commands if c.headroom_pct is not None]
    channels = f"headroom {float(settings.headroom_pct):g} % on channels{_in_brackets(others)}"
    sums = f"{float(settings.module_headroom_pct):g} % on banks and whole module"
    guessed = max((float(load.tolerance_pct) for load in vehicle.loads), default=0.0)
    guesses = _GUESSED.format(guessed, settings.tolerance_loads) if guessed else _NO_GUESS
    return f"{channels}, {sums}; {guesses}"


_GUESSED = "guessed currents, by up to {0:g} %, counted at their top for any {1} loads of a channel at once"
_NO_GUESS = "currents as in the table of loads, no tolerance on any"


def _in_brackets(words: list[str]) -> str:
    return f" ({', '.join(words)})" if words else ""
