"""How objects show themselves: tables as copies, a headline over a table, errors that suggest near names."""

import math
from collections.abc import Callable, Container, Iterable, Sequence
from difflib import get_close_matches
from functools import lru_cache
from html import escape
from typing import TYPE_CHECKING, Any, Protocol, TypeVar, overload

if TYPE_CHECKING:  # help and blank tables must not wait for pandas
    import pandas as pd

__all__ = [
    "MOST_ROWS",
    "UnknownName",
    "chosen_word",
    "counted",
    "handed_out",
    "headline_table",
    "named",
    "percent",
    "shown_in",
    "unshown",
]


class handed_out:
    """Property with a DataFrame that is worked out at the first access; every access gives a copy.

    A caller who changes what was handed out does not change what the next one gets.

    Parameters
    ----------
    work_out : callable
        Method that makes the table.
    """

    def __init__(self, work_out: "Callable[[Any], pd.DataFrame]"):
        self._work_out = work_out
        self._key = f"_{work_out.__name__}_frame"
        self.__doc__ = work_out.__doc__

    @overload
    def __get__(self, instance: None, owner: type) -> "handed_out": ...

    @overload
    def __get__(self, instance: object, owner: type) -> "pd.DataFrame": ...

    def __get__(self, instance: object | None, owner: type) -> "handed_out | pd.DataFrame":
        if instance is None:
            return self
        kept = instance.__dict__
        if self._key not in kept:
            kept[self._key] = self._work_out(instance)
        table: pd.DataFrame = kept[self._key].copy()
        return table


MOST_ROWS = 24


def headline_table(headline: str, columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """HTML of a headline and a table of at most `MOST_ROWS` rows.

    Parameters
    ----------
    headline : str
        One sentence.
    columns : sequence of str
        Headings.
    rows : iterable of sequence
        Cells; None and not-a-number are empty, floats are shown to three decimals.

    Returns
    -------
    str
        With everything that was given escaped.
    """
    every = list(rows)
    head = "".join(f"<th>{escape(column)}</th>" for column in columns)
    body = "".join(f"<tr>{''.join(map(_cell, row))}</tr>" for row in every[:MOST_ROWS])
    table = f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>" if every else ""
    more = f"<p>and {len(every) - MOST_ROWS} more</p>" if len(every) > MOST_ROWS else ""
    return f"<div><p><strong>{escape(headline)}</strong></p>{table}{more}</div>"


def _cell(value: object) -> str:
    return f"<td>{escape(_text(value))}</td>"


def _text(value: object) -> str:
    if value is None or str(value) in ("nan", "<NA>", "NaT"):
        return ""
    return f"{round(value, 3):g}" if isinstance(value, float) and abs(value) < 1e5 else str(value)


def percent(share: float) -> str:
    """A share in per cent, to a tenth, or to its first digit where that is finer: no gap reads as if it were none."""
    digits = max(1, -math.floor(math.log10(100 * abs(share)))) if share else 1
    return f"{100 * share:.{digits}f} %"


def counted(number: int, noun: str) -> str:
    """``1 load``, ``2 loads``."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


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


class Named(Protocol):
    """What has a name."""

    @property
    def name(self) -> str: ...


_Thing = TypeVar("_Thing", bound=Named)

_FEW = 8  # things that are looked through sooner than an index is asked


def named(what: str, things: Sequence[_Thing], name: str) -> _Thing:
    """The first thing of that name.

    Parameters
    ----------
    what : str
        What it is, for the message.
    things : sequence
        With names; of a long tuple an index is kept, as thousands of loads are looked up one by one.
    name : str
        Exactly.

    Raises
    ------
    UnknownName
        There is none (a KeyError).
    """
    if isinstance(things, tuple) and len(things) > _FEW:
        thing: _Thing | None = _index(_Same(things)).get(name)
    else:
        thing = next((thing for thing in things if thing.name == name), None)
    if thing is None:
        raise UnknownName(what, name, [thing.name for thing in things])
    return thing


class _Same:
    """A tuple as a key that compares by identity: to compare or hash thousands of loads would take as long."""

    __slots__ = ("things",)

    def __init__(self, things: tuple[Any, ...]):
        self.things = things

    def __hash__(self) -> int:
        return id(self.things)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and self.things is other.things


@lru_cache(maxsize=64)
def _index(same: _Same) -> dict[str, Any]:
    return {thing.name: thing for thing in reversed(same.things)}


def shown_in(text: str, glyphs: Container[int]) -> str:
    """Text as a font shows it: a question mark for every character of which it lacks the glyph, by code point."""
    return "".join(c if c == "\n" or ord(c) in glyphs else "?" for c in text)


def unshown(names: Iterable[str], glyphs: Container[int]) -> list[tuple[str, str]]:
    """Row of a title block on names that a font cannot show in full.

    Parameters
    ----------
    names : iterable of str
        Names that may stand in the document.
    glyphs : container of int
        Code points the font has.

    Returns
    -------
    list of (str, str)
        Label and text: the names with the codes of what they lack; empty where the font has every character.
    """
    lacking = [name for name in dict.fromkeys(names) if shown_in(name, glyphs) != name]
    if not lacking:
        return []
    told = [f"{shown_in(name, glyphs)} ({_codes(name, glyphs)})" for name in lacking[:MOST_LISTED]]
    more = f" and {len(lacking) - MOST_LISTED} more" if len(lacking) > MOST_LISTED else ""
    words = f"the font of this document lacks characters of {counted(len(lacking), 'name')}, shown as ?"
    return [("characters", f"{words}: {', '.join(told)}{more}. The workbooks have them in full.")]


def _codes(name: str, glyphs: Container[int]) -> str:
    return " ".join(f"U+{ord(c):04X}" for c in dict.fromkeys(name) if shown_in(c, glyphs) != c)
