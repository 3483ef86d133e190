"""The verdict in a sentence, with a sign and a word, never by colour alone."""

from pdm_alloc.allocation.not_enough import NotEnough
from pdm_alloc.allocation.result import Allocation
from pdm_alloc.allocation.tightest import tightest
from pdm_alloc.panel.answer import Answer
from pdm_alloc.panel.views.markup import Html, plural, tag

_LOOKING = "what is short is being worked out"

__all__ = ["failed", "faulty", "verdict", "working"]


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
    small = tag("span", f"answer {number}, {answer.seconds:.2f} s", "pdm-run", data_run=number)
    return _card(css, sign, word, sentence, notes, small)


def working() -> Html:
    """Shown from an edit to its answer, so that no old verdict is taken for the new one."""
    return _card("working", "\u2026", "Working", "Results below are for the previous table.", (), tag("span", ""))


def faulty(faults: tuple[str, ...], number: int) -> Html:
    """Shown while the table contradicts itself: every fault with its row and column."""
    small = tag("span", f"answer {number}", "pdm-run", data_run=number)
    return _card("short", "\u26a0", "No verdict", "The table contradicts itself.", faults, small)


def failed(exception: Exception, number: int) -> Html:
    """Shown where the program itself is at fault; the words go into a report."""
    small = tag("span", f"answer {number}", "pdm-run", data_run=number)
    words = f"{type(exception).__name__}: {exception}"
    return _card("short", "\u26a0", "No verdict", "Internal error.", (words,), small)


def _card(css: str, sign: str, word: str, sentence: str, notes: tuple[str, ...], small: Html) -> Html:
    line = [tag("span", sign, "pdm-sign", aria_hidden="true"), tag("strong", f"{word}."), " ", sentence, " ", small]
    lines = [tag("p", line), *(tag("p", note, "pdm-note") for note in notes)]
    return tag("div", lines, f"pdm-verdict pdm-{css}", role="status", aria_live="polite")


def _said(answer: Answer) -> tuple[str, str, str, str]:
    result = answer.result
    if isinstance(result, Allocation):
        return "enough", "\u2713", "Enough", _enough(answer, result)
    if isinstance(result, NotEnough):
        return "short", "\u2717", "Not enough", f"{answer.question.module.name} is too small: {answer.why or _LOOKING}."
    return "short", "?", result.outcome.capitalize(), f"{answer.question.module.name}: {result}."


def _enough(answer: Answer, result: Allocation) -> str:
    loads, module = len(answer.question.vehicle.loads), answer.question.module
    used = sum(len(circuit.channels) for circuit in result.circuits)
    spare = len(module.channels) - used
    subject, use = tightest(result)
    sure = "proven best" if result.gap == 0 else f"{result.outcome}, within {100 * result.gap:.1f} %"
    return (
        f"{module.name} carries {plural(loads, 'load')} as {plural(len(result.circuits), 'circuit')} on {used} of "
        f"{plural(len(module.channels), 'channel')}, {spare} spare. Used most: {subject}, {use:.0f} % ({sure})."
    )
