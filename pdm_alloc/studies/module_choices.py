"""Every way to fit modules to a vehicle, two together among them, and what makes one better than another."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations_with_replacement
from math import ceil, floor, inf
from typing import Any, TypeVar

import pandas as pd

from pdm_alloc.domain.module import Module, Unit, natural_key
from pdm_alloc.domain.showing import UnknownName
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.voltage import exact
from pdm_alloc.program.lightest import PASSED_OVER
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.refusals import NotEnough, Unsolved

__all__ = [
    "FRONT",
    "NOT_TRIED",
    "PAIRS",
    "Choice",
    "Found",
    "Objective",
    "Pair",
    "choices",
    "judge_pairs",
    "known_price",
    "mount_places",
    "objective_of",
    "pairs_of",
    "pairs_table",
    "pairs_untried",
]

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
