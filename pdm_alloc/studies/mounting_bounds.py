"""A lower bound on the harness of every choice, cheap enough for all of them."""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from math import ceil, inf, prod

from pdm_alloc.circuits.classes import channel_classes
from pdm_alloc.circuits.columns import CircuitBook, Counts
from pdm_alloc.circuits.items import ItemType, item_types
from pdm_alloc.circuits.wiring import draws_ma, feed_currents_ma
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.harness.feed_cable import Feeder
from pdm_alloc.program.solver import Clock
from pdm_alloc.result.supply_tables import switched_on

__all__ = ["Bounds", "least_cost"]

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


Cheapest = dict[Counts, int]


class Bounds:
    """Lower bounds on mass, tenths of a gram, as if every unit had any number of channels and no limit.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired; its locks are left aside, which can only lower a bound.
    book : CircuitBook
        Circuits of this vehicle known so far.
    clock : callable
        Gives the time to list the circuits of one unit at one place: a choice with it could not be solved in less.
    """

    def __init__(self, vehicle: Vehicle, book: CircuitBook, clock: Callable[[], Clock] = lambda: Clock(inf)):
        self.vehicle, self.book, self.clock = vehicle, book, clock
        self.types = item_types(vehicle)
        self.feeder = Feeder(vehicle, switched_on(vehicle))
        self.most_ma = max(draws_ma(vehicle, [t for own in self.types.values() for t in own]), default=0)
        self._feed: dict[tuple[int, str | None], int] = {}
        self._cheapest: dict[tuple, dict[str, int]] = {}
        self._interned: dict[frozenset, int] = {}
        self._tables: list[Cheapest] = []
        self._least: dict[tuple, float] = {}

    def feeds(self, units: Sequence[Unit]) -> tuple[tuple[int, ...], int]:
        """What the feeds of units carry, mA, and what they weigh together; 0 where the way is not known.

        Raises
        ------
        ValueError
            A unit's ambient is outside its module's derating table, or no cable is large enough.
        """
        carried = feed_currents_ma(self.vehicle, units, self.most_ma)
        return carried, sum(self._feed_dg(ma, u.place) for ma, u in zip(carried, units, strict=True))

    def _feed_dg(self, carried_ma: int, place: str | None) -> int:
        key = (carried_ma, place)
        if key not in self._feed:
            grams = self.feeder.mass_g(carried_ma, place)
            if grams is None and self.feeder.length_m(place) is not None:
                raise ValueError(f"no cable or fuse carries {carried_ma / 1000:g} A to {place}")
            self._feed[key] = round(10 * (grams or 0.0))
        return self._feed[key]

    def wire_dg(self, units: Sequence[Unit]) -> float:
        """Least mass of wire; inf: a load can be on none of the units."""
        total = 0.0
        for command, own in self.types.items():
            tables = [self._tables_of(u).get(command) for u in units]
            total += self._command(command, own, frozenset(t for t in tables if t is not None))
        return total

    def _command(self, command: str, types: Sequence[ItemType], tables: frozenset[int]) -> float:
        key = (command, tables)
        if key not in self._least:
            merged: Cheapest = {}
            for table in sorted(tables):
                _lower(merged, self._tables[table])
            self._least[key] = least_cost([t.count for t in types], merged)
        return self._least[key]

    def _tables_of(self, unit: Unit) -> dict[str, int]:
        """Number of the table of cheapest circuits by command; like tables have one number."""
        key = (unit.module.name, unit.place)
        if key not in self._cheapest:
            self._cheapest[key] = {command: self._intern(table) for command, table in self._circuits(unit)}
        return self._cheapest[key]

    def _circuits(self, unit: Unit):
        classes, _ = channel_classes(self.vehicle, [unit])
        wiring, clock = self.book.wiring(self.vehicle), self.clock()
        for command, own in self.types.items():
            table: Cheapest = {}
            for rating in dict.fromkeys(c.rating for c in classes):
                fits = self.book.circuits(own, rating, wiring, clock.is_over)
                _lower(table, {counts: round(fit.mass_mg / 100) for counts, fit in fits.items()})
            yield command, table

    def _intern(self, table: Cheapest) -> int:
        key = frozenset(table.items())
        if key not in self._interned:
            self._interned[key] = len(self._tables)
            self._tables.append(table)
        return self._interned[key]

    def harness_dg(self, units: Sequence[Unit]) -> int | None:
        """Wires and feeds together; None: these units cannot be enough."""
        try:
            total = self.wire_dg(units) + self.feeds(units)[1]
        except ValueError:
            return None
        return None if total == inf else ceil(total - 1e-9)


def _lower(table: Cheapest, other: Cheapest) -> None:
    for counts, cost in other.items():
        if cost < table.get(counts, inf):
            table[counts] = cost
