"""Test steps for a condition: the fewest that show that every input matters.

An input is shown to matter by two steps that differ in this input only and give different results
(unique-cause pairs, as in modified condition/decision coverage).

Settings of n inputs are the corners of an n-cube; a set of corners is an int with one bit a corner.
One pair for each of k inputs is k edges in k directions. Edges in distinct directions close no ring,
so the pairs form trees and the steps number k plus the number of trees: the fewest steps are the
fewest trees. A tree is found by a program over subsets of directions, as for Steiner trees (Dreyfus
and Wagner 1971, from memory); two trees that share one corner and no direction share no other corner.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from pdm_alloc.domain.condition import Condition

__all__ = ["Step", "StepsError", "TestSteps", "steps_of"]

MOST_NAMES = 18
MOST_EXACT = 12


class StepsError(ValueError):
    """A condition with too many inputs for its steps to be worked out."""


@dataclass(frozen=True, slots=True)
class Step:
    """One setting of the inputs and what the command must do.

    Parameters
    ----------
    on : frozenset of str
        Inputs that are on; the others are off.
    result : bool
        Whether the command is on.
    """

    on: frozenset[str]
    result: bool


@dataclass(frozen=True)
class TestSteps:
    """The fewest steps that show that every input matters.

    Parameters
    ----------
    inputs : tuple of str
        Inputs that matter, in the order of the condition.
    idle : tuple of str
        Inputs the condition names that never change its result.
    steps : tuple of Step
        In the order to try them; none where no input matters.
    pairs : tuple of (int, int)
        For each of `inputs`, the two steps, counted from 0, that differ in it alone.
    """

    __test__ = False  # pytest would collect the class by its name

    inputs: tuple[str, ...]
    idle: tuple[str, ...]
    steps: tuple[Step, ...]
    pairs: tuple[tuple[int, int], ...]

    @property
    def table(self) -> pd.DataFrame:
        """One row a step: step from 1, ``on`` or ``off`` for each input, result, what it shows with which step."""
        rows = [
            {"step": i + 1}
            | {name: "on" if name in step.on else "off" for name in self.inputs}
            | {"result": "on" if step.result else "off", "shows": self._shows(i)}
            for i, step in enumerate(self.steps)
        ]
        return pd.DataFrame(rows, columns=["step", *self.inputs, "result", "shows"])

    def _shows(self, step: int) -> str:
        said = [
            f"{name} (against step {min(pair) + 1})"
            for name, pair in zip(self.inputs, self.pairs, strict=True)
            if max(pair) == step
        ]
        return ", ".join(said)


def steps_of(condition: Condition) -> TestSteps:
    """The fewest test steps that show that every input matters.

    Parameters
    ----------
    condition : Condition
        The condition of one command.

    Returns
    -------
    TestSteps
        Proved to be fewest; the same for the same condition.

    Raises
    ------
    StepsError
        More than 18 inputs named; or more than 12 that matter and no single tree of pairs found.
    """
    if len(condition.names) > MOST_NAMES:
        raise StepsError(f"{len(condition.names)} inputs in one condition; steps are worked out for {MOST_NAMES}")
    cube = _Cube(condition, condition.names)
    inputs = tuple(name for name, edges in zip(cube.names, cube.edges, strict=True) if edges)
    idle = tuple(name for name in cube.names if name not in inputs)
    return _in_words(_Cube(condition, inputs), idle)


class _Cube:
    """The corners of the cube, where the condition holds, and the edges over which it changes."""

    def __init__(self, condition: Condition, names: tuple[str, ...]):
        self.names = names
        self.ones = (1 << (1 << len(names))) - 1
        self.upper = [self.ones // ((1 << (1 << i)) + 1) << (1 << i) for i in range(len(names))]
        bits = dict(zip(names, self.upper, strict=True))
        self.holds = condition.over(lambda name: bits.get(name, 0), self.ones)
        self.edges = [self.holds ^ self.across(i, self.holds) for i in range(len(names))]

    def across(self, i: int, corners: int) -> int:
        """The corners at the other ends of the edges in direction i."""
        return ((corners & self.upper[i]) >> (1 << i)) | ((corners & (self.ones ^ self.upper[i])) << (1 << i))

    @cached_property
    def trees(self) -> list[int]:
        """For each set of directions, the corners that lie on a tree with one edge in each of them."""
        trees = [self.ones]
        for directions in range(1, 1 << len(self.names)):
            reached = 0
            for i in _bits(directions):
                reached |= self.edges[i] & self.across(i, trees[directions ^ (1 << i)])
            for part in _parts(directions):
                reached |= trees[part] & trees[directions ^ part]
            trees.append(reached)
        return trees


def _bits(mask: int) -> Iterator[int]:
    return (i for i in range(mask.bit_length()) if mask >> i & 1)


def _parts(mask: int) -> Iterator[int]:
    """Proper subsets that hold the lowest bit of the mask: each way to cut it in two, once."""
    lowest = mask & -mask
    part = rest = mask ^ lowest
    while part:
        part = (part - 1) & rest
        yield part | lowest


Edge = tuple[int, int, int]  # direction, corner met first, corner across


def _in_words(cube: _Cube, idle: tuple[str, ...]) -> TestSteps:
    edges = _one_tree(cube) or _fewest_trees(cube)
    corners = list(dict.fromkeys(corner for _, start, end in edges for corner in (start, end)))
    number = {corner: i for i, corner in enumerate(corners)}
    pairs = {direction: (number[start], number[end]) for direction, start, end in edges}
    steps = [
        Step(frozenset(cube.names[i] for i in _bits(corner)), bool(cube.holds >> corner & 1)) for corner in corners
    ]
    return TestSteps(cube.names, idle, tuple(steps), tuple(pairs[i] for i in range(len(cube.names))))


def _one_tree(cube: _Cube) -> list[Edge]:
    """Edges of one tree with every direction, grown greedily from each corner; none where that fails."""
    wanted = len(cube.names)
    for start in range(1 << wanted):
        edges = _grow(cube, start)
        if len(edges) == wanted:
            return edges
    return []


def _grow(cube: _Cube, start: int) -> list[Edge]:
    edges: list[Edge] = []
    corners, open_directions = [start], set(range(len(cube.names)))
    for corner in corners:
        for i in sorted(open_directions):
            if cube.edges[i] >> corner & 1:
                edges.append((i, corner, corner ^ (1 << i)))
                corners.append(corner ^ (1 << i))
                open_directions.remove(i)
    return edges


def _fewest_trees(cube: _Cube) -> list[Edge]:
    if len(cube.names) > MOST_EXACT:
        raise StepsError(f"{len(cube.names)} inputs matter together; steps are worked out for {MOST_EXACT}")
    return [edge for part in _cut(cube) for edge in _tree(cube, part, _lowest(cube.trees[part]))]


def _cut(cube: _Cube) -> list[int]:
    """The directions cut into the fewest sets that have a tree each."""
    best: list[list[int]] = [[]]
    for directions in range(1, 1 << len(cube.names)):
        whole = [directions] if cube.trees[directions] else []
        ways = [[part, *best[directions ^ part]] for part in _parts(directions) if cube.trees[part]]
        best.append(whole or min(ways, key=len))
    return best[-1]


def _lowest(mask: int) -> int:
    return (mask & -mask).bit_length() - 1


def _tree(cube: _Cube, directions: int, root: int) -> list[Edge]:
    """Edges of the tree on that root, outwards."""
    for i in _bits(directions):
        rest, end = directions ^ (1 << i), root ^ (1 << i)
        if cube.edges[i] >> root & 1 and cube.trees[rest] >> end & 1:
            return [(i, root, end), *_tree(cube, rest, end)]
    for part in _parts(directions):
        if (cube.trees[part] & cube.trees[directions ^ part]) >> root & 1:
            return _tree(cube, part, root) + _tree(cube, directions ^ part, root)
    return []
