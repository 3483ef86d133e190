"""Results on combinations of inputs, and conditions as the plain data they are found from."""

from dataclasses import dataclass
from typing import Any

__all__ = ["Contradiction", "WorstChange", "WorstCombination", "condition_tree", "own_input"]


def own_input(command: str) -> tuple[str, str]:
    """Name of the input that a command without a condition is: no name of the tables can be equal to it.

    Parameters
    ----------
    command : str
        Name of the command.

    Returns
    -------
    tuple of (str, str)
        The word ``command`` and the name.
    """
    return ("command", command)


def condition_tree(node: Any):
    """Adapter: a parsed condition as plain data.

    Parameters
    ----------
    node : Any
        A node with `name`, `operand` (not) or `operands` (and, or); plain data already; or None.

    Returns
    -------
    str, tuple or None
        Plain data as this file takes it.
    """
    if node is None or isinstance(node, str | tuple):
        return node
    if hasattr(node, "name"):
        return node.name
    if hasattr(node, "operand"):
        return ("not", condition_tree(node.operand))
    return (type(node).__name__.lower(), *map(condition_tree, node.operands))


@dataclass(frozen=True, slots=True)
class WorstCombination:
    """A combination of inputs under which a sum is largest.

    Parameters
    ----------
    amount_ma : int
        The sum, mA.
    inputs : tuple of str
        Inputs that are on, in canonical order; of equal worsts the fewest, then the earliest.
    own : tuple of str
        Commands without a condition that are on.
    commands : tuple of str
        All commands that are on, in the order of the conditions.
    """

    amount_ma: int
    inputs: tuple[str, ...]
    own: tuple[str, ...]
    commands: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WorstChange:
    """A combination of inputs and a change of one of them at which the momentary sum is largest.

    Parameters
    ----------
    amount_ma : int
        Running currents of what stays on and inrush of what the change switches on, mA.
    inputs, own : tuple of str
        Inputs, and commands without a condition, that are on before the change.
    changed : str or None
        The input, or command without a condition, that changes; None: no change brings more than none.
    goes_on : bool
        Whether it goes on (or off).
    stays, switched_on : tuple of str
        Commands on before and after; commands on after the change only.
    """

    amount_ma: int
    inputs: tuple[str, ...]
    own: tuple[str, ...]
    changed: str | None
    goes_on: bool
    stays: tuple[str, ...]
    switched_on: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Why a command can never be on in a state, or why a state has no combination at all.

    Parameters
    ----------
    command : str or None
        The command; None: the state itself has no combination.
    kept_off : tuple of str
        A smallest set of commands the state keeps off that cannot all be off meanwhile (none can be left out); empty:
        the condition of the command holds under no setting of the inputs.
    """

    command: str | None
    kept_off: tuple[str, ...]
