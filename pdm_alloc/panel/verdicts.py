"""The verdict, what moved and what is taken for granted, as HTML."""

from collections.abc import Callable, Iterable

import pandas as pd

from pdm_alloc.domain.module import Catalogue
from pdm_alloc.domain.showing import percent
from pdm_alloc.panel.answers import Answer, Early, Others, Question
from pdm_alloc.panel.markup import Html, plural, rows_of, section, table, tag
from pdm_alloc.panel.screen import Screen
from pdm_alloc.panel.sheet import Sheet
from pdm_alloc.panel.views import channels, short, signal_verdict, states, warnings
from pdm_alloc.result.allocation import Allocation, NotEnough, all_warnings, tightest
from pdm_alloc.result.care_rules import CareWarning
from pdm_alloc.studies.signal_sizing import SignalSizing
from pdm_alloc.studies.sizing import size_key

__all__ = ["Sections", "early", "failed", "faulty", "moved", "notes", "others", "sections", "verdict", "working"]

_UNDECIDED = "Where the module is mounted is not decided: wire lengths and voltage drop are not judged."

_LOOKING = "what is short is being worked out"


def verdict(answer: Answer, number: int, notes: tuple[str, ...] = ()) -> Html:
    """How the module looked at does.

    Parameters
    ----------
    answer : Answer
        What came of the question.
    number : int
        How many answers there have been.
    notes : tuple of str
        What the answer leaves out or takes for granted, a sentence each.

    Returns
    -------
    Html
    """
    css, sign, word, sentence = _said(answer)
    notes = (*notes, *_locked(answer))
    small = tag("span", f"answer {number}, {answer.seconds:.2f} s", "pdm-run", data_run=number)
    return _card(css, sign, word, sentence, notes, small, _signals_line(answer))


def _signals_line(answer: Answer) -> tuple[Html, ...]:
    said = signal_verdict(answer)
    if said is None:
        return ()
    css, sign, words = said
    head, _, rest = words.partition(". ")
    parts = [tag("span", sign, "pdm-sign", aria_hidden="true"), tag("strong", f"{head.rstrip('.')}."), f" {rest}"]
    return (tag("p", parts, f"pdm-beside pdm-{css}"),)


def _locked(answer: Answer) -> list[str]:
    """Locks that may be why a module is not enough."""
    names = [lock.load for lock in answer.question.vehicle.locked if lock.module == answer.question.module.name]
    if not names or not isinstance(answer.result, NotEnough):
        return []
    words = f"{plural(len(names), 'load')} locked to a channel" if len(names) > 3 else f"Locked: {', '.join(names)}"
    return [f"\u26a0 {words}. Tab Locks says whether that is why."]


def working() -> Html:
    """Shown from an edit to its answer, so that no old verdict is taken for the new one."""
    return _card("working", "\u2026", "Working", "Results below are for the previous table.", (), tag("span", ""))


def early(answer: Early, notes: tuple[str, ...] = ()) -> Html:
    """Shown where the module is enough for certain and the best wiring is still awaited.

    Parameters
    ----------
    answer : Early
        What is certain.
    notes : tuple of str
        As in `verdict`.

    Returns
    -------
    Html
    """
    question, small = answer.question, tag("span", f"{answer.seconds:.2f} s", data_early="1")
    sentence = (
        f"{question.module.name} carries {plural(len(question.vehicle.loads), 'load')}: the wiring as it was keeps "
        "every limit. The best wiring is being worked out; results below are for the previous table."
    )
    return _card("enough", "\u2713", "Enough", sentence, notes, small)


def faulty(faults: tuple[str, ...], number: int) -> Html:
    """Shown while the table contradicts itself: every fault with its row and column."""
    small = tag("span", f"answer {number}", "pdm-run", data_run=number)
    return _card("short", "\u26a0", "No verdict", "The table contradicts itself.", faults, small)


def failed(exception: Exception, number: int) -> Html:
    """Shown where the program itself is at fault; the words go into a report."""
    small = tag("span", f"answer {number}", "pdm-run", data_run=number)
    words = f"{type(exception).__name__}: {exception}"
    return _card("short", "\u26a0", "No verdict", "Internal error.", (words,), small)


