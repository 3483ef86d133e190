"""Largest sum over combinations of inputs by branching: a recount that knows neither solver nor integer program.

A condition is plain data: the name of an input, ``("not", x)``, ``("and", x, y, ...)``, ``("or", x, y, ...)``; None is
a command without one, an input of its own. Conditions without an input in common are counted apart; an input that can
only help is on (or off); of the others the one in most conditions is tried both ways.
"""

from collections import Counter
from collections.abc import Collection, Hashable, Iterable, Mapping
from functools import lru_cache
from typing import Any

__all__ = ["largest_change", "largest_sum"]

_ON, _OFF = 1, -1

Amount = int | tuple[int, tuple[int, ...]]
"""Current, mA; or current as stated and the rise of each of its loads at the top of its tolerance."""

Weighted = tuple[tuple[Any, Amount, bool], ...]  # condition, mA while it holds, whether it must not hold

Curve = tuple[tuple[int, frozenset], ...]  # largest sum with at most 0, 1, 2 ... rises, and the inputs on at it


def largest_sum(
    conditions: Mapping[str, Any], allowed: Collection[str], amounts: Mapping[str, Amount], at_once: int = 0
) -> tuple[int, frozenset] | None:
    """Largest sum of currents over all combinations of inputs.

    Parameters
    ----------
    conditions : mapping of str to condition
        Condition of every command.
    allowed : collection of str
        Commands the state allows; every other one must be off.
    amounts : mapping of str to Amount
        mA of each command; a missing one counts 0.
    at_once : int
        How many loads at once are at the top of their tolerance.

    Returns
    -------
    (int, frozenset) or None
        The sum, mA, and the inputs that are on at it (all others may be off); None: no combination keeps off what the
        state keeps off.
    """
    curve = _best(_weighted(conditions, allowed, amounts), {}, at_once)
    return None if curve is None else curve[-1]


def largest_change(
    conditions: Mapping[str, Any],
    allowed: Collection[str],
    running: Mapping[str, Amount],
    inrush: Mapping[str, Amount],
    above_ma: int = -1,
    at_once: int = 0,
) -> tuple[int, frozenset, Hashable] | None:
    """Largest momentary sum over all combinations and changes of one input.

    Parameters
    ----------
    conditions, allowed
        As in `largest_sum`.
    running, inrush : mapping of str to Amount
        Running current of each command; peak at its switch-on, running included, mA, not negative.
    above_ma : int
        Only sums above this are looked for, mA: inputs that cannot bring so much are passed over.
    at_once : int
        As in `largest_sum`.

    Returns
    -------
    (int, frozenset, Hashable) or None
        The sum, mA, the inputs on before the change and the one that changes (None: all stay); None: no sum is above
        `above_ma`.
    """
    trees = _own_inputs(conditions)
    known: dict = {}
    calm = _best(_weighted(conditions, allowed, running), known, at_once)
    if calm is None:
        return None
    steady = calm[-1]
    best = (*steady, None) if steady[0] > above_ma else None
    floor = max(above_ma, steady[0])
    rise: Counter = Counter()  # what stays on was within the steady sum: a change adds no more than these excesses
    for command, tree in trees.items():
        rise.update(dict.fromkeys(_names(tree), _top(inrush.get(command, 0)) - _stated(running.get(command, 0))))
    for name in sorted(rise, key=lambda each: (-rise[each], repr(each))):
        if steady[0] + rise[name] <= floor:
            break
        for goes_on in (True, False):
            parts, bound = _changed(trees, allowed, running, inrush, name, goes_on)
            peak = _best(parts, known, at_once) if bound > floor else None
            if peak is not None and peak[-1][0] > floor:
                floor, best = peak[-1][0], (peak[-1][0], peak[-1][1] | (frozenset() if goes_on else {name}), name)
    return best


def _own_inputs(conditions):
    """A command without a condition is an input that no name in the tables can be equal to."""
    return {command: ("command", command) if tree is None else tree for command, tree in conditions.items()}


def _weighted(conditions, allowed, amounts) -> Weighted:
    trees = _own_inputs(conditions).items()
    return tuple((tree, amounts.get(command, 0), command not in allowed) for command, tree in trees)


def _changed(trees, allowed, running, inrush, name, goes_on):
    """Conditions of the momentary sum at the change of one input, and a bound on it."""
    parts: list = []
    bound = 0
    for command, tree in trees.items():
        is_touched = name in _names(tree)
        before = _set(tree, name, not goes_on) if is_touched else tree
        after = _set(tree, name, goes_on) if is_touched else tree
        if command not in allowed:
            parts += [(before, 0, True), (after, 0, True)]
            continue
        run, rush = running.get(command, 0), inrush.get(command, 0)
        if before == after:
            parts.append((before, run, False))
            bound += _top(run)
        elif after is not False:
            parts.append((_both(after, before), run, False))
            parts.append((_both(after, _opposite(before)), rush, False))
            bound += max(_top(run), _top(rush))
    return tuple(parts), bound


