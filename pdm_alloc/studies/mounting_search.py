"""Best-first search over choices, each solved wherever there is a worker."""

import uuid
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field, replace
from itertools import pairwise, product
from math import inf
from multiprocessing import get_context
from typing import Any, TypeVar

from pdm_alloc.circuits.columns import CircuitBook, OutOfTime
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.harness.paths import lengths_of
from pdm_alloc.program.lightest import PASSED_OVER, Lightest, lightest
from pdm_alloc.program.solver import BEST_SO_FAR, FAILED, NOT_ENOUGH, PROVEN_BEST, Clock
from pdm_alloc.result.allocation import arithmetic_shorts
from pdm_alloc.result.care_rules import fuel_beside
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.studies.alternatives import Choice, Found, Objective, known_price, mount_places, objective_of
from pdm_alloc.studies.mounting_bounds import Bounds
from pdm_alloc.verify.check import violations

__all__ = ["Job", "Judged", "Search", "judge_choice", "lightest_places", "module_dg", "workers"]

_T = TypeVar("_T")

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
    settle, lists : bool
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
    lists: bool = True


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
        wiring = lightest(job.vehicle, units, job.feeds_ma, clock, _book(job), cutoff, job.settle, job.lists)
    except ValueError:  # a unit is hotter or colder than its derating is known for
        return Judged(job.choice.number, NOT_ENOUGH)
    return _checked(job, wiring)


def _checked(job: Job, wiring: Lightest) -> Judged:
    units = job.choice.units
    circuits = tuple(PlacedCircuit(units[u].label, names, use, c, items) for u, use, names, c, items in wiring.circuits)
    if circuits and violations(job.vehicle, units, circuits):
        return Judged(job.choice.number, FAILED)
    masses = (wiring.wire_dg, job.feed_dg, wiring.bound_dg + job.feed_dg)
    return Judged(job.choice.number, wiring.outcome, circuits, *masses)


def _book(job: Job) -> CircuitBook:
    """Kept for one study at a time."""
    if job.study not in _books:
        _books.clear()
        _books[job.study] = CircuitBook(job.vehicle.settings.tolerance_loads)
    return _books[job.study]


_AT_ONCE = 2


