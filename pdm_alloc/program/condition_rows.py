"""Conditions as plain data: their names and values, what is left when an input is set, and rows for a program."""

from collections.abc import Collection
from typing import Any

from pdm_alloc.program.solver import Program

__all__ = ["Rows", "fixed", "holds", "names_of"]


def names_of(tree: Any) -> set:
    """Names of the inputs in a condition."""
    if _is_operation(tree):
        return set().union(*(names_of(part) for part in tree[1:]))
    return set() if isinstance(tree, bool) else {tree}


def holds(tree: Any, on: Collection) -> bool:
    """Whether a condition holds with the inputs `on` on and all others off."""
    if isinstance(tree, bool):
        return tree
    if not _is_operation(tree):
        return tree in on
    values = (holds(part, on) for part in tree[1:])
    return not next(values) if tree[0] == "not" else (all if tree[0] == "and" else any)(values)


def fixed(tree: Any, name: Any, value: bool) -> Any:
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


def _is_operation(tree):
    return isinstance(tree, tuple) and tree[0] in ("and", "or", "not")


class Rows:
    """Conditions over the inputs of a program: each becomes a sum of variables that is 1 exactly when it holds.

    Parameters
    ----------
    inputs : sequence
        Names; each gets a variable.
    """

    def __init__(self, inputs):
        self.program = Program()
        self.input = {name: self.program.variable(1) for name in inputs}
        self._known: dict[Any, tuple[int, dict[int, int]]] = {}

    def value(self, tree: Any) -> tuple[int, dict[int, int]]:
        """The value of a condition as a constant and the weights of variables."""
        if tree not in self._known:
            self._known[tree] = self._encoded(tree)
        return self._known[tree]

    def _encoded(self, tree):
        if isinstance(tree, bool):
            return int(tree), {}
        if not _is_operation(tree):
            return 0, {self.input[tree]: 1}
        if tree[0] == "not":
            constant, weights = self.value(tree[1])
            return 1 - constant, {v: -w for v, w in weights.items()}
        parts = [self.value(part) for part in dict.fromkeys(tree[1:])]
        return self._joined(parts, tree[0] == "and")

    def _joined(self, parts, is_and):
        """A variable for all (or any) of the parts; 'or' is 'not and' of the opposites."""
        if not is_and:
            opposite = [(1 - constant, {v: -w for v, w in weights.items()}) for constant, weights in parts]
            constant, weights = self._joined(opposite, True)
            return 1 - constant, {v: -w for v, w in weights.items()}
        whole = self.program.variable(1)
        total, constants = {whole: 1}, 0
        for constant, weights in parts:
            self.program.row({whole: 1} | {v: -w for v, w in weights.items()}, most=constant)
            constants += constant
            for v, w in weights.items():
                total[v] = total.get(v, 0) - w
        self.program.row(total, constants - (len(parts) - 1))
        return 0, {whole: 1}

    def sum(self, weighted) -> tuple[int, dict[int, int]]:
        """Sum of (weight, condition) as a constant and the weights of variables."""
        constant, weights = 0, {}
        for weight, tree in weighted:
            part, terms = self.value(tree)
            constant += weight * part
            for v, w in terms.items():
                weights[v] = weights.get(v, 0) + weight * w
        return constant, weights

    def forbid(self, tree: Any) -> None:
        """The condition does not hold."""
        constant, weights = self.value(tree)
        self.program.row(weights, most=-constant)
