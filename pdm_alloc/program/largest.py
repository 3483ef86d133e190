"""Largest sum of currents over combinations of inputs and changes of one: values first, words later.

Inputs that alone would switch on what must stay off are set, one that can only help is on, one that can only harm is
off; what is left falls into parts without an input in common. Those of few inputs are listed; a larger one is tried
with its commonest input on and off, a few times over, and what is large even then goes to an integer program. Some
loads at once are at the top of their tolerance, so a sum is a curve: the largest with no rise, with one rise, with two.
"""

import math
from collections import Counter, OrderedDict
from collections.abc import Collection, Hashable, Iterator, Mapping, Sequence
from typing import Any, TypeAlias

import numpy as np

from pdm_alloc.program.condition_rows import (
    Bits,
    Rows,
    Tree,
    Unanswered,
    all_fixed,
    alternatives,
    conjunction,
    fixed,
    forced_off,
    holds,
    holds_over,
    names_of,
    negated,
    note_signs,
    own_input,
    settings_of,
)
from pdm_alloc.program.solver import NOT_ENOUGH, PROVEN_BEST, Clock, solve_program

__all__ = ["Amount", "Extremes", "Part", "curve_of"]

Amount = tuple[int, tuple[int, ...]]
"""Stated current of a command and the rise of each of its loads at the top of its tolerance, mA."""

Inputs: TypeAlias = frozenset[Tree]
Part = tuple[Tree, int, tuple[int, ...]]
Curve = list[tuple[int, Inputs]]
Group = tuple[list[Part], list[Tree]]

_LISTED_INPUTS = 10
_TRIED_INPUTS = 6  # of one part, before what is left goes to an integer program
_TIME_LIMIT_S = 60.0
_REMEMBERED = 64  # answers
NOTHING: Amount = (0, ())


