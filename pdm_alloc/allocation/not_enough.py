"""What is raised when the units are not enough."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from pdm_alloc.module import Unit
from pdm_alloc.vehicle import Vehicle

__all__ = ["SHORTFALL", "NotEnough", "Short", "Unsolved"]

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
    study : callable, optional
        Gives the proved shortfall when it is first asked for: it takes several solves.
    """

    outcome = "not enough"

    def __init__(
        self,
        vehicle: Vehicle,
        units: Sequence[Unit],
        shorts: Sequence[Short] = (),
        study: Callable[[], Sequence[Short]] | None = None,
    ):
        self.vehicle, self.units = vehicle, tuple(units)
        self._shorts, self._study = tuple(shorts), study
        super().__init__()

    @property
    def shorts(self) -> tuple[Short, ...]:
        """What is short: groups in order, the easiest first."""
        if self._study is not None:
            self._shorts, self._study = tuple(self._study()) or self._shorts, None
        return self._shorts

    @property
    def shortfall(self) -> pd.DataFrame:
        """A row a kind of limit, in the columns `SHORTFALL`."""
        return pd.DataFrame([s.row() for s in self.shorts], columns=list(SHORTFALL))

    @cached_property
    def concession_sets(self) -> tuple:
        """Up to five cheapest sets of concessions that make the units enough, each re-solved and checked."""
        from pdm_alloc.allocation.concessions import concession_sets

        return concession_sets(self.vehicle, self.units)

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
        if not self.shorts:
            return "no allocation keeps every limit"
        first = [s.sentence for s in self.shorts if s.group == self.shorts[0].group]
        return " and ".join(first)

    def __str__(self):
        """As `sentence`."""
        return self.sentence()


class Unsolved(Exception):
    """The solver stopped without an allocation and without a proof that there is none.

    Parameters
    ----------
    outcome : str
        ``stopped empty`` or ``failed``.
    sentence : str
        What to do about it.
    """

    def __init__(self, outcome: str, sentence: str):
        self.outcome = outcome
        super().__init__(sentence)
