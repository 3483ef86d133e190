"""What an answer leaves out or takes for granted."""

from pdm_alloc.panel.question import Question
from pdm_alloc.panel.sheet import Sheet
from pdm_alloc.panel.views.markup import plural

__all__ = ["notes"]


def notes(question: Question, sheet: Sheet) -> tuple[str, ...]:
    """Sentences that belong under a verdict.

    Parameters
    ----------
    question : Question
        What was asked.
    sheet : Sheet
        The table as it stands.

    Returns
    -------
    tuple of str
        Empty where the verdict is about everything in the table.
    """
    found = [_unfilled(sheet), _refused(sheet), _guessed(question.guessed)]
    return tuple(sentence for sentence in found if sentence)


def _unfilled(sheet: Sheet) -> str:
    number = len(sheet.rows) - len(sheet.numbered)
    return f"\u26a0 Not counted yet: {plural(number, 'row')} with cells still to be filled." if number else ""


def _refused(sheet: Sheet) -> str:
    number = sum(len(row.drafts) for row in sheet.rows)
    return f"\u26a0 {plural(number, 'cell')} to put right; until then what stood there before counts." if number else ""


def _guessed(commands: tuple[str, ...]) -> str:
    if not commands:
        return ""
    return f"\u26a0 In no table of the vehicle, so taken as on in every state: {', '.join(commands)}."
