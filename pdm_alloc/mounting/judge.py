"""One choice solved, wherever: everything it needs goes in, everything it found comes out."""

from dataclasses import dataclass

from pdm_alloc.allocation.arithmetic import arithmetic_shorts
from pdm_alloc.allocation.circuit import PlacedCircuit
from pdm_alloc.allocation.verify import violations
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.mounting.choice import Choice
from pdm_alloc.program.lightest import Lightest, lightest
from pdm_alloc.program.outcome import FAILED, NOT_ENOUGH
from pdm_alloc.program.solver import Clock
from pdm_alloc.vehicle import Vehicle

__all__ = ["Job", "Judged", "judge_choice"]

_books: dict[str, CircuitBook] = {}


@dataclass(frozen=True)
class Job:
    """One choice to solve.

    Parameters
    ----------
    study : str
        Name of the study: circuits worked out once are kept for the next job of the same one.
    vehicle : Vehicle
        What is wired.
    choice : Choice
        Units and places.
    feeds_ma : tuple of int
        What each unit's feed carries, mA.
    feed_dg : int
        What the feeds weigh together, tenths of a gram.
    cutoff_dg : int or None
        A heavier harness is of no interest, tenths of a gram.
    time_limit_s : float
        Clock, s.
    settle : bool
        As of `lightest`.
    """

    study: str
    vehicle: Vehicle
    choice: Choice
    feeds_ma: tuple[int, ...]
    feed_dg: int
    cutoff_dg: int | None
    time_limit_s: float
    settle: bool = False


@dataclass(frozen=True)
class Judged:
    """What a choice came to; masses in tenths of a gram.

    Parameters
    ----------
    number : int
        Of the choice.
    outcome : str
        One of the five words, or ``passed over``.
    circuits : tuple of PlacedCircuit
        Checked; empty unless the outcome is proven best or best so far.
    wire_dg, feed_dg, bound_dg : int
        Mass of the wires; of the feeds; below which their sum cannot be.
    """

    number: int
    outcome: str
    circuits: tuple[PlacedCircuit, ...] = ()
    wire_dg: int = 0
    feed_dg: int = 0
    bound_dg: int = 0

    @property
    def harness_dg(self) -> int:
        """Wires and feeds together."""
        return self.wire_dg + self.feed_dg


def judge_choice(job: Job) -> Judged:
    """Solve one choice and check the answer independently.

    Parameters
    ----------
    job : Job
        Which.

    Returns
    -------
    Judged
    """
    units = job.choice.units
    try:
        if arithmetic_shorts(job.vehicle, units):
            return Judged(job.choice.number, NOT_ENOUGH)
        clock = Clock(job.time_limit_s)
        cutoff = None if job.cutoff_dg is None else job.cutoff_dg - job.feed_dg
        found = lightest(job.vehicle, units, job.feeds_ma, clock, _book(job), cutoff, job.settle)
    except ValueError:  # a unit is hotter or colder than its derating is known for
        return Judged(job.choice.number, NOT_ENOUGH)
    return _checked(job, found)


def _checked(job: Job, found: Lightest) -> Judged:
    units = job.choice.units
    circuits = tuple(PlacedCircuit(units[u].label, names, use, c, items) for u, use, names, c, items in found.circuits)
    if circuits and violations(job.vehicle, units, circuits):
        return Judged(job.choice.number, FAILED)
    masses = (found.wire_dg, job.feed_dg, found.bound_dg + job.feed_dg)
    return Judged(job.choice.number, found.outcome, circuits, *masses)


def _book(job: Job) -> CircuitBook:
    """Kept for one study at a time."""
    if job.study not in _books:
        _books.clear()
        _books[job.study] = CircuitBook(job.vehicle.settings.tolerance_loads)
    return _books[job.study]
