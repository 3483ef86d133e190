"""How many loaded wires lie together."""

from collections import Counter
from collections.abc import Sequence

from pdm_alloc.harness.strand import Part, Strand

__all__ = ["beside", "loaded"]


def loaded(strands: Sequence[Strand]) -> dict[Part, int]:
    """Most conductors that carry current at once in each route.

    Parameters
    ----------
    strands : sequence of Strand
        All of the harness.

    Returns
    -------
    dict of (str, str) to int
        By route, over the operating states.
    """
    by_state = _by_state(strands)
    return {part: max((n[part] for n in by_state.values()), default=0) for strand in strands for part in strand.parts}


def beside(strands: Sequence[Strand]) -> list[int]:
    """Loaded wires in the fullest bundle each strand lies in while it carries current itself, its own counted.

    Parameters
    ----------
    strands : sequence of Strand
        All of the harness.

    Returns
    -------
    list of int
        In the same order; a strand that never carries current is counted as if it did in every state.
    """
    by_state = _by_state(strands)
    return [max(_counts(strand, by_state), default=strand.conductors) for strand in strands]


def _by_state(strands: Sequence[Strand]) -> dict[str, Counter[Part]]:
    found: dict[str, Counter[Part]] = {}
    for strand in strands:
        for state in strand.on:
            number = found.setdefault(state, Counter())
            for part in strand.parts:
                number[part] += strand.conductors
    return found


def _counts(strand: Strand, by_state: dict[str, Counter[Part]]):
    for state, number in by_state.items():
        if state in strand.on or not strand.on:
            extra = 0 if strand.on else strand.conductors
            yield from (number[part] + extra for part in strand.parts)
