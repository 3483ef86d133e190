"""Exact sums: currents and limits in whole milliamps, and the largest sum over combinations of inputs by branching.

Written a second time on purpose: nothing here comes from the parts that build the allocation, so that one mistake
cannot both make and pass a bad one.

A condition is plain data: the name of an input, ``("not", x)``, ``("and", x, y, ...)``, ``("or", x, y, ...)``; None is
a command without one, an input of its own. Conditions without an input in common are counted apart; an input that can
only help is on (or off); of the others the one in most conditions is tried both ways.
"""

import heapq
import math
from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from typing import TypeAlias, TypeGuard, TypeVar

__all__ = [
    "Condition",
    "Ma",
    "ceiling",
    "cold",
    "decimal",
    "derating_at",
    "deviation",
    "excess_ma",
    "largest_change",
    "largest_sum",
    "limit_ma",
    "running_ma",
    "shared_ma",
    "switched_on",
    "top",
]

# A power with a broken exponent is a float: a result that is a whole number but for rounding must not be lifted to
# the next one. 1e-9 is a million times the rounding of one power and far below a milliamp.
GUARD = 1e-9

Ma = int | Fraction
"""Current, mA; a fraction where a pair lies in two banks."""

_Ma = TypeVar("_Ma", int, Ma)


@lru_cache(maxsize=4096)
def decimal(number: float | Fraction) -> Fraction:
    """The number as it was written in the table: 13.8 is 138/10, not the nearest binary fraction."""
    return number if isinstance(number, Fraction) else Fraction(str(number))


@lru_cache(maxsize=65536)
def running_ma(reference_ma: int, exponent: float, supply_v: float, reference_v: float) -> int:
    """Running current of one item at a voltage, rounded up, mA.

    Parameters
    ----------
    reference_ma : int
        Running current at reference_v, mA.
    exponent : float
        k in I = I_ref * (V / V_ref)**k.
    supply_v, reference_v : float
        Voltage; voltage the current is stated at, V.

    Returns
    -------
    int
        mA, never below the exact value by more than 1e-9 of it.
    """
    ratio = decimal(supply_v) / decimal(reference_v)
    if exponent == int(exponent):
        return math.ceil(reference_ma * ratio ** int(exponent))
    return math.ceil(reference_ma * math.pow(ratio, exponent) * (1 - GUARD))


@lru_cache(maxsize=65536)
def excess_ma(reference_ma: int | Fraction, supply_v: float, reference_v: float) -> int:
    """Inrush excess of one item at a voltage, rounded up, mA: it grows with the voltage and never shrinks below
    what is stated.
    """
    return math.ceil(reference_ma * max(Fraction(1), decimal(supply_v) / decimal(reference_v)))


def ceiling(ma: int | Fraction) -> int:
    """A whole number of milliamps, rounded up."""
    return math.ceil(ma)


def cold(lowest_c: float) -> Fraction:
    """Current of a copper winding at the lowest ambient over that at 20 deg C, at least 1; resistance goes with
    t + 234.5 (FAA AC 43.13-1B).
    """
    return max(Fraction(1), Fraction("254.5") / (decimal(lowest_c) + Fraction("234.5")))


def shared_ma(ma: int, larger_pct: Fraction) -> int:
    """What two channels take together, the larger share being the limit of one of them, rounded down, mA."""
    return math.floor(Fraction(ma) / (Fraction(larger_pct) / 100))


@lru_cache(maxsize=65536)
def deviation(ma: int, tolerance_pct: Fraction) -> int:
    """How far the current of one item may be above what is stated, rounded up, mA."""
    return math.ceil(ma * decimal(tolerance_pct) / 100)


def top(values: Iterable[_Ma], how_many: int) -> _Ma:
    """Sum of the largest values, no more than `how_many` of them."""
    return sum(heapq.nlargest(how_many, values))


def limit_ma(ma: int, factor: Fraction, headroom_pct: Fraction) -> int:
    """Limit that is left after derating and headroom, rounded down, mA."""
    return math.floor(ma * factor * (1 - decimal(headroom_pct) / 100))


def derating_at(table: Sequence[tuple[float, Fraction]], ambient_c: float) -> tuple[Fraction, bool]:
    """Derating factor at an ambient temperature, linear between the rows of the table.

    Parameters
    ----------
    table : sequence of (float, Fraction)
        Ambient in deg C and factor, rising ambient; empty means no derating.
    ambient_c : float
        Ambient, deg C.

    Returns
    -------
    factor : Fraction
        The factor; outside the table that of its nearest row.
    inside : bool
        Whether the ambient is within the table.
    """
    if not table:
        return Fraction(1), True
    at = decimal(ambient_c)
    rows = [(decimal(t), decimal(f)) for t, f in table]
    for (low, below), (high, above) in pairwise(rows):
        if low <= at <= high:
            return below + (above - below) * (at - low) / (high - low), True
    nearest = rows[0] if at <= rows[0][0] else rows[-1]
    return nearest[1], at == nearest[0]


