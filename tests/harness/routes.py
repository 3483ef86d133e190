"""Random places and routes."""

from hypothesis import strategies as st

from pdm_alloc.domain.vehicle import Place, Route

__all__ = ["meshes", "trees"]


def _places(draw, number):
    at = draw(
        st.lists(st.tuples(st.integers(0, 40), st.integers(-10, 10)), min_size=number, max_size=number, unique=True)
    )
    hot = draw(st.lists(st.sampled_from([None, 20.0, 60.0, 85.0]), min_size=number, max_size=number))
    return [Place(f"p{n}", x / 10, y / 10, ambient_c=c) for n, ((x, y), c) in enumerate(zip(at, hot, strict=True))]


def _route(draw, start, end):
    return Route(start.name, end.name, draw(st.one_of(st.none(), st.integers(1, 60).map(lambda n: n / 10))))


@st.composite
def trees(draw, most=9):
    """Places joined by routes so that there is one way only."""
    places = _places(draw, draw(st.integers(2, most)))
    routes = [_route(draw, places[draw(st.integers(0, n - 1))], places[n]) for n in range(1, len(places))]
    return places, draw(st.permutations(routes))


@st.composite
def meshes(draw, most=8):
    """As `trees`, with some routes more, so that there are ways to choose from."""
    places, routes = draw(trees(most))
    pairs = {frozenset((r.start, r.end)) for r in routes}
    more = [(a, b) for n, a in enumerate(places) for b in places[n + 1 :] if frozenset((a.name, b.name)) not in pairs]
    chosen = draw(st.lists(st.sampled_from(more), max_size=6, unique=True)) if more else []
    return places, [*routes, *(_route(draw, a, b) for a, b in chosen)]
