"""Inputs that conditions tie together: the settings of such a group, listed or found by an integer program."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from typing import Any

from pdm_alloc.program.condition_rows import Rows, fixed, holds, names_of
from pdm_alloc.program.solver import FAILED, NOT_ENOUGH, PROVEN_BEST, Clock, solve_program

__all__ = ["Group", "Unanswered", "canonical_order", "group_inputs"]

# Powers of two beyond this are no longer told apart by the solver's tolerances.
_TIES_AT_ONCE = 16
_HALF = 0.5  # sums are whole: half a step keeps the solver's tolerances from cutting one off


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


def canonical_order(trees: Mapping[str, Any], inputs: Sequence[str]) -> tuple:
    """All inputs: first those of the table in its order, then other names by alphabet, then commands of their own.

    Parameters
    ----------
    trees : mapping of str to condition
        Condition of every command, own inputs included.
    inputs : sequence of str
        Names in canonical order.

    Returns
    -------
    tuple
        Every input that a condition names.
    """
    named = set().union(*map(names_of, trees.values())) if trees else set()
    listed = [name for name in dict.fromkeys(inputs) if name in named]
    rest = sorted(name for name in named - set(listed) if isinstance(name, str))
    own = [tree for tree in trees.values() if tree in named and not isinstance(tree, str)]
    return (*listed, *rest, *own)


def group_inputs(trees: Mapping[str, Any], order: Sequence) -> Iterator[tuple[tuple, dict[str, Any]]]:
    """Inputs that share a condition, directly or through others, and the commands of each group.

    Parameters
    ----------
    trees : mapping of str to condition
        Condition of every command.
    order : sequence
        All inputs in canonical order.

    Yields
    ------
    tuple, dict
        Inputs of a group in canonical order; its conditions by command.
    """
    leader = {name: name for name in order}

    def lead(name):
        while leader[name] != name:
            name = leader[name]
        return name

    for tree in trees.values():
        first, *others = names_of(tree)
        for name in others:
            leader[lead(name)] = lead(first)
    members: dict[Any, list] = {}
    for name in order:
        members.setdefault(lead(name), []).append(name)
    for first, names in members.items():
        yield tuple(names), {c: tree for c, tree in trees.items() if lead(next(iter(names_of(tree)))) == first}


class Group:
    """The settings of some inputs.

    Parameters
    ----------
    inputs : tuple
        Names in canonical order.
    trees : mapping of str to condition
        Conditions over these inputs, by command.
    listed_inputs : int
        Up to so many inputs all settings are listed.
    """

    def __init__(self, inputs: tuple, trees: Mapping[str, Any], listed_inputs: int):
        self.inputs, self.trees = inputs, dict(trees)
        self._names = {command: names_of(tree) for command, tree in self.trees.items()}
        self._is_listed = len(inputs) <= listed_inputs
        self._settings: list[tuple[frozenset, frozenset]] = []
        self._known: dict[Any, Any] = {}

    def commands_on(self, on: frozenset) -> frozenset:
        """Commands on under a setting of the inputs (others in it are passed over)."""
        return frozenset(name for name, tree in self.trees.items() if holds(tree, on))

    def worst(self, permitted: frozenset, amounts: Mapping[str, int], clock: Clock) -> frozenset | None:
        """Inputs on at the largest sum, of equal ones the fewest and earliest; None: there is no setting."""
        key = (permitted.intersection(self.trees), *(amounts.get(name, 0) for name in self.trees))
        if key not in self._known:
            find = self._worst_listed if self._is_listed else self._worst_solved
            self._known[key] = find(key[0], amounts, clock)
        return self._known[key]

    def worst_change(
        self, permitted: frozenset, running: Mapping[str, int], inrush: Mapping[str, int], clock: Clock
    ) -> tuple[frozenset, Any] | None:
        """Inputs on before the change and the input that changes; None: no setting with a change to another."""
        pairs = ((running.get(name, 0), inrush.get(name, 0)) for name in self.trees)
        key = (permitted.intersection(self.trees), *pairs)
        if key not in self._known:
            find = self._change_listed if self._is_listed else self._change_solved
            self._known[key] = find(key[0], running, inrush, clock)
        return self._known[key]

    def _listed(self, permitted):
        """Settings with their commands, fewest inputs and earliest first, in which only permitted commands are on."""
        if not self._settings:
            sets = (frozenset(on) for n in range(len(self.inputs) + 1) for on in combinations(self.inputs, n))
            self._settings = [(on, self.commands_on(on)) for on in sets]
        return [(on, names) for on, names in self._settings if names <= permitted]

    def _worst_listed(self, permitted, amounts, _clock):
        listed = self._listed(permitted)
        if not listed:
            return None
        return max(listed, key=lambda setting: sum(amounts.get(name, 0) for name in setting[1]))[0]

    def _change_listed(self, permitted, running, inrush, _clock):
        listed = self._listed(permitted)
        commands = dict(listed)
        changes = [(on, name) for on in commands for name in self.inputs if on ^ {name} in commands]
        if not changes:
            return None

        def momentary(change):
            on, name = change
            before, after = commands[on], commands[on ^ {name}]
            return sum((running if c in before else inrush).get(c, 0) for c in after)

        return max(changes, key=momentary)

    def _worst_solved(self, permitted, amounts, clock):
        weighted = [(amounts.get(name, 0), tree) for name, tree in self.trees.items() if name in permitted]
        forbidden = [tree for name, tree in self.trees.items() if name not in permitted]
        return _solved(self.inputs, weighted, forbidden, clock)

    def _change_solved(self, permitted, running, inrush, clock):
        """Inputs in falling order of what their change could bring, until none left can bring as much as the best."""
        trials = [self._trial(n, on, permitted, running, inrush) for n in self.inputs for on in (True, False)]
        trials.sort(key=lambda trial: -trial.bound)
        best: int = -1
        equals: list = []
        for trial in trials:
            if trial.bound < best:
                break
            setting = trial.solved(self.inputs, clock, is_earliest=False)
            amount = -1 if setting is None else trial.amount(setting)
            equals = [*equals, trial] if amount == best else [trial] if amount > best else equals
            best = max(best, amount)
        return (
            min((self._change(trial, clock) for trial in equals), default=(None, None, None))[2] if best >= 0 else None
        )

    def _change(self, trial, clock):
        """Sort key of a change, fewest inputs and earliest first, and the change."""
        setting = trial.solved(self.inputs, clock, is_earliest=True)
        on = setting if trial.goes_on else setting | {trial.name}
        places = tuple(at for at, name in enumerate(self.inputs) if name in on)
        return (len(on), places), self.inputs.index(trial.name), (on, trial.name)

    def _trial(self, name, goes_on, permitted, running, inrush):
        trial = _Trial(name, goes_on)
        for command, tree in self.trees.items():
            run, rush = running.get(command, 0), inrush.get(command, 0)
            if name not in self._names[command]:
                trial.add(tree, tree, run, rush, command in permitted)
            else:
                before, after = fixed(tree, name, not goes_on), fixed(tree, name, goes_on)
                trial.add(before, after, run, rush, command in permitted)
        return trial


class _Trial:
    """A change of one input: conditions before and after it, and what they are worth."""

    def __init__(self, name, goes_on):
        self.name, self.goes_on, self.bound = name, goes_on, 0
        self.weighted: list[tuple[int, Any]] = []
        self.forbidden: list[Any] = []

    def add(self, before, after, running, inrush, is_permitted):
        """Add a command."""
        if not is_permitted:
            self.forbidden += dict.fromkeys((before, after))
        elif before == after:
            self.weighted.append((running, before))
            self.bound += running
        elif after is not False:
            self.weighted += [(running, ("and", after, before)), (inrush, ("and", after, ("not", before)))]
            self.bound += max(running, inrush)

    def amount(self, setting):
        """Momentary sum under a setting of the other inputs, mA."""
        return sum(weight for weight, tree in self.weighted if holds(tree, setting))

    def solved(self, inputs, clock, is_earliest):
        """The worst setting of the other inputs."""
        rest = tuple(other for other in inputs if other != self.name)
        return _solved(rest, self.weighted, self.forbidden, clock, is_earliest)


def _solved(inputs, weighted, forbidden, clock, is_earliest=True) -> frozenset | None:
    """Inputs on at the largest sum of weights of conditions that hold, none of the forbidden ones holding."""
    rows = Rows(inputs)
    for tree in forbidden:
        rows.forbid(tree)
    constant, weights = rows.sum([(weight, tree) for weight, tree in weighted if weight])
    step = len(inputs) + 1  # one input more never outweighs a milliamp
    cost = {v: -step * w for v, w in weights.items()}
    for v in rows.input.values():
        cost[v] = cost.get(v, 0) + 1
    on = _inputs_on(rows, cost, clock)
    if not on or not is_earliest:
        return on
    amount = sum(weight for weight, tree in weighted if holds(tree, on))
    scale = max(map(abs, weights.values()), default=1)  # in a row of large weights the solver's tolerance is none
    rows.program.row({v: w / scale for v, w in weights.items()}, least=(amount - constant - _HALF) / scale)
    rows.program.row(dict.fromkeys(rows.input.values(), 1), most=len(on) + _HALF)
    return _earliest(rows, on, clock)


def _earliest(rows, on, clock) -> frozenset:
    """Of equal settings the one whose inputs are earliest in canonical order."""
    names = tuple(rows.input)
    for start in range(0, len(names), _TIES_AT_ONCE):
        chunk = names[start : start + _TIES_AT_ONCE]
        setting = _inputs_on(
            rows, {rows.input[name]: -(2 ** (len(chunk) - at)) for at, name in enumerate(chunk)}, clock
        )
        if setting is None:
            raise Unanswered(FAILED)
        for name in chunk:
            rows.program.row({rows.input[name]: 1}, int(name in setting), int(name in setting))
        on = setting
    return on


def _inputs_on(rows, cost, clock) -> frozenset | None:
    """Inputs on in the best solution of a program; None: it has none."""
    solution = solve_program(rows.program, cost, clock)
    if solution.outcome == NOT_ENOUGH:
        return None
    if solution.outcome != PROVEN_BEST:
        raise Unanswered(solution.outcome)
    return frozenset(name for name, v in rows.input.items() if solution.values[v])
