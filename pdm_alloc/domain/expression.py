"""Boolean expressions as plain data, and the tokens they are read from."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

__all__ = [
    "And",
    "ConditionError",
    "Expression",
    "Not",
    "Or",
    "Token",
    "Undecided",
    "Variable",
    "inputs_turning_on",
    "operands_of",
    "scan",
    "walk",
    "with_values",
]

# Nodes of trees looked at before a search gives up: some tenths of a second.
MOST_WORK = 200_000


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


class Undecided(RuntimeError):
    """The search over the inputs was too long."""


def inputs_turning_on(required: Iterable[tuple[Expression, bool]]) -> frozenset[str] | None:
    """Inputs that are on where each of the expressions has its value.

    What every setting must have is set first (Davis, Logemann and Loveland's unit rule, Communications of the ACM 5,
    1962); then both values of one input are tried.

    Parameters
    ----------
    required : iterable of (Expression, bool)
        Each with the value it must have.

    Returns
    -------
    frozenset of str or None
        The inputs on in one such setting, all others off; None: there is none.

    Raises
    ------
    Undecided
        More than `MOST_WORK` nodes were looked at.
    """
    work = 0
    stack: list[tuple[list[tuple[Expression, bool]], dict[str, bool]]] = [(list(required), {})]
    while stack:
        pairs, values = stack.pop()
        parts = [part for pair in pairs for part in _conjuncts(*pair)]
        work += len(parts) + sum(1 for part, _ in parts for _ in walk(part))
        if work > MOST_WORK:
            raise Undecided
        new = {part.name: value for part, value in parts if isinstance(part, Variable)}
        left = [(with_values(part, new), value) for part, value in parts]
        if any(isinstance(part, bool) and part is not value for part, value in left):
            continue
        values, still_open = {**values, **new}, [(part, value) for part, value in left if not isinstance(part, bool)]
        if not still_open:
            return frozenset(name for name, value in values.items() if value)
        if new:
            stack.append((still_open, values))
            continue
        name, value = _leaf(*still_open[0])
        stack += [([*still_open, (Variable(name), choice)], values) for choice in (not value, value)]
    return None


def _conjuncts(expression: Expression, value: bool) -> Iterator[tuple[Expression, bool]]:
    """Expressions, none to be split further, that must all have their values for this one to have its own."""
    if isinstance(expression, Not):
        yield from _conjuncts(expression.operand, not value)
    elif isinstance(expression, And if value else Or):
        for operand in expression.operands:
            yield from _conjuncts(operand, value)
    else:
        yield expression, value


def _leaf(expression: Expression, value: bool) -> tuple[str, bool]:
    """An input of the expression and the value of it that helps."""
    while not isinstance(expression, Variable):
        value = value is not isinstance(expression, Not)
        expression = operands_of(expression)[0]
    return expression.name, value


def with_values(expression: Expression, values: Mapping[str, bool]) -> Expression | bool:
    """The expression with some inputs set; True or False where nothing is left of it."""
    if isinstance(expression, Variable):
        return values.get(expression.name, expression)
    parts = [with_values(operand, values) for operand in operands_of(expression)]
    if isinstance(expression, Not):
        return not parts[0] if isinstance(parts[0], bool) else Not(parts[0])
    decides = isinstance(expression, Or)
    if any(part is decides for part in parts):
        return decides
    left = tuple(part for part in parts if not isinstance(part, bool))
    if len(left) < 2:
        return left[0] if left else not decides
    return type(expression)(left)


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
    return Token("name", " ".join(content.split()), position - 1)  # plain, as the names of every table


def _unreadable(text: str, at: int) -> ConditionError:
    position = at + len(text[at:]) - len(text[at:].lstrip()) + 1
    sign = text[position - 1]
    hint = (
        "the quote is not closed" if sign in "\"'“" else "quote a name that has other signs than letters, digits and _"
    )
    return ConditionError(text, position, f"'{sign}'", "names, and, or, not and parentheses", hint)