class Extremes:
    """Largest sums over all combinations that conditions allow.

    Parameters
    ----------
    conditions : mapping of str to (str, tuple or None)
        Condition of every command as plain data; None: an input of its own.
    """

    def __init__(self, conditions: Mapping[str, Tree | None]):
        self.trees: dict[str, Tree] = {
            name: own_input(name) if tree is None else tree for name, tree in conditions.items()
        }
        self.names = {command: names_of(tree) for command, tree in self.trees.items()}
        self.inputs = sorted(set[Tree]().union(*self.names.values()), key=repr)
        self._naming: dict[Tree, list[Tree]] = {}
        for command, names in self.names.items():
            for name in names:
                self._naming.setdefault(name, []).append(self.trees[command])
        self._known: OrderedDict[Hashable, Any] = OrderedDict()

    def on(self, inputs: Inputs) -> frozenset[str]:
        """Commands on under a setting of the inputs."""
        return frozenset(command for command, tree in self.trees.items() if holds(tree, inputs))

    def differs(self, inputs: Inputs, fewer: Inputs, name: Tree, changed: Tree | None) -> bool:
        """Whether one input, left off, switches a command, as all stands or with `changed` the other way round.

        What is on only before the change does not count. Only the conditions that name the input are looked at.
        """
        if changed is None:
            return any(holds(tree, inputs) != holds(tree, fewer) for tree in self._naming.get(name, ()))
        then, then_fewer = inputs ^ {changed}, fewer ^ {changed}
        for tree in self._naming.get(name, ()):
            after = holds(tree, then)
            if after != holds(tree, then_fewer) or (after and holds(tree, inputs) != holds(tree, fewer)):
                return True
        return False

    def sum(
        self, allowed: Collection[str], amounts: Mapping[str, Amount], at_once: int, clock: Clock | None = None
    ) -> tuple[int, Inputs] | None:
        """Largest sum, mA, and the inputs that are on at it; None: the state has no combination.

        Commands outside `allowed` stay off, missing ones of `amounts` count nothing; `at_once` loads at once are at the
        top of their tolerance; 60 s without a clock.

        Raises
        ------
        Unanswered
            The time was over or the solver failed.
        """
        key: Hashable = frozenset(allowed), tuple(amounts.items()), at_once
        if key not in self._known:
            parts = [(self.trees[name], *amount) for name, amount in amounts.items() if name in allowed]
            forbidden = [tree for name, tree in self.trees.items() if name not in allowed]
            curve = curve_of(parts, forbidden, at_once, clock or Clock(_TIME_LIMIT_S))
            self._note(key, None if curve is None else curve[-1])
        largest: tuple[int, Inputs] | None = self._known[key]
        return largest

    def _note(self, key: Hashable, answer: Any) -> None:
        """Remember an answer, the last few of them: one vehicle asks the same on every module."""
        self._known[key] = answer
        while len(self._known) > _REMEMBERED:
            self._known.popitem(last=False)

    def change(
        self,
        allowed: Collection[str],
        running: Mapping[str, Amount],
        inrush: Mapping[str, Amount],
        at_once: int,
        above_ma: int = -1,
        clock: Clock | None = None,
    ) -> tuple[int, Inputs, Tree | None] | None:
        """Largest momentary sum above a limit over combinations and changes of one input, no change included.

        Parameters
        ----------
        allowed, at_once, clock
            As in `sum`.
        running, inrush : mapping of str to Amount
            Of each command while it stays on; at its switch-on, running included.
        above_ma : int
            Sums that are not above it are not looked for, mA.

        Returns
        -------
        (int, frozenset, Any) or None
            Sum, mA; inputs on before the change; the input that changes (None: none does). None: no sum is above it.

        """
        key: Hashable = frozenset(allowed), tuple(running.items()), tuple(inrush.items()), at_once
        floor, largest = self._known.get(key, (math.inf, None))
        if largest is None and above_ma < floor:
            largest = self._largest_change(allowed, running, inrush, at_once, above_ma, clock)
            self._note(key, (above_ma, largest))
        return largest if largest is not None and largest[0] > above_ma else None

    def _largest_change(
        self,
        allowed: Collection[str],
        running: Mapping[str, Amount],
        inrush: Mapping[str, Amount],
        at_once: int,
        above_ma: int,
        clock: Clock | None,
    ) -> tuple[int, Inputs, Tree | None] | None:
        limit = clock or Clock(_TIME_LIMIT_S)
        steady = self.sum(allowed, running, at_once, limit)
        if steady is None:
            return None
        best: tuple[int, Inputs, Tree | None] | None = (*steady, None) if steady[0] > above_ma else None
        floor = max(above_ma, steady[0])
        for bound, name, goes_on in sorted(
            self._bounds(allowed, running, inrush, steady[0]), key=lambda each: -each[0]
        ):
            if bound <= floor:
                break
            curve = curve_of(*self.changed(allowed, running, inrush, name, goes_on), at_once, limit)
            if curve is not None and curve[-1][0] > floor:
                floor, before = curve[-1][0], curve[-1][1] | (frozenset() if goes_on else {name})
                best = (floor, before, name)
        return best

    def _bounds(
        self, allowed: Collection[str], running: Mapping[str, Amount], inrush: Mapping[str, Amount], steady: int
    ) -> Iterator[tuple[int, Tree, bool]]:
        """Upper bound of the sum at every change: the worst steady sum and every excess that the input touches."""
        touched: dict[Tree, int] = dict.fromkeys(self.inputs, 0)
        for command, amount in inrush.items():
            excess = _excess(running.get(command, NOTHING), amount) if command in allowed else 0
            for name in self.names.get(command, ()):
                touched[name] += excess
        for name, ma in touched.items():
            if ma:
                yield steady + ma, name, True
                yield steady + ma, name, False

    def changed(
        self,
        allowed: Collection[str],
        running: Mapping[str, Amount],
        inrush: Mapping[str, Amount],
        name: Tree | None,
        goes_on: bool,
    ) -> Group:
        """Parts and forbidden conditions of the momentary sum at one change."""
        parts: list[Part] = []
        forbidden: list[Tree] = []
        for command, tree in self.trees.items():
            before = after = tree
            if name is not None and name in self.names[command]:
                before, after = fixed(tree, name, not goes_on), fixed(tree, name, goes_on)
            if command not in allowed:
                forbidden += dict.fromkeys((before, after))
            elif before == after:
                parts.append((before, *running.get(command, NOTHING)))
            elif after is not False:
                parts.append((conjunction(after, before), *running.get(command, NOTHING)))
                parts.append((conjunction(after, negated(before)), *inrush.get(command, NOTHING)))
        return parts, forbidden