_ON, _OFF = 1, -1

Condition: TypeAlias = str | tuple["Condition", ...]
"""Of a command, over names of inputs."""

Amount = Ma | tuple[Ma, tuple[Ma, ...]]
"""Current, mA; or current as stated and the rise of each of its loads at the top of its tolerance."""

_Rest = Condition | bool  # what is left of a condition with some inputs set

_Part = tuple[_Rest, Amount, bool]  # condition, mA while it holds, whether it must not hold

_Curve = tuple[tuple[Ma, frozenset[Condition]], ...]  # largest sum with at most 0, 1, 2 ... rises, inputs on at it

_Known = dict[frozenset[tuple[_Part, int]], _Curve | None]


def largest_sum(
    conditions: Mapping[str, Condition | None],
    allowed: Collection[str],
    amounts: Mapping[str, Amount],
    at_once: int = 0,
) -> tuple[Ma, frozenset[Condition]] | None:
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
    (int or Fraction, frozenset) or None
        The sum, mA, and the inputs that are on at it (all others may be off); None: no combination keeps off what the
        state keeps off.
    """
    curve = _best(_weighted(conditions, allowed, amounts), _known(at_once), at_once)
    return None if curve is None else curve[-1]


def largest_change(
    conditions: Mapping[str, Condition | None],
    allowed: Collection[str],
    running: Mapping[str, Amount],
    inrush: Mapping[str, Amount],
    above_ma: Ma = -1,
    at_once: int = 0,
) -> tuple[Ma, frozenset[Condition], Condition | None] | None:
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
    (int or Fraction, frozenset, input) or None
        The sum, mA, the inputs on before the change and the one that changes (None: all stay); None: no sum is above
        `above_ma`.
    """
    trees = _own_inputs(conditions)
    known = _known(at_once)
    calm = _best(_weighted(conditions, allowed, running), known, at_once)
    if calm is None:
        return None
    steady = calm[-1]
    best: tuple[Ma, frozenset[Condition], Condition | None] | None
    best = (*steady, None) if steady[0] > above_ma else None
    floor = max(above_ma, steady[0])
    rise: dict[Condition, Ma] = defaultdict(
        int
    )  # what stays on was within the steady sum: a change adds no more than these excesses
    for command, tree in trees.items():
        for name in _names(tree):
            rise[name] += _top(inrush.get(command, 0)) - _stated(running.get(command, 0))
    for name in sorted(rise, key=lambda each: (-rise[each], repr(each))):
        if steady[0] + rise[name] <= floor:
            break
        for goes_on in (True, False):
            parts, bound = _changed(trees, allowed, running, inrush, name, goes_on)
            peak = _best(parts, known, at_once) if bound > floor else None
            if peak is not None and peak[-1][0] > floor:
                floor, best = peak[-1][0], (peak[-1][0], peak[-1][1] | (frozenset() if goes_on else {name}), name)
    return best


_MOST_KNOWN = 20_000


@lru_cache(maxsize=4)
def _kept(at_once: int) -> _Known:
    return {}


def _known(at_once: int) -> _Known:
    """What parts without an input in common with others came to before: an edit of one load alters few of them."""
    if len(_kept(at_once)) > _MOST_KNOWN:
        _kept.cache_clear()  # whoever still works with the old one keeps it
    return _kept(at_once)


def switched_on(
    conditions: Mapping[str, Condition | None], before: Collection[Condition], name: Condition
) -> frozenset[str]:
    """Commands that the change of one input switches on.

    Parameters
    ----------
    conditions : mapping of str to condition
        Condition of every command.
    before : collection of condition
        Inputs on before the change.
    name : condition
        The input that changes.

    Returns
    -------
    frozenset of str
    """
    was, after = frozenset(before), frozenset(before) ^ {name}
    trees = _own_inputs(conditions).items()
    return frozenset(command for command, tree in trees if _is_met(tree, after) and not _is_met(tree, was))


def _is_met(tree: _Rest, on: Collection[Condition]) -> bool:
    for name in _names(tree):
        tree = _set(tree, name, name in on)
    return tree is True


def _own_inputs(conditions: Mapping[str, Condition | None]) -> dict[str, Condition]:
    """A command without a condition is an input that no name in the tables can be equal to."""
    return {command: ("command", command) if tree is None else tree for command, tree in conditions.items()}


def _weighted(
    conditions: Mapping[str, Condition | None], allowed: Collection[str], amounts: Mapping[str, Amount]
) -> tuple[_Part, ...]:
    trees = _own_inputs(conditions).items()
    return tuple((tree, amounts.get(command, 0), command not in allowed) for command, tree in trees)


def _changed(
    trees: Mapping[str, Condition],
    allowed: Collection[str],
    running: Mapping[str, Amount],
    inrush: Mapping[str, Amount],
    name: Condition,
    goes_on: bool,
) -> tuple[tuple[_Part, ...], Ma]:
    """Conditions of the momentary sum at the change of one input, and a bound on it."""
    parts: list[_Part] = []
    bound: Ma = 0
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


