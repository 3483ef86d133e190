"""What is raised when units are not enough, and limits that any allocation misses."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.circuits.items import inputs_wanted, item_types
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.showing import headline_table
from pdm_alloc.domain.vehicle import State, Vehicle
from pdm_alloc.program.sums import Sums, Worst
from pdm_alloc.result.worst import change_in_words, inputs_in_words

__all__ = [
    "SHORTFALL",
    "NotEnough",
    "Short",
    "Unsolved",
    "amps",
    "are_not_enough",
    "arithmetic_shorts",
    "in_words_short",
    "plural",
    "table_shorts",
]

SHORTFALL = ("set", "kind", "subject", "state", "have", "need", "short", "unit", "needed_by", "sentence")

_FEW = 3

_ASK = "no allocation keeps every limit (pdm_alloc.explain says what is short)"


@dataclass(frozen=True, slots=True)
class Short:
    """By how much one kind of limit misses.

    Parameters
    ----------
    kind : str
        Kind of limit.
    subject, state : str
        Which bank, channel or load; in which state, where one matters.
    have, need : float
        What there is and what it takes, in `unit`.
    unit : str
        ``A``, ``channels``, ``inputs``, ``V``.
    sentence : str
        The same for a person.
    needed_by : str
        Loads or commands that need it.
    group : int
        Shorts of one group belong together: growing all of them, and nothing else, is enough. 0: it
        is missed whatever else grows, and growing it is not enough alone.
    """

    kind: str
    subject: str
    state: str
    have: float
    need: float
    unit: str
    sentence: str
    needed_by: str = ""
    group: int = 0

    def row(self) -> tuple[int, str, str, str, float, float, float, str, str, str]:
        """As a row of the table `SHORTFALL`."""
        short = round(abs(self.need - self.have), 3)
        where = (self.kind, self.subject, self.state)
        return (self.group, *where, self.have, self.need, short, self.unit, self.needed_by, self.sentence)

    def for_whom(self) -> str:
        """The sentence, with the loads it is short for where they are few and not named in it already."""
        names = self.needed_by.split(", ") if self.needed_by else []
        # Channels are short for all loads alike.
        is_said = self.kind == "channels" or not 1 <= len(names) <= _FEW or self.needed_by in self.sentence
        return self.sentence if is_said else f"{self.sentence} (for {self.needed_by})"


def in_words_short(shorts: Sequence[Short]) -> str:
    """What is short, as one phrase; empty where nothing is named."""
    return " and ".join(short.for_whom() for short in shorts)


def are_not_enough(units: Sequence[Unit]) -> str:
    """``compact-31 is not enough``, ``a and b are not enough``."""
    return f"{' and '.join(u.label for u in units)} {'is' if len(units) == 1 else 'are'} not enough"


class NotEnough(Exception):
    """The units cannot carry the vehicle within every limit; proved.

    It holds data only: `pdm_alloc.explain` works out what is short and what could be given up.

    Parameters
    ----------
    vehicle : Vehicle
        What was to be wired.
    units : sequence of Unit
        What was fitted.
    shorts : sequence of Short
        Limits that any allocation misses, from arithmetic before the solve; empty where arithmetic
        alone has no objection.
    book : CircuitBook, optional
        Circuits of the vehicle worked out before it was refused, for `pdm_alloc.explain`; not pickled.

    Attributes
    ----------
    outcome : str
        ``not enough``.
    """

    outcome = "not enough"

    def __init__(
        self, vehicle: Vehicle, units: Sequence[Unit], shorts: Sequence[Short] = (), book: CircuitBook | None = None
    ):
        self.vehicle, self.units, self.shorts, self.book = vehicle, tuple(units), tuple(shorts), book
        super().__init__()

    def __reduce__(self) -> tuple[type["NotEnough"], tuple[Vehicle, tuple[Unit, ...], tuple[Short, ...]]]:
        """Pickled with its data, so that it can cross from one process to another."""
        return type(self), (self.vehicle, self.units, self.shorts)

    def __str__(self) -> str:
        """One line from the data there is; nothing is solved for it."""
        return f"{are_not_enough(self.units)}: {in_words_short(self.shorts) or _ASK}"

    def __repr__(self) -> str:
        """The same, with what it is."""
        return f"<NotEnough: {self}>"

    def _repr_html_(self) -> str:
        rows = [(s.kind, s.have, s.need, s.unit, s.sentence) for s in self.shorts]
        return headline_table(str(self), ("kind", "have", "need", "unit", "what is short"), rows)


class Unsolved(Exception):
    """The solver stopped without an allocation and without a proof that there is none.

    Parameters
    ----------
    outcome : str
        ``no answer in time`` or ``failed``.
    sentence : str
        What to do about it.
    """

    def __init__(self, outcome: str, sentence: str):
        self.outcome, self.sentence = outcome, sentence
        super().__init__(sentence)

    def __reduce__(self) -> tuple[type["Unsolved"], tuple[str, str]]:
        """Pickled with both words."""
        return type(self), (self.outcome, self.sentence)

    def __repr__(self) -> str:
        """Outcome and sentence."""
        return f"<Unsolved: {self.outcome}: {self.sentence}>"


def arithmetic_shorts(vehicle: Vehicle, units: Sequence[Unit]) -> list[Short]:
    """Limits that are missed whichever load goes on which channel.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : sequence of Unit
        What is fitted; whole-module currents are judged only where there is one.

    Returns
    -------
    list of Short
        Empty where arithmetic alone has no objection.
    """
    shorts = table_shorts(vehicle, units)
    if len(units) == 1:
        shorts += _sums(vehicle, units[0])
    return shorts


def table_shorts(vehicle: Vehicle, units: Sequence[Unit]) -> list[Short]:
    """Those of `arithmetic_shorts` that take no sum of currents: inputs and supply voltage."""
    return [*_inputs(vehicle, units), *_supply(vehicle, units)]


def _inputs(vehicle: Vehicle, units: Sequence[Unit]) -> Iterator[Short]:
    counts = [u.module.inputs for u in units]
    if any(n is None for n in counts):
        return
    have, need = sum(n for n in counts if n is not None), inputs_wanted(vehicle)
    if need > have:
        text = f"{plural(need - have, 'more input')} ({need} switches and senders against {have})"
        yield Short("inputs", "inputs", "", have, need, "inputs", text)


def _supply(vehicle: Vehicle, units: Sequence[Unit]) -> Iterator[Short]:
    for unit in units:
        for state in vehicle.states:
            volt, low, high = state.supply_v, unit.module.supply_min_v, unit.module.supply_max_v
            if low is not None and volt < low:
                yield _volts(unit, state, low, f"works down to {low:g} V")
            elif high is not None and volt > high:
                yield _volts(unit, state, high, f"works up to {high:g} V")


def _volts(unit: Unit, state: State, limit: float, what: str) -> Short:
    text = f"{unit.label} {what}, and {state.name} has {state.supply_v:g} V"
    return Short("supply voltage", unit.label, state.name, limit, state.supply_v, "V", text)


def _sums(vehicle: Vehicle, unit: Unit) -> Iterator[Short]:
    """What the whole module misses, in the state and at the voltage at which it misses most."""
    types = item_types(vehicle, [unit])
    sums = Sums(vehicle, [unit], types)
    missed = sorted(sums.missed(), key=lambda worst: (worst.limit.is_peak, -worst.amount_ma))
    for is_peak, group in groupby(missed, key=lambda worst: worst.limit.is_peak):
        gravest, *others = group
        also = [name for name in dict.fromkeys(w.scene.state for w in others) if name != gravest.scene.state]
        yield _at_once(vehicle, unit, "whole module peak" if is_peak else "whole module", sums.trimmed(gravest), also)


def _at_once(vehicle: Vehicle, unit: Unit, kind: str, worst: Worst, also: list[str]) -> Short:
    have, need, state = worst.limit.most_ma, worst.amount_ma, worst.scene.state
    more = "more peak" if worst.limit.is_peak else "more"
    change = f", then {change_in_words(worst)}" if worst.changed is not None else ""
    text = f"{amps(need - have)} {more} in the state {state} ({amps(need)} against {amps(have)}: "
    text += f"{inputs_in_words(vehicle, worst.inputs)}{change})"
    text += f", and less in {', '.join(also)}" if also else ""
    return Short(kind, unit.label, state, have / 1000, need / 1000, "A", text)


def amps(milliamps: int) -> str:
    """As a person writes it, rounded up to a tenth above 1 A: ``12 A``, ``0.35 A``."""
    tenths = -(-milliamps // 100)
    return f"{tenths / 10:g} A" if milliamps >= 1000 else f"{milliamps / 1000:g} A"


def plural(number: int, what: str) -> str:
    """``1 channel``, ``2 channels``."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
