"""The panel: a table of loads, what is wanted, and at once the verdict."""

from collections.abc import Iterator

import ipywidgets as widgets
from IPython.display import HTML, DisplayHandle, display

from pdm_alloc.domain.module import Catalogue, Module
from pdm_alloc.domain.settings import Settings
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.files.faults import InputError
from pdm_alloc.files.plain import vehicle_plain
from pdm_alloc.panel import verdicts as heads
from pdm_alloc.panel.answers import Answer, Answers, Others, Question, Wish, question_of
from pdm_alloc.panel.grid_cells import load_columns
from pdm_alloc.panel.load_grid import LoadGrid
from pdm_alloc.panel.markup import Html
from pdm_alloc.panel.screen import Failure, Screen, Stop, Worker, static
from pdm_alloc.panel.verdicts import moved, notes, others
from pdm_alloc.panel.views import channels, short, states, warnings
from pdm_alloc.result.allocation import Allocation, all_warnings
from pdm_alloc.result.refusals import NotEnough
from pdm_alloc.studies.sizing import size_key

__all__ = ["Controls", "Panel"]

_STRATEGIES = (("isolate (few loads a channel)", "isolate"), ("spare (few channels)", "spare"))


class Controls:
    """Controls in a row.

    Parameters
    ----------
    catalogue : Catalogue
        Modules to choose from.
    settings : Settings
        What is wanted to begin with.
    module : str
        Module to begin with.
    """

    def __init__(self, catalogue: Catalogue, settings: Settings, module: str):
        options = [(_described(m), m.name) for m in sorted(catalogue, key=size_key)]
        self._catalogue = catalogue
        self.module = widgets.Dropdown(options=options, value=module, description="module")
        self.headroom = widgets.BoundedIntText(
            value=round(settings.headroom_pct), min=0, max=90, description="headroom, %"
        )
        self.spares = widgets.BoundedIntText(value=settings.spare_channels, min=0, max=99, description="spare channels")
        self.strategy = widgets.Dropdown(options=_STRATEGIES, value=settings.strategy, description="strategy")
        self.keep = widgets.Button(description="Keep this design", tooltip="compare what comes next with this design")
        self.hold = widgets.Checkbox(value=True, description="then move few wires", indent=False)
        self.hold.tooltip = "take the kept design as built: as few of its wires as can be are moved"
        self.box = widgets.HBox([*self._inputs[:-1], self.keep, self.hold])
        self._dress()

    @property
    def _inputs(self) -> tuple[widgets.Widget, ...]:
        return self.module, self.headroom, self.spares, self.strategy, self.hold

    @property
    def wish(self) -> Wish:
        """What is wanted now."""
        module = self._catalogue[self.module.value]
        return Wish(module, self.headroom.value, self.spares.value, self.strategy.value, self.hold.value)

    def observe(self, heard) -> None:
        """Have `heard` called when anything wanted changes."""
        for control in self._inputs:
            control.observe(lambda _: heard(), "value")

    def _dress(self) -> None:
        for control in self._inputs:
            control.style.description_width = "initial"
            control.layout.width = "auto"
        self.headroom.layout.width, self.spares.layout.width = "11em", "12em"
        self.box.add_class("pdm-controls")


def _described(module: Module) -> str:
    return f"{module.name}: {len(module.channels)} channels, {module.total_ma / 1000:g} A"