@dataclass
class Search:
    """A study of choices on its way.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    choices : tuple of Choice
        What is to be compared.
    objective : Objective
        What is better.
    time_limit_s : float
        Clock for each choice, s.
    clock : Clock
        Of the whole study.
    judged : dict of int to Judged
        What each came to, by number.
    held : frozenset of int
        Numbers of choices that are compared only where no other is enough.
    """

    vehicle: Vehicle
    choices: tuple[Choice, ...]
    objective: Objective
    time_limit_s: float
    clock: Clock = field(default_factory=lambda: Clock(inf))
    judged: dict[int, Judged] = field(default_factory=dict)
    held: frozenset[int] = frozenset()

    def __post_init__(self) -> None:
        self.study = uuid.uuid4().hex
        self.late: OutOfTime | None = None
        self._unlisted: set[int] = set()  # no time for their circuits in half of it: there will be none in the other
        book = CircuitBook(self.vehicle.settings.tolerance_loads)
        half = self.clock.part(0.5)  # the rest is for solving: bounds alone are no answer
        self.bounds = Bounds(self.vehicle, book, lambda: half.within(self.time_limit_s))
        self.least: dict[int, int] = {}
        for choice in self.choices:
            is_begun = bool(self.least or self.judged)  # the first is looked at in any case: it says what takes time
            least = self._least_dg(choice, is_in_time=not (is_begun and half.is_over()))
            if least is None:
                self.judged[choice.number] = Judged(choice.number, NOT_ENOUGH)
            else:
                self.least[choice.number] = least
        self._queue = self._ready()

    def _least_dg(self, choice: Choice, is_in_time: bool) -> int | None:
        """Least mass of the harness, 0 where there was no time to list the circuits; None: it cannot be enough.

        Feeds are asked for first, in time or not: a choice whose feeds are not to be had can never be solved.
        """
        try:
            self.bounds.feeds(choice.units)
            return self.bounds.harness_dg(choice.units) if is_in_time else 0
        except ValueError:
            return None
        except OutOfTime as late:
            self.late = late
            self._unlisted.add(choice.number)
            return 0

    @property
    def compared(self) -> tuple[Choice, ...]:
        """Choices that are not held back."""
        return tuple(choice for choice in self.choices if choice.number not in self.held)

    def _ready(self) -> deque[Choice]:
        """Choices to solve, the most promising first."""
        ready = [c for c in self.compared if c.number in self.least and c.number not in self.judged]
        return deque(sorted(ready, key=lambda c: self._promise(c, self.least[c.number])))

    def _promise(self, choice: Choice, harness_dg: int) -> tuple[Any, ...]:
        mass = module_dg(choice) + harness_dg
        key = self.objective.key(Found(choice.number, known_price(choice), mass))
        return (mass * float(known_price(choice) or 1), *key) if self.objective.is_front else key

    def run(
        self,
        executor: Executor | None = None,
        at_once: int | None = None,
        progress: Callable[[str], None] | None = None,
        stop: Callable[[], bool] | None = None,
    ) -> None:
        """Solve choices until none that is left can be better; those held back where no other is enough.

        Parameters
        ----------
        executor : concurrent.futures.Executor, optional
            Runs the solves; default: one after the other, here.
        at_once : int, optional
            Solves on their way at once; default: as many as the executor has workers, or 2.
        progress : callable, optional
            Called with the label of each choice that was solved.
        stop : callable, optional
            Asked between solves; True, or an interrupt from the keyboard, ends the search with the
            best so far.
        """
        runner = executor or _Here()
        most = at_once or getattr(runner, "_max_workers", None) or _AT_ONCE
        self._solve(runner, most, progress, stop)
        if self.held and not self.known and not any(self.undecided()):
            self.held = frozenset()
            self._queue = self._ready()
            self._solve(runner, most, progress, stop)

    def _solve(
        self, runner: Executor, most: int, progress: Callable[[str], None] | None, stop: Callable[[], bool] | None
    ) -> None:
        running: dict[Future[Judged], Choice] = {}
        try:
            while not (self.clock.is_over() or (stop is not None and stop())):
                self._fill(runner, running, most)
                if not running:
                    return
                done, _ = wait(running, return_when=FIRST_COMPLETED)
                for future in done:
                    self._note(future.result(), running.pop(future), progress)
        except KeyboardInterrupt:
            pass
        for future in running:
            future.cancel()

    def _fill(self, runner: Executor, running: dict[Future[Judged], Choice], at_once: int) -> None:
        while len(running) < at_once:
            job = self._next()
            if job is None:
                return
            running[runner.submit(judge_choice, job)] = job.choice

    def _next(self) -> Job | None:
        """The most promising choice that may still be better; those that cannot are passed over."""
        while self._queue:
            choice = self._queue.popleft()
            most = self.cutoff_dg(choice)
            if self.least[choice.number] <= most:
                return self.job(choice, None if most == inf else int(most))
            bound = self.least[choice.number]
            self.judged[choice.number] = Judged(choice.number, PASSED_OVER, bound_dg=bound)
        return None

    def job(self, choice: Choice, cutoff_dg: int | None, settle: bool = False) -> Job:
        """A choice as a job; choices whose feeds are not to be had never get here."""
        carried, mass = self.bounds.feeds(choice.units)
        limit_s = min(self.time_limit_s, self.clock.left_s)
        lists = choice.number not in self._unlisted
        return Job(self.study, self.vehicle, choice, carried, mass, cutoff_dg, limit_s, settle, lists)

    def cutoff_dg(self, choice: Choice) -> float:
        """Heaviest harness at which a choice would still be better than all that is known, tenths of a gram."""
        known = (found for number, found in self.known.items() if number != choice.number)
        return self.objective.most_dg(choice.number, known_price(choice), known) - module_dg(choice)

    @property
    def best(self) -> Choice | None:
        """The best choice that is solved; None where there is none."""
        best = self.objective.best(self.known.values())
        return None if best is None else self.choices[best.number]

    @property
    def known(self) -> dict[int, Found]:
        """Choices with an allocation, by number."""
        return {
            n: Found(n, known_price(self.choices[n]), module_dg(self.choices[n]) + judged.harness_dg)
            for n, judged in self.judged.items()
            if judged.outcome in (PROVEN_BEST, BEST_SO_FAR)
        }

    def _note(self, judged: Judged, choice: Choice, progress: Callable[[str], None] | None) -> None:
        self.judged[judged.number] = judged
        if progress is not None:
            progress(choice.label)

    def undecided(self) -> Iterator[tuple[Choice, int]]:
        """Choices that may be better than all that is known, with the least mass of their harness, tenths of a gram."""
        for choice in self.compared:
            judged = self.judged.get(choice.number)
            if judged is not None and judged.outcome in (PROVEN_BEST, NOT_ENOUGH, PASSED_OVER):
                continue
            least = max(self.least.get(choice.number, 0), judged.bound_dg if judged else 0)
            if least <= self.cutoff_dg(choice):
                yield choice, least


