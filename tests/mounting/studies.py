"""Random tiny studies: a few loads on places, two modules, two places to mount them."""

from dataclasses import replace

from hypothesis import strategies as st

from pdm_alloc.domain.module import Catalogue
from pdm_alloc.domain.vehicle import Place, Route
from tests.strategies import modules, vehicles

SPOTS = ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (3.0, 1.0))


@st.composite
def studies(draw):
    """A vehicle whose loads sit at places joined by routes, with a battery; and a catalogue of two small modules."""
    vehicle = draw(vehicles(most_loads=3, most_items=4, wires=True))
    mounts = draw(st.sampled_from(((0, 1), (1, 3), (0, 3))))
    places = tuple(Place(f"place {n}", x, y, mount=n in mounts) for n, (x, y) in enumerate(SPOTS))
    names = [place.name for place in places]
    routes = tuple(Route(names[a], names[b]) for a, b in ((0, 1), (0, 2), (1, 3), (2, 3)))
    loads = tuple(replace(load, place=draw(st.sampled_from(names))) for load in vehicle.loads)
    settings = replace(vehicle.settings, battery_place=draw(st.sampled_from([None, *names])), spare_channels=0)
    catalogue = Catalogue("random", tuple(draw(fitted(name)) for name in ("one", "two")))
    return replace(vehicle, places=places, routes=routes, loads=loads, settings=settings), catalogue


@st.composite
def fitted(draw, name):
    """A module of two or three channels with a mass and a price."""
    module = draw(modules(name, most_channels=3, wires=True))
    return replace(
        module, mass_g=draw(st.sampled_from((50.0, 120.0, 300.0))), price=draw(st.sampled_from((10.0, 25.0)))
    )