class Panel:
    """Play with the loads of a vehicle and see at once whether a module is enough.

    Parameters
    ----------
    vehicle : Vehicle
        To begin with.
    catalogue : Catalogue
        Modules to choose from.
    module : str, optional
        Module to begin with; default: the smallest with a channel for each command.

    Attributes
    ----------
    answer : Answer or None
        The latest answer; None before the first and while the table contradicts itself.
    kept : Allocation or None
        The design kept for comparison.
    """

    def __init__(self, vehicle: Vehicle, catalogue: Catalogue, module: str | None = None):
        self._vehicle, self._catalogue = vehicle, catalogue
        self.answer: Answer | None = None
        self.kept: Allocation | None = None
        self.grid = LoadGrid(vehicle_plain(vehicle).get("loads", []), load_columns(vehicle))
        self.controls = Controls(catalogue, vehicle.settings, module or _beginning(vehicle, catalogue))
        self._screen = Screen()
        self._answers = 0
        self._saved: DisplayHandle | None = None
        self._shown = 0
        self._asked: Question | None = None
        self._answer = Answers(catalogue)
        self._worker: Worker[Question] = Worker(self._work, self._deliver)
        self.box = self._laid_out()
        self._begin()

    @property
    def vehicle(self) -> Vehicle:
        """The vehicle as it stands in the table; InputError where the table contradicts itself."""
        return self._question().vehicle

    @property
    def allocation(self) -> Allocation | None:
        """The design as it stands; None where there is none."""
        return self.answer.allocation if self.answer else None

    def keep(self) -> None:
        """Keep the present design: what moves from now on is shown against it."""
        with self._worker.lock:
            self.kept = self.allocation or self.kept
            if self.answer is not None:
                self._screen.put("moved", moved(self.answer, self.kept))

    def _ipython_display_(self) -> None:
        display(self.box)
        self._saved = display(HTML(self._static()), display_id=True)

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait until the latest change has been worked out to the end; False where that took too long."""
        return self._worker.wait(timeout_s)

    def _laid_out(self) -> widgets.VBox:
        screen = self._screen
        box = widgets.VBox([screen.style, self.controls.box, screen.head, self.grid, screen.body, screen.foot])
        box.add_class("pdm-panel")
        return box

    def _begin(self) -> None:
        self.grid.observe(lambda _: self._changed(), "rows")
        self.grid.observe(lambda _: self._marked(), "marks")
        self.controls.observe(self._changed)
        self.controls.keep.on_click(lambda _: self.keep())
        # The first answer comes before anything is shown, so that a notebook run by a machine has it too.
        self._changed(now=True)

    def _question(self) -> Question:
        return question_of(self._vehicle, self.grid.sheet.numbered, self.controls.wish, self.kept)

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
        self._screen.stale(heads.working())
        return (self._worker.answer_now if now else self._worker.ask)(question)

    def _marked(self) -> None:
        with self._worker.lock:
            if self.answer is not None and self._shown == self._worker.asked:
                self._screen.head.value = self._head()

    def _refuse(self, error: InputError) -> None:
        self._asked, self.answer, self._shown = None, None, self._worker.overtake()
        self._answers += 1
        self._screen.show_alone(heads.faulty(tuple(map(str, error.faults)), self._answers))

    def _work(self, question: Question, stop: Stop) -> Iterator[object]:
        """The answer as it becomes known, then what stays in a saved notebook."""
        for part in self._answer(question, stop):
            yield part
            if isinstance(part, Answer):
                latest = part
        if self._saved is not None:
            yield static(latest, heads.verdict(latest, self._answers))

    def _deliver(self, part: object) -> None:
        if isinstance(part, Html):
            self._save(part)
        elif isinstance(part, Others):
            self._screen.put("others", others(self._catalogue, part))
        elif isinstance(part, Failure):
            self._fail(part)
        elif isinstance(part, Answer):
            self._show(part)

    def _fail(self, failure: Failure) -> None:
        self.answer, self._shown = None, self._worker.asked
        self._answers += 1
        self._screen.show_alone(heads.failed(failure.exception, self._answers))

    def _show(self, answer: Answer) -> None:
        is_new = self.answer is None or self.answer.question is not answer.question
        self.answer, self._shown = answer, self._worker.asked
        self._answers += is_new  # the same answer, of which more is known, counts once
        self._screen.show(self._head(), self._sections(answer))
        if is_new:
            self._screen.put("others", others(self._catalogue, Others({answer.question.module.name: answer.result})))

    def _save(self, picture: Html) -> None:
        if self._saved is not None:
            self._saved.update(HTML(picture))

    def _head(self) -> str:
        assert self.answer is not None
        return heads.verdict(self.answer, self._answers, notes(self.answer.question, self.grid.sheet))

    def _sections(self, answer: Answer) -> dict[str, str]:
        result, design = answer.result, answer.allocation
        return {
            "short": short(answer) if isinstance(result, NotEnough) else "",
            "states": states(design) if design else "",
            "channels": channels(design) if design else "",
            "warnings": warnings(all_warnings(design.vehicle, design.units, design.wired)) if design else "",
            "moved": moved(answer, self.kept),
        }

    def _static(self) -> str:
        return static(self.answer, self._head()) if self.answer else ""


def _beginning(vehicle: Vehicle, catalogue: Catalogue) -> str:
    modules = sorted(catalogue, key=size_key)
    wide = [module for module in modules if len(module.channels) >= len(vehicle.commands)]
    return (wide or modules[-1:])[0].name
