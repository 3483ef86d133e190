"""Least cost of the circuits of one command: a dynamic program over the subsets of its items."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from math import inf, prod

from pdm_alloc.circuits.fit import Counts

__all__ = ["least_cost"]

_MOST_STATES = 50_000


def least_cost(counts: Sequence[int], costs: Mapping[Counts, int]) -> float:
    """Least cost of circuits that hold every item once, as many circuits as it takes.

    Parameters
    ----------
    counts : sequence of int
        Items of each type.
    costs : mapping of tuple to int
        Cost of each circuit, by type number and how many.

    Returns
    -------
    float
        inf where an item is in no circuit. A lower bound only for commands with more than 50,000
        subsets: then every item is charged its cheapest share of a circuit.
    """
    if prod(n + 1 for n in counts) > _MOST_STATES:
        return _shares(counts, costs)
    return _Subsets(costs).least(tuple(counts))


class _Subsets:
    def __init__(self, costs: Mapping[Counts, int]):
        self._starting: dict[int, list[tuple[Counts, int]]] = defaultdict(list)
        for circuit, cost in costs.items():
            self._starting[circuit[0][0]].append((circuit, cost))
        self._known: dict[tuple[int, ...], float] = {}

    def least(self, left: tuple[int, ...]) -> float:
        """Of what is left: some circuit holds the first item, so only those are tried."""
        first = next((n for n, k in enumerate(left) if k), None)
        if first is None:
            return 0
        if left not in self._known:
            options = (self._with(circuit, cost, left) for circuit, cost in self._starting[first])
            self._known[left] = min(options, default=inf)
        return self._known[left]

    def _with(self, circuit: Counts, cost: int, left: tuple[int, ...]) -> float:
        rest = list(left)
        for n, k in circuit:
            rest[n] -= k
        return inf if min(rest) < 0 else cost + self.least(tuple(rest))


def _shares(counts: Sequence[int], costs: Mapping[Counts, int]) -> float:
    least = dict.fromkeys(range(len(counts)), inf)
    for circuit, cost in costs.items():
        share = cost / sum(k for _, k in circuit)
        least |= {n: min(least[n], share) for n, _ in circuit}
    return sum(least[n] * k for n, k in enumerate(counts))
