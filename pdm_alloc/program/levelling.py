"""Circuits of one command evened out: items moved and swapped between channels until no two can be made more alike."""

from collections.abc import Iterator, Sequence

from pdm_alloc.program.block import Block
from pdm_alloc.program.task import Column

__all__ = ["levelled"]

_PASSES = 20

Some = dict[int, int]


def levelled(block: Block, columns: Sequence[Column]) -> list[Column]:
    """Lower the sum of squares of use, pair by pair.

    Parameters
    ----------
    block : Block
        The command.
    columns : sequence of Column
        All its circuits.

    Returns
    -------
    list of Column
        As many, on the same classes.
    """
    found = list(columns)
    for _ in range(_PASSES):
        order = sorted(range(len(found)), key=lambda at: (-found[at].fit.use_ppm, at))
        pairs = [(a, b) for n, a in enumerate(order) for b in reversed(order[n + 1 :])]
        if not sum(_evened(block, found, a, b) for a, b in pairs):
            break
    return found


def _evened(block: Block, found: list[Column], a: int, b: int) -> bool:
    """Make the better of two circuits out of a pair, by the move or swap that helps most."""
    rates = [float(block.merged.task.classes[c.channel_class].rating.rated_ma) ** -2 for c in (found[a], found[b])]
    running = [found[a].fit.running_ma, found[b].fit.running_ma]
    ranked = sorted(
        (_change(running, ma, rates[0], rates[1]), gives, takes)
        for ma, gives, takes in _exchanges(block, found[a], found[b])
    )
    for change, gives, takes in ranked:
        if change >= -1e-12:
            return False
        first, second = _asked(block, found[a], gives, takes), _asked(block, found[b], takes, gives)
        if first is not None and second is not None:
            found[a], found[b] = first, second
            return True
    return False


def _exchanges(block: Block, first: Column, second: Column) -> Iterator[tuple[int, int, int]]:
    """Current that goes from the first to the second, and the types that go one way and the other; -1: none."""
    for n, _ in first.counts:
        own = block.types[n].running_ma
        yield own, n, -1
        for m, _ in second.counts:
            if m != n:
                yield own - block.types[m].running_ma, n, m


def _change(running: Sequence[int], ma: int, rate: float, other_rate: float) -> float:
    """Of the sum of squares of use when so much current goes from one to the other."""
    return (ma * ma - 2 * running[0] * ma) * rate + (ma * ma + 2 * running[1] * ma) * other_rate


def _asked(block: Block, column: Column, gives: int, takes: int) -> Column | None:
    """A circuit with one item less and one more, as the physics sees it."""
    some = dict(column.counts)
    for n, k in ((gives, -1), (takes, 1)):
        if n >= 0:
            some[n] = some.get(n, 0) + k
    counts = tuple(sorted((n, k) for n, k in some.items() if k))
    allowed = bool(counts) and block.may_be(counts, column.channel_class)
    return block.column(counts, column.channel_class) if allowed else None