def _excess(running: Amount, inrush: Amount) -> int:
    return max(0, inrush[0] - running[0]) + sum(inrush[1])


def curve_of(
    parts: Sequence[Part], forbidden: Sequence[Tree], at_once: int, clock: Clock, tries: int = _TRIED_INPUTS
) -> Curve | None:
    """Largest sums of the parts that hold with at most 0, 1, ... `at_once` rises, and the inputs on at each.

    Parts are (condition, mA while it holds, rises it may add), none below 0; None: what is forbidden cannot be kept
    off. The curve ends where one more rise brings nothing; `tries` inputs of a part may be tried both ways.
    """
    barred: list[Tree] = [tree for tree in dict.fromkeys(forbidden) if tree is not False]
    settled = _settled([part for part in parts if part[0] is not False and (part[1] or part[2])], barred)
    if settled is None:
        return None
    curve, open_parts, barred = settled
    for group, group_barred in _apart(open_parts, barred):
        names = map(names_of, [*(p[0] for p in group), *group_barred])
        inputs = sorted(set[Tree]().union(*names), key=repr)
        if len(inputs) <= _LISTED_INPUTS:
            more = _listed(tuple(inputs), group, group_barred, at_once)
        elif tries:
            more = _tried(inputs, group, group_barred, at_once, clock, tries)
        else:
            more = _solved(inputs, group, group_barred, at_once, clock)
        if more is None:
            return None
        curve = _joined(curve, more, at_once)
    return curve[: at_once + 1]


def _rising(ma: int, rises: Sequence[int], on: Inputs) -> Curve:
    """The curve of something that holds."""
    curve = [(ma, on)]
    for rise in sorted((r for r in rises if r), reverse=True):
        curve.append((curve[-1][0] + rise, on))
    return curve


def _joined(one: Curve, other: Curve, at_once: int) -> Curve:
    """Largest sums of two curves with so many rises in all."""
    if len(one) == len(other) == 1:
        return [(one[0][0] + other[0][0], one[0][1] | other[0][1])]
    curve = []
    for k in range(min(at_once, len(one) + len(other) - 2) + 1):
        pairs = ((one[i], other[k - i]) for i in range(max(0, k - len(other) + 1), min(k, len(one) - 1) + 1))
        a, b = max(pairs, key=lambda pair: pair[0][0] + pair[1][0])
        curve.append((a[0] + b[0], a[1] | b[1]))
    return curve


def _settled(parts: list[Part], forbidden: list[Tree]) -> tuple[Curve, list[Part], list[Tree]] | None:
    """Inputs that are forced, can only help or only harm are set; what then holds as a curve, and what is left open."""
    on: set[Tree] = set()
    while True:
        forbidden = list(dict.fromkeys(alternatives(forbidden)))
        values = forced_off(forbidden) or _one_sided(parts, forbidden)
        if not values:
            break
        on |= {name for name, value in values.items() if value}
        parts = [(all_fixed(tree, values), ma, rises) for tree, ma, rises in parts]
        parts = [part for part in parts if part[0] is not False]
        forbidden = [tree for tree in (all_fixed(tree, values) for tree in forbidden) if tree is not False]
        if any(tree is True for tree in forbidden):
            return None
    if any(tree is True for tree in forbidden):
        return None
    sure = [part for part in parts if part[0] is True]
    curve = _rising(sum(p[1] for p in sure), [r for p in sure for r in p[2]], frozenset(on))
    return curve, [p for p in parts if not isinstance(p[0], bool)], forbidden


