"""The panel: a table of loads, what is wanted, and at once the verdict."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import ipywidgets as widgets
from IPython.display import HTML, DisplayHandle, display

from pdm_alloc.domain.module import Catalogue
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.files.faults import InputError
from pdm_alloc.files.plain import vehicle_plain
from pdm_alloc.panel import verdicts
from pdm_alloc.panel.answers import Answer, Answers, Early, Others, Question, new_commands, question_of
from pdm_alloc.panel.board import Board
from pdm_alloc.panel.controls import Controls, LocksByHand, beginning
from pdm_alloc.panel.kept import KeptAllocations
from pdm_alloc.panel.long_work import LongWork
from pdm_alloc.panel.markup import Html
from pdm_alloc.panel.screen import Failure, Screen, Stop, Worker, static
from pdm_alloc.panel.switches import Switches
from pdm_alloc.panel.table_grid import TableGrid
from pdm_alloc.panel.tables import Tables
from pdm_alloc.panel.verdicts import moved, notes, others
from pdm_alloc.panel.views import Part, Parts, Signals
from pdm_alloc.panel.workplace import FilesBar, Home
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.studies.signal_sizing import has_signals

__all__ = ["Panel"]


class Panel:
    """Play with the tables of a vehicle and see at once whether a module is enough.

    Parameters
    ----------
    vehicle : Vehicle
        To begin with.
    catalogue : Catalogue
        Modules to choose from.
    module : str, optional
        Module to begin with; default: the smallest with a channel for each command.
    home : Home, optional
        Where the vehicle came from, so that it can be saved; `Panel.of_files` gives it.

    Attributes
    ----------
    answer : Answer or None
        The latest answer; None before the first and while the table contradicts itself.
    compare : KeptAllocations
        Allocations kept under names, one of which is taken as built.
    tables : Tables
        The tables of the vehicle, to be edited and observed.
    board : Board
        The plan of the vehicle.
    """

    def __init__(self, vehicle: Vehicle, catalogue: Catalogue, module: str | None = None, *, home: Home | None = None):
        self._vehicle, self._home = vehicle, home
        self.answer: Answer | None = None
        self.tables = Tables(vehicle.name, home.all_tables if home else vehicle_plain(vehicle), catalogue)
        self._parts = Parts()
        self.controls = Controls(catalogue, vehicle, module or beginning(vehicle, catalogue))
        self.files = FilesBar(home, vehicle.name, self.save, self.reopen, self._settled)
        self._screen = Screen()
        self._screen.tabs.name_page(f"{vehicle.name}{f' ({home.label})' if home else ''}: pdm_alloc")
        self._answers = self._shown = 0
        self._saved: DisplayHandle | None = None
        self._asked: Question | None = None
        self._answer = Answers()
        self._worker: Worker[Question] = Worker(self._work, self._deliver, lock=self.tables.lock)
        path = home.path if home else None
        hands = self.controls.mount, path, self.controls.put_unit
        self.board = Board(self.tables.texts, self.tables.put_all, *hands, self.tables.lock)
        self._parts.add("Answer", verdicts.Sections(self._screen, lambda: self.kept))
        self.add("Board", self.board)
        self.signals = Signals()
        self.add("Pins and bus", self.signals)
        self.add("Switches", Switches())
        self.compare = KeptAllocations(path, self._settled, self._go_back, self._rebuilt, self.tables.lock)
        self.add("Compare", self.compare)
        self.add("Locks", LocksByHand(lambda: self.tables.texts("locked"), self.tables.put, self.tables.lock))
        self.add("Studies", LongWork(lambda: self._asked, lambda: self.answer, lambda: self.tables.catalogue))
        self.box = self._laid_out()
        self._begin()

    @classmethod
    def of_files(cls, path: str | Path, catalogue: Catalogue | str | Path, module: str | None = None) -> "Panel":
        """A panel of the vehicle in a folder or workbook, which it can save.

        Parameters
        ----------
        path : str or Path
            Folder of CSV files, or an XLSX workbook. What an earlier panel had not saved comes back.
        catalogue : Catalogue, str or Path
            Modules to choose from; those of a folder or workbook can be saved, too.
        module : str, optional
            Module to begin with.

        Returns
        -------
        Panel

        Raises
        ------
        InputError
            The tables cannot be used.
        """
        if isinstance(catalogue, Catalogue):
            return cls((home := Home(path)).vehicle, catalogue, module, home=home)
        home = Home(path, catalogue)
        assert home.catalogue
        return cls(home.vehicle, home.catalogue, module, home=home)

    @property
    def grid(self) -> TableGrid:
        """The editable table of loads."""
        return self.tables.loads

    def add(self, title: str, part: Part) -> None:
        """Give a part a tab beside the answer; it is told of answers while it is looked at."""
        self._parts.add(title, part)
        self._screen.add_tab(title, part.box)

    @property
    def vehicle(self) -> Vehicle:
        """The vehicle as it stands in the tables; InputError where they contradict themselves."""
        return self._question().vehicle

    @property
    def allocation(self) -> Allocation | None:
        """The allocation as it stands; None where there is none."""
        return self.answer.allocation if self.answer else None

    @property
    def kept(self) -> Allocation | None:
        """The allocation taken as built."""
        return self.compare.built

    def keep(self, name: str = "") -> None:
        """Keep the present allocation under a name; the first one is taken as built: what moves is shown against it."""
        with self._worker.lock:
            self.compare.keep(name)

    def _settled(self) -> Answer | None:
        return self.answer if self._shown == self._worker.asked else None

    def _rebuilt(self) -> None:
        with self._worker.lock:
            if self.answer is None or self._asked is None or self.answer.allocation != self.kept:
                return self._changed()
            self._asked = replace(self._asked, kept=self.kept)  # the present one: nothing of it can change
            return self._screen.put("moved", moved(self.answer, self.kept))

    def _go_back(self, allocation: Allocation) -> str:
        with self._worker.lock:
            self.tables.take(allocation.vehicle)
            return self.controls.take(allocation)

    def save(self, anyway: bool = False) -> None:
        """Save the vehicle as it stands into the files it came from; what came of it is said beside the buttons.

        Parameters
        ----------
        anyway : bool
            Also where somebody else changed the files meanwhile: what was edited here is put into them.
        """
        with self._worker.lock, self.files.refusing():
            self._save_files(anyway)

    def _save_files(self, anyway: bool) -> None:
        if self._home is None:
            return
        changed = self._home.save(self.vehicle, self.tables.catalogue, self.tables.orders, anyway)
        left = self.tables.left_out
        if anyway:  # what somebody else had saved comes in
            self._begin_tables()
            self._home.drop()
        elif not left:
            self.tables.saved()
        self.files.show(saved=not left)
        self.files.say(f"Saved: {', '.join(changed)}.{left}" if changed else f"Nothing to save.{left}")
        if left:
            self._home.keep(self._draft())

    def _begin_tables(self) -> None:
        assert self._home is not None
        self._vehicle = self._home.vehicle
        self.tables.begin(self._home.all_tables, self._home.catalogue)

    def reopen(self) -> None:
        """Read the files again and drop what is not saved."""
        with self._worker.lock, self.files.refusing():
            self._reopen()

    def _reopen(self) -> None:
        if self._home is None:
            return
        self._home.read()
        self._begin_tables()
        self.controls.begin(self._vehicle.settings)
        self._home.drop()
        self.files.show(saved=True)
        self.files.say("Opened again, as it is on disk.")

    def _restore(self, draft: Mapping[str, Any]) -> None:
        self.tables.restore(draft)
        self.controls.offer(self.tables.catalogue, self.tables.mounts)
        self.controls.restore(draft["wish"])
        old = " The files were changed after it was made: Open again shows them as they are." if draft["is_old"] else ""
        more = " Another window has a draft too: it comes back once this one is saved." if draft["others"] else ""
        self.files.say(f"Your draft of {draft['time']} is back.{old}{more}", is_fault=bool(old))
        self.files.show(saved=not self.tables.changed)

    def _draft(self) -> dict[str, object]:
        return {**self.tables.draft, "wish": self.controls.state}

    def _touched(self) -> None:
        """Keep what is not saved yet."""
        if self._home is not None:
            self.files.show(saved=not self.tables.changed)
            self._home.keep(self._draft())

    def _ipython_display_(self) -> None:
        display(self.box)
        self._saved = display(HTML(self._static()), display_id=True)

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait until the latest change has been worked out to the end; False where that took too long."""
        return self._worker.wait(timeout_s)

    def _laid_out(self) -> widgets.VBox:
        screen = self._screen
        left, right = self.tables.tabs.box, screen.tabs.box
        left.add_class("pdm-left")
        right.add_class("pdm-right-side")
        top = widgets.VBox([self.files.box, self.controls.box, screen.head])
        top.add_class("pdm-top")
        work = widgets.Box([left, right])
        work.add_class("pdm-work")
        box = widgets.VBox([screen.style, top, work, screen.foot])
        box.add_class("pdm-panel")
        return box

    def _begin(self) -> None:
        if self._home and (draft := self._home.draft()):
            self._restore(draft)
        self.tables.watch(self._edited)
        for widget in (self.board, *self.tables.grids.values()):
            widget.observe(lambda _: self.save(), "saves")
        self.controls.observe(self._edited)
        self._screen.tabs.observe(lambda _: self._look())
        self.controls.keep.on_click(lambda _: self.keep())
        # The first answer comes before anything is shown, so that a notebook run by a machine has it too.
        self._changed(now=True)

    def _question(self) -> Question:
        vehicle, catalogue = self.tables.vehicle, self.tables.catalogue
        self.controls.offer(catalogue, self.tables.mounts, has_signals(vehicle))
        return question_of(vehicle, catalogue, self.controls.wish, new_commands(self._vehicle, vehicle), self.kept)

    def _edited(self) -> None:
        self._changed()
        self._touched()

    def _changed(self, now: bool = False) -> None:
        with self._worker.lock:
            try:
                question = self._question()
            except InputError as error:
                self._refuse(error)
            else:
                self._ask(question, now)

    def _ask(self, question: Question, now: bool) -> None:
        if question == self._asked:  # a row still to be filled, or a step there and back
            return self._marked()
        self._asked = question
        self._screen.stale(verdicts.working())
        self._parts.stale(self._screen.tabs.chosen)
        return (self._worker.answer_now if now else self._worker.ask)(question)

    def _marked(self) -> None:
        with self._worker.lock:
            if self.answer is not None and self._shown == self._worker.asked:
                self._screen.head.value = self._head()

    def _refuse(self, error: InputError) -> None:
        self._asked, faults = None, tuple(map(str, error.faults))
        self._alone(self._worker.overtake(), lambda number: verdicts.faulty(faults, number))

    def _alone(self, asked: int, said: Callable[[int], str]) -> None:
        """A verdict without an answer."""
        self.answer, self._shown = None, asked
        self._answers += 1
        self._screen.show_alone(said(self._answers))
        self._tell()

    def _work(self, question: Question, stop: Stop) -> Iterator[object]:
        """The answer as it becomes known, then what stays in a saved notebook."""
        for part in self._answer(question, stop):
            yield part
            if isinstance(part, Answer):
                latest = part
        if self._saved is not None and not stop():
            yield static(latest, verdicts.verdict(latest, self._answers), self.compare.static())

    def _deliver(self, part: object) -> None:
        if isinstance(part, Html):
            assert self._saved is not None
            self._saved.update(HTML(part))
        elif isinstance(part, Others):
            self._screen.put("others", others(self.tables.catalogue, part))
            self.signals.weigh(part.signals)
        elif isinstance(part, Failure):
            self._fail(part)
        elif isinstance(part, Early):
            self._screen.head.value = verdicts.early(part, self._notes(part.question))
        elif isinstance(part, Answer):
            self._show(part)

    def _fail(self, failure: Failure) -> None:
        self._alone(self._worker.asked, lambda number: verdicts.failed(failure.exception, number))

    def _show(self, answer: Answer) -> None:
        is_new = self.answer is None or self.answer.question is not answer.question
        self.answer, self._shown = answer, self._worker.asked
        self._answers += is_new  # the same answer, of which more is known, counts once
        self._screen.head.value = self._head()  # before the sections, which take as long again
        if is_new:
            self._deliver(Others({answer.question.module.name: answer.result}))
        self._tell()

    def _look(self) -> None:
        with self._worker.lock:
            self._tell()
            if self._shown != self._worker.asked:
                self._parts.stale(self._screen.tabs.chosen)

    def _tell(self) -> None:
        self._parts.show(self._screen.tabs.chosen, self.answer)

    def _head(self) -> str:
        assert self.answer is not None
        return verdicts.verdict(self.answer, self._answers, self._notes(self.answer.question))

    def _notes(self, question: Question) -> tuple[str, ...]:
        return (*self.controls.faults, *notes(question, self.tables.sheets, len(self.tables.catalogue_faults)))

    def _static(self) -> str:
        return static(self.answer, self._head(), self.compare.static()) if self.answer else ""
