"""What a circuit on a merged class costs and how much it takes of every row that commands share."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pdm_alloc.circuits.fit import Fit
from pdm_alloc.program.merge import Merged
from pdm_alloc.program.objectives import objectives, unevenness
from pdm_alloc.program.task import Column

__all__ = ["Link", "Measure", "links_of"]

_TIE = "tie"  # equal solutions of a large vehicle are told apart by the order in which they are found
_BY_USE = "even headroom"


@dataclass(frozen=True)
class Link:
    """A row that commands share: the weights of all circuits together are at most `most`, whole numbers.

    Parameters
    ----------
    weights : tuple of int
        By merged class.
    most : int
        The limit.
    only : (str, int) or None
        Command and item type of the circuits that count; None: all do.
    """

    weights: tuple[int, ...]
    most: int
    only: tuple[str, int] | None = None

    def weigh(self, column: Column) -> int:
        """Weight of one circuit."""
        if self.only and (column.command != self.only[0] or all(n != self.only[1] for n, _ in column.counts)):
            return 0
        return self.weights[column.channel_class]


class Measure:
    """Costs of circuits in the order of the objectives, and their weights in the rows commands share.

    Parameters
    ----------
    merged : Merged
        Classes the circuits are on.
    strategy : str
        ``isolate`` or ``spare``.

    Attributes
    ----------
    held : list of int
        Objectives that are held at their best: they are shared rows behind the links.
    values : dict of int to int
        What those come to.
    open_links, locked_links : list of int
        Links in which all circuits count; in which only those with a locked load do.
    """

    def __init__(self, merged: Merged, strategy: str):
        self.merged, self.strategy = merged, strategy
        self.names = [name for name, _ in objectives(merged.task, strategy) if name != _TIE]
        self.links = links_of(merged)
        self.held: list[int] = []
        self.values: dict[int, int] = {}
        self.open_links = [r for r, link in enumerate(self.links) if not link.only]
        self.locked_links = [r for r, link in enumerate(self.links) if link.only]
        stubs = [Column("", (), m, Fit(0, 0, 0, 0.0), 1) for m in range(len(merged.members))]
        self.class_costs = self._costs(stubs)
        self.class_weights = np.array([link.weights for link in self.links], np.int64).reshape(-1, len(stubs))
        self._known: dict[tuple, tuple[tuple[int, ...], tuple[int, ...]]] = {}

    def _costs(self, columns: Sequence[Column]) -> np.ndarray:
        found = np.zeros((len(self.names), len(columns)), np.int64)
        for k, (_, cost) in enumerate(objectives(replace(self.merged.task, columns=tuple(columns)), self.strategy)):
            if k < len(self.names) and cost:
                found[k, list(cost)] = list(cost.values())
        return found

    def of(self, column: Column) -> tuple[tuple[int, ...], tuple[int, ...]]:
        """Cost of a circuit by every objective, and its weight in every shared row."""
        key = (column.command, column.counts, column.channel_class)
        if key not in self._known:
            costs = tuple(self._costs([column])[:, 0].tolist())
            self._known[key] = (costs, tuple(link.weigh(column) for link in self.links))
        costs, weights = self._known[key]
        return costs, (*weights, *(costs[k] for k in self.held))

    def most(self, objective: int) -> int:
        """More than any solution costs by the first objective: every item on a channel of the dearest class."""
        items = sum(t.count for t in self.merged.task.all_types())
        return items * max(0, int(self.class_costs[objective].max(initial=0)))

    def locks_of(self, command: str) -> list[int]:
        """Links that keep locked loads of a command where they are."""
        return [r for r in self.locked_links if self.links[r].only[0] == command]  # type: ignore[index]

    def by_use(self, objective: int) -> bool:
        """Whether an objective depends on the use of the channel and not on its class."""
        return self.names[objective] == _BY_USE

    def use_cost(self, use_ppm: np.ndarray) -> np.ndarray:
        """Cost of that objective by use, ppm: rising."""
        return unevenness(use_ppm)

    def floor(self, objective: int, use_ppm: np.ndarray, classes: np.ndarray) -> np.ndarray:
        """Least cost of circuits of which only use and class are known; exact but for the mass of the wire.

        Parameters
        ----------
        objective : int
            Its number.
        use_ppm : array of int
            Running over derated rating, ppm.
        classes : array of int
            Merged class, in any shape that broadcasts with `use_ppm`.
        """
        if self.by_use(objective):
            return self.use_cost(use_ppm)
        return np.broadcast_to(self.class_costs[objective][classes], use_ppm.shape).astype(float)


def links_of(merged: Merged) -> list[Link]:
    """Capacities of the merged classes, the spares wanted, and the locked channels."""
    size = len(merged.members)
    links = [Link(_spread(dict(c.weights), size), c.most) for c in merged.task.capacities]
    wanted = merged.task.vehicle.settings.spare_channels
    if wanted:
        links.append(Link(tuple(own.width for own in merged.task.classes), merged.task.channels() - wanted))
    return [*links, *_locks(merged)]


def _spread(weights: dict[int, int], size: int) -> tuple[int, ...]:
    return tuple(weights.get(m, 0) for m in range(size))


def _locks(merged: Merged):
    """Every locked channel has an item of its load: minus one for each circuit that has, at most minus one."""
    size = len(merged.members)
    for command, types in merged.task.types.items():
        for n, t in enumerate(types):
            for unit, channels in t.locked:
                for channel in channels:
                    there = {m: -1 for m in range(size) if merged.has(m, unit, channel)}
                    yield Link(_spread(there, size), -1, (command, n))