def _card(
    css: str, sign: str, word: str, sentence: str, notes: tuple[str, ...], small: Html, beside: tuple[Html, ...] = ()
) -> Html:
    line = [tag("span", sign, "pdm-sign", aria_hidden="true"), tag("strong", f"{word}."), " ", sentence, " ", small]
    lines = [tag("p", line), *beside, *(tag("p", note, "pdm-note") for note in notes)]
    return tag("div", lines, f"pdm-verdict pdm-{css}", role="status", aria_live="polite")


def _said(answer: Answer) -> tuple[str, str, str, str]:
    result = answer.result
    if isinstance(result, Allocation):
        return "enough", "\u2713", "Enough", _enough(answer, result)
    if answer.conditions:
        module = answer.question.module.name
        return "if", "\u2248", "Enough if", f"{module} keeps every rating, if: {'; '.join(answer.conditions)}."
    if isinstance(result, NotEnough):
        return "short", "\u2717", "Not enough", f"{answer.question.module.name} is too small: {answer.why or _LOOKING}."
    return "short", "?", result.outcome.capitalize(), f"{answer.question.module.name}: {result}."


def _enough(answer: Answer, result: Allocation) -> str:
    loads, module = len(answer.question.vehicle.loads), answer.question.module
    used = sum(len(circuit.channels) for circuit in result.circuits)
    spare = len(module.channels) - used
    subject, use = tightest(result)
    sure = "proven best" if result.gap == 0 else f"{result.outcome}, within {percent(result.gap)}"
    return (
        f"{module.name} carries {plural(loads, 'load')} as {plural(len(result.circuits), 'circuit')} on {used} of "
        f"{plural(len(module.channels), 'channel')}, {spare} spare. Used most: {subject}, {use:.0f} % ({sure})."
    )


def notes(question: Question, sheets: Iterable[Sheet], catalogue_faults: int = 0) -> tuple[str, ...]:
    """Sentences that belong under a verdict.

    Parameters
    ----------
    question : Question
        What was asked.
    sheets : iterable of Sheet
        Tables as they stand.
    catalogue_faults : int
        How many faults keep the catalogue as it stands from being used.

    Returns
    -------
    tuple of str
        Empty where the verdict is about everything in the tables.
    """
    tables = list(sheets)
    sentences = [_unfilled(tables), _refused(tables), _old(catalogue_faults), _guessed(question.guessed)]
    sentences += [_UNDECIDED] if question.vehicle.places and question.place is None else []
    return tuple(sentence for sentence in sentences if sentence)


def _unfilled(sheets: list[Sheet]) -> str:
    number = sum(len(sheet.rows) - len(sheet.numbered) for sheet in sheets)
    return f"\u26a0 Not counted yet: {plural(number, 'row')} with cells still to be filled." if number else ""


def _refused(sheets: list[Sheet]) -> str:
    number = sum(len(row.drafts) for sheet in sheets for row in sheet.rows)
    return f"\u26a0 {plural(number, 'cell')} to put right; until then what stood there before counts." if number else ""


def _old(faults: int) -> str:
    words = "in the tables of the modules; until then the modules count as they were."
    return f"\u26a0 {plural(faults, 'fault')} to put right {words}" if faults else ""


def _guessed(commands: tuple[str, ...]) -> str:
    if not commands:
        return ""
    return f"\u26a0 New, without a condition, so taken as on in every state: {', '.join(commands)}."


def others(catalogue: Catalogue, others: Others) -> Html:
    """Every module with its verdict, smallest first, for the table and the wishes as they stand.

    Parameters
    ----------
    catalogue : Catalogue
        All modules.
    others : Others
        Those that have been tried.

    Returns
    -------
    Html
    """
    modules = sorted(catalogue, key=size_key)
    items = [tag("li", [tag("strong", m.name), f" {_word(others.results.get(m.name))}"]) for m in modules]
    modules_list = tag("ul", items, "pdm-others", aria_label="verdict on every module")
    return modules_list if others.signals is None else Html(modules_list + control_units(others.signals))


