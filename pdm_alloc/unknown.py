"""What is raised for a name nobody knows: the error says which names are near it."""

from collections.abc import Iterable
from difflib import get_close_matches

__all__ = ["UnknownName", "chosen_word"]

MOST_COMPARED = 400
MOST_LISTED = 8


class UnknownName(KeyError, ValueError):
    """A name that is not known, with the known names nearest to it.

    Parameters
    ----------
    what : str
        What was looked for: ``module``, ``load``, ``strategy``.
    name : object
        The name as given.
    known : iterable of str
        The names there are.
    """

    def __init__(self, what: str, name: object, known: Iterable[str]):
        self.what, self.name, self.known = what, name, tuple(known)
        super().__init__(name)

    def __reduce__(self) -> tuple[type["UnknownName"], tuple[str, object, tuple[str, ...]]]:
        """Pickled with its names, so that it can cross from one process to another."""
        return type(self), (self.what, self.name, self.known)

    def __str__(self) -> str:
        """One line: ``no module 'middel-36': did you mean 'middle-36'?``."""
        return f"no {self.what} {self.name!r}{self._hint()}"

    def _hint(self) -> str:
        folded = {name.casefold(): name for name in self.known[:MOST_COMPARED]}
        near = get_close_matches(str(self.name).casefold()[:100], folded, n=3, cutoff=0.6)
        if near:
            return f": did you mean {' or '.join(repr(folded[name]) for name in near)}?"
        more = ", ..." if len(self.known) > MOST_LISTED else ""
        return f": known are {', '.join(self.known[:MOST_LISTED])}{more}" if self.known else ": there is none"


def chosen_word(what: str, word: str, known: tuple[str, ...]) -> str:
    """The word, if it is one of a few.

    Parameters
    ----------
    what : str
        What it chooses, for the error.
    word : str
        As given.
    known : tuple of str
        The words there are.

    Returns
    -------
    str

    Raises
    ------
    UnknownName
        It is none of them.
    """
    if word not in known:
        raise UnknownName(what, word, known)
    return word
