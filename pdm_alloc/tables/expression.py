"""Boolean expressions as plain data."""

from collections.abc import Iterator
from dataclasses import dataclass

__all__ = ["And", "Expression", "Not", "Or", "Variable", "operands_of", "walk"]


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
