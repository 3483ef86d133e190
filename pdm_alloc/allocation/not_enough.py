"""What is raised when the units are not enough."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from pdm_alloc.module import Unit
from pdm_alloc.vehicle import Vehicle

__all__ = ["SHORTFALL", "NotEnough", "Short", "Unsolved"]

_NO_WAY = "no allocation keeps every limit, and no one or two kinds of limit were found that could grow instead"
_FEW = 3
SHORTFALL = ("set", "kind", "subject", "state", "have", "need", "short", "unit", "needed_by", "sentence")


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

    def row(self) -> tuple:
        """As a row of the table `SHORTFALL`."""
        short = round(abs(self.need - self.have), 3)
        where = (self.kind, self.subject, self.state)
        return (self.group, *where, self.have, self.need, short, self.unit, self.needed_by, self.sentence)


class NotEnough(Exception):
    """The units cannot carry the vehicle within every limit; proved.

    Parameters
    ----------
    vehicle : Vehicle
        What was to be wired.
    units : sequence of Unit
        What was fitted.
    shorts : sequence of Short
        Limits that any allocation misses, from arithmetic alone; may be empty.
    first, study : callable, optional
        Give the first group of the proved shortfall, and all of it, when first asked for: they take
        one and several solves.
    """

    outcome = "not enough"

    def __init__(
        self,
        vehicle: Vehicle,
        units: Sequence[Unit],
        shorts: Sequence[Short] = (),
        first: Callable[[], Sequence[Short]] | None = None,
        study: Callable[[], Sequence[Short]] | None = None,
    ):
        self.vehicle, self.units = vehicle, tuple(units)
        self._known, self._first, self._study = tuple(shorts), first, study
        super().__init__()

    @cached_property
    def first(self) -> tuple[Short, ...]:
        """The easiest way out of the shortfall: all of it must grow."""
        found = tuple(self._first()) if self._first else self._known
        return tuple(s for s in found if s.group == found[0].group)

    @cached_property
    def shorts(self) -> tuple[Short, ...]:
        """What is short: groups in order, the easiest first."""
        return (tuple(self._study()) if self._study else ()) or self._known

    @property
    def shortfall(self) -> pd.DataFrame:
        """A row a kind of limit, in the columns `SHORTFALL`."""
        return pd.DataFrame([s.row() for s in self.shorts], columns=list(SHORTFALL))

    @cached_property
    def _conceded(self):
        from pdm_alloc.allocation.concessions import concession_study

        return concession_study(self.vehicle, self.units)

    @property
    def concession_sets(self) -> tuple:
        """Up to five cheapest sets of concessions that make the units enough, each re-solved and checked."""
        return self._conceded.sets

    @property
    def concessions_left_open(self) -> str:
        """Why there may be more sets than that; empty where it is proved that there are not, or there are five."""
        return self._conceded.left_open

    @cached_property
    def cheapest_concessions(self) -> str:
        """The cheapest set in one line; empty where nothing on offer helps."""
        from pdm_alloc.allocation.concessions import concession_sets, in_words

        known = self.__dict__.get("_conceded")
        sets = known.sets if known else concession_sets(self.vehicle, self.units, most=1)
        return in_words(sets[0]) if sets else ""

    @property
    def concessions(self) -> pd.DataFrame:
        """A row a concession: rank of its set, weight of the set, kind, subject, weight, what it means."""
        from pdm_alloc.allocation.concessions import concessions_table

        return concessions_table(self.concession_sets)

    def sentence(self) -> str:
        """One line: which units, and what is short."""
        names = " and ".join(u.label for u in self.units)
        return f"{names} is not enough: {self.why()}"

    def why(self) -> str:
        """The easiest way out of the shortfall, in words."""
        return " and ".join(map(_for_whom, self.first)) or _NO_WAY

    def __str__(self):
        """As `sentence`."""
        return self.sentence()


def _for_whom(short: Short) -> str:
    """With the loads it is short for where they are few and not said already; channels are short for all."""
    names = short.needed_by.split(", ") if short.needed_by else []
    said = short.kind == "channels" or not 1 <= len(names) <= _FEW or short.needed_by in short.sentence
    return short.sentence if said else f"{short.sentence} (for {short.needed_by})"


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
        self.outcome = outcome
        super().__init__(sentence)
