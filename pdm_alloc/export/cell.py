"""Text that a spreadsheet would run as a formula, made harmless and made whole again."""

import re

__all__ = ["guard", "unguard"]

# A leading = + - @ starts a formula, and so do their full-width forms in some locales; a tab or a line
# end in front is skipped by some programs (OWASP, "CSV injection", from memory), blanks likewise.
_FORMULA = re.compile(r"'*\s*[=+\-@＝＋－＠\t\r\n]")
_GUARDED = re.compile(r"'+\s*[=+\-@＝＋－＠\t\r\n]")


def guard(text: str) -> str:
    """Text for a CSV cell that no spreadsheet takes for a formula.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    str
        The text, with ``'`` in front where it could be run.
    """
    return "'" + text if _FORMULA.match(text) else text


def unguard(text: str) -> str:
    """The text that `guard` was given.

    Parameters
    ----------
    text : str
        A cell written by us.

    Returns
    -------
    str
        The text without the ``'`` that `guard` put there.
    """
    return text[1:] if _GUARDED.match(text) else text
