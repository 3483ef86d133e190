"""Studies that take longer than a change may: each runs in a process of its own beside the panel, until cancelled.

A process and not a thread: a solver cannot be interrupted within one solve, and building programs holds the interpreter
that the next verdict needs. A process can be ended at any moment, and the other processor does its work.
"""

import os
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from multiprocessing import get_context, parent_process
from multiprocessing.connection import Connection

import ipywidgets as widgets
import pandas as pd

from pdm_alloc import figures
from pdm_alloc.diagnose.explain import explain
from pdm_alloc.domain.module import Catalogue, Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.files.tables.read_catalogue import fitted
from pdm_alloc.panel.answers import Answer, Question
from pdm_alloc.panel.markup import Html, framed, said, tag
from pdm_alloc.panel.screen import picture
from pdm_alloc.result.allocation import Allocation, NotEnough, Unsolved
from pdm_alloc.studies.alternatives import choices, mount_places
from pdm_alloc.studies.mounting import mount
from pdm_alloc.studies.risk import allocation_risk, module_risk

__all__ = ["LongWork", "Report", "Run", "Task"]

Progress = Callable[[float | None, str], None]  # share done, 0 to 1, None where it cannot be known; words

_TICK_S = 0.25


@dataclass(frozen=True)
class Task:
    """What is to be studied: one of `STUDIES`, on what, and as it asks (a time limit in s, what is better, draws)."""

    study: str
    vehicle: Vehicle
    catalogue: Catalogue
    units: tuple[Unit, ...]
    result: Allocation | NotEnough | Unsolved
    choice: str


@dataclass(frozen=True)
class Report:
    """What came of a study: in words, as figures, and as tables with their captions."""

    sentence: str
    pictures: tuple[Html, ...] = ()
    tables: tuple[tuple[str, pd.DataFrame], ...] = ()

    @property
    def html(self) -> Html:
        """All of it."""
        tables = [framed(caption, frame) for caption, frame in self.tables if len(frame)]
        return Html("".join([tag("p", self.sentence), *self.pictures, *tables]))


def _give_up(task: Task, progress: Progress) -> Report:
    """What is short, and what could be given up."""
    if isinstance(task.result, Unsolved):
        return Report(f"Whether {task.units[0].label} is enough is not known: {task.result}.")
    if isinstance(task.result, Allocation):
        return Report(f"{task.units[0].label} is enough: nothing is short and nothing has to be given up.")
    progress(None, "working out what is short and what could be given up")
    study = explain(task.result, time_limit_s=float(task.choice), catalogue=task.catalogue)
    short, ways = study.shortfall, study.concessions
    shown = [picture(figures.shortfall(study.shortfall).figure, "what is short")] if len(study.shortfall) else []
    if len(study.concession_sets) > 1:  # the figure is of two sets side by side
        shown.append(picture(figures.concessions(study.concessions).figure, "what could be given up"))
    more = study.left_open or study.why_none
    open_words = f" {more[:1].upper()}{more[1:]}." if more else ""
    tables = (
        ("What is short", short[["sentence", "have", "need", "unit", "needed_by"]]),
        ("Ways to make it fit, by rank", ways[["rank", "detail", "weight", "likewise"]]),
    )
    return Report(f"{study.sentence()}.{open_words}", tuple(shown), tables)


def _places(task: Task, progress: Progress) -> Report:
    """The best modules and places to mount them."""
    number = len(choices(task.catalogue, mount_places(task.vehicle), 2))
    solved: list[str] = []

    def told(label: str) -> None:
        solved.append(label)
        progress(len(solved) / max(1, number), f"{len(solved)} choices solved, {number} at most; last {label}")

    progress(0.0, f"bounds of {number} choices")
    study = mount(task.vehicle, task.catalogue, task.choice, progress=told)
    shown = [picture(figures.mass(study.solved).figure, "mass by choice")] if len(study.solved) else []
    columns = ["choice", "price", "mass_g", "wire_g", "feed_g", "bound_g", "outcome", "care"]
    return Report(study.summary(), tuple(shown), (("Choices", study.choices[columns]),))


