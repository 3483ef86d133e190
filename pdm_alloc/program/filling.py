"""Circuits for a command with very many loads by rule of thumb: a solution to begin with."""

from collections.abc import Mapping

from pdm_alloc.program.block import Block
from pdm_alloc.program.knapsack import Knapsack
from pdm_alloc.program.task import Column

__all__ = ["fillings"]


Sacks = Mapping[int, Knapsack]


def fillings(block: Block, sacks: Sacks) -> list[list[Column]]:
    """Ways to put all items of a command in circuits; those that leave an item over are left out.

    Parameters
    ----------
    block : Block
        The command.
    sacks : mapping of int to Knapsack
        By merged class.

    Returns
    -------
    list of list of Column
    """
    ways = (_best_fit(block, sacks), _fullest(block, sacks))
    return [columns for columns in ways if columns is not None]


def _strongest_first(block: Block, sacks: Sacks) -> list[int]:
    """A number of a class for each of its outputs, the strongest first."""
    merged = block.merged
    order = sorted(sacks, key=lambda m: (-sacks[m].usable, merged.task.classes[m].width, m))
    most = sum(t.count for t in block.types)
    return [m for m in order for _ in range(min(most, merged.slots(m)))]


def _best_fit(block: Block, sacks: Sacks) -> list[Column] | None:
    """Best fit, decreasing: every item, the largest first, on the channel it leaves fullest."""
    free = _strongest_first(block, sacks)
    used: list[tuple[int, dict[int, int]]] = []
    order = sorted(range(len(block.types)), key=lambda n: (-block.types[n].running_ma, n))
    for n in [other for other in order for _ in range(block.types[other].count)]:
        ranked = sorted(range(len(used)), key=lambda at: (_room(block, sacks, *used[at]), at))
        at = next((at for at in ranked if _with(block, *used[at], n)), None)
        if at is not None:
            used[at][1][n] = used[at][1].get(n, 0) + 1
            continue
        opened = next((k for k, m in enumerate(free) if _with(block, m, {}, n)), None)
        if opened is None:
            return None
        used.append((free.pop(opened), {n: 1}))
    columns = [block.column(tuple(sorted(some.items())), m) for m, some in used]
    return [column for column in columns if column is not None]


def _room(block: Block, sacks: Sacks, m: int, some: dict[int, int]) -> int:
    return sacks[m].usable - sum(block.types[n].running_ma * k for n, k in some.items())


def _with(block: Block, m: int, some: dict[int, int], n: int) -> bool:
    """Whether one more item is allowed."""
    more = {**some, n: some.get(n, 0) + 1}
    counts = tuple(sorted(more.items()))
    return block.may_be(counts, m) and block.column(counts, m) is not None


def _fullest(block: Block, sacks: Sacks) -> list[Column] | None:
    """Every channel as full as can be around the largest item that is left."""
    found: list[Column] = []
    left = [t.count for t in block.types]
    worth = [float(t.running_ma) for t in block.types]
    for m in _strongest_first(block, sacks):
        largest = next((n for n in sacks[m].fitting if left[n]), None)
        if largest is None:
            continue
        bonus = {largest: 1e3 * sacks[m].usable}
        columns = sacks[m].search(worth, 0.0, left, bonus=bonus).columns
        for column in columns[:1]:
            found.append(column)
            for n, k in column.counts:
                left[n] -= k
    return None if any(left) else found
