"""Large vehicles: merged classes solved, circuits handed out to units and banks, and what that proves."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from pdm_alloc.circuits.columns import CircuitBook, TooManyCircuits
from pdm_alloc.module import Unit
from pdm_alloc.program.block import Block
from pdm_alloc.program.choice import Source
from pdm_alloc.program.circuit_source import CircuitSource
from pdm_alloc.program.handout import Handed, hand_out
from pdm_alloc.program.measure import Measure
from pdm_alloc.program.merge import Merged, merge
from pdm_alloc.program.outcome import BEST_SO_FAR, NOT_ENOUGH, PROVEN_BEST, STOPPED_EMPTY
from pdm_alloc.program.packing import pack, placed_task
from pdm_alloc.program.plan_source import PlanSource
from pdm_alloc.program.relax import Relaxed, Stage, relax
from pdm_alloc.program.shape import moves_of, states_of
from pdm_alloc.program.solver import Clock
from pdm_alloc.vehicle import Vehicle

__all__ = ["Large", "solve_large"]


_FEW = 1_000  # states x classes: below, the program in full is as quick and its ties are told apart
_MOST_MOVES = 2_000_000  # of one command
_MOST_LISTED = 30_000  # columns: below, the program in full is quicker than pricing circuits
_MOST_STATES = 2_000_000  # of one command: above, its circuits are not listed, so the program in full is hopeless


@dataclass(frozen=True)
class Large:
    """How a large vehicle ended.

    Parameters
    ----------
    outcome : str
        One of the five words.
    circuits : tuple
        As `pdm_alloc.program.handout.hand_out` gives them.
    gap : float
        Of the first objective that is not proved; 0 when all are.
    objectives : tuple of (str, float)
        Objectives in order and their values.
    final : bool
        Whether the program in full has nothing to add.
    """

    outcome: str
    circuits: tuple[Handed, ...] = ()
    gap: float = 0.0
    objectives: tuple[tuple[str, float], ...] = ()
    final: bool = True


def solve_large(
    vehicle: Vehicle, units: Sequence[Unit], strategy: str, clock: Clock, book: CircuitBook, any_will_do: bool = False
) -> Large | None:
    """Allocate loads to channels, best by all objectives in order, by way of merged classes.

    Parameters
    ----------
    vehicle, units, strategy, clock, book
        As of `pdm_alloc.program.solve.solve`.
    any_will_do : bool
        Stop after the first objective.

    Returns
    -------
    Large or None
        Stopped empty also where circuits were found that could not be handed out. None: so few
        circuits that the program in full is as quick.
    """
    merged = merge(vehicle, units)
    wiring = book.wiring(vehicle)
    blocks = [Block(merged, command, book, wiring) for command in merged.task.types]
    states = [states_of(block.counts) for block in blocks]
    if sum(states) * len(merged.classes) <= _FEW:
        return None
    if max(states) <= _MOST_STATES and any(map(_is_open, blocks)) and _are_listed(blocks, clock):
        return None
    measure = Measure(merged, strategy)
    sources = _sources(blocks, measure, clock)
    relaxed = relax(measure, sources, clock, 1 if any_will_do else len(measure.names))
    found = Large(NOT_ENOUGH if relaxed.outcome == NOT_ENOUGH else STOPPED_EMPTY)
    for stage in reversed(relaxed.stages):
        places = pack(merged, stage.columns, clock)
        if places is not None:
            found = _handed(merged, measure, relaxed, stage, places)
            break
    return replace(found, final=found.outcome in (PROVEN_BEST, NOT_ENOUGH) or max(states) > _MOST_STATES)


def _is_open(block: Block) -> bool:
    """Whether it has too many different loads for its plans to be priced."""
    return moves_of(block.counts) > _MOST_MOVES and not block.types[0].together


def _are_listed(blocks: Sequence[Block], clock: Clock) -> bool:
    """Whether the circuits that the physics allows are so few that the program in full is quicker."""
    left = _MOST_LISTED
    try:
        for block in blocks:
            for m in block.classes:
                rating = block.merged.task.classes[m].rating
                left -= len(block.book.circuits(block.types, rating, block.wiring, clock.is_over))
                if left < 0:
                    return False
    except TooManyCircuits:
        return False
    return True


def _sources(blocks: Sequence[Block], measure: Measure, clock: Clock) -> list[Source]:
    """Commands whose plans can be priced together, and those with too many different loads for that."""
    few = [block for block in blocks if not _is_open(block)]
    own = [CircuitSource(block, measure, clock) for block in blocks if _is_open(block)]
    return [PlanSource(few, measure, clock), *own] if few else [*own]


def _handed(merged: Merged, measure: Measure, relaxed: Relaxed, stage: Stage, places: Sequence[int]) -> Large:
    task, values = placed_task(merged, stage.columns, places)
    costs = [sum(measure.of(column)[0][k] for column in stage.columns) for k in range(len(measure.names))]
    proved = relaxed.outcome == PROVEN_BEST and all(s.value == c for s, c in zip(relaxed.stages, costs, strict=False))
    return Large(
        PROVEN_BEST if proved else BEST_SO_FAR,
        tuple(hand_out(task, values)),
        0.0 if proved else _gap(relaxed, costs),
        tuple(zip(measure.names, costs, strict=True)),
    )


def _gap(relaxed: Relaxed, costs: Sequence[int]) -> float:
    """Of the first objective that is above what is proved of it; one that was never begun is wholly open."""
    for stage, cost in zip(relaxed.stages, costs, strict=False):
        if cost > stage.bound:
            return (cost - stage.bound) / max(1.0, abs(cost)) if math.isfinite(stage.bound) else 1.0
    return 1.0
