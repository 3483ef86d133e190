"""Alternatives: every way to fit modules, what makes one better than another, and conventional wiring beside them."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import combinations_with_replacement
from math import ceil, floor, inf
from typing import Any, TypeVar

import pandas as pd

from pdm_alloc.circuits.draws import Wiring, draws_ma, for_at_once_ma
from pdm_alloc.circuits.items import ItemType, item_types
from pdm_alloc.domain.condition import condition_names
from pdm_alloc.domain.module import Catalogue, Module, Unit, natural_key
from pdm_alloc.domain.showing import UnknownName
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.battery import FUSE_LOADING, as_constant_s, main_fuse_a
from pdm_alloc.electrics.current import exact
from pdm_alloc.electrics.wire import RETURNS, Refused, WireChoice, choose_wire, mass_g_per_m, wire_sizes
from pdm_alloc.harness.distribution import Feeder
from pdm_alloc.program.lightest import PASSED_OVER
from pdm_alloc.result.allocation import Allocation, NotEnough, Unsolved
from pdm_alloc.result.supply_tables import switched_on

__all__ = [
    "ASSUMPTIONS",
    "FRONT",
    "LEDGER",
    "NOT_TRIED",
    "PAIRS",
    "PARTS",
    "Choice",
    "Conventional",
    "Found",
    "Objective",
    "Pair",
    "choices",
    "conventional",
    "judge_pairs",
    "known_price",
    "mount_places",
    "number_of_pairs",
    "objective_of",
    "pairable",
    "pairs_of",
    "pairs_table",
    "pairs_untried",
    "weight_ledger",
]

PARTS = ("part", "number", "mass_g")

# Masses in g, all common practice, no source: a fuse with its share of the holder, a relay with its socket, the main
# fuse with its holder.
FUSE_G, RELAY_G, MAIN_FUSE_G = 8.0, 35.0, 60.0

BLADE_A = 30.0  # largest blade fuse a relay of this kind switches; common practice, no source
CONTROL_WIRES = 2  # to a switch and back to the relay's coil

ASSUMPTIONS = (
    "Fuses and relays sit in one box, at the place where most switches are unless another is named.",
    "The battery feeds the box through one main fuse and one cable, sized as a module's feed.",
    f"Every command has a relay and a fuse of at most {BLADE_A:g} A; where its loads draw more than "
    f"{100 * FUSE_LOADING:.0f} % of that they are shared out over several, the largest first.",
    "Behind each fuse a trunk with branches leads to its loads along the shortest routes; its wire carries the fuse's "
    "rating and keeps the drops its loads allow.",
    f"{CONTROL_WIRES} wires of the thinnest size lead from the box to the switch of each command: of the inputs its "
    "condition names, the one the fewest commands share. Commands without a placed input have none.",
    "A load that reverses takes two relays and both its wires.",
    f"A fuse weighs {FUSE_G:g} g with its holder, a relay {RELAY_G:g} g with its socket, the main fuse "
    f"{MAIN_FUSE_G:g} g.",
    "Switches, the box itself, tape and connectors are counted on neither side.",
)


@dataclass(frozen=True)
class Conventional:
    """Mass of conventional wiring.

    Parameters
    ----------
    box : str
        Place of fuses and relays.
    parts : DataFrame
        A row a kind of part, in the columns `PARTS`: how many, g.
    assumptions : tuple of str
        To be printed beside every number.
    left_out : tuple of str
        Loads no fuse or wire was found for, or whose way is not known; they weigh nothing here.
    """

    box: str
    parts: pd.DataFrame
    assumptions: tuple[str, ...] = ASSUMPTIONS
    left_out: tuple[str, ...] = ()

    @property
    def mass_g(self) -> float:
        """All parts together, g."""
        return float(self.parts["mass_g"].sum())

    def summary(self) -> str:
        """One sentence, and the assumptions."""
        out = f" Left out: {', '.join(self.left_out)}." if self.left_out else ""
        head = f"Conventional wiring with its box at {self.box} would weigh {self.mass_g / 1000:.2f} kg.{out}"
        return "\n".join([head, *(f"- {line}" for line in self.assumptions)])


@dataclass(frozen=True)
class _Fused:
    """Items behind one fuse and relay."""

    members: tuple[tuple[ItemType, int], ...]
    fuse_a: float
    wire: WireChoice
    wire_g: float

    @property
    def relays(self) -> int:
        return 2 if self.members[0][0].reversing else 1


def conventional(vehicle: Vehicle, box: str | None = None) -> Conventional:
    """Weigh conventional wiring of the same loads on the same places.

    Parameters
    ----------
    vehicle : Vehicle
        With places and routes.
    box : str, optional
        Place of fuses and relays; default: where most inputs are.

    Returns
    -------
    Conventional

    Raises
    ------
    ValueError
        No input has a place, and none was named; or the vehicle has no such place.
    """
    box = _box(vehicle) if box is None else box
    if box not in {place.name for place in vehicle.places}:
        raise ValueError(f"the vehicle has no place {box}")
    wiring = Wiring(vehicle)
    groups: list[_Fused] = []
    left_out: list[str] = []
    for types in item_types(vehicle).values():
        for counts in _groups(types):
            fused = _fused(vehicle, wiring, counts, box)
            groups.append(fused) if fused else left_out.extend(t.items[0][0] for t, _ in counts)
    return Conventional(box, _parts(vehicle, groups, box), left_out=tuple(dict.fromkeys(left_out)))


def _box(vehicle: Vehicle) -> str:
    places = Counter(i.place for i in vehicle.inputs if i.place)
    if not places:
        raise ValueError("no input has a place: name the place of the fuse box")
    return min(places, key=lambda place: (-places[place], natural_key(str(place))))


def _groups(types: Sequence[ItemType]) -> list[tuple[tuple[ItemType, int], ...]]:
    """Items of a command shared out over fuses: largest first, each on the first fuse that has room."""
    room_ma = round(1000 * FUSE_LOADING * BLADE_A)
    groups: list[Counter[int]] = []
    for n in sorted((n for n, t in enumerate(types) for _ in t.items), key=lambda n: (-types[n].running_ma, n)):
        fits = (g for g in groups if _drawn(types, g) + types[n].running_ma <= room_ma and _alike(types, g, n))
        group = next(fits, None)
        if group is None:
            groups.append(group := Counter())
        group[n] += 1
    return [tuple((types[n], k) for n, k in sorted(group.items())) for group in groups]


def _drawn(types: Sequence[ItemType], group: Counter[int]) -> int:
    return sum(types[n].running_ma * k for n, k in group.items())


def _alike(types: Sequence[ItemType], group: Counter[int], n: int) -> bool:
    return types[next(iter(group))].reversing == types[n].reversing


def _fused(vehicle: Vehicle, wiring: Wiring, counts: Sequence[tuple[ItemType, int]], box: str) -> _Fused | None:
    running = sum(t.running_ma * k for t, k in counts) / 1000
    excess = sum(t.excess_ma * k for t, k in counts) / 1000
    fuse = main_fuse_a(running, running + excess, as_constant_s(max(t.tau_ms for t, _ in counts)))
    runs = wiring.runs(counts, box)
    if fuse is None or any(length is None for _, length, _ in runs):
        return None
    back = "wire" if counts[0][0].reversing else vehicle.settings.return_path
    ambient = wiring.lengths.hottest_c(box, [t.place for t, _ in counts])
    rules = replace(wiring.rules, ambient_c=ambient, return_path=back)
    wire = choose_wire(fuse, running, runs, rules)
    if isinstance(wire, Refused):
        return None
    one = mass_g_per_m(wire.size.area_mm2, rules.insulation_c)
    return _Fused(tuple(counts), fuse, wire, wiring.wire_m(counts, box) * one * wire.parallel * RETURNS[back])


def _parts(vehicle: Vehicle, groups: Sequence[_Fused], box: str) -> pd.DataFrame:
    relays = sum(group.relays for group in groups)
    feeder, every = Feeder(vehicle, switched_on(vehicle)), max(draws_ma(vehicle, _all_types(vehicle)), default=0)
    switches = list(_control_m(vehicle, feeder, box))
    thin = mass_g_per_m(wire_sizes(vehicle.settings.wire_sizes)[0].area_mm2, vehicle.settings.insulation_c)
    rows = [
        ("fuses", len(groups), len(groups) * FUSE_G),
        ("relays", relays, relays * RELAY_G),
        ("main fuse", 1, MAIN_FUSE_G),
        ("wires to loads", len(groups), sum(group.wire_g for group in groups)),
        ("wires to switches", CONTROL_WIRES * len(switches), CONTROL_WIRES * sum(switches) * thin),
        ("feed from the battery", 1, feeder.mass_g(for_at_once_ma(every), box) or 0.0),
    ]
    return pd.DataFrame([(part, number, round(g, 1)) for part, number, g in rows], columns=list(PARTS))


def _all_types(vehicle: Vehicle) -> list[ItemType]:
    return [t for types in item_types(vehicle).values() for t in types]


def _control_m(vehicle: Vehicle, feeder: Feeder, box: str) -> Iterator[float]:
    """Wire from the box to the switch of each command that has one at a place, m."""
    at = {i.name: i.place for i in vehicle.inputs if i.place}
    used = {load.command for load in vehicle.loads}
    names = {c.name: condition_names(c.condition) for c in vehicle.commands if c.name in used and c.condition}
    shared = Counter(name for inputs in names.values() for name in inputs)
    for inputs in names.values():
        placed = [name for name in inputs if name in at]
        if placed:
            switch = min(placed, key=lambda name: (shared[name], natural_key(name)))
            metres = feeder.lengths.wire_m(box, at[switch])
            if metres is not None:
                yield metres


LEDGER = ("part", "count", "mass_g", "note")


def weight_ledger(allocation: Allocation) -> pd.DataFrame:
    """What the wiring weighs in the end: all that is fitted less all that is removed.

    Parameters
    ----------
    allocation : Allocation
        With the tables ``removed`` and ``fitted`` of its vehicle, where it has them.

    Returns
    -------
    DataFrame
        Columns `LEDGER`, g, what is removed below 0: modules, wire of circuits, returns to ground points, battery
        cables, parts fitted and removed, and the sum of them as ``net``; last, outside the sum, the estimate of
        conventional wiring, where an input has a place. An empty mass is not known and counts as none.
    """
    vehicle = allocation.vehicle
    rows: list[tuple[str, int, float | None, str]] = [
        (unit.label, 1, unit.module.mass_g, "module") for unit in allocation.units
    ]
    rows += [(name, 1, mass, what) for name, mass, what in allocation.signals.masses] if allocation.signals else []
    rows += _wire_rows(allocation)
    rows += [(x.part, x.count, x.mass_g * x.count, x.note or "fitted") for x in vehicle.fitted]
    rows += [(x.part, x.count, -x.mass_g * x.count, x.note or "removed") for x in vehicle.removed]
    missing = [part for part, _, mass, _ in rows if mass is None]
    note = f"without {', '.join(missing)}: mass not known" if missing else ""
    net = ("net", 1, sum(mass or 0.0 for _, _, mass, _ in rows), note)
    return pd.DataFrame([*rows, net, *_conventional_row(vehicle)], columns=list(LEDGER))


def _wire_rows(allocation: Allocation) -> list[tuple[str, int, float | None, str]]:
    roles = {
        "wire of circuits": ("circuit", "return"),
        "returns to ground points": ("ground return", "sensor return"),
        "battery cables": ("feed", "feed return"),
        "wire of signals": ("signal", "5 V supply", "sensor ground"),
        "wire of the bus": ("bus",),
    }
    table = allocation.cut_list
    rows: list[tuple[str, int, float | None, str]] = []
    for name, words in roles.items():
        here = table[table["role"].isin(words)]
        unknown = int(here["mass_g"].isna().sum())
        note = f"{unknown} pieces without a length are not counted" if unknown else ""
        rows += [(name, len(here), float(here["mass_g"].sum()), note)] if len(here) else []
    return rows


def _conventional_row(vehicle: Vehicle) -> list[tuple[str, int, float | None, str]]:
    try:
        estimate = conventional(vehicle)
    except ValueError:
        return []
    note = f"estimate for comparison, of the loads alone; its box at {estimate.box}"
    return [("conventional wiring", 1, estimate.mass_g, note)]


Result = Allocation | NotEnough | Unsolved
Verdict = TypeVar("Verdict")

NOT_TRIED = "not tried"

PAIRS = ("modules", "outcome", "channels_used", "channels", "spare", "price", "mass_g", "beats")


@dataclass(frozen=True)
class Pair:
    """Two modules of the catalogue, the same one twice included."""

    modules: tuple[Module, Module]

    @property
    def label(self) -> str:
        """``compact-31 and middle-36``."""
        return " and ".join(module.name for module in self.modules)

    @property
    def channels(self) -> int:
        """Of both."""
        return sum(len(module.channels) for module in self.modules)

    @property
    def price(self) -> float:
        """Of both; inf where one is not known."""
        return sum(inf if m.price is None else m.price for m in self.modules)

    @property
    def mass_g(self) -> float:
        """Of both, g; inf where one is not known."""
        return sum(inf if m.mass_g is None else m.mass_g for m in self.modules)

    def beats(self, other: "Module | Pair | None") -> tuple[str, ...]:
        """In what it is better than a module or another pair: ``price``, ``mass``; in ``channels`` than nothing."""
        if other is None:
            return ("channels",)
        price, mass = (inf if v is None else v for v in (other.price, other.mass_g))
        return ("price",) * (self.price < price) + ("mass",) * (self.mass_g < mass)


def pairs_of(modules: Iterable[Module]) -> list[Pair]:
    """All pairs, cheapest first, then lightest, then fewest channels, then by name."""
    pairs = [
        Pair(both) for both in combinations_with_replacement(sorted(modules, key=lambda m: natural_key(m.name)), 2)
    ]
    return sorted(pairs, key=lambda p: (p.price, p.mass_g, p.channels, natural_key(p.label)))


def number_of_pairs(catalogue: Catalogue) -> int:
    """How many pairs `pairs_of` makes of a catalogue, without making them."""
    return len(catalogue) * (len(catalogue) + 1) // 2


def pairable(modules: Iterable[Module], smallest: Module | None) -> list[Module]:
    """Modules of which two may beat the smallest that is enough: each costs less or weighs less than that by itself."""
    return [m for m in modules if smallest is None or Pair((m, m)).beats(Pair((smallest, smallest)))]


def judge_pairs(
    pairs: Iterable[Pair],
    smallest: Module | None,
    judge: Callable[[Pair], Verdict],
    stop: Callable[[], bool] | None = None,
) -> dict[str, Verdict]:
    """Judge the pairs that would be better in price or mass than the smallest single module that is enough.

    Parameters
    ----------
    pairs : iterable of Pair
        In the order of `pairs_of`.
    smallest : Module or None
        None: no single module is enough, and every pair is a step ahead.
    judge : callable
        Gives an `Allocation`, or why there is none.
    stop : callable, optional
        Asked between pairs; True ends the work.

    Returns
    -------
    dict of str to Allocation, NotEnough or Unsolved
        By label. A pair that is neither cheaper nor lighter than one found to be enough is left out.
    """
    results: dict[str, Verdict] = {}
    enough: list[Pair] = []
    for pair in pairs:
        if stop is not None and stop():
            break
        if pair.beats(smallest) and all(pair.beats(other) for other in enough):
            results[pair.label] = judge(pair)
            if isinstance(results[pair.label], Allocation):
                enough.append(pair)
    return results


def pairs_untried(pairs: Iterable[Pair], smallest: Module | None, results: Mapping[str, object]) -> list[Pair]:
    """Pairs that might be better than the smallest single module and every pair known to be enough, but unjudged."""
    every = list(pairs)
    enough = [pair for pair in every if isinstance(results.get(pair.label), Allocation)]
    return [
        pair
        for pair in every
        if pair.label not in results and pair.beats(smallest) and all(pair.beats(other) for other in enough)
    ]


def pairs_table(pairs: Iterable[Pair], smallest: Module | None, results: Mapping[str, Result]) -> pd.DataFrame:
    """A row a pair, in the columns `PAIRS`, those that were judged first.

    beats tells in what it is better than the smallest single module that is enough: price, mass, or
    channels where none is. Pairs that beat nothing are ``passed over`` unjudged; those that time ran out for are
    ``not tried``.
    """
    ordered = sorted(pairs, key=lambda pair: pair.label not in results)
    untried = {pair.label for pair in pairs_untried(ordered, smallest, results)}
    rows = [_row(p, smallest, results.get(p.label), p.label in untried) for p in ordered]
    return pd.DataFrame(rows, columns=list(PAIRS)).astype({"channels_used": "Int64", "spare": "Int64"})


def _row(pair: Pair, smallest: Module | None, result: Result | None, is_untried: bool) -> tuple[Any, ...]:
    used = sum(len(c.channels) for c in result.circuits) if isinstance(result, Allocation) else None
    spare = None if used is None else pair.channels - used
    outcome = NOT_TRIED if is_untried else PASSED_OVER if result is None else result.outcome
    price, mass = (None if value == inf else value for value in (pair.price, pair.mass_g))
    return (pair.label, outcome, used, pair.channels, spare, price, mass, " and ".join(pair.beats(smallest)))


@dataclass(frozen=True)
class Choice:
    """Units at their places.

    Parameters
    ----------
    number : int
        In the order of all choices; decides between equals.
    units : tuple of Unit
        One or more.
    """

    number: int
    units: tuple[Unit, ...]

    @property
    def label(self) -> str:
        """In words: ``middle-36 at boot``, joined with ``and``."""
        return " and ".join(f"{u.module.name} at {u.place}" if u.place else u.module.name for u in self.units)

    @property
    def price(self) -> float | None:
        """Of its modules together; None where one has none."""
        return _sum(u.module.price for u in self.units)

    @property
    def module_g(self) -> float | None:
        """Mass of its modules together, g; None where one has none."""
        return _sum(u.module.mass_g for u in self.units)


def _sum(values: Iterable[float | None]) -> float | None:
    known = list(values)
    return None if None in known else sum(v for v in known if v is not None)


def mount_places(vehicle: Vehicle) -> list[str]:
    """Places a module can be mounted at, in natural order."""
    return sorted((place.name for place in vehicle.places if place.mount), key=natural_key)


def choices(modules: Iterable[Module], places: Iterable[str | None], most: int = 2) -> tuple[Choice, ...]:
    """Every module at every place, then every pair of these, two of a kind and two at one place included.

    Parameters
    ----------
    modules : iterable of Module
        What there is to choose from.
    places : iterable of str or None
        Where they can sit.
    most : int
        Units in one choice at most.

    Returns
    -------
    tuple of Choice
        In an order that does not depend on the order of rows.
    """
    spots = [(m, p) for m in sorted(modules, key=lambda m: natural_key(m.name)) for p in places]
    found = [taken for size in range(1, most + 1) for taken in combinations_with_replacement(spots, size)]
    return tuple(Choice(number, _units(taken)) for number, taken in enumerate(found))


def _units(taken: Sequence[tuple[Module, str | None]]) -> tuple[Unit, ...]:
    names = [module.name for module, _ in taken]
    return tuple(
        Unit(f"{module.name} #{n}" if names.count(module.name) > 1 else module.name, module, place)
        for n, (module, place) in enumerate(taken, 1)
    )


FRONT = "front"

_WORDS = {"price": (1, 0), "mass": (0, 1)}


@dataclass(frozen=True, slots=True)
class Found:
    """A choice that was solved.

    Parameters
    ----------
    number : int
        Of the choice.
    price : Fraction
        Of its modules, 0 where not known.
    mass_dg : int
        Modules, wires and feeds, tenths of a gram.
    """

    number: int
    price: Fraction
    mass_dg: int


@dataclass(frozen=True)
class Objective:
    """Least of price x weight + mass x weight; equals are decided by price, then mass, then number.

    Parameters
    ----------
    price, mass_dg : Fraction
        Weights, per unit of price and per tenth of a gram; both 0: all that nothing is both cheaper
        and lighter than.
    """

    price: Fraction
    mass_dg: Fraction

    @property
    def is_front(self) -> bool:
        """Whether all choices are wanted that no other beats in both."""
        return not self.price and not self.mass_dg

    def key(self, found: Found) -> tuple[Fraction | float, ...]:
        """Smaller is better."""
        value = self.price * found.price + self.mass_dg * found.mass_dg
        return (value, found.price, found.mass_dg, found.number)

    def best(self, known: Iterable[Found]) -> Found | None:
        """The best of those that are solved; of a front the cheapest."""
        return min(known, key=self.key, default=None)

    def most_dg(self, number: int, price: Fraction, known: Iterable[Found]) -> float:
        """Largest mass at which a choice would still count, tenths of a gram.

        Parameters
        ----------
        number : int
            Of the choice.
        price : Fraction
            Its price.
        known : iterable of Found
            Choices solved so far.

        Returns
        -------
        float
            inf: any; below 0: none.
        """
        return min((self._most(number, price, other) for other in known), default=inf)

    def _most(self, number: int, price: Fraction, other: Found) -> float:
        if self.is_front:
            beats_equal = price < other.price or (price == other.price and number < other.number)
            return inf if price < other.price else other.mass_dg - (not beats_equal)
        if not self.mass_dg:
            if price != other.price:
                return inf if price < other.price else -1
            return other.mass_dg - (number > other.number)
        return self._most_weighed(number, price, other)

    def _most_weighed(self, number: int, price: Fraction, other: Found) -> float:
        room = (self.key(other)[0] - self.price * price) / self.mass_dg
        most = floor(room)
        if most == room and self.key(other) < self.key(Found(number, price, most)):
            return ceil(room) - 1
        return most


def objective_of(wanted: str | Mapping[str, float]) -> Objective:
    """An objective from its word, or from weights.

    Parameters
    ----------
    wanted : str or mapping of str to float
        ``price``, ``mass``, ``front``, or weights by ``price`` (per unit of price) and ``mass_g``
        (per gram).

    Returns
    -------
    Objective

    Raises
    ------
    UnknownName
        Another word (a KeyError and a ValueError).
    ValueError
        A weight that is negative, unknown or not a number.
    """
    if isinstance(wanted, str):
        if wanted != FRONT and wanted not in _WORDS:
            raise UnknownName("objective", wanted, (*_WORDS, FRONT))
        price, mass = _WORDS.get(wanted, (0, 0))
        return Objective(Fraction(price), Fraction(mass))
    unknown = set(wanted) - {"price", "mass_g"}
    weights = {name: exact(wanted.get(name, 0)) for name in ("price", "mass_g")}
    if unknown or min(weights.values()) < 0 or not any(weights.values()):
        raise ValueError(f"weights are numbers from 0 for price and mass_g, one of them above 0, not {dict(wanted)}")
    return Objective(weights["price"], weights["mass_g"] / 10)


def known_price(choice: Choice) -> Fraction:
    """Price of a choice, 0 where a module has none."""
    return exact(choice.price or 0)
