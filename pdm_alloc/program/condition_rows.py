"""Conditions as plain data and as rows of a program over the inputs.

A condition is the name of an input, ``("not", x)``, ``("and", x, y, ...)`` or ``("or", x, y, ...)``; None stands for a
command without a condition, which is an input of its own.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from typing import TypeAlias, TypeGuard

import numpy as np
import numpy.typing as npt

from pdm_alloc.domain.condition import Expression, Variable, operands_of
from pdm_alloc.program.solver import PROVEN_BEST, Clock, Program, solve_program

__all__ = [
    "Bits",
    "Rows",
    "Tree",
    "Unanswered",
    "all_fixed",
    "alternatives",
    "condition_tree",
    "conjunction",
    "fewest_on",
    "fixed",
    "forced_off",
    "holds",
    "holds_over",
    "names_of",
    "negated",
    "note_signs",
    "own_input",
    "settings_of",
]


Tree: TypeAlias = bool | str | tuple["Tree", ...]
"""A condition as plain data; an input by its name, or as `own_input` names it; True or False once it is settled."""

Bits: TypeAlias = npt.NDArray[np.bool_]

Sum = tuple[int, dict[int, int]]
"""A constant, and the weights of variables by number."""


class Unanswered(RuntimeError):
    """The worst combination was not found.

    Parameters
    ----------
    outcome : str
        One of the words of `pdm_alloc.program.solver`.
    """

    def __init__(self, outcome: str):
        self.outcome = outcome
        super().__init__(f"the worst combination of inputs was not found: {outcome}")


def names_of(tree: Tree) -> set[Tree]:
    """Names of the inputs in a condition."""
    if _is_operation(tree):
        return set().union(*(names_of(part) for part in tree[1:]))
    return set() if isinstance(tree, bool) else {tree}


def holds(tree: Tree, on: Collection[Tree]) -> bool:
    """Whether a condition holds with the inputs `on` on and all others off."""
    if isinstance(tree, bool):
        return tree
    if not _is_operation(tree):
        return tree in on
    values = (holds(part, on) for part in tree[1:])
    return not next(values) if tree[0] == "not" else (all if tree[0] == "and" else any)(values)


def fixed(tree: Tree, name: Tree, value: bool) -> Tree:
    """What is left of a condition when one input is set; True or False where nothing is."""
    if not _is_operation(tree):
        return value if tree == name else tree
    parts = [fixed(part, name, value) for part in tree[1:]]
    if tree[0] == "not":
        return not parts[0] if isinstance(parts[0], bool) else ("not", parts[0])
    absorbing = tree[0] == "or"
    if any(part is absorbing for part in parts):
        return absorbing
    left = [part for part in parts if not isinstance(part, bool)]
    if len(left) < 2:
        return left[0] if left else not absorbing
    return (tree[0], *left)


def negated(tree: Tree) -> Tree:
    """The opposite of a condition."""
    return (not tree) if isinstance(tree, bool) else ("not", tree)


def conjunction(first: Tree, second: Tree) -> Tree:
    """Both of two conditions."""
    if first is False or second is False:
        return False
    if first is True:
        return second
    return first if second is True else ("and", first, second)


def all_fixed(tree: Tree, values: Mapping[Tree, bool]) -> Tree:
    """What is left of a condition when several inputs are set."""
    for name in names_of(tree) & values.keys():
        tree = fixed(tree, name, values[name])
        if isinstance(tree, bool):
            break
    return tree


def alternatives(trees: Iterable[Tree]) -> Iterator[Tree]:
    """Conditions of which none may hold, with every "or" taken apart: none of its parts may hold either."""
    for tree in trees:
        if _is_operation(tree) and tree[0] == "or":
            yield from alternatives(tree[1:])
        else:
            yield tree


def forced_off(trees: Iterable[Tree]) -> dict[Tree, bool]:
    """Inputs, and whether they are on, of conditions that must not hold and ask for one input alone."""
    values: dict[Tree, bool] = {}
    for tree in trees:
        if not _is_operation(tree):
            values |= {} if isinstance(tree, bool) else {tree: False}
        elif tree[0] == "not" and not _is_operation(tree[1]):
            values[tree[1]] = True
    return values


def note_signs(tree: Tree, sign: int, signs: dict[Tree, int]) -> None:
    """Note for every input whether it helps when on (1), when off (2), or both ways (3)."""
    if _is_operation(tree):
        for part in tree[1:]:
            note_signs(part, 3 - sign if tree[0] == "not" else sign, signs)
    elif not isinstance(tree, bool):
        signs[tree] = signs.get(tree, 0) | sign


def _is_operation(tree: Tree) -> TypeGuard[tuple[Tree, ...]]:
    return isinstance(tree, tuple) and tree[0] in ("and", "or", "not")


@lru_cache(maxsize=16)
def settings_of(count: int) -> Bits:
    """Every setting of some inputs, fewest on first, shape (inputs, settings)."""
    numbers = np.arange(2**count)
    bits: Bits = (numbers[None, :] >> np.arange(count)[:, None]) & 1 == 1
    return bits[:, np.argsort(bits.sum(axis=0), kind="stable")]


def holds_over(tree: Tree, columns: Mapping[Tree, Bits]) -> Bits:
    """A condition over every setting."""
    if not (isinstance(tree, tuple) and tree[0] in ("and", "or", "not")):
        return columns[tree]
    values = [holds_over(part, columns) for part in tree[1:]]
    if tree[0] == "not":
        return ~values[0]
    combined: Bits = np.all(values, axis=0) if tree[0] == "and" else np.any(values, axis=0)
    return combined


class Rows:
    """Conditions over the inputs of a program, each as a sum of variables.

    A condition that is wanted needs only rows that keep it from being counted where it does not hold, one that is not
    wanted only those that count it where it holds: half the rows, and the solver sees through them sooner.

    Parameters
    ----------
    inputs : sequence
        Names; each gets a variable.
    """

    def __init__(self, inputs: Iterable[Tree]):
        self.program = Program()
        self.input = {name: self.program.variable(1) for name in inputs}
        self._known: dict[tuple[Tree, bool], Sum] = {}

    def value(self, tree: Tree, is_wanted: bool) -> Sum:
        """A constant and the weights of variables: at most 1 while the condition holds if wanted, else at least."""
        key = (tree, is_wanted)
        if key not in self._known:
            self._known[key] = self._encoded(tree, is_wanted)
        return self._known[key]

    def _encoded(self, tree: Tree, is_wanted: bool) -> Sum:
        if isinstance(tree, bool):
            return int(tree), {}
        if not _is_operation(tree):
            return 0, {self.input[tree]: 1}
        if tree[0] == "not":
            return _opposite(self.value(tree[1], not is_wanted))
        parts = [self.value(part, is_wanted) for part in dict.fromkeys(tree[1:])]
        if tree[0] == "and":
            return self._all_of(parts, is_wanted)
        return _opposite(self._all_of([_opposite(part) for part in parts], not is_wanted))

    def _all_of(self, parts: Sequence[Sum], is_wanted: bool) -> Sum:
        whole = self.program.variable(1)
        if is_wanted:
            for constant, weights in parts:
                self.program.row({whole: 1} | {v: -w for v, w in weights.items()}, most=constant)
        else:
            constant, weights = _added((1, part) for part in parts)
            row = {v: -w for v, w in weights.items()} | {whole: 1}
            self.program.row(row, least=constant - (len(parts) - 1))
        return 0, {whole: 1}

    def sum(self, weighted: Iterable[tuple[int, Tree]]) -> Sum:
        """Sum of (weight, condition), to be as large as it can, as a constant and the weights of variables."""
        return _added((weight, self.value(tree, weight > 0)) for weight, tree in weighted)

    def rises(self, parts: Iterable[tuple[Tree, int, tuple[int, ...]]]) -> dict[int, int]:
        """A variable for every rise of (condition, amount, rises), at most 1 while its condition holds; its size."""
        sizes = {}
        for tree, _, rises in parts:
            constant, terms = self.value(tree, True) if rises else (0, {})
            for rise in rises:
                v = self.program.variable(1)
                self.program.row({v: 1} | {u: -w for u, w in terms.items()}, most=constant)
                sizes[v] = rise
        return sizes

    def cost(self, parts: Sequence[tuple[Tree, int, tuple[int, ...]]], at_once: int) -> dict[int, float]:
        """The sum of the parts to be as large as it can, so many of the rises counted, as a cost."""
        _, weights = self.sum([(ma, tree) for tree, ma, _ in parts if ma])
        cost: dict[int, float] = {v: -w for v, w in weights.items()}
        counted = self.rises(parts) if at_once else {}
        if counted:
            self.program.row(dict.fromkeys(counted, 1), most=at_once)
        return cost | {v: -rise for v, rise in counted.items()}

    def forbid(self, tree: Tree) -> None:
        """The condition does not hold."""
        constant, weights = self.value(tree, False)
        self.program.row(weights, most=-constant)


def fewest_on(
    inputs: Sequence[Tree],
    parts: Sequence[tuple[Tree, int, tuple[int, ...]]],
    forbidden: Sequence[Tree],
    at_once: int,
    amount: int,
    clock: Clock,
) -> frozenset[Tree] | None:
    """The fewest inputs on, and of as few the earliest, at which a sum is as large as it is said to be.

    Parameters
    ----------
    inputs : sequence
        In canonical order.
    parts : sequence of (condition, int, tuple of int)
        Condition, what it adds while it holds, rises it may add.
    forbidden : sequence of condition
        None of them may hold.
    at_once : int
        Most rises at once.
    amount : int
        The sum.
    clock : Clock
        When to stop.

    Returns
    -------
    frozenset or None
        None: not proved in time.
    """
    rows = Rows(inputs)
    for tree in forbidden:
        rows.forbid(tree)
    constant, weights = rows.sum([(ma, tree) for tree, ma, _ in parts if ma])
    counted = rows.rises(parts) if at_once else {}
    if counted:
        rows.program.row(dict.fromkeys(counted, 1), most=at_once)
    scale = max([1, *map(abs, weights.values()), *counted.values()])
    whole = {v: w / scale for v, w in {**weights, **counted}.items()}
    rows.program.row(whole, least=(amount - constant - 0.5) / scale)
    cost = {v: len(rows.input) ** 2 + place for place, v in enumerate(rows.input.values())}
    solution = solve_program(rows.program, cost, clock)
    if solution.outcome != PROVEN_BEST:
        return None
    return frozenset(name for name, v in rows.input.items() if solution.values[v])


def _opposite(value: Sum) -> Sum:
    constant, weights = value
    return 1 - constant, {v: -w for v, w in weights.items()}


def _added(parts: Iterable[tuple[int, Sum]]) -> Sum:
    weights: dict[int, int] = {}
    constant = 0
    for weight, (fixed_part, terms) in parts:
        constant += weight * fixed_part
        for v, w in terms.items():
            weights[v] = weights.get(v, 0) + weight * w
    return constant, weights


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


def condition_tree(node: Expression) -> Tree:
    """A parsed condition as plain data."""
    if isinstance(node, Variable):
        return node.name
    return (type(node).__name__.lower(), *map(condition_tree, operands_of(node)))
