"""Worst combination of inputs for a limit, and worst change of one input: small integer programs over the inputs.

A condition is plain data: the name of an input, ``("not", x)``, ``("and", x, y, ...)`` or ``("or", x, y, ...)``;
None stands for a command without a condition, which is an input of its own. A combination is a setting of all inputs
under which no command is on that the state keeps off. Inputs that no condition ties together are judged apart: groups
of few inputs from a list of what they can switch on, larger ones by an integer program.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from pdm_alloc.program.combination_group import Group, Unanswered, canonical_order, group_inputs
from pdm_alloc.program.condition_rows import Contradiction, WorstChange, WorstCombination, condition_tree, own_input
from pdm_alloc.program.solver import Clock

__all__ = [
    "Combinations",
    "Contradiction",
    "Unanswered",
    "WorstChange",
    "WorstCombination",
    "condition_tree",
    "own_input",
]

_TIME_LIMIT_S = 60.0
_LISTED_INPUTS = 7  # inputs of a group up to which listing all settings is faster than one solve


class Combinations:
    """All combinations that conditions allow.

    Parameters
    ----------
    conditions : mapping of str to (str, tuple or None)
        Condition of every command as plain data, in canonical order of the commands.
    inputs : sequence of str
        Canonical order of the inputs; names it lacks follow in alphabetical order.
    listed_inputs : int
        Groups of so many inputs and fewer are listed, larger ones solved by an integer program.
    """

    def __init__(self, conditions: Mapping[str, Any], inputs: Sequence[str] = (), listed_inputs: int = _LISTED_INPUTS):
        self.commands = tuple(conditions)
        self._trees = {name: own_input(name) if tree is None else tree for name, tree in conditions.items()}
        self._order = canonical_order(self._trees, inputs)
        self.groups = tuple(
            Group(names, trees, listed_inputs) for names, trees in group_inputs(self._trees, self._order)
        )

    def upper_bound(self, allowed: Iterable[str], amounts: Mapping[str, int]) -> int:
        """Sum of all allowed amounts above zero, mA: no combination is above it.

        Parameters
        ----------
        allowed : iterable of str
            Commands the state allows.
        amounts : mapping of str to int
            mA of each command; a missing command counts 0.

        Returns
        -------
        int
            mA.
        """
        return sum(max(0, amounts.get(name, 0)) for name in set(allowed))

    def worst(
        self, allowed: Iterable[str], amounts: Mapping[str, int], clock: Clock | None = None
    ) -> WorstCombination | None:
        """The combination under which the sum of amounts is largest.

        Parameters
        ----------
        allowed : iterable of str
            Commands the state allows; all others stay off.
        amounts : mapping of str to int
            mA of each command, also below zero; a missing command counts 0.
        clock : Clock or None
            Time limit; None: 60 s.

        Returns
        -------
        WorstCombination or None
            None: no setting of the inputs keeps off what the state keeps off.

        Raises
        ------
        Unanswered
            The time was over or the solver failed.
        """
        permitted, limit = frozenset(allowed), clock or Clock(_TIME_LIMIT_S)
        settings = [group.worst(permitted, amounts, limit) for group in self.groups]
        if any(setting is None for setting in settings):
            return None
        return self._combination(amounts, frozenset(name for on in settings if on is not None for name in on))

    def exceeding(
        self, allowed: Iterable[str], amounts: Mapping[str, int], limit_ma: int, clock: Clock | None = None
    ) -> WorstCombination | None:
        """The worst combination if it breaks a limit.

        Parameters
        ----------
        allowed, amounts, clock
            As in `worst`.
        limit_ma : int
            Limit, mA; a sum equal to it is within.

        Returns
        -------
        WorstCombination or None
            None: no combination is above the limit. Without a solve where everything on is within it.

        Raises
        ------
        Unanswered
            As in `worst`.
        """
        permitted = frozenset(allowed)
        if self.upper_bound(permitted, amounts) <= limit_ma:
            return None
        worst = self.worst(permitted, amounts, clock)
        return worst if worst is not None and worst.amount_ma > limit_ma else None

    def worst_change(
        self,
        allowed: Iterable[str],
        running: Mapping[str, int],
        inrush: Mapping[str, int],
        clock: Clock | None = None,
    ) -> WorstChange | None:
        """The combination and the change of one input at which the momentary sum is largest.

        Both the combination before the change and that after it are combinations of the state. A command that goes
        off at the change does not count.

        Parameters
        ----------
        allowed, clock
            As in `worst`.
        running, inrush : mapping of str to int
            Running current of each command; its peak at switch-on, running included, mA, neither negative.

        Returns
        -------
        WorstChange or None
            None: the state has no combination.

        Raises
        ------
        Unanswered
            As in `worst`.
        """
        permitted, limit = frozenset(allowed), clock or Clock(_TIME_LIMIT_S)
        steady = [group.worst(permitted, running, limit) for group in self.groups]
        if any(setting is None for setting in steady):
            return None
        calm = [setting for setting in steady if setting is not None]
        changes = [
            group.worst_change(permitted, running, inrush, limit)
            if any(name in permitted for name in group.trees)
            else None
            for group in self.groups
        ]
        return self._change(running, inrush, calm, changes)

    def exceeding_change(
        self,
        allowed: Iterable[str],
        running: Mapping[str, int],
        inrush: Mapping[str, int],
        limit_ma: int,
        clock: Clock | None = None,
    ) -> WorstChange | None:
        """The worst change if it breaks a limit; without a solve where it cannot.

        Parameters
        ----------
        allowed, running, inrush, clock
            As in `worst_change`.
        limit_ma : int
            Limit, mA; a sum equal to it is within.

        Returns
        -------
        WorstChange or None
            None: no change is above the limit.

        Raises
        ------
        Unanswered
            As in `worst`.
        """
        permitted = frozenset(allowed)
        if self._change_bound(permitted, running, inrush) <= limit_ma:
            return None
        worst = self.worst_change(permitted, running, inrush, clock)
        return worst if worst is not None and worst.amount_ma > limit_ma else None

    def can_be_on(
        self, allowed: Iterable[str], command: str | None = None, clock: Clock | None = None
    ) -> Contradiction | None:
        """Whether a command can be on in a state.

        Parameters
        ----------
        allowed : iterable of str
            Commands the state allows, `command` among them.
        command : str or None
            The command; None: whether the state has a combination at all.
        clock : Clock or None
            Time limit; None: 60 s.

        Returns
        -------
        Contradiction or None
            None: it can be on.

        Raises
        ------
        Unanswered
            As in `worst`.
        """
        limit, permitted = clock or Clock(_TIME_LIMIT_S), frozenset(allowed)
        forbidden = [name for name in self.commands if name not in permitted]
        if self._possible(command, forbidden, limit):
            return None
        needed = list(forbidden)
        for name in forbidden:
            fewer = [other for other in needed if other != name]
            if not self._possible(command, fewer, limit):
                needed = fewer
        return Contradiction(command, tuple(needed))

    def _possible(self, command, forbidden, clock):
        """Whether the command can be on with all of `forbidden` off."""
        permitted = frozenset(self.commands) - set(forbidden)
        amounts = {} if command is None else {command: 1}
        worst = self.worst(permitted, amounts, clock)
        return worst is not None and worst.amount_ma == len(amounts)

    def _change_bound(self, permitted, running, inrush):
        """Everything allowed on, and of one group everything in its inrush."""
        rise = [
            sum(max(0, inrush.get(name, 0) - running.get(name, 0)) for name in group.trees if name in permitted)
            for group in self.groups
        ]
        return self.upper_bound(permitted, running) + max(rise, default=0)

    def _commands_on(self, on):
        names = {name for group in self.groups for name in group.commands_on(on)}
        return tuple(name for name in self.commands if name in names)

    def _split(self, on):
        """Inputs and commands without a condition that are on, in canonical order."""
        ordered = [name for name in self._order if name in on]
        inputs = tuple(name for name in ordered if isinstance(name, str))
        return inputs, tuple(name[1] for name in ordered if not isinstance(name, str))

    def _combination(self, amounts, on):
        commands = self._commands_on(on)
        inputs, own = self._split(on)
        return WorstCombination(sum(amounts.get(name, 0) for name in commands), inputs, own, commands)

    def _change(self, running, inrush, calm, changes):
        """The group whose change brings most changes, the others stand at their worst."""
        candidates = [self._momentary(running, inrush, frozenset().union(*calm), None)]
        for at, change in enumerate(changes):
            if change is not None:
                before, changed = change
                on = frozenset(before).union(*calm[:at], *calm[at + 1 :])
                candidates.append(self._momentary(running, inrush, on, changed))
        return min(candidates, key=lambda change: (-change[0].amount_ma, change[1]))[0]

    def _momentary(self, running, inrush, on, changed):
        """The change as it is reported, and its place among equals: fewest inputs, then the earliest."""
        after = on if changed is None else on ^ {changed}
        before, then = self._commands_on(on), self._commands_on(after)
        stays = tuple(name for name in then if name in before)
        new = tuple(name for name in then if name not in before)
        amount = sum(running.get(name, 0) for name in stays) + sum(inrush.get(name, 0) for name in new)
        shown = changed if changed is None or isinstance(changed, str) else changed[1]
        places = tuple(at for at, name in enumerate(self._order) if name in on)
        key = (len(on), places, -1 if changed is None else self._order.index(changed))
        inputs, own = self._split(on)
        return WorstChange(amount, inputs, own, shown, changed in after, stays, new), key
