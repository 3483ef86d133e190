"""Conditions of commands: ``ignition and start and not (clutch or brake)`` over the names of inputs.

One parser reads the text, checks its grammar and makes the tree; only Python is needed. The tree is plain data:
`Variable`, `Not`, `And`, `Or`: `walk` it to build a program, call `Condition.evaluate` to enumerate.
"""

import re
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from typing import NamedTuple

from pdm_alloc.domain.vehicle import Vehicle

__all__ = [
    "And",
    "Condition",
    "ConditionError",
    "Expression",
    "Not",
    "Or",
    "Token",
    "Undecided",
    "Variable",
    "condition_names",
    "fewest_changes",
    "inputs_needed",
    "inputs_turning_on",
    "operands_of",
    "parse_condition",
    "quoted_condition",
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


# Bounds the depth of the tree, and so of every recursion over it.
MOST_NESTING = 100

_OPERAND = "the name of an input, 'not' or '('"

_OPERATOR = "'and', 'or'"


@dataclass(frozen=True)
class Condition:
    """A condition that can be evaluated.

    Parameters
    ----------
    text : str
        As it stands in the table.
    names : tuple of str
        Inputs it names, in order of first appearance.
    expression : Variable, Not, And or Or
        The tree.
    """

    text: str
    names: tuple[str, ...]
    expression: Expression

    def evaluate(self, on: Collection[str]) -> bool:
        """Whether the command is on.

        Parameters
        ----------
        on : collection of str
            Names of the inputs that are on; all others are off.

        Returns
        -------
        bool
            The value of the expression.
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
        return _evaluate(self.expression, value, ones)


def _evaluate(expression: Expression, value: Callable[[str], int], ones: int) -> int:
    if isinstance(expression, Variable):
        return value(expression.name)
    first, *others = (_evaluate(operand, value, ones) for operand in operands_of(expression))
    if isinstance(expression, Not):
        return ones & ~first
    for other in others:
        first = first & other if isinstance(expression, And) else first | other
    return first


def condition_names(text: str) -> frozenset[str]:
    """Names of the inputs a condition refers to; the grammar is checked on the way.

    Parameters
    ----------
    text : str
        See `parse_condition`.

    Returns
    -------
    frozenset of str
        The names; empty for an empty condition.

    Raises
    ------
    ConditionError
        The text is no condition; says where, what was found and what was expected.
    """
    return frozenset(parse_condition(text).names) if text.strip() else frozenset()


def parse_condition(text: str, inputs: Iterable[str] = ()) -> Condition:
    """Read a condition so that it can be evaluated.

    Parameters
    ----------
    text : str
        Names of letters, digits and underscores, others in quotes; ``and or not`` in any case, or
        ``& | ~ !``; parentheses. Not binds tighter than and, and tighter than or. Not empty.
    inputs : iterable of str
        Names of inputs: those with spaces or other signs need no quotes then, and the longest that fits counts.

    Returns
    -------
    Condition
        The condition.

    Raises
    ------
    ConditionError
        The text is no condition, or can be read in two ways.
    """
    parser = _Parser(text, scan(text, frozenset(inputs)))
    expression = parser.whole()
    return Condition(text, tuple(parser.names), expression)


def quoted_condition(text: str, inputs: Iterable[str]) -> str:
    """A condition that reads the same without the list of inputs.

    Parameters
    ----------
    text : str
        See `parse_condition`; may be empty.
    inputs : iterable of str
        Names of inputs.

    Returns
    -------
    str
        The text with quotes round each name that needs them.
    """
    bare = [token for token in scan(text, frozenset(inputs)) if token.bare]
    for token in reversed(bare):
        start, end = token.position - 1, token.position - 1 + len(token.text)
        left, right = next(pair for pair in ('""', "''", "“”") if pair[1] not in token.text)
        text = f"{text[:start]}{left}{token.text}{right}{text[end:]}"
    return text


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


_MOST_REPEATED = 10  # inputs that an expression names more than once: each is tried both ways
_MOST_WAYS = 8


def fewest_changes(expression: Expression, on: Collection[str]) -> list[frozenset[str]]:
    """Smallest sets of inputs whose change makes an expression true.

    Inputs named more than once are set both ways; in what is left each operand can be answered by itself.

    Parameters
    ----------
    expression : Variable, Not, And or Or
        The expression.
    on : collection of str
        Inputs that are on; all others are off.

    Returns
    -------
    list of frozenset of str
        All of the least size, at most `_MOST_WAYS`, in the order of the expression; one empty set where it is true
        already, none where no setting makes it true.

    Raises
    ------
    Undecided
        More than `_MOST_REPEATED` inputs are named more than once.
    """
    times = Counter(node.name for node in walk(expression) if isinstance(node, Variable))
    repeated = [name for name, n in times.items() if n > 1]
    if len(repeated) > _MOST_REPEATED:
        raise Undecided
    ways = []
    for values in product((True, False), repeat=len(repeated)):
        setting = dict(zip(repeated, values, strict=True))
        first = frozenset(name for name, value in setting.items() if value != (name in on))
        ways += [first | rest for rest in _ways(with_values(expression, setting), True, on)]
    rank = {name: n for n, name in enumerate(times)}
    return sorted(_smallest(ways), key=lambda way: sorted(rank[name] for name in way))


def _ways(expression: Expression | bool, value: bool, on: Collection[str]) -> list[frozenset[str]]:
    """As `fewest_changes`, for an expression that names every input once."""
    if isinstance(expression, bool):
        return [frozenset()] if expression is value else []
    if isinstance(expression, Variable):
        return [frozenset() if (expression.name in on) is value else frozenset({expression.name})]
    if isinstance(expression, Not):
        return _ways(expression.operand, not value, on)
    each = [_ways(operand, value, on) for operand in expression.operands]
    if isinstance(expression, And) is not value:
        return _smallest([way for ways in each for way in ways])
    joined = [frozenset[str]()]
    for ways in each:
        joined = [one | other for one in joined for other in ways][:_MOST_WAYS]
    return joined


def _smallest(ways: list[frozenset[str]]) -> list[frozenset[str]]:
    least = min(map(len, ways), default=0)
    return list(dict.fromkeys(way for way in ways if len(way) == least))[:_MOST_WAYS]


class _Parser:
    """Descends from ``or`` over ``and`` to ``not``, names and parentheses; refuses a token where it cannot stand."""

    def __init__(self, text: str, tokens: Iterator[Token]):
        self.text, self._tokens = text, tokens
        self.names: dict[str, None] = {}
        self._opened: list[Token] = []
        self._nesting = 0
        self._before = self._token = next(tokens)

    def _next(self) -> Token:
        token, self._before = self._token, self._token
        if token.sort != "end":
            self._token = next(self._tokens)
        return token

    def whole(self) -> Expression:
        """The expression of all tokens."""
        expression = self._disjunction()
        if self._token.sort != "end":
            raise self._misplaced()
        return expression

    def _disjunction(self) -> Expression:
        return self._joined("or", Or, self._conjunction)

    def _conjunction(self) -> Expression:
        return self._joined("and", And, self._operand)

    def _joined(self, sort: str, node: Callable[..., Expression], read: Callable[[], Expression]) -> Expression:
        operands = [read()]
        while self._token.sort == sort:
            self._next()
            operands.append(read())
        return node(tuple(operands)) if len(operands) > 1 else operands[0]

    def _operand(self) -> Expression:
        token = self._token
        if token.sort not in ("name", "not", "("):
            raise ConditionError(self.text, token.position, token.shown, _OPERAND)
        if token.sort == "name":
            self._next()
            self.names[token.text] = None
            return Variable(token.text)
        self._nest(token)
        self._next()
        return Not(self._operand()) if token.sort == "not" else self._parenthesis(token)

    def _nest(self, token: Token) -> None:
        self._nesting += 1
        if self._nesting > MOST_NESTING:
            raise ConditionError(self.text, token.position, token.shown, f"at most {MOST_NESTING} times 'not' and '('")

    def _parenthesis(self, opened: Token) -> Expression:
        self._opened.append(opened)
        expression = self._disjunction()
        if self._token.sort != ")":
            raise self._misplaced()
        self._opened.pop()
        self._next()
        return expression

    def _misplaced(self) -> ConditionError:
        """What to say of a token that follows an operand and cannot."""
        token, before = self._token, self._before
        if token.sort == "end":
            hint = f"'(' at character {self._opened[-1].position} is open"
            return ConditionError(self.text, token.position, "the end", "')'", hint)
        if token.sort == ")":
            return ConditionError(self.text, token.position, "')'", f"{_OPERATOR} or the end", "it closes nothing")
        two_names = before.sort == token.sort == "name"
        hint = f'''a name of several words goes in quotes: "{before.text} {token.text}"''' if two_names else ""
        return ConditionError(self.text, token.position, token.shown, f"{_OPERATOR} or the end", hint, two_names)
