"""What the panel asks, and what it shows as the answer."""

import time
from collections import deque
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction

import pandas as pd

from pdm_alloc.allocator import allocate
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.diagnose.concession_sets import concession_study
from pdm_alloc.diagnose.explain import concessions_table, explain
from pdm_alloc.domain.module import Catalogue, Module, Unit
from pdm_alloc.domain.vehicle import PPM, Vehicle
from pdm_alloc.files.tables.read_catalogue import fitted
from pdm_alloc.result.allocation import Allocation, NotEnough, Unsolved, table_shorts
from pdm_alloc.studies.signal_places import signals_beside
from pdm_alloc.studies.signal_side import SignalSide
from pdm_alloc.studies.signal_sizing import ModuleOption, SignalSizing, has_signals, read_by_signals, size_signals
from pdm_alloc.studies.sizing import module_options
from pdm_alloc.studies.what_if import compare
from pdm_alloc.verify.check import violations

__all__ = ["Answer", "Answers", "Early", "Others", "Question", "Wish", "new_commands", "question_of"]


def new_commands(vehicle: Vehicle, changed: Vehicle) -> tuple[str, ...]:
    """Commands that a vehicle did not know before it was changed, and that nothing holds off: both are a guess."""
    known = {command.name for command in vehicle.commands}
    fresh = (command for command in changed.commands if command.name not in known and not command.condition)
    return tuple(c.name for c in fresh if all(state.duty_ppm.get(c.name) == PPM for state in changed.states))


@dataclass(frozen=True, slots=True)
class Wish:
    """What is wanted.

    Parameters
    ----------
    module : Module
        The module looked at.
    headroom_pct : Fraction
        Least headroom on a channel, per cent.
    spare_channels : int
        Channels to stay free.
    strategy : str
        ``isolate`` or ``spare``.
    hold : bool
        Whether a kept allocation is taken as built: as few of its wires as can be are moved.
    place : str or None
        Where the module is mounted; None: not decided, so wires have no length.
    control_unit : str
        Name of the control unit looked at; empty: those that are enough at the least price.
    sites : tuple of (str, str)
        Label of control units and expanders that are put somewhere, and the place; others go where wires are lightest.
    """

    module: Module
    headroom_pct: Fraction
    spare_channels: int
    strategy: str
    hold: bool = True
    place: str | None = None
    control_unit: str = ""
    sites: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Question:
    """A vehicle to be put on a module.

    Parameters
    ----------
    vehicle : Vehicle
        With the loads of the table and the settings wanted.
    module : Module
        The module looked at.
    catalogue : Catalogue
        The module and those it is compared with.
    guessed : tuple of str
        Commands that no table knows, taken as always on.
    kept : Allocation or None
        Allocation to compare with.
    hold : bool
        Whether as few wires of `kept` as can be are moved.
    place : str or None
        Where the module is mounted.
    control_unit, sites
        As in `Wish`.
    """

    vehicle: Vehicle
    module: Module
    catalogue: Catalogue
    guessed: tuple[str, ...] = ()
    kept: Allocation | None = None
    hold: bool = True
    place: str | None = None
    control_unit: str = ""
    sites: tuple[tuple[str, str], ...] = ()


def question_of(
    vehicle: Vehicle,
    catalogue: Catalogue,
    wish: Wish,
    guessed: tuple[str, ...] = (),
    kept: Allocation | None = None,
) -> Question:
    """The question that tables and controls make.

    Parameters
    ----------
    vehicle : Vehicle
        As the tables have it.
    catalogue : Catalogue
        Modules to choose from.
    wish : Wish
        What is wanted.
    guessed : tuple of str
        Commands that no table knows, taken as always on.
    kept : Allocation, optional
        Allocation to compare with.

    Returns
    -------
    Question
        To be answered.
    """
    settings = replace(
        vehicle.settings,
        headroom_pct=wish.headroom_pct,
        spare_channels=wish.spare_channels,
        strategy=wish.strategy,
    )
    asked = replace(vehicle, settings=settings)
    fit = (wish.place, wish.control_unit, wish.sites)
    return Question(asked, wish.module, catalogue, guessed, kept, wish.hold, *fit)


def _is_on(kept: Allocation | None, module: Module) -> bool:
    """True if wires of a kept allocation can stay: where it has another module, all are new whatever is allocated."""
    return kept is not None and any(unit.label == module.name for unit in kept.units)


Result = Allocation | NotEnough | Unsolved

