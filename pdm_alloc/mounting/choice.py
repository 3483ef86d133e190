"""One way to fit modules to a vehicle, and all of them."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations_with_replacement

from pdm_alloc.module import Module, Unit, natural_key
from pdm_alloc.vehicle import Vehicle

__all__ = ["Choice", "choices", "mount_places"]


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


def _units(taken) -> tuple[Unit, ...]:
    names = [module.name for module, _ in taken]
    return tuple(
        Unit(f"{module.name} #{n}" if names.count(module.name) > 1 else module.name, module, place)
        for n, (module, place) in enumerate(taken, 1)
    )
