"""Conditions of commands: ``ignition and start and not (clutch or brake)`` over the names of inputs.

Names and grammar are checked here, without any library, so that a vehicle can be read and counted with
the core alone; only the tree that evaluates a condition comes from boolean.py (extra ``documents``).
"""

import re
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from pdm_alloc.vehicle import Vehicle

__all__ = ["Condition", "ConditionError", "condition_names", "inputs_needed", "parse_condition"]

# Bounds the depth of the tree, and so of every recursion over it.
MOST_NESTING = 100
_SIGNS = {"&": "and", "&&": "and", "|": "or", "||": "or", "~": "not", "!": "not", "(": "(", ")": ")"}
_WORDS = ("and", "or", "not")
# A spreadsheet turns straight quotes into curly ones by itself, so both count.
_TOKEN = re.compile(
    r"""\s*(?:(?P<word>\w+)|(?P<sign>&&|\|\||[&|~!()])|(?:"(?P<a>[^"]*)"|'(?P<b>[^']*)'|“(?P<c>[^”]*)”))""", re.UNICODE
)
_OPERAND = "the name of an input, 'not' or '('"
_OPERATOR = "'and', 'or'"


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
    """

    def __init__(self, text: str, position: int, found: str, expected: str, hint: str = ""):
        self.text, self.position, self.found, self.expected = text, position, found, expected
        super().__init__(f"at character {position}: found {found}, expected {expected}{hint and f' ({hint})'}")


class _Token(NamedTuple):
    sort: str  # and, or, not, (, ), name, end
    text: str
    position: int

    @property
    def shown(self) -> str:
        return "the end" if self.sort == "end" else f"'{self.text}'"


@dataclass(frozen=True)
class Condition:
    """A condition that can be evaluated.

    Parameters
    ----------
    text : str
        As it stands in the table.
    names : tuple of str
        Inputs it names, in order of first appearance.
    """

    text: str
    names: tuple[str, ...]
    _tree: Any = field(repr=False, compare=False)

    def holds(self, on: Collection[str]) -> bool:
        """Whether the command is on.

        Parameters
        ----------
        on : collection of str
            Names of the inputs that are on; all others are off.

        Returns
        -------
        bool
            The result.
        """
        return bool(self.over(lambda name: int(name in on), 1))

    def over(self, value: Callable[[str], int], ones: int) -> int:
        """The result for many settings of the inputs at once, one a bit.

        Parameters
        ----------
        value : callable
            Gives, for the name of an input, its settings as bits.
        ones : int
            The mask of all bits in use.

        Returns
        -------
        int
            The results as bits.
        """
        return _evaluate(self._tree, value, ones)


def condition_names(text: str) -> frozenset[str]:
    """Names of the inputs a condition refers to; the grammar is checked on the way.

    Parameters
    ----------
    text : str
        Names of letters, digits and underscores, others in quotes; ``and or not`` in any case, or
        ``& | ~ !``; parentheses. Not binds tighter than and, and tighter than or.

    Returns
    -------
    frozenset of str
        The names; empty for an empty condition.

    Raises
    ------
    ConditionError
        The text is no condition; says where, what was found and what was expected.
    """
    return frozenset(token.text for token in _tokens(text) if token.sort == "name") if text.strip() else frozenset()


def parse_condition(text: str) -> Condition:
    """Read a condition so that it can be evaluated.

    Parameters
    ----------
    text : str
        See `condition_names`; not empty.

    Returns
    -------
    Condition
        The condition.

    Raises
    ------
    ConditionError
        The text is no condition.
    ModuleNotFoundError
        boolean.py is not installed; names the extra that brings it.
    """
    tokens = list(_tokens(text))
    names = dict.fromkeys(token.text for token in tokens if token.sort == "name")
    return Condition(text, tuple(names), _tree(tokens))


def inputs_needed(vehicle: Vehicle) -> int:
    """Inputs of a module that the vehicle's switches and analog senders take.

    Parameters
    ----------
    vehicle : Vehicle
        Its table ``inputs`` and the conditions of its commands count together.

    Returns
    -------
    int
        Names in either, less the inputs of kind ``bus``, which arrive as messages.
    """
    named = {name for command in vehicle.commands for name in condition_names(command.condition)}
    listed = {item.name: item.kind for item in vehicle.inputs}
    return sum(listed.get(name, "switch") != "bus" for name in named | set(listed))


def _tokens(text: str) -> Iterator[_Token]:
    """Tokens of the text, each checked against the one before it and the open parentheses."""
    opened: list[_Token] = []
    before = _Token("(", "", 0)
    nesting = 0
    for token in _scan(text):
        _follows(text, before, token)
        _nest(text, opened, token)
        nesting += token.sort in ("not", "(")
        if nesting > MOST_NESTING:
            raise ConditionError(text, token.position, token.shown, f"at most {MOST_NESTING} times 'not' and '('")
        before = token
        if token.sort != "end":
            yield token


def _scan(text: str) -> Iterator[_Token]:
    """Split the text; the last token is the end."""
    at, stop = 0, len(text.rstrip())
    while at < stop:
        match = _TOKEN.match(text, at)
        if match is None:
            raise _unreadable(text, at)
        yield _token(text, match)
        at = match.end()
    yield _Token("end", "", stop + 1)


def _token(text: str, match: re.Match[str]) -> _Token:
    group = match.lastgroup or "word"
    found, position = match[group], match.start(group) + 1
    if group == "sign":
        return _Token(_SIGNS[found], found, position)
    if group == "word":
        return _Token(found.lower() if found.lower() in _WORDS else "name", found, position)
    if not found.strip():
        raise ConditionError(text, position, "an empty name", "the name of an input between the quotes")
    return _Token("name", found.strip(), position - 1)


def _unreadable(text: str, at: int) -> ConditionError:
    position = at + len(text[at:]) - len(text[at:].lstrip()) + 1
    sign = text[position - 1]
    hint = (
        "the quote is not closed" if sign in "\"'“" else "quote a name that has other signs than letters, digits and _"
    )
    return ConditionError(text, position, f"'{sign}'", "names, and, or, not and parentheses", hint)


def _follows(text: str, before: _Token, token: _Token) -> None:
    """Refuse a token that cannot stand after the one before it.

    boolean.py alone takes ``a and b not c`` for ``a and b and not c``.
    """
    wants_operand = before.sort in ("and", "or", "not", "(")
    if wants_operand == (token.sort in ("name", "not", "(")):
        return
    if wants_operand:
        raise ConditionError(text, token.position, token.shown, _OPERAND)
    two_words = before.sort == token.sort == "name"
    hint = f'''a name of several words goes in quotes: "{before.text} {token.text}"''' if two_words else ""
    raise ConditionError(text, token.position, token.shown, f"{_OPERATOR} or the end", hint)


def _nest(text: str, opened: list[_Token], token: _Token) -> None:
    """Keep the list of open parentheses; refuse one too many or one too few."""
    if token.sort == "(":
        opened.append(token)
    if token.sort == ")":
        if not opened:
            raise ConditionError(text, token.position, "')'", f"{_OPERATOR} or the end", "it closes nothing")
        opened.pop()
    if token.sort == "end" and opened:
        raise ConditionError(text, token.position, "the end", "')'", f"'(' at character {opened[-1].position} is open")


def _tree(tokens: list[_Token]) -> Any:
    try:
        import boolean
    except ModuleNotFoundError as error:
        raise ModuleNotFoundError(
            "boolean.py evaluates conditions: pip install 'pdm_alloc[documents]'", name="boolean"
        ) from error
    sorts = {
        "and": boolean.TOKEN_AND,
        "or": boolean.TOKEN_OR,
        "not": boolean.TOKEN_NOT,
        "(": boolean.TOKEN_LPAR,
        ")": boolean.TOKEN_RPAR,
        "name": boolean.TOKEN_SYMBOL,
    }
    return boolean.BooleanAlgebra().parse([(sorts[t.sort], t.text, t.position) for t in tokens])


def _evaluate(node: Any, value: Callable[[str], int], ones: int) -> int:
    if node.isliteral and not node.args:
        return value(node.obj)
    first, *others = (_evaluate(arg, value, ones) for arg in node.args)
    if not others:
        return ones & ~first
    for other in others:
        first = first & other if node.operator == "&" else first | other
    return first