def _chance(task: Task, progress: Progress) -> Report:
    """The chance that the answer survives the guesses in the tables."""
    if not any(load.tolerance_pct for load in task.vehicle.loads):
        return Report("No load has a tolerance: there is no guess to be drawn.")
    progress(0.0, "drawing")
    told = lambda done, draws: progress(done / draws, f"{done} of {draws} draws")  # noqa: E731
    study = module_risk(task.vehicle, task.units, int(task.choice), progress=told)
    low, high = (100 * share for share in study.interval)
    sentence = f"{task.units[0].label} is enough in {100 * study.chance:.1f} % of {study.draws} draws of every guess "
    sentence += f"within its tolerance (95 % confidence: {low:.1f} to {high:.1f} %)."
    if not isinstance(task.result, Allocation):
        return Report(sentence)
    kept = allocation_risk(task.result)
    tables = (("Limits passed", kept.limits), ("Measure first", kept.measure_first))
    return Report(f"{sentence} Wired as allocated now, {kept.summary()}.", (), tables)


@dataclass(frozen=True)
class _Study:
    title: str
    work: Callable[[Task, Progress], Report]
    label: str
    options: tuple[tuple[str, str], ...]
    limited: bool = False  # whether the choice is a time limit, which tells how far the bar is


STUDIES = {
    "give up": _Study(
        "What is short, and what could be given up", _give_up, "at most",
        (("20 s", "20"), ("60 s", "60"), ("300 s", "300")), limited=True,
    ),
    "places": _Study(
        "Which modules, and where to mount them", _places, "best by",
        (("price", "price"), ("mass", "mass"), ("front (unbeaten in price and mass)", "front")),
    ),
    "chance": _Study(
        "Chance that the guesses in the tables hold", _chance, "draws", (("100", "100"), ("400", "400")),
    ),
}  # fmt: skip


def _work(send: Connection, task: Task) -> None:
    """In the process of its own: do the work, and end with the panel."""
    threading.Thread(target=_end_with_panel, daemon=True).start()
    try:
        report = STUDIES[task.study].work(task, lambda share, words: send.send((share, words)))
    except (NotEnough, Unsolved, ValueError) as why:
        report = Report(f"No result: {why}.")
    except Exception as error:
        report = Report(f"Internal error: {type(error).__name__}: {error}")
    send.send(report)


def _end_with_panel() -> None:
    """A kernel that is killed leaves no solver behind."""
    if (panel := parent_process()) is not None:
        panel.join()
        os._exit(1)


