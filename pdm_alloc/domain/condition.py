"""Conditions of commands: ``ignition and start and not (clutch or brake)`` over the names of inputs.

One parser reads the text, checks its grammar and makes the tree; only Python is needed. The tree is plain data:
`Variable`, `Not`, `And`, `Or`: `walk` it to build a program, call `Condition.evaluate` to enumerate.
"""

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass
from itertools import product

from pdm_alloc.domain.expression import (
    And,
    ConditionError,
    Expression,
    Not,
    Or,
    Token,
    Undecided,
    Variable,
    operands_of,
    scan,
    walk,
    with_values,
)
from pdm_alloc.domain.vehicle import Vehicle

__all__ = [
    "And",
    "Condition",
    "ConditionError",
    "Expression",
    "Not",
    "Or",
    "Variable",
    "condition_names",
    "fewest_changes",
    "inputs_needed",
    "parse_condition",
    "quoted_condition",
    "walk",
]

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
