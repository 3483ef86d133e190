"""What is known of every choice: a lower bound on its harness, cheap enough for all; why some are not enough."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from math import ceil, inf, prod
from typing import NamedTuple

import pandas as pd

from pdm_alloc.circuits.classes import channel_classes
from pdm_alloc.circuits.columns import CircuitBook, Counts, TooManyCircuits
from pdm_alloc.circuits.draws import draws_ma, feed_currents_ma
from pdm_alloc.circuits.items import ItemType, item_types
from pdm_alloc.diagnose.bearing import unborne
from pdm_alloc.diagnose.growth_parts import Part, joined_words
from pdm_alloc.diagnose.shortfall import shortfall
from pdm_alloc.domain.module import Unit, natural_key
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.harness.distribution import Feeder
from pdm_alloc.program.solver import Clock, or_after
from pdm_alloc.result.allocation import amps
from pdm_alloc.result.supply_tables import switched_on
from pdm_alloc.studies.alternatives import Choice

__all__ = ["REASONS", "Bounds", "least_cost", "why_not"]

REASONS = ("number", "cause", "where", "choices")

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

    def least(self, whole: tuple[int, ...]) -> float:
        """Least cost of all; step by step with a list of what waits, since a load may have thousands of items."""
        waiting = [whole]
        while waiting:
            left = waiting[-1]
            parts = list(self._parts(left))
            unknown = [rest for _, rest in parts if rest not in self._known]
            if unknown:
                waiting += unknown
                continue
            self._known[left] = min((cost + self._known[rest] for cost, rest in parts), default=inf if any(left) else 0)
            waiting.pop()
        return self._known[whole]

    def _parts(self, left: tuple[int, ...]) -> Iterator[tuple[int, tuple[int, ...]]]:
        """Cost of one circuit and what it leaves: some circuit holds the first item, so only those are tried."""
        first = next((n for n, k in enumerate(left) if k), None)
        for circuit, cost in self._starting.get(first, ()) if first is not None else ():
            rest = list(left)
            for n, k in circuit:
                rest[n] -= k
            if min(rest) >= 0:
                yield cost, tuple(rest)


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
        self._cheapest: dict[tuple[str, str | None], dict[str, int]] = {}
        self._interned: dict[frozenset[tuple[Counts, int]], int] = {}
        self._tables: list[Cheapest] = []
        self._least: dict[tuple[str, frozenset[int]], float] = {}

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

    def _circuits(self, unit: Unit) -> Iterator[tuple[str, Cheapest]]:
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


REASONS_S = 6.0  # of processor time, where no limit is given
_NOT_IN_TIME = "why was not worked out in time"


_MUCH, _PLURAL = "\0", "\1"  # gaps in the words of a cause: for how much, and for the s of a plural; in no name


class _Cause(NamedTuple):
    """What one choice lacks: the limit, in words with gaps for how much; how much; the loads it is for."""

    words: str
    amount: float = 0.0
    loads: tuple[str, ...] = ()


def why_not(vehicle: Vehicle, refused: Sequence[Choice], time_limit_s: float | None = None) -> pd.DataFrame:
    """Why choices are not enough: what the cheapest complete growth of each adds, the same of all in one row.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    refused : sequence of Choice
        Proved not to be enough.
    time_limit_s : float, optional
        For all of them, s; default: `REASONS_S` of processor time.

    Returns
    -------
    DataFrame
        One row per cause in the columns `REASONS`: how many choices have it, the cause in words, where, and the
        labels of the choices. The cause of most choices comes first, of as many that with most missing. A choice is
        enough once all of its causes are gone; of several modules that have no channel for a load only this is said.
        Last come choices for which there was no time.
    """
    in_time = or_after(REASONS_S, None) if time_limit_s is None else None
    clock = Clock(vehicle.settings.time_limit_s if time_limit_s is None else time_limit_s, in_time)
    bounds = Bounds(vehicle, CircuitBook(vehicle.settings.tolerance_loads), lambda: clock)
    groups: dict[str, list[tuple[_Cause, Choice]]] = defaultdict(list)
    for choice, causes in _settled(vehicle, refused, bounds, clock):
        for cause in causes:
            groups[cause.words].append((cause, choice))
    rows = [(words == _NOT_IN_TIME, -len(g), -max(c.amount for c, _ in g), g) for words, g in groups.items()]
    rows.sort(key=lambda row: row[:3])
    return pd.DataFrame([_reason(group) for *_, group in rows], columns=list(REASONS))


def _settled(
    vehicle: Vehicle, refused: Sequence[Choice], bounds: Bounds, clock: Clock
) -> Iterator[tuple[Choice, list[_Cause]]]:
    """Causes by choice: first what is soon known of two modules, then of the largest modules, which lack least."""
    several = {c.number: list(_unborne(vehicle, c.units, bounds, clock)) for c in refused if len(c.units) > 1}
    yield from ((choice, causes) for choice in refused if (causes := several.get(choice.number)))
    others = [choice for choice in refused if not several.get(choice.number)]
    for choice in sorted(others, key=lambda c: (len(c.units), -len(c.units[0].module.channels), c.number)):
        yield choice, _causes(vehicle, choice.units, bounds, clock)


def _unborne(vehicle: Vehicle, units: tuple[Unit, ...], bounds: Bounds, clock: Clock) -> Iterator[_Cause]:
    """Loads that no channel of several units bears, even alone on it."""
    try:
        items = iter(()) if clock.is_over() else unborne(vehicle, units, bounds.book)
    except ValueError:  # an ambient beyond the derating table
        return
    yield from (_Cause(f"no channel bears {t.load}") for t in items)


def _causes(vehicle: Vehicle, units: tuple[Unit, ...], bounds: Bounds, clock: Clock) -> list[_Cause]:
    try:
        bounds.feeds(units)
        if clock.is_over():
            return [_Cause(_NOT_IN_TIME)]
        growth = shortfall(vehicle, units, clock.part(0.5), bounds.book, alone=False)
    except ValueError as error:  # an ambient beyond the derating table, no cable for a feed
        return [_Cause(str(error))]
    except TooManyCircuits:
        return [_Cause(_NOT_IN_TIME)]
    lost = [_Cause(f"{load} has no wire: {why}") for load, why in growth.lost]
    return lost or list(dict.fromkeys(map(_cause, growth.parts))) or [_Cause(_NOT_IN_TIME)]


def _cause(part: Part) -> _Cause:
    """A part of a growth as something that lacks; channels in place of weaker ones lack like those that are added."""
    more = part.need - part.have
    if part.new is not None:
        use = _USES[part.new.use].format(_PLURAL)
        pwm = " with PWM" if "pwm" in part.new.channel.features else ""
        return _Cause(f"{_MUCH} {use} of {amps(part.new.channel.continuous_ma)}{pwm} missing", more, part.loads)
    if part.kind in ("reversing channels", "inputs"):
        word = "reversing pair" if part.kind == "reversing channels" else "input"
        return _Cause(f"{_MUCH} {word}{_PLURAL} missing", more, part.loads)
    if part.kind == "drop":
        return _Cause(f"{part.subject} loses {_MUCH} % more in its wire than the {part.have:g} % allowed", more)
    if part.kind == "supply voltage":
        return _Cause(f"the module works from or to {part.have:g} V, and {part.need:g} V are asked for")
    if part.kind == "lock":
        return _Cause(f"{part.subject} is locked to channel {part.names[0]}")
    return _Cause(f"{_MUCH} A missing in {_SUMS[part.kind]}", more / 1000)


_USES = {"single": "channel{}", "bridge": "reversing pair{}", "pair": "pair{} to be paralleled"}
_SUMS = {"bank": "a bank", "whole module": "the whole module", "whole module peak": "the peak of the whole module"}


def _reason(group: Sequence[tuple[_Cause, Choice]]) -> tuple[object, ...]:
    amounts = {round(cause.amount, 1) for cause, _ in group}
    choices = [choice for _, choice in sorted({c.number: c for _, c in group}.items())]
    loads = sorted({load for cause, _ in group for load in cause.loads}, key=natural_key)
    much = f"{'up to ' if len(amounts) > 1 else ''}{max(amounts):g}"
    words = group[0][0].words.replace(_MUCH, much).replace(_PLURAL, "" if max(amounts) == 1 else "s")
    whom = f" (for {joined_words(loads)})" if loads else ""
    return len(choices), words + whom, _where(choices), ", ".join(choice.label for choice in choices)


def _where(choices: Sequence[Choice]) -> str:
    """Modules by place, and how many choices of two modules."""
    modules: dict[str, list[str]] = defaultdict(list)
    for units in (choice.units for choice in choices if len(choice.units) == 1):
        modules[units[0].place or ""].append(units[0].module.name)
    places: dict[tuple[str, ...], list[str]] = defaultdict(list)
    for place, names in modules.items():
        places[tuple(names)].append(place)
    said = [f"{joined_words(names, 3)} at {joined_words(where)}" for names, where in places.items()]
    several = sum(len(choice.units) > 1 for choice in choices)
    return "; ".join([*said, *([f"{several} of two modules"] if several else [])])
