"""Results shown in the panel: how the module looked at does, and how the others do."""

import time
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass, field, replace
from functools import partial

import pandas as pd

from pdm_alloc.allocation.allocate import allocate
from pdm_alloc.allocation.concessions import concession_study, concessions_table
from pdm_alloc.allocation.explain import explain
from pdm_alloc.allocation.not_enough import NotEnough, Unsolved
from pdm_alloc.allocation.result import Allocation
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.module import Catalogue, Module
from pdm_alloc.panel.question import Question
from pdm_alloc.what_if.compare import compare

__all__ = ["Answer", "Answers", "Others"]

Result = Allocation | NotEnough | Unsolved
_CLOCK_S = 20.0
_PAUSE_S = 0.8
_BOOK_USES = 200


@dataclass(frozen=True)
class Answer:
    """How the module looked at does.

    Parameters
    ----------
    question : Question
        What was asked.
    result : Allocation, NotEnough or Unsolved
        What came of it.
    seconds : float
        How long it took.
    why : str
        What is short, in words; empty until it is known.
    shortfall, concessions, moved : DataFrame or None
        What is short and what could be given up, where the module is not enough; what changed since the kept design.
        None until it is known.
    left_open : str
        Why there may be more ways to live with it; empty where there are none, or as many as were asked for.
    """

    question: Question
    result: Result
    seconds: float
    why: str = ""
    shortfall: pd.DataFrame | None = None
    concessions: pd.DataFrame | None = None
    moved: pd.DataFrame | None = None
    left_open: str = ""

    @property
    def allocation(self) -> Allocation | None:
        """The allocation, where the module is enough."""
        return self.result if isinstance(self.result, Allocation) else None


@dataclass(frozen=True)
class Others:
    """How all modules of the catalogue do, as far as they have been tried.

    Parameters
    ----------
    results : dict of str to Allocation, NotEnough or Unsolved
        By module.
    complete : bool
        Whether all have been tried.
    """

    results: dict[str, Result] = field(default_factory=dict)
    complete: bool = False


def _reasons(
    answer: Answer, refusal: NotEnough, stop: Callable[[], bool], book: CircuitBook
) -> Generator[Answer, None, Answer]:
    """The easiest way out first, then all that is short, which takes longer."""
    how = partial(explain, refusal, time_limit_s=_CLOCK_S, sets=0, stop=stop, book=book)
    answer = replace(answer, why=how(every_limit=False).why())
    yield answer
    answer = replace(answer, shortfall=how().shortfall)
    yield answer
    return answer


def _with_ways(answer: Answer, refusal: NotEnough, stop: Callable[[], bool]) -> Answer:
    ways = concession_study(refusal.vehicle, refusal.units, time_limit_s=_CLOCK_S, stop=stop)
    return replace(answer, concessions=concessions_table(ways.sets), left_open=ways.left_open)


class Answers:
    """Answers questions; remembers circuits, since most of a vehicle stays as it was from one edit to the next.

    Parameters
    ----------
    catalogue : Catalogue
        Modules to choose from.
    """

    def __init__(self, catalogue: Catalogue):
        self._catalogue = catalogue
        self._book = CircuitBook(0)
        self._left = 0

    def __call__(self, question: Question, stop: Callable[[], bool]) -> Iterator[Answer | Others]:
        """The answer, the same answer as more of it is known, then the other modules; until `stop` says True."""
        start = time.perf_counter()
        result = self._judge(question, question.module, stop)
        answer = Answer(question, result, time.perf_counter() - start)
        yield answer
        if isinstance(result, Allocation) and question.kept is not None:
            yield replace(answer, moved=compare(question.kept, result))
        if isinstance(result, NotEnough):
            answer = yield from _reasons(answer, result, stop, self._circuits(question.vehicle))
        yield from self._others(question, {question.module.name: result}, stop)
        if isinstance(result, NotEnough) and not stop():
            yield _with_ways(answer, result, stop)

    def _others(self, question: Question, results: dict[str, Result], stop: Callable[[], bool]) -> Iterator[Others]:
        time.sleep(_PAUSE_S)  # somebody who is still typing wants the machine for the next answer
        for module in self._catalogue:
            if stop():
                return
            if module.name not in results:
                results = {**results, module.name: self._judge(question, module, stop)}
                yield Others(results, len(results) == len(self._catalogue))

    def _judge(self, question: Question, module: Module, stop: Callable[[], bool]) -> Result:
        vehicle = question.vehicle
        keep = question.kept if question.hold and module is question.module else None
        try:
            book = self._circuits(vehicle)
            return allocate(vehicle, module, time_limit_s=_CLOCK_S, stop=stop, book=book, keep=keep)
        except (NotEnough, Unsolved) as refusal:
            return refusal

    def _circuits(self, vehicle) -> CircuitBook:
        """The book in use; a fresh one now and then, or it would grow with every value ever typed."""
        loads = vehicle.settings.tolerance_loads
        self._left -= 1
        if self._left < 0 or self._book.tolerance_loads != loads:
            self._book, self._left = CircuitBook(loads), _BOOK_USES
        return self._book