_CLOCK_S = 20.0
_PAUSE_S = 0.8
_BOOK_USES = 200
_REMEMBERED = 24  # results: undo, and another module and back, are answered at once


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
        What is short and what could be given up, where the module is not enough; what changed since the kept
        allocation. None until it is known.
    left_open : str
        Why there may be more ways to make it fit; empty where there are none, or as many as were asked for.
    why_none : str
        That there are none, and why as far as that is known.
    conditions : tuple of str
        Margins and guesses without which the module is enough, every rating kept; empty where there are none.
    allocation_if : Allocation or None
        The allocation without these.
    side : SignalSide or None
        Signals on their pins, wires and the bus; None: not known yet, or the vehicle has no signal side.
    """

    question: Question
    result: Result
    seconds: float
    why: str = ""
    shortfall: pd.DataFrame | None = None
    concessions: pd.DataFrame | None = None
    moved: pd.DataFrame | None = None
    left_open: str = ""
    why_none: str = ""
    conditions: tuple[str, ...] = ()
    allocation_if: Allocation | None = None
    side: SignalSide | None = None

    @property
    def allocation(self) -> Allocation | None:
        """The allocation, where the module is enough."""
        return self.result if isinstance(self.result, Allocation) else None

    @property
    def papers(self) -> Allocation | None:
        """The allocation with its signal side, for documents; None where there is none, or the signals are awaited."""
        if self.allocation is None or (self.side is None and has_signals(self.question.vehicle)):
            return None
        return self.allocation.with_signals(self.side)


@dataclass(frozen=True)
class Early:
    """Enough before the best wiring is known: the wiring of the answer before keeps every limit of the new tables.

    Parameters
    ----------
    question : Question
        What was asked.
    seconds : float
        How long the recount took.
    """

    question: Question
    seconds: float


@dataclass(frozen=True)
class Others:
    """How all modules of the catalogue do, as far as they have been tried.

    Parameters
    ----------
    results : dict of str to Allocation, NotEnough or Unsolved
        By module.
    complete : bool
        Whether all have been tried.
    signals : SignalSizing or None
        How all control units do; None: not known yet, or there is no signal side.
    """

    results: dict[str, Result] = field(default_factory=dict)
    complete: bool = False
    signals: SignalSizing | None = None


def _reasons(
    answer: Answer, refusal: NotEnough, stop: Callable[[], bool], book: CircuitBook
) -> Generator[Answer, None, Answer]:
    """What would be enough, in words and as a table."""
    reasons = explain(refusal, time_limit_s=_CLOCK_S, sets=0, stop=stop, book=book)
    answer = replace(
        answer,
        why=reasons.why(),
        shortfall=reasons.shortfall,
        conditions=reasons.conditions,
        allocation_if=reasons.allocation_if,
    )
    yield answer
    return answer


def _with_ways(answer: Answer, refusal: NotEnough, stop: Callable[[], bool]) -> Answer:
    modules = answer.question.catalogue
    ways = concession_study(refusal.vehicle, refusal.units, time_limit_s=_CLOCK_S, stop=stop, catalogue=modules)
    table = concessions_table(ways.sets)
    return replace(answer, concessions=table, left_open=ways.left_open, why_none=ways.why_none)


class Answers:
    """Answers questions; remembers circuits, since most of a vehicle stays as it was from one edit to the next."""

    def __init__(self) -> None:
        self._book = CircuitBook(0)
        self._left = 0
        self._results: deque[tuple[_Asked, Result]] = deque(maxlen=_REMEMBERED)
        self._wired: Allocation | None = None
        self._sided: tuple[_Sided, SignalSide | None] | None = None
        self._weighed: tuple[_Weighed, SignalSizing] | None = None

    def __call__(self, question: Question, stop: Callable[[], bool]) -> Iterator[Answer | Early | Others]:
        """The answer, the same answer as more of it is known, then the other modules; until `stop` says True.

        Where the wiring of the answer before still keeps every limit, that it is enough comes first.
        """
        start = time.perf_counter()
        if self._holds(question):
            yield Early(question, time.perf_counter() - start)
        result = self._judge(question, question.module, stop)
        self._wired = result if isinstance(result, Allocation) else self._wired
        answer = Answer(question, result, time.perf_counter() - start)
        yield answer
        if has_signals(question.vehicle) and not stop():
            answer = replace(answer, side=self._side(question))
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
        for module in question.catalogue:
            if stop():
                return
            if module.name not in results:
                results = {**results, module.name: self._judge(question, module, stop)}
                yield Others(results, len(results) == len(question.catalogue))
        if has_signals(question.vehicle) and not stop():
            study = self._control_units(question, results, stop)
            yield Others(results, len(results) == len(question.catalogue), study)

    def _control_units(self, question: Question, results: dict[str, Result], stop: Callable[[], bool]) -> SignalSizing:
        """How all control units do beside the modules that are enough; solved once for all tables that they read."""
        vehicle, catalogue = read_by_signals(question.vehicle), question.catalogue
        enough = module_options(catalogue, {n for n, r in results.items() if isinstance(r, Allocation)})
        asked = _Weighed(vehicle, catalogue, tuple(enough))
        if self._weighed is None or self._weighed[0] != asked:
            study = size_signals(vehicle, catalogue, enough, time_limit_s=_CLOCK_S, stop=stop)
            if stop():  # cut short: not to be remembered
                return study
            self._weighed = asked, study
        return replace(self._weighed[1], vehicle=question.vehicle)

    def _side(self, question: Question) -> SignalSide | None:
        """The signal side beside the module looked at; boxes that are put somewhere stay there."""
        vehicle, units = read_by_signals(question.vehicle), _units(question, question.module)
        asked = _Sided(vehicle, question.catalogue, units, question.control_unit, question.sites)
        if self._sided is None or self._sided[0] != asked:
            self._sided = asked, _side_of(asked)
        side = self._sided[1]
        return None if side is None else replace(side, vehicle=question.vehicle)

    def judged(self, question: Question, stop: Callable[[], bool]) -> Result:
        """The result of a question, without reasons or other modules."""
        return self._judge(question, question.module, stop)

    def _holds(self, question: Question) -> bool:
        """Whether the circuits of the last allocation, as they are, are an allocation of this question as well."""
        wired, units = self._wired, _units(question, question.module)
        if wired is None or wired.units != units or self._known((question.vehicle, units, None)):
            return False
        if table_shorts(question.vehicle, units):
            return False
        return not violations(question.vehicle, units, wired.circuits, since=wired.vehicle)

    def _known(self, asked: "_Asked") -> Result | None:
        return next((result for other, result in reversed(self._results) if other == asked), None)

    def _judge(self, question: Question, module: Module, stop: Callable[[], bool]) -> Result:
        keep = question.kept if question.hold and module == question.module and _is_on(question.kept, module) else None
        asked = question.vehicle, _units(question, module), keep
        return self._known(asked) or self._noted(asked, self._solved(asked, stop), stop)

    def _noted(self, asked: "_Asked", result: Result, stop: Callable[[], bool]) -> Result:
        """The result, remembered unless more could come of asking again."""
        is_final = isinstance(result, NotEnough) or (isinstance(result, Allocation) and result.gap == 0)
        if is_final and not stop():
            self._results.append((asked, result))
        return result

    def _solved(self, asked: "_Asked", stop: Callable[[], bool]) -> Result:
        vehicle, units, keep = asked
        try:
            return allocate(vehicle, units, time_limit_s=_CLOCK_S, stop=stop, book=self._circuits(vehicle), keep=keep)
        except (NotEnough, Unsolved) as refusal:
            return refusal

    def _circuits(self, vehicle) -> CircuitBook:
        """The book in use; a fresh one now and then, or it would grow with every value ever typed."""
        loads = vehicle.settings.tolerance_loads
        self._left -= 1
        if self._left < 0 or self._book.tolerance_loads != loads:
            self._book, self._left = CircuitBook(loads), _BOOK_USES
        return self._book


@dataclass(frozen=True, slots=True)
class _Sided:
    """What the signal side is asked of: the vehicle as far as signals read it, what there is and what is fitted."""

    vehicle: Vehicle
    catalogue: Catalogue
    units: tuple[Unit, ...]
    control_unit: str
    sites: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class _Weighed:
    """What control units are weighed for: the vehicle as far as signals read it, and modules that are enough."""

    vehicle: Vehicle
    catalogue: Catalogue
    modules: tuple[ModuleOption, ...]


def _side_of(asked: _Sided) -> SignalSide | None:
    catalogue = asked.catalogue
    names = [asked.control_unit] if asked.control_unit in {box.name for box in catalogue.boxes} else []
    side = signals_beside(asked.vehicle, catalogue, asked.units, names, time_limit_s=_CLOCK_S)
    boxes = [box for box in side.boxes if box.box.role != "module"] if side else []
    mounts = {place.name for place in asked.vehicle.places if place.mount}
    put = {label: place for label, place in asked.sites if place in mounts}
    places = [put.get(box.label, box.place or "") for box in boxes]
    if places == [box.place or "" for box in boxes] or not all(places):
        return side
    there = [box.box.name for box in boxes]
    return signals_beside(asked.vehicle, catalogue, asked.units, there, places, time_limit_s=_CLOCK_S)


_Asked = tuple[Vehicle, tuple[Unit, ...], Allocation | None]  # what is wired, what is fitted, what is built


def _units(question: Question, module: Module) -> tuple[Unit, ...]:
    places = [question.place] if question.place else []
    return fitted(question.vehicle, question.catalogue, [module.name], places)
