"""The known name nearest to one that is not known."""

from collections.abc import Iterable
from difflib import get_close_matches

__all__ = ["hint", "nearest"]

MOST_COMPARED = 400
MOST_LISTED = 8


def nearest(word: str, names: Iterable[str], likeness: float = 0.6) -> str | None:
    """The name most like a word, whatever their upper and lower case.

    Parameters
    ----------
    word : str
        As found.
    names : iterable of str
        As known.
    likeness : float
        Least likeness that counts, 0 to 1.

    Returns
    -------
    str or None
        None where nothing is alike.
    """
    folded = {name.casefold(): name for name in list(names)[:MOST_COMPARED]}
    close = get_close_matches(word.casefold()[:100], folded, n=1, cutoff=likeness)
    return folded[close[0]] if close else None


def hint(word: str, names: Iterable[str], otherwise: str = "") -> str:
    """What to do about an unknown name: the nearest known one, or all of them if they are few.

    Parameters
    ----------
    word : str
        As found.
    names : iterable of str
        As known.
    otherwise : str
        Said where no name is near.

    Returns
    -------
    str
        A remedy, lower case, without a full stop.
    """
    known = list(dict.fromkeys(names))
    close = nearest(word, known)
    if close:
        return f"did you mean '{close}'?"
    if otherwise or not known:
        return otherwise
    more = ", ..." if len(known) > MOST_LISTED else ""
    return f"known: {', '.join(known[:MOST_LISTED])}{more}"