def _one_sided(parts: Sequence[Part], forbidden: Sequence[Tree]) -> dict[Tree, bool]:
    """Inputs that can only help, on, and that can only harm, off."""
    signs: dict[Tree, int] = {}
    for tree, *_ in parts:
        note_signs(tree, 1, signs)
    for tree in forbidden:
        note_signs(tree, 2, signs)
    return {name: sign == 1 for name, sign in signs.items() if sign != 3}


def _apart(parts: Sequence[Part], forbidden: Sequence[Tree]) -> list[Group]:
    """Parts and forbidden conditions in groups without an input in common."""
    groups: list[tuple[set[Tree], list[Part], list[Tree]]] = []
    every: list[tuple[Tree, Group]] = [(part[0], ([part], [])) for part in parts]
    for condition, members in [*every, *((tree, ([], [tree])) for tree in forbidden)]:
        names = set(names_of(condition))
        rest = []
        for group in groups:
            if group[0] & names:
                names |= group[0]
                members = (group[1] + members[0], group[2] + members[1])
            else:
                rest.append(group)
        groups = [*rest, (names, *members)]
    return [(group, barred) for _, group, barred in groups]


def _listed(inputs: Sequence[Tree], parts: Sequence[Part], forbidden: Sequence[Tree], at_once: int) -> Curve | None:
    """The curve over every setting of few inputs."""
    bits = settings_of(len(inputs))
    columns: dict[Tree, Bits] = dict(zip(inputs, bits, strict=True))
    barred = np.zeros(bits.shape[1], bool)
    for tree in forbidden:
        barred |= holds_over(tree, columns)
    if barred.all():
        return None
    on = [holds_over(tree, columns) for tree, *_ in parts]
    total = np.zeros(bits.shape[1], np.int64)
    for where, (_, ma, _) in zip(on, parts, strict=True):
        total += where * ma
    rising = [where * rise for where, part in zip(on, parts, strict=True) for rise in part[2] if rise and at_once]
    top = -np.sort(-np.array(rising, np.int64).reshape(-1, total.size), axis=0)[:at_once]
    curve = []
    for k in range(len(top) + 1):
        sums = np.where(barred, -1, total + (top[:k].sum(axis=0) if k else 0))
        at = int(np.argmax(sums))
        curve.append((int(sums[at]), frozenset(name for name in inputs if columns[name][at])))
    return curve


def _tried(
    inputs: Sequence[Tree], parts: Sequence[Part], forbidden: Sequence[Tree], at_once: int, clock: Clock, tries: int
) -> Curve | None:
    """The better of two curves: the commonest input on, and off."""
    uses = Counter(name for tree in (*(p[0] for p in parts), *forbidden) for name in names_of(tree))
    name = max(inputs, key=lambda each: uses[each])
    curves = []
    for value in (False, True):
        left = [(fixed(tree, name, value), ma, rises) for tree, ma, rises in parts]
        curve = curve_of(left, [fixed(tree, name, value) for tree in forbidden], at_once, clock, tries - 1)
        if curve is not None:
            curves.append([(ma, on | {name} if value else on) for ma, on in curve])
    if len(curves) < 2:
        return curves[0] if curves else None
    number = max(map(len, curves))
    return [max((c[min(k, len(c) - 1)] for c in curves), key=lambda at: at[0]) for k in range(number)]


def _solved(
    inputs: Sequence[Tree], parts: Sequence[Part], forbidden: Sequence[Tree], at_once: int, clock: Clock
) -> Curve | None:
    """The curve by an integer program for each number of rises."""
    number = min(at_once, sum(len(rises) for *_, rises in parts))
    curve: Curve = []
    for k in range(number + 1):
        rows = Rows(inputs)
        for tree in forbidden:
            rows.forbid(tree)
        solution = solve_program(rows.program, rows.cost(parts, k), clock)
        if solution.outcome == NOT_ENOUGH:
            return None
        if solution.outcome != PROVEN_BEST:
            raise Unanswered(solution.outcome)
        on = frozenset(name for name, v in rows.input.items() if solution.values[v])
        holding = [part for part in parts if holds(part[0], on)]
        rises = sorted((r for *_, each in holding for r in each), reverse=True)
        curve.append((sum(part[1] for part in holding) + sum(rises[:k]), on))
    return curve
