"""Boolean expressions as plain data, and the tokens they are read from."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

__all__ = ["And", "ConditionError", "Expression", "Not", "Or", "Token", "Variable", "operands_of", "scan", "walk"]


class ConditionError(ValueError):
    """A condition that cannot be read.

    Parameters
    ----------
    text : str
        The whole condition.
    position : int
        Where the trouble is, in characters counted from 1.
    found, expected : str
        What stands there; what could.
    hint : str
        A remedy, or nothing.
    two_names : bool
        Two names follow each other, which a name with a space in it may explain.
    """

    def __init__(self, text: str, position: int, found: str, expected: str, hint: str = "", two_names: bool = False):
        self.text, self.position, self.found, self.expected = text, position, found, expected
        self.two_names = two_names
        super().__init__(f"at character {position}: found {found}, expected {expected}{hint and f' ({hint})'}")


@dataclass(frozen=True, slots=True)
class Variable:
    """True while the input of this name is on."""

    name: str


@dataclass(frozen=True, slots=True)
class Not:
    """True while its operand is false."""

    operand: "Expression"


@dataclass(frozen=True, slots=True)
class And:
    """True while each of its operands, at least two, is true."""

    operands: "tuple[Expression, ...]"


@dataclass(frozen=True, slots=True)
class Or:
    """True while one of its operands, at least two, is true."""

    operands: "tuple[Expression, ...]"


Expression = Variable | Not | And | Or


def walk(expression: Expression) -> Iterator[Expression]:
    """Every node of a tree, operands before what joins them.

    Parameters
    ----------
    expression : Variable, Not, And or Or
        The root.

    Yields
    ------
    Variable, Not, And or Or
        Left to right; the root last.
    """
    for operand in operands_of(expression):
        yield from walk(operand)
    yield expression


def operands_of(expression: Expression) -> tuple[Expression, ...]:
    """Operands of a node; none of a variable."""
    if isinstance(expression, Variable):
        return ()
    return (expression.operand,) if isinstance(expression, Not) else expression.operands


_SIGNS = {"&": "and", "&&": "and", "|": "or", "||": "or", "~": "not", "!": "not", "(": "(", ")": ")"}

_WORDS = ("and", "or", "not")

# A spreadsheet turns straight quotes into curly ones by itself, so both count.
_TOKEN = re.compile(
    r"""\s*(?:(?P<word>\w+)|(?P<sign>&&|\|\||[&|~!()])|(?:"(?P<a>[^"]*)"|'(?P<b>[^']*)'|“(?P<c>[^”]*)”))""", re.UNICODE
)

_PLAIN = re.compile(r"\w+", re.UNICODE)


class Token(NamedTuple):
    """A token, where it stands, and whether it is a name without quotes that needs them."""

    sort: str  # and, or, not, (, ), name, end
    text: str
    position: int
    bare: bool = False  # a name that only the list of inputs shows to be one

    @property
    def shown(self) -> str:
        """The token as a message shows it."""
        return "the end" if self.sort == "end" else f"'{self.text}'"


def scan(text: str, inputs: frozenset[str]) -> Iterator[Token]:
    """Split the text; the last token is the end."""
    return _scan(text, inputs, _odd_lengths(inputs))


def _scan(text: str, inputs: frozenset[str], odd: tuple[int, ...], without: str = "") -> Iterator[Token]:
    """As `scan`, with the lengths of odd names known, and one of the inputs left out."""
    at, stop = 0, len(text.rstrip())
    while at < stop:
        at += len(text[at:]) - len(text[at:].lstrip()) if odd else 0
        parts = (text[at : at + length] for length in odd)
        name = next((part for part in parts if part != without and part in inputs and _stands_at(part, text, at)), None)
        if name is not None:
            _refuse_ambiguous(text, at, name, inputs, odd)
            yield Token("name", name, at + 1, bare=True)
            at += len(name)
            continue
        match = _TOKEN.match(text, at)
        if match is None:
            raise _unreadable(text, at)
        yield _token(text, match)
        at = match.end()
    yield Token("end", "", stop + 1)


@lru_cache(maxsize=64)
def _odd_lengths(inputs: frozenset[str]) -> tuple[int, ...]:
    """Lengths of the names that have more in them than letters, digits and underscores, longest first."""
    return tuple(sorted({len(name) for name in inputs if name and not _PLAIN.fullmatch(name)}, reverse=True))


def _stands_at(name: str, text: str, at: int) -> bool:
    """Whether the name stands there and no word goes on where it ends."""
    end = at + len(name)
    odd = not _PLAIN.fullmatch(name)
    return odd and not (_PLAIN.match(name[-1]) and _PLAIN.match(text[end : end + 1]))


def _refuse_ambiguous(text: str, at: int, name: str, inputs: frozenset[str], odd: tuple[int, ...]) -> None:
    """``not used`` is an input of that name, or the input ``used`` denied, where there are both."""
    try:
        tokens = list(_scan(name, inputs, odd, without=name))
    except ConditionError:
        return
    parts = [token.text for token in tokens if token.sort == "name"]
    if len(tokens) - 1 > len(parts) and inputs.issuperset(parts):
        hint = f'write "{name}" in quotes for the input of that name, or put parentheses round {parts[-1]}'
        raise ConditionError(text, at + 1, f"'{name}', which can be read in two ways", "one meaning", hint)


def _token(text: str, match: re.Match[str]) -> Token:
    group = match.lastgroup or "word"
    content, position = match[group], match.start(group) + 1
    if group == "sign":
        return Token(_SIGNS[content], content, position)
    if group == "word":
        return Token(content.lower() if content.lower() in _WORDS else "name", content, position)
    if not content.strip():
        raise ConditionError(text, position, "an empty name", "the name of an input between the quotes")
    return Token("name", content.strip(), position - 1)


def _unreadable(text: str, at: int) -> ConditionError:
    position = at + len(text[at:]) - len(text[at:].lstrip()) + 1
    sign = text[position - 1]
    hint = (
        "the quote is not closed" if sign in "\"'“" else "quote a name that has other signs than letters, digits and _"
    )
    return ConditionError(text, position, f"'{sign}'", "names, and, or, not and parentheses", hint)
