"""Merged classes solved: every objective in order, proved and then held."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from pdm_alloc.program.choice import Choice, Source
from pdm_alloc.program.circuit_source import CircuitSource
from pdm_alloc.program.master import Master
from pdm_alloc.program.measure import Measure
from pdm_alloc.program.outcome import BEST_SO_FAR, NOT_ENOUGH, PROVEN_BEST, STOPPED_EMPTY
from pdm_alloc.program.search import Search
from pdm_alloc.program.solver import Clock
from pdm_alloc.program.task import Column

__all__ = ["Relaxed", "Stage", "relax"]

_EPSILON = 1e-6


@dataclass(frozen=True)
class Stage:
    """How one objective ended.

    Parameters
    ----------
    name : str
        Of the objective.
    value : int
        What it came to.
    bound : float
        What it cannot be below, the objectives before it held; whole.
    choices : tuple of Choice
        The solution.
    """

    name: str
    value: int
    bound: float
    choices: tuple[Choice, ...] = field(repr=False, default=())

    @property
    def proved(self) -> bool:
        """Whether nothing better exists."""
        return self.value <= self.bound

    @property
    def columns(self) -> list[Column]:
        """Circuits of the solution, one a channel or double."""
        return [column for choice in self.choices for column in choice.columns]


@dataclass(frozen=True)
class Relaxed:
    """How the relaxation ended.

    Parameters
    ----------
    outcome : str
        One of the five words.
    stages : tuple of Stage
        Of the objectives in order, as far as it came.
    """

    outcome: str
    stages: tuple[Stage, ...] = ()


def relax(measure: Measure, sources: Sequence[Source], clock: Clock, stages: int) -> Relaxed:
    """Minimise the objectives in order.

    Parameters
    ----------
    measure : Measure
        Objectives and shared rows.
    sources : sequence of Source
        Where circuits come from.
    clock : Clock
        When to stop.
    stages : int
        How many objectives.

    Returns
    -------
    Relaxed
        Not enough where it is proved that the merged classes do not bear the loads.
    """
    master = Master(measure, sources)
    known = _begun(master)
    if known is None:
        missing = master.bound(None, clock)
        if not missing.closed:
            return Relaxed(STOPPED_EMPTY)
        if missing.value > _EPSILON:
            return Relaxed(NOT_ENOUGH)
    master.forbid_missing()
    done: list[Stage] = []
    for k, name in enumerate(measure.names[:stages]):
        stage = _stage(master, k, name, done[-1].choices if done else known, clock)
        if stage is None:
            return Relaxed(STOPPED_EMPTY)
        if stage.bound == math.inf:
            return Relaxed(NOT_ENOUGH)
        done.append(stage)
        if not stage.proved:
            return Relaxed(BEST_SO_FAR, tuple(done))
        master.hold(k, stage.value)
    return Relaxed(PROVEN_BEST, tuple(done))


def _begun(master: Master) -> Sequence[Choice] | None:
    """A solution by rule of thumb, where every command is one with very many loads; its circuits are a beginning."""
    known: list[Choice] = []
    for source in master.sources:
        ways = source.fillings() if isinstance(source, CircuitSource) else []
        for way in ways:
            master.add(way)
        known += ways[0] if ways else []
    covered = {row for choice in known for row, _ in choice.entries}
    taken = sum((np.array(choice.weights) for choice in known), np.zeros(len(master.most)))
    return known if len(covered) == len(master.own) and (taken <= master.most).all() else None


def _stage(master: Master, k: int, name: str, known: Sequence[Choice] | None, clock: Clock) -> Stage | None:
    """One objective; None: no solution was found before the clock ran out."""
    search = Search(master, k, known, clock)
    search.run()
    if search.best is None:
        return Stage(name, 0, math.inf) if search.proved == math.inf else None
    master.add(search.best)
    return Stage(name, int(search.value), search.proved, tuple(search.best))
