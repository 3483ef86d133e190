"""Modules and places named by a person, as the units they stand for."""

from collections.abc import Sequence

from pdm_alloc.module import Catalogue, Unit, units_of
from pdm_alloc.tables.fault import Faults
from pdm_alloc.vehicle import Vehicle

__all__ = ["fitted"]


def fitted(
    vehicle: Vehicle, catalogue: Catalogue, names: Sequence[str], places: Sequence[str] = ()
) -> tuple[Unit, ...]:
    """Units for modules by name, each at its place.

    Parameters
    ----------
    vehicle : Vehicle
        With its places.
    catalogue : Catalogue
        With its modules.
    names : sequence of str
        Modules.
    places : sequence of str
        One a module, in the same order; empty: nothing is known of where they sit.

    Returns
    -------
    tuple of Unit

    Raises
    ------
    InputError
        A module or place of that name does not exist, no module can be mounted there, or there are
        more or fewer places than modules; everything that is wrong at once.
    """
    faults = Faults()
    modules, known = {m.name: m for m in catalogue}, {place.name: place for place in vehicle.places}
    for name in (name for name in names if name not in modules):
        faults.unknown("modules", None, "module", name, modules, "is not in the catalogue")
    for name in (name for name in places if name not in known):
        faults.unknown("places", None, "place", name, known, "is no place of the vehicle")
    for name in (name for name in places if name in known and not known[name].mount):
        faults.add(
            "places", None, "mount", "no", f"at {name}: it cannot take a module", "set mount to yes, or name another"
        )
    if places and len(places) != len(names):
        message = f"are {len(places)} places, and {len(names)} modules are named"
        faults.add("places", None, "place", ", ".join(places), message, "name one place a module, in the same order")
    faults.raise_if_any()
    units = units_of([modules[name] for name in names])
    at = dict(enumerate(places))
    return tuple(Unit(unit.label, unit.module, at.get(n)) for n, unit in enumerate(units))
