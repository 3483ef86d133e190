"""From how often each column is chosen to circuits on named channels with named items."""

from collections import defaultdict
from typing import NamedTuple

from pdm_alloc.module import natural_key
from pdm_alloc.program.task import Column, Task

__all__ = ["Handed", "NoSolution", "hand_out", "in_columns"]


class Handed(NamedTuple):
    """A circuit on named channels with named items.

    Parameters
    ----------
    unit : int
        Number of the unit.
    use : str
        ``single``, ``pair`` or ``bridge``.
    channels : tuple of str
        One or two.
    command : str
        Of all its items.
    items : tuple of (str, int)
        Load and item number.
    """

    unit: int
    use: str
    channels: tuple[str, ...]
    command: str
    items: tuple[tuple[str, int], ...]


class NoSolution(Exception):
    """The solver's numbers take more items or channels than there are."""


def hand_out(task: Task, values: tuple[int, ...]) -> list[Handed]:
    """Give every chosen circuit its channels and its items, the same way whatever order the rows came in.

    Parameters
    ----------
    task : Task
        Columns and classes.
    values : tuple of int
        How often each column is chosen.

    Returns
    -------
    list of tuple
        Unit number, use, channels, command, items; by unit and channel.

    Raises
    ------
    NoSolution
        There are not so many items or channels.
    """
    return sorted((h for _, h in in_columns(task, values)), key=lambda h: (h.unit, natural_key(h.channels[0])))


def in_columns(task: Task, values: tuple[int, ...]) -> list[tuple[int, Handed]]:
    """As `hand_out`, in the order of the columns, each circuit with the number of its column."""
    if any(taken > len(task.classes[c.channel_class].slots) for c, taken in zip(task.columns, values, strict=True)):
        raise NoSolution
    numbers = [v for v in range(len(task.columns)) for _ in range(values[v])]
    chosen = [task.columns[v] for v in numbers]
    try:
        channels, items = _channels(task, chosen), _items(task, chosen)
    except (IndexError, StopIteration):
        raise NoSolution from None
    classes = [task.classes[c.channel_class] for c in chosen]
    return [
        (numbers[n], Handed(classes[n].unit, classes[n].use, channels[n], c.command, items[n]))
        for n, c in enumerate(chosen)
    ]


def _channels(task: Task, chosen: list[Column]) -> dict[int, tuple[str, ...]]:
    """Doubles first, for singles can take any channel of their kind that is left."""
    taken: set[tuple[int, str]] = set()
    found = {}
    order = sorted(range(len(chosen)), key=lambda n: (-task.classes[chosen[n].channel_class].width, n))
    for n in order:
        own = task.classes[chosen[n].channel_class]
        slot = next(s for s in own.slots if not any((own.unit, name) in taken for name in s))
        taken.update((own.unit, name) for name in slot)
        found[n] = slot
    return found


def _items(task: Task, chosen: list[Column]) -> dict[int, tuple[tuple[str, int], ...]]:
    """Items of a type are alike, so they are dealt out in canonical order."""
    left = {(command, n): list(t.items) for command, types in task.types.items() for n, t in enumerate(types)}
    found: dict[int, list[tuple[str, int]]] = defaultdict(list)
    for number, column in enumerate(chosen):
        for n, k in column.counts:
            pool = left[column.command, n]
            found[number] += [pool.pop(0) for _ in range(k)]
    return {number: tuple(sorted(items)) for number, items in found.items()}
