"""Answers in the background, where they are shown, and what stays of them in a saved notebook."""

import atexit
import base64
import io
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from itertools import islice
from typing import Any, Generic, TypeVar
from weakref import WeakSet

import anywidget
import ipywidgets as widgets
import traitlets

from pdm_alloc import figures
from pdm_alloc.panel.answers import Answer
from pdm_alloc.panel.board_scene import plan_of_harness
from pdm_alloc.panel.markup import Html, script_or_style, tag
from pdm_alloc.panel.views import may_be_on
from pdm_alloc.result.care_rules import CAUTION

__all__ = ["Failure", "Screen", "Stop", "Tabs", "Worker", "picture", "static"]

Question = TypeVar("Question")

Stop = Callable[[], bool]

_LAST_S = 10.0
_BREATH_S = 0.01  # a part delivered is sent by another thread, which a solve right after it would hold up

_workers: "WeakSet[Worker[Any]]" = WeakSet()

_threads: WeakSet[threading.Thread] = WeakSet()


class Failure:
    """What is delivered when the work raised: the exception, to be shown and not to be lost in a thread.

    Parameters
    ----------
    exception : Exception
        What was raised.
    """

    def __init__(self, exception: Exception):
        self.exception = exception


class Worker(Generic[Question]):
    """Works on one question at a time in a thread of its own and delivers what comes of it, part by part.

    Parameters
    ----------
    work : callable
        Called with a question and a `stop` that returns True once a newer question was asked; yields parts.
    deliver : callable
        Called with each part while the lock is held; never with a part of an older question.
    delay_s : float
        Questions closer together than this are one: the last.
    lock : RLock, optional
        That of what `deliver` reads, where it has one: two locks taken in either order would hold each other up.

    Attributes
    ----------
    lock : RLock
        Whoever shares something with `deliver` holds it. A notebook hands messages of widgets to one thread and
        cells to another, so even without this worker there would be two.

    Notes
    -----
    A solver cannot be interrupted within one solve. An overtaken thread ends at its next look at `stop`; meanwhile
    the new question has a thread of its own, so that nothing waits.
    """

    def __init__(
        self,
        work: Callable[[Question, Stop], Iterator[object]],
        deliver: Callable[[object], None],
        delay_s: float = 0.005,
        lock: "threading.RLock | None" = None,
    ):
        self._work, self._deliver, self._delay_s = work, deliver, delay_s
        self._newest = 0
        self._thread: threading.Thread | None = None
        self.lock = threading.RLock() if lock is None else lock
        _workers.add(self)

    @property
    def asked(self) -> int:
        """How many questions have been asked."""
        return self._newest

    def ask(self, question: Question) -> None:
        """Ask; the question asked before is overtaken from now on."""
        with self.lock:
            number = self.overtake()
            stream = self._stream(number, question)
            self._begin(threading.Timer(self._delay_s, self._drain, (number, stream)))

    def answer_now(self, question: Question, parts: int = 1) -> None:
        """Answer in the caller's thread, as far as so many parts; the rest follows in the background."""
        with self.lock:
            number = self.overtake()
            stream = self._stream(number, question)
            for part in islice(stream, parts):
                self._deliver(part)
            self._begin(threading.Thread(target=self._drain, args=(number, stream)))

    def overtake(self) -> int:
        """Drop whatever is being worked on; number of the question that may follow."""
        with self.lock:
            self._newest += 1
            if isinstance(self._thread, threading.Timer):
                self._thread.cancel()
            return self._newest

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait until all of the latest question has been delivered; False where that took too long."""
        thread = self._thread
        if thread is not None:
            thread.join(timeout_s)
        return thread is None or not thread.is_alive()

    def _begin(self, thread: threading.Thread) -> None:
        thread.daemon = True  # a notebook that is closed does not wait for a solve
        self._thread = thread
        _threads.add(thread)
        thread.start()

    def _stream(self, number: int, question: Question) -> Iterator[object]:
        try:
            yield from self._work(question, lambda: self._is_overtaken(number))
        except Exception as exception:
            yield Failure(exception)

    def _is_overtaken(self, number: int) -> bool:
        """Waits while a message is dealt with: it may bring a newer question, and has the processor to itself."""
        with self.lock:
            return number != self._newest

    def _drain(self, number: int, stream: Iterator[object]) -> None:
        for part in stream:
            with self.lock:
                if number != self._newest:
                    return
                self._deliver(part)
            time.sleep(_BREATH_S)


@atexit.register
def _finish() -> None:
    """Let threads come out of the solver before Python ends: one caught in there brings the process down."""
    for worker in list(_workers):
        worker.overtake()
    for thread in list(_threads):
        thread.join(_LAST_S)


class _TabBar(anywidget.AnyWidget):
    """The line of tabs: their titles, how many faults each has, and which is chosen."""

    _esm = script_or_style("tabs.js")

    titles: traitlets.List = traitlets.List().tag(sync=True)
    counts: traitlets.Dict = traitlets.Dict().tag(sync=True)
    chosen = traitlets.Unicode().tag(sync=True)
    label = traitlets.Unicode().tag(sync=True)
    page_title = traitlets.Unicode().tag(sync=True)


class Tabs:
    """Pages of which one is looked at; a page costs the browser nothing before it is looked at for the first time.

    Parameters
    ----------
    label : str
        What the tabs are, for screen readers.

    Attributes
    ----------
    box : VBox
        The widget.
    """

    def __init__(self, label: str):
        self._bar, self._pages = _TabBar(label=label), widgets.VBox()
        self._widgets: dict[str, widgets.Widget] = {}
        self._heard: list[Callable[[str], None]] = []
        self.box = widgets.VBox([self._bar, self._pages])
        self.box.add_class("pdm-tabs")
        self._pages.add_class("pdm-pages")
        self._bar.observe(lambda _: self._look(), "chosen")

    @property
    def chosen(self) -> str:
        """Title of the tab looked at; empty before there is one."""
        return self._bar.chosen

    def add(self, title: str, page: widgets.Widget) -> None:
        """Put a page behind the last one; the first one is looked at."""
        self._widgets[title] = page
        self._bar.titles = list(self._widgets)
        self._bar.chosen = self._bar.chosen or title

    def choose(self, title: str) -> None:
        """Look at a page; KeyError where there is none of that title."""
        self._bar.chosen = title if self._widgets[title] else ""

    def observe(self, heard: Callable[[str], None]) -> None:
        """Have `heard` called with the title of a page when it is looked at."""
        self._heard.append(heard)

    def count(self, faults: Mapping[str, int]) -> None:
        """Mark tabs with the number of faults behind them; those not named have none."""
        self._bar.counts = {title: number for title, number in faults.items() if number}

    def name_page(self, title: str) -> None:
        """Name the tab of the browser, where the panel has a page of its own."""
        self._bar.page_title = title

    def _look(self) -> None:
        page = self._widgets[self.chosen]
        if page not in self._pages.children:
            self._pages.children = (*self._pages.children, page)
        for other in self._pages.children:
            other.layout.display = None if other is page else "none"
        for heard in self._heard:
            heard(self.chosen)


_CSS = script_or_style("colours.css", "panel.css")

# A hatch for what is beyond a limit; figures in the page refer to it by its name.
_HATCH = (
    '<svg width="0" height="0" style="position:absolute" aria-hidden="true"><defs>'
    '<pattern id="pdm-hatch" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect class="pdm-hatch" width="3" height="5"/></pattern></defs></svg>'
)

_SECTIONS = ("others", "short", "states", "channels", "warnings", "moved")


class Screen:
    """The verdict, the sections of the answer and whatever else has a tab beside them.

    Attributes
    ----------
    head : HTML
        The verdict.
    body : Box
        The sections of the answer; pale while they are out of date.
    tabs : Tabs
        The answer, and what was added to it.
    foot : HTML
        The caution.
    """

    def __init__(self) -> None:
        self.style = widgets.HTML(f"<style>{_CSS}</style>{_HATCH}")
        self.head = widgets.HTML()
        self._sections = {name: widgets.HTML() for name in _SECTIONS}
        self.body = widgets.VBox(list(self._sections.values()))
        self.foot = widgets.HTML(tag("p", " ".join(CAUTION), "pdm-caution"))
        self.body.add_class("pdm-body")
        self.head.add_class("pdm-head")
        self.tabs = Tabs("views")
        self.add_tab("Answer", self.body)

    def add_tab(self, title: str, widget: widgets.Widget) -> None:
        """Put a widget into a tab of its own, behind those there are."""
        self.tabs.add(title, widget)

    def show_alone(self, head: str) -> None:
        """Put a verdict in place and empty all sections."""
        for name in _SECTIONS:
            self.put(name, "")
        self.body.remove_class("pdm-stale")
        self.head.value = head

    def put(self, name: str, section: str) -> None:
        """Put one section in place."""
        if self._sections[name].value != section:
            self._sections[name].value = section

    def stale(self, head: str) -> None:
        """Mark everything shown as out of date."""
        self.head.value = head
        self.body.add_class("pdm-stale")


_DPI = 80
_COLOURS = 48


def static(answer: Answer, head: str, more: str = "") -> Html:
    """A picture of an answer that needs neither kernel nor script.

    Parameters
    ----------
    answer : Answer
        What came of the question.
    head : str
        The verdict as HTML.
    more : str
        What else is to stay.

    Returns
    -------
    Html
        Hidden by the panel's style sheet while the panel itself is there.
    """
    caution = tag("p", " ".join(CAUTION))
    return tag("div", [Html(head), *_body(answer), Html(more), caution], "pdm-static")


def _body(answer: Answer) -> list[Html]:
    if answer.allocation is not None:
        axes, plan = figures.headroom(answer.allocation), plan_of_harness(answer.allocation)
        headroom, pins = picture(axes.figure, "headroom by channel"), _frame(answer.allocation.pin_map())
        board = [] if plan is None else [picture(plan.figure, "plan of the harness")]
        return [headroom, *board, pins, may_be_on(answer.allocation.vehicle)]
    if answer.shortfall is not None and len(answer.shortfall):
        return [picture(figures.shortfall(answer.shortfall).figure, "what is short"), _frame(answer.shortfall)]
    return []


def picture(figure, label: str) -> Html:
    """A figure as an image in the page, small enough to travel with a notebook."""
    code = base64.b64encode(_small_png(figure)).decode("ascii")
    return Html(f'<img alt="{label}" src="data:image/png;base64,{code}"/>')


def _small_png(figure) -> bytes:
    """PNG in few colours: the picture travels with every save of the notebook."""
    from PIL import Image

    large, small = io.BytesIO(), io.BytesIO()
    figure.savefig(large, format="png", dpi=_DPI, bbox_inches="tight")
    Image.open(large).convert("RGB").quantize(_COLOURS).save(small, format="png", optimize=True)
    return small.getvalue()


def _frame(frame) -> Html:
    return Html(frame.to_html(index=False, border=0, na_rep=""))
