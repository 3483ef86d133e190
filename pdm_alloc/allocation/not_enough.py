"""What is raised when the units are not enough."""

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from pdm_alloc.module import Unit
from pdm_alloc.vehicle import Vehicle

__all__ = ["SHORTFALL", "NotEnough", "Short", "Unsolved"]

SHORTFALL = ("kind", "subject", "state", "have", "need", "short", "unit", "sentence")


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
    """

    kind: str
    subject: str
    state: str
    have: float
    need: float
    unit: str
    sentence: str

    def row(self) -> tuple:
        """As a row of the table `SHORTFALL`."""
        short = round(abs(self.need - self.have), 3)
        return (self.kind, self.subject, self.state, self.have, self.need, short, self.unit, self.sentence)


class NotEnough(Exception):
    """The units cannot carry the vehicle within every limit; proved.

    Parameters
    ----------
    vehicle : Vehicle
        What was to be wired.
    units : sequence of Unit
        What was fitted.
    shorts : sequence of Short
        Limits that miss, each by how much.
    """

    outcome = "not enough"

    def __init__(self, vehicle: Vehicle, units: Sequence[Unit], shorts: Sequence[Short]):
        self.vehicle, self.units, self.shorts = vehicle, tuple(units), tuple(shorts)
        super().__init__(self.sentence())

    @property
    def shortfall(self) -> pd.DataFrame:
        """A row a kind of limit, in the columns `SHORTFALL`."""
        return pd.DataFrame([s.row() for s in self.shorts], columns=list(SHORTFALL))

    def sentence(self) -> str:
        """One line: which units, and the first thing that is short."""
        names = " and ".join(u.label for u in self.units)
        why = self.shorts[0].sentence if self.shorts else "no single limit alone explains it"
        return f"{names} is not enough: {why}"


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
