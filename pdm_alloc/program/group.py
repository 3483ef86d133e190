"""Commands of one shape, priced together by a dynamic program over the items that are left to place."""

from collections.abc import Sequence

import numpy as np

from pdm_alloc.program.block import Block
from pdm_alloc.program.measure import Measure
from pdm_alloc.program.task import Column

__all__ = ["Group", "Plan"]

Plan = tuple[tuple[int, int], ...]
"""Circuits of a command, each as the state it alone would be and the place of its class among the command's."""


class Group:
    """Arrays over circuits, shape (states, commands, classes).

    Costs are those that use and class alone give, and circuits are allowed by sums alone, until a
    circuit is wanted and the physics has been asked: see `settle`.

    Parameters
    ----------
    blocks : sequence of Block
        Commands of one shape, with as many classes each.
    measure : Measure
        Objectives and shared rows.
    """

    def __init__(self, blocks: Sequence[Block], measure: Measure):
        self.blocks, self.measure, self.shape = blocks, measure, blocks[0].shape
        self.classes = np.array([block.classes for block in blocks], np.int64).reshape(len(blocks), -1)
        self.allowed = np.stack([block.allowed() for block in blocks], axis=1)
        self.asked = np.zeros_like(self.allowed)
        use = np.stack([block.use_ppm() for block in blocks], axis=1)
        self.costs = [measure.floor(k, use, self.classes[None]) for k in range(len(measure.names))]
        self._locks = [
            (j, r, self._counting(j, r)) for j in range(len(blocks)) for r in measure.locks_of(blocks[j].command)
        ]
        alive = np.asarray(self.allowed.any(axis=(1, 2)))
        self._moves = [moves[alive[moves]] for moves in self.shape.moves]
        self.total = np.full(self.allowed.shape, np.inf)
        self.own = np.full(self.allowed.shape[:2], np.inf)
        self.least = self.own.copy()

    def _counting(self, j: int, r: int) -> np.ndarray:
        """Weight of every circuit of a command in the row of a lock: shape (states, classes)."""
        link, block = self.measure.links[r], self.blocks[j]
        assert link.only
        there = [any(n == link.only[1] for n, _ in block.circuit(s)) for s in range(self.shape.size)]
        return np.outer(there, np.array(link.weights)[self.classes[j]])

    def price(self, objective: int | None, prices: np.ndarray, some: Sequence[int] | None = None) -> None:
        """Work out `total`, `own` and `least`: of each circuit, of its cheapest class, of all that is left to place.

        Parameters
        ----------
        objective : int or None
            Its number; None: only the prices count.
        prices : array
            Of the shared rows.
        some : sequence of int, optional
            Commands to work out again; default: all.
        """
        js = self.price_own(objective, prices, some)
        self.least[:, js] = self._least(self.own[:, js])

    def price_own(self, objective: int | None, prices: np.ndarray, some: Sequence[int] | None = None) -> np.ndarray:
        """As `price`, but for what is left to place; numbers of the commands."""
        js = np.arange(len(self.blocks)) if some is None else np.array(some)
        self.total[:, js] = self._priced(objective, prices, js)
        self.own[:, js] = self.total[:, js].min(axis=2, initial=np.inf)
        return js

    def _priced(self, objective: int | None, prices: np.ndarray, js: np.ndarray) -> np.ndarray:
        measure, links = self.measure, len(self.measure.links)
        by_class = prices[measure.open_links] @ measure.class_weights[measure.open_links]
        total = np.zeros(self.allowed[:, js].shape) + by_class[self.classes[js]]
        if objective is not None:
            total += self.costs[objective][:, js]
        for k, price in zip(measure.held, prices[links:], strict=True):
            total += price * self.costs[k][:, js]
        for j, r, weights in self._locks:
            total[:, js == j] += prices[r] * weights[:, None]
        return np.where(self.allowed[:, js], total, np.inf)

    def _least(self, own: np.ndarray) -> np.ndarray:
        found = np.zeros_like(own)
        for s in range(1, self.shape.size):
            moves = self._moves[s]
            found[s] = (own[moves] + found[s - moves]).min(axis=0, initial=np.inf)
        return found

    def weights(self, j: int, state: int, i: int) -> list[int]:
        """Of a circuit in every shared row."""
        found = [int(w) for w in self.measure.class_weights[:, self.classes[j, i]]]
        for r in self.measure.locked_links:
            found[r] = 0
        for at, r, weights in self._locks:
            if at == j:
                found[r] = int(weights[state, i])
        return found + [int(self.costs[k][state, j, i]) for k in self.measure.held]

    def moves(self, state: int, j: int, most: float) -> np.ndarray:
        """Circuits out of a state after which all that is left can still be placed for so much."""
        moves = self._moves[state]
        return moves[self.own[moves, j] + self.least[state - moves, j] <= most]

    def plan(self, j: int) -> Plan | None:
        """The cheapest plan of a command; the first found where several are as cheap; None: there is none."""
        found, state = [], self.shape.size - 1
        while state:
            moves = self._moves[state]
            costs = self.own[moves, j] + self.least[state - moves, j]
            if not costs.min(initial=np.inf) < np.inf:
                return None
            move = int(moves[np.argmin(costs)])
            found.append((move, int(np.argmin(self.total[move, j]))))
            state -= move
        return tuple(sorted(found))

    def columns(self, j: int, plan: Plan) -> tuple[Column, ...]:
        """The circuits of a settled plan."""
        found = [self._column(j, state, i) for state, i in plan]
        return tuple(column for column in found if column is not None)

    def _column(self, j: int, state: int, i: int) -> Column | None:
        return self.blocks[j].column(self.blocks[j].circuit(state), int(self.classes[j, i]))

    def settle(self, j: int, plan: Plan) -> bool:
        """Ask the physics about the circuits of a plan; whether all was as it seemed."""
        as_seemed = [self._settled(j, state, i) for state, i in plan if not self.asked[state, j, i]]
        return all(as_seemed)

    def _settled(self, j: int, state: int, i: int) -> bool:
        self.asked[state, j, i] = True
        column = self._column(j, state, i)
        if column is None:
            self.allowed[self._with(j, state, i), j, i] = False
            return False
        costs, _ = self.measure.of(column)
        seemed = [array[state, j, i] for array in self.costs]
        for array, cost in zip(self.costs, costs, strict=True):
            array[state, j, i] = cost
        return seemed == list(costs)

    def _with(self, j: int, state: int, i: int) -> np.ndarray:
        """Circuits that fall with one: all that have it in them where more makes it no better."""
        key = (self.blocks[j].circuit(state), int(self.classes[j, i]))
        if key not in self.blocks[j].hopeless:
            return np.array([state])
        return np.nonzero((self.shape.digits >= self.shape.digits[state]).all(axis=1))[0]
