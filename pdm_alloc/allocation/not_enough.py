"""What is raised when there is no allocation: data only, nothing is solved by looking at it."""

from collections.abc import Sequence
from dataclasses import dataclass

from pdm_alloc.module import Unit
from pdm_alloc.shown import headline_table
from pdm_alloc.vehicle import Vehicle

__all__ = ["SHORTFALL", "NotEnough", "Short", "Unsolved", "are_not_enough", "in_words_short"]

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

    Attributes
    ----------
    outcome : str
        ``not enough``.
    """

    outcome = "not enough"

    def __init__(self, vehicle: Vehicle, units: Sequence[Unit], shorts: Sequence[Short] = ()):
        self.vehicle, self.units, self.shorts = vehicle, tuple(units), tuple(shorts)
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