def _stated(amount: Amount) -> int:
    return amount if isinstance(amount, int) else amount[0]


def _rises(amount: Amount) -> tuple[int, ...]:
    return () if isinstance(amount, int) else amount[1]


def _top(amount: Amount) -> int:
    return _stated(amount) + sum(_rises(amount))


def _is_operation(tree):
    return isinstance(tree, tuple) and tree[0] in ("and", "or", "not")


@lru_cache(maxsize=65536)
def _names(tree) -> frozenset:
    if isinstance(tree, bool):
        return frozenset()
    if not _is_operation(tree):
        return frozenset((tree,))
    return frozenset().union(*(_names(part) for part in tree[1:]))


def _opposite(tree):
    return (not tree) if isinstance(tree, bool) else ("not", tree)


def _both(first, second):
    if first is False or second is False:
        return False
    if first is True:
        return second
    return first if second is True else ("and", first, second)


def _set(tree, name, value):
    """The condition with one input set."""
    if tree == name:
        return value
    if not _is_operation(tree):
        return tree
    if tree[0] == "not":
        return _opposite(_set(tree[1], name, value))
    decides = tree[0] == "or"
    left = []
    for part in tree[1:]:
        rest = _set(part, name, value)
        if rest is decides:
            return decides
        if not isinstance(rest, bool):
            left.append(rest)
    if not left:
        return not decides
    return left[0] if len(left) == 1 else (tree[0], *left)


def _best(weighted: Iterable, known: dict, at_once: int) -> Curve | None:
    """Largest sums and the inputs on; None where what must not hold cannot be kept from holding."""
    stated = 0
    rises: list[int] = []
    open_parts = []
    for tree, amount, is_forbidden in weighted:
        if tree is True:
            if is_forbidden:
                return None
            stated += _stated(amount)
            rises += _rises(amount)
        elif tree is not False and (is_forbidden or amount):
            open_parts.append((tree, amount, is_forbidden))
    nothing: frozenset = frozenset()
    tops = sorted(rises, reverse=True)[:at_once]
    curve: Curve = tuple((stated + sum(tops[:k]), nothing) for k in range(len(tops) + 1))
    for parts in _apart(open_parts):
        key = frozenset(Counter(parts).items())
        if key not in known:
            known[key] = _branched(parts, known, at_once)
        if known[key] is None:
            return None
        curve = _shared_out(curve, known[key], at_once)
    return curve


def _shared_out(one: Curve, other: Curve, at_once: int) -> Curve:
    """Two curves together: so many rises in all, shared out the best way."""
    sums = []
    for rises in range(min(at_once, len(one) + len(other) - 2) + 1):
        first = range(max(0, rises - len(other) + 1), min(rises, len(one) - 1) + 1)
        ma, _, n = max((one[n][0] + other[rises - n][0], -n, n) for n in first)
        sums.append((ma, one[n][1] | other[rises - n][1]))
    return tuple(sums)


def _apart(parts):
    """Parts in groups without an input in common."""
    groups: list[tuple[set, list]] = []
    for part in parts:
        names, members = set(_names(part[0])), [part]
        apart = []
        for group in groups:
            if group[0] & names:
                names |= group[0]
                members = group[1] + members
            else:
                apart.append(group)
        groups = [*apart, (names, members)]
    return [members for _, members in groups]


def _branched(parts, known, at_once) -> Curve | None:
    """Best over both values of one input, or over the one that can only help."""
    uses: Counter = Counter()
    helps: dict = {}
    for tree, amount, is_forbidden in parts:
        sign = _OFF if is_forbidden or _stated(amount) < 0 else _ON
        uses.update(_names(tree))
        _note_signs(tree, sign, helps)
    only = next(((name, signs) for name, signs in helps.items() if len(signs) == 1), None)
    name = only[0] if only else max(uses, key=lambda each: (uses[each], repr(each)))
    best: Curve = ()
    for value in (only[1] == {_ON},) if only else (False, True):
        curve = _best([(_set(tree, name, value), *rest) for tree, *rest in parts], known, at_once)
        if curve is not None:
            best = _higher(best, tuple((ma, on | {name} if value else on) for ma, on in curve))
    return best or None


def _higher(one: Curve, other: Curve) -> Curve:
    """The higher of two curves at every number of rises; a short one goes on level."""
    if not one:
        return other
    longest = range(max(len(one), len(other)))
    pairs = ((one[min(n, len(one) - 1)], other[min(n, len(other) - 1)]) for n in longest)
    return tuple(b if b[0] > a[0] else a for a, b in pairs)


def _note_signs(tree, sign, helps):
    """Whether each input helps when on, when off, or both ways."""
    if not _is_operation(tree):
        helps.setdefault(tree, set()).add(sign)
        return
    for part in tree[1:]:
        _note_signs(part, -sign if tree[0] == "not" else sign, helps)