def control_units(study: SignalSizing) -> Html:
    """Every control unit with its verdict on the signals, smallest first: pins to spare, or what is short."""
    items = [
        tag("li", [tag("strong", box.name), f" {_pins(study, box.name)}"])
        for box in study.boxes
        if box.name in study.results
    ]
    units = tag("ul", items, "pdm-others", aria_label="verdict on every control unit") if items else Html("")
    return Html(tag("p", ["Signals: ", study.summary()], "pdm-signals") + units)


def _pins(study: SignalSizing, name: str) -> str:
    result = study.results[name]
    if result:
        return f"\u2713 enough, {plural(result.free_pins[name], 'pin')} to spare"
    short = study.shortfalls[name].sentence if name in study.shortfalls else ""
    return f"\u2717 not enough. {short}".strip() if result.outcome == "not enough" else f"? {result.outcome}"


def _word(result) -> str:
    if isinstance(result, Allocation):
        spare = sum(len(u.module.channels) for u in result.units) - sum(len(c.channels) for c in result.circuits)
        return f"\u2713 enough, {spare} spare"
    if isinstance(result, NotEnough):
        return "\u2717 not enough"
    return "\u2026" if result is None else f"? {result.outcome}"


def moved(answer: Answer, kept: Allocation | None) -> Html:
    """One row per change: loads that are elsewhere, then settings, wires and currents that are different.

    Parameters
    ----------
    answer : Answer
        The latest.
    kept : Allocation or None
        The allocation that is built; None where none is.

    Returns
    -------
    Html
    """
    return section("What moved since the built allocation", _body(answer, kept), "pdm-moved")


def _body(answer: Answer, kept: Allocation | None) -> Html:
    if kept is None:
        return tag(
            "p",
            "Nothing is built yet. Keep an allocation, change something, and see here what would have to be rewired.",
        )
    if answer.allocation is None:
        return tag("p", "There is no allocation to compare: the module is not enough.")
    if answer.allocation == kept:
        return tag("p", "Nothing: this is the built allocation.")
    return tag("p", "\u2026 being worked out") if answer.moved is None else _changes(answer.moved)


def _changes(frame: pd.DataFrame) -> Html:
    if frame.empty:
        return tag("p", "Nothing: every load, setting and wire is as it was.")
    wired = frame["what"].str.startswith("load ")
    parts = [tag("p", f"{plural(int(wired.sum()), 'load')} to rewire, {plural(int((~wired).sum()), 'other change')}.")]
    parts += [_rows(frame[wired]), tag("details", [tag("summary", "other changes"), _rows(frame[~wired])])]
    return Html("".join(parts))


def _rows(frame: pd.DataFrame) -> Html:
    rows = [(row.what, row.subject, row.channel, row.before, row.after) for row in rows_of(frame)]
    return table(("what", "subject", "channel", "before", "after"), rows) if rows else Html("")


def sections(answer: Answer, kept: Allocation | None) -> dict[str, Html]:
    """What is shown of an answer below its verdict, section by section; empty where it has none."""
    allocation = answer.allocation
    return {
        "short": short(answer) if isinstance(answer.result, NotEnough) else Html(""),
        "states": states(allocation) if allocation else Html(""),
        "channels": channels(allocation) if allocation else Html(""),
        "warnings": warnings(all_warnings(allocation.vehicle, allocation.units, allocation.wired, _care(answer)))
        if allocation
        else Html(""),
        "moved": moved(answer, kept),
    }


def _care(answer: Answer) -> tuple[CareWarning, ...]:
    return answer.side.care() if answer.side else ()


class Sections:
    """The part behind the tab Answer: drawn when it is looked at, since its tables take as long as the solve.

    Parameters
    ----------
    screen : Screen
        Where the sections are.
    kept : callable
        Gives the allocation that is built, or None.

    Attributes
    ----------
    box : Widget
        The sections.
    """

    def __init__(self, screen: Screen, kept: Callable[[], Allocation | None]):
        self._screen, self._kept, self.box = screen, kept, screen.body

    def show(self, answer: Answer | None) -> None:
        """Show an answer; where there is none the verdict stands alone."""
        for name, shown in sections(answer, self._kept()).items() if answer else ():
            self._screen.put(name, shown)
        self.box.remove_class("pdm-stale")

    def stale(self) -> None:
        """Mark what is shown as of other tables."""
        self.box.add_class("pdm-stale")