def _stated(amount: Amount) -> Ma:
    return amount[0] if isinstance(amount, tuple) else amount


def _rises(amount: Amount) -> tuple[Ma, ...]:
    return amount[1] if isinstance(amount, tuple) else ()


def _top(amount: Amount) -> Ma:
    return _stated(amount) + sum(_rises(amount))


def _is_operation(tree: _Rest) -> TypeGuard[tuple[Condition, ...]]:
    return isinstance(tree, tuple) and tree[0] in ("and", "or", "not")


@lru_cache(maxsize=65536)
def _names(tree: _Rest) -> frozenset[Condition]:
    if isinstance(tree, bool):
        return frozenset()
    if not _is_operation(tree):
        return frozenset((tree,))
    return frozenset().union(*(_names(part) for part in tree[1:]))


def _opposite(tree: _Rest) -> _Rest:
    return (not tree) if isinstance(tree, bool) else ("not", tree)


def _both(first: _Rest, second: _Rest) -> _Rest:
    if first is False or second is False:
        return False
    if first is True:
        return second
    return first if second is True else ("and", first, second)


def _set(tree: _Rest, name: Condition, value: bool) -> _Rest:
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


def _best(weighted: Iterable[_Part], known: _Known, at_once: int) -> _Curve | None:
    """Largest sums and the inputs on; None where what must not hold cannot be kept from holding."""
    stated: Ma = 0
    rises: list[Ma] = []
    open_parts: list[_Part] = []
    for tree, amount, is_forbidden in weighted:
        if tree is True:
            if is_forbidden:
                return None
            stated += _stated(amount)
            rises += _rises(amount)
        elif tree is not False and (is_forbidden or amount):
            open_parts.append((tree, amount, is_forbidden))
    nothing: frozenset[Condition] = frozenset()
    tops = sorted(rises, reverse=True)[:at_once]
    curve: _Curve = tuple((stated + sum(tops[:k]), nothing) for k in range(len(tops) + 1))
    for parts in _apart(open_parts):
        key = frozenset(Counter(parts).items())
        if key not in known:
            known[key] = _branched(parts, known, at_once)
        other = known[key]
        if other is None:
            return None
        curve = _shared_out(curve, other, at_once)
    return curve


def _shared_out(one: _Curve, other: _Curve, at_once: int) -> _Curve:
    """Two curves together: so many rises in all, shared out the best way."""
    sums = []
    for rises in range(min(at_once, len(one) + len(other) - 2) + 1):
        first = range(max(0, rises - len(other) + 1), min(rises, len(one) - 1) + 1)
        ma, _, n = max((one[n][0] + other[rises - n][0], -n, n) for n in first)
        sums.append((ma, one[n][1] | other[rises - n][1]))
    return tuple(sums)


def _apart(parts: Iterable[_Part]) -> list[list[_Part]]:
    """Parts in groups without an input in common."""
    groups: list[tuple[set[Condition], list[_Part]]] = []
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


def _branched(parts: Sequence[_Part], known: _Known, at_once: int) -> _Curve | None:
    """Best over both values of one input, or over the one that can only help."""
    uses: Counter[Condition] = Counter()
    helps: dict[Condition, set[int]] = {}
    for tree, amount, is_forbidden in parts:
        sign = _OFF if is_forbidden or _stated(amount) < 0 else _ON
        uses.update(_names(tree))
        _note_signs(tree, sign, helps)
    only = next(((name, signs) for name, signs in helps.items() if len(signs) == 1), None)
    name = only[0] if only else max(uses, key=lambda each: (uses[each], repr(each)))
    best: _Curve = ()
    for value in (only[1] == {_ON},) if only else (False, True):
        left = [(_set(tree, name, value), amount, is_forbidden) for tree, amount, is_forbidden in parts]
        curve = _best(left, known, at_once)
        if curve is not None:
            best = _higher(best, tuple((ma, on | {name} if value else on) for ma, on in curve))
    return best or None


def _higher(one: _Curve, other: _Curve) -> _Curve:
    """The higher of two curves at every number of rises; a short one goes on level."""
    if not one:
        return other
    longest = range(max(len(one), len(other)))
    pairs = ((one[min(n, len(one) - 1)], other[min(n, len(other) - 1)]) for n in longest)
    return tuple(b if b[0] > a[0] else a for a, b in pairs)


def _note_signs(tree: _Rest, sign: int, helps: dict[Condition, set[int]]) -> None:
    """Whether each input helps when on, when off, or both ways."""
    if isinstance(tree, bool):
        return
    if not _is_operation(tree):
        helps.setdefault(tree, set()).add(sign)
        return
    for part in tree[1:]:
        _note_signs(part, -sign if tree[0] == "not" else sign, helps)