class Run:
    """One study on its way.

    Parameters
    ----------
    task : Task
        What is to be studied.
    told : callable
        Called with seconds since it began, share done or None, and words; a few times a second.
    ended : callable
        Called once with the report, or None where it was cancelled or came to nothing.
    """

    def __init__(self, task: Task, told: Callable[[float, float | None, str], None], ended: Callable[..., None]):
        context = get_context("spawn")  # a solver that has run is not to be forked
        self.study, self._told, self._ended, self._begin = task.study, told, ended, time.monotonic()
        self._receive, send = context.Pipe(duplex=False)
        self.process = context.Process(target=_work, args=(send, task), daemon=True)
        self.process.start()
        send.close()
        self._thread = threading.Thread(target=self._listen, daemon=True)
        self._thread.start()

    def cancel(self) -> None:
        """End it at once, whatever it is doing."""
        self.process.kill()

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait until it has ended; False where that took too long."""
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def _listen(self) -> None:
        share, words, report = None, "starting", None
        while report is None:
            self._told(time.monotonic() - self._begin, share, words)
            try:
                message = self._receive.recv() if self._receive.poll(_TICK_S) else (share, words)
            except (EOFError, OSError):
                break
            if isinstance(message, Report):
                report = message
            else:
                share, words = message
        self.process.join()
        self._ended(report)


@dataclass
class _Row:
    """Controls and result of one study."""

    choice: widgets.Dropdown
    start: widgets.Button
    shown: widgets.HTML = field(default_factory=widgets.HTML)
    result: tuple[Task, Report] | None = None  # and the tables it is of


class LongWork:
    """Starts studies beside the panel, shows how far they are and what came of them.

    Parameters
    ----------
    question : callable
        Gives the question asked last, or None while the tables contradict themselves.
    answer : callable
        Gives the latest answer, or None.
    catalogue : callable
        Gives the modules to choose from.

    Attributes
    ----------
    box : VBox
        The widget.
    run : Run or None
        The study under way.
    """

    def __init__(
        self,
        question: Callable[[], Question | None],
        answer: Callable[[], Answer | None],
        catalogue: Callable[[], Catalogue],
    ):
        self._question, self._answer, self._catalogue = question, answer, catalogue
        self.run: Run | None = None
        self._lock = threading.RLock()
        self._words, self._bar = widgets.HTML(), widgets.FloatProgress(min=0, max=1, description="progress")
        self._cancel = widgets.Button(description="Cancel", tooltip="stop it at once", disabled=True)
        self._cancel.on_click(lambda _: self.cancel())
        self._rows = {name: self._row(name, study) for name, study in STUDIES.items()}
        line = widgets.HBox([self._bar, self._cancel, self._words])
        line.add_class("pdm-controls")
        parts = [part for name, row in self._rows.items() for part in self._parts(STUDIES[name], row)]
        self.box = widgets.VBox([line, *parts])

    def show(self, answer: Answer | None) -> None:
        """Say of each result whether it is of the tables as they stand."""
        with self._lock:
            for name in STUDIES:
                self._draw(name)

    def stale(self) -> None:
        """Results stay; those of other tables are marked."""
        self.show(None)

    def start(self, study: str) -> None:
        """Begin a study, unless one is on its way."""
        question, answer = self._question(), self._answer()
        with self._lock:
            if self.run is not None:
                return
            if question is None or answer is None or not _same(answer.question, question):
                self._say("Wait for the verdict on the tables as they stand, then start again.", is_fault=True)
                return
            row = self._rows[study]
            places = [question.place] if question.place else []
            units = fitted(question.vehicle, self._catalogue(), [question.module.name], places)
            task = Task(study, question.vehicle, self._catalogue(), units, answer.result, row.choice.value)
            self.run = Run(task, lambda *told: self._told(task, *told), lambda report: self._ended(task, report))
            self._enable()
            self._draw(study)

    def cancel(self) -> None:
        """End the study on its way; the result there was before stays."""
        with self._lock:
            if self.run is not None:
                self.run.cancel()

    def _told(self, task: Task, seconds: float, share: float | None, words: str) -> None:
        study = STUDIES[task.study]
        if share is None and study.limited:
            share = min(0.99, seconds / float(task.choice))
        self._bar.value = share or 0.0
        self._say(f"{study.title}: {words}, {seconds:.0f} s.", quiet=True)

    def _ended(self, task: Task, report: Report | None) -> None:
        with self._lock:
            self.run = None
            if report is not None:
                self._rows[task.study].result = (task, report)
            self._bar.value = 0.0 if report is None else 1.0
            self._say(f"{STUDIES[task.study].title}: {'cancelled' if report is None else 'done'}.")
            self._enable()
            self._draw(task.study)

    def _enable(self) -> None:
        self._cancel.disabled = self.run is None
        for row in self._rows.values():
            row.start.disabled = self.run is not None

    def _draw(self, name: str) -> None:
        row = self._rows[name]
        if row.result is None:
            return
        is_old = not _is_of(row.result[0], self._question())
        running = self.run is not None and self.run.study == name
        marks = [
            word for word, is_so in (("for the previous tables", is_old), ("a new one is on its way", running)) if is_so
        ]
        mark = [tag("p", f"\u26a0 Old: {', '.join(marks)}.", "pdm-old")] if marks else []
        row.shown.value = tag("div", [*mark, row.result[1].html], "pdm-stale" if marks else "")

    def _say(self, words: str, is_fault: bool = False, quiet: bool = False) -> None:
        """Say how far it is; what changes a few times a second is not read out."""
        self._words.value = tag("span", words) if quiet else said(words, is_fault)

    def _row(self, name: str, study: _Study) -> _Row:
        choice = widgets.Dropdown(options=study.options, description=study.label)
        choice.style.description_width, choice.layout.width = "initial", "auto"
        start = widgets.Button(description="Start", tooltip=study.title)
        start.on_click(lambda _: self.start(name))
        return _Row(choice, start)

    def _parts(self, study: _Study, row: _Row) -> Sequence[widgets.Widget]:
        line = widgets.HBox([row.choice, row.start])
        line.add_class("pdm-controls")
        return widgets.HTML(tag("h3", study.title)), line, row.shown


def _is_of(task: Task, question: Question | None) -> bool:
    """True if a result is of the tables, and where it matters of the module and its place, as they stand."""
    unit = task.units[0]
    module = task.study == "places" or (question and (unit.module, unit.place) == (question.module, question.place))
    return question is not None and task.vehicle == question.vehicle and bool(module)


def _same(a: Question, b: Question) -> bool:
    return (a.vehicle, a.module, a.place) == (b.vehicle, b.module, b.place)
