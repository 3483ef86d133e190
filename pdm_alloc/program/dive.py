"""Whole solutions for commands with very many loads: fix what fractions lean to, price again, go back when it fails."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from pdm_alloc.program.choice import Choice
from pdm_alloc.program.circuit_source import CircuitSource
from pdm_alloc.program.master import Master
from pdm_alloc.program.solver import Clock

__all__ = ["Dive"]

_EPSILON = 1e-6
_BRANCHES = 3
_TOLL = 20  # times the dearest circuit: what a missing item costs while diving


@dataclass
class _Node:
    """A point of the dive: what was taken whole there, what may be fixed next, and the one that is."""

    fixed: list[Choice]
    parts: Iterator[Choice]
    target: float
    tried: Choice | None = None


class Dive:
    """Search for a solution of one objective that costs no more than a target.

    Parameters
    ----------
    master : Master
        At the bound of the objective.
    objective : int
        Its number.
    clock : Clock
        When to stop.
    work : float
        How much may be spent, as `Master.work` counts it.
    """

    def __init__(self, master: Master, objective: int, clock: Clock, work: float):
        self.master, self.objective, self.clock = master, objective, clock
        self.last = master.work + work

    def run(self, target: float) -> list[Choice] | None:
        """The circuits of commands with very many loads, of a solution that may cost so much; None: not found.

        What other commands take is within the target in fractions only.
        """
        dearest = max((abs(choice.costs[self.objective]) for choice in self.master.choices), default=0)
        self.master.allow_missing(_TOLL * (1.0 + dearest))
        path: list[_Node] = []
        node = self._enter(target)
        while node is not None and not self._done():
            path.append(node)
            node = self._deeper(path)
        found = None if node is None else self._fixed([*path, node])
        for choice in found or ():
            self.master.fix(choice, -1)
        self.master.forbid_missing()
        return found

    def _deeper(self, path: list[_Node]) -> _Node | None:
        """The next point below the last of the path that is not hopeless; points without one are left."""
        while path:
            node = path[-1]
            for choice in self._untried(node):
                below = self._enter(node.target - choice.costs[self.objective])
                if below is not None:
                    return below
            self._release(path.pop())
        return None

    def _untried(self, node: _Node) -> Iterator[Choice]:
        """Fix one choice after the other instead of the one before it."""
        self._untry(node)
        for part in node.parts:
            trimmed = part.owner.trimmed(part.columns[0]) if part.owner else None
            if self.master.work > self.last or self.clock.is_over():
                return
            if trimmed is not None:
                self.master.fix(trimmed)
                node.tried = trimmed
                yield trimmed
                self._untry(node)

    def _untry(self, node: _Node) -> None:
        if node.tried is not None:
            self.master.fix(node.tried, -1)
            node.tried = None

    def _release(self, node: _Node) -> None:
        self._untry(node)
        for choice in node.fixed:
            self.master.fix(choice, -1)

    def _enter(self, target: float) -> _Node | None:
        """Solve what is left and fix what comes out whole; None where it cannot be within the target."""
        bound = self.master.bound(self.objective, self.clock, enough=target + 1, content=target)
        within = bound.whole <= target + _EPSILON and self.master.linear.objective <= target + _EPSILON
        if not within or self.master.is_missing() or self.clock.is_over():
            return None
        taken = [(choice, value) for choice, value in self.master.taken() if choice.owner is not None]
        fixed = [trimmed for choice, value in taken for trimmed in self._take_whole(choice, value)]
        spent = sum(choice.costs[self.objective] for choice in fixed)
        return _Node(fixed, iter(_parts(taken)[:_BRANCHES]), target - spent)

    def _take_whole(self, choice: Choice, value: float) -> Iterator[Choice]:
        for _ in range(math.floor(value + _EPSILON)):
            trimmed = choice.owner.trimmed(choice.columns[0]) if choice.owner else None
            if trimmed is not None:
                self.master.fix(trimmed)
                yield trimmed

    def _done(self) -> bool:
        """Whether every item of the commands with very many loads is in a fixed circuit."""
        return not any(any(source.left) for source in self.master.sources if isinstance(source, CircuitSource))

    def _fixed(self, path: list[_Node]) -> list[Choice]:
        return [choice for node in path for choice in [*node.fixed, *([node.tried] if node.tried else [])]]


def _parts(taken: list[tuple[Choice, float]]) -> list[Choice]:
    """Choices taken in part, most of it first, fuller ones first among equals."""
    parts = [(value - math.floor(value + _EPSILON), choice) for choice, value in taken]
    parts = [(value, choice) for value, choice in parts if value > _EPSILON]
    parts.sort(key=lambda part: (-round(part[0], 6), -part[1].columns[0].fit.running_ma))
    return [choice for _, choice in parts]