def unreached(vehicle: Vehicle, units: Sequence[Unit]) -> str:
    """How many loads no route leads to, in words: their wires weigh nothing here; empty where all are reached."""
    lengths = lengths_of(vehicle)
    apart = [
        load
        for load in vehicle.loads
        if all(lengths.wire_m(unit.place, load.place, load.length_m) is None for unit in units)
    ]
    if not apart:
        return ""
    return f"the wires of {len(apart)} of {len(vehicle.loads)} loads have no known length there and count nothing"


def module_dg(choice: Choice) -> int:
    """Mass of the modules of a choice, 0 where not known, tenths of a gram."""
    return round(10 * (choice.module_g or 0.0))


class _Here(Executor):
    """Runs what it is given at once, in this thread."""

    _max_workers = 1

    def submit(self, fn: Callable[..., _T], /, *args: Any, **kwargs: Any) -> Future[_T]:
        """A future that is done."""
        future: Future[_T] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


def workers(jobs: int) -> AbstractContextManager[Executor | None]:
    """An executor of so many processes, or none at all for one job.

    They start afresh: a solver that has run is not to be forked.
    """
    return nullcontext() if jobs == 1 else ProcessPoolExecutor(jobs, mp_context=get_context("spawn"))


def lightest_places(vehicle: Vehicle, units: Sequence[Unit], time_limit_s: float | None = None) -> Search:
    """Search over places for units that are settled: where wires and battery cables together are lightest.

    Parameters
    ----------
    vehicle : Vehicle
        With places a module can be mounted at.
    units : sequence of Unit
        What is fitted; their places are passed over.
    time_limit_s : float, optional
        Time limit of the whole search, s; default: the vehicle's setting.

    Returns
    -------
    Search
        Run. Places beside fuel are tried only where no other place is enough.
    """
    limit_s = vehicle.settings.time_limit_s if time_limit_s is None else time_limit_s
    clock = Clock(limit_s)
    beside = {name for name in mount_places(vehicle) if fuel_beside(vehicle, vehicle.place(name))}
    ways = [placed for placed in _placings(vehicle, units) if not beside & {unit.place for unit in placed}]
    search = _searched(vehicle, ways, clock)
    return search if search.known or not beside else _searched(vehicle, _placings(vehicle, units), clock)


def _placings(vehicle: Vehicle, units: Sequence[Unit]) -> Iterator[tuple[Unit, ...]]:
    """Every unit at every place; two modules of one name that change places are the same."""
    for spots in product(mount_places(vehicle), repeat=len(units)):
        placed = tuple(replace(unit, place=spot) for unit, spot in zip(units, spots, strict=True))
        twins = [(a, b) for a, b in pairwise(placed) if a.module.name == b.module.name]
        if all((a.place or "") <= (b.place or "") for a, b in twins):
            yield placed


def _searched(vehicle: Vehicle, ways: Iterable[tuple[Unit, ...]], clock: Clock) -> Search:
    listed = tuple(Choice(number, units) for number, units in enumerate(ways))
    search = Search(vehicle, listed, objective_of("mass"), clock.left_s, clock)
    search.run()
    return search
