"""What makes one choice better than another: price, mass, a weighting of both, or neither cheaper nor lighter."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor, inf

from pdm_alloc.electrics.voltage import exact
from pdm_alloc.mounting.choice import Choice
from pdm_alloc.unknown import UnknownName

__all__ = ["FRONT", "Found", "Objective", "known_price", "objective_of"]

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

    def key(self, found: Found) -> tuple:
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
