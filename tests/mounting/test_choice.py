"""All choices, in one order."""

from math import comb

from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.domain.module import Catalogue, Module
from pdm_alloc.studies.alternatives import choices


@given(st.integers(1, 4), st.integers(1, 4), st.randoms())
def test_every_module_and_pair_at_every_place_once(modules, places, turn):
    """As many as there are multisets of one or two of modules x places, all different, whatever order they come in."""
    fitted = [Module(f"m{n}", 1, 1, ()) for n in range(modules)]
    names = [f"p{n}" for n in range(places)]
    found = choices(fitted, names)
    spots = modules * places
    assert len(found) == spots + comb(spots + 1, 2)
    assert len({frozenset((u.label, u.module.name, u.place) for u in c.units) for c in found}) == len(found)
    assert [c.number for c in found] == list(range(len(found)))
    turn.shuffle(fitted)
    assert choices(Catalogue("c", tuple(fitted)), names) == found


def test_two_of_a_kind_are_told_apart():
    """Labels are unique in the vehicle; price and mass are sums, or not known where one is not."""
    module, other = Module("m", 1, 1, (), mass_g=5.0, price=2.0), Module("n", 1, 1, (), price=1.0)
    pair = choices([module], ["a", "b"])[-2]
    assert [(u.label, u.place) for u in pair.units] == [("m #1", "a"), ("m #2", "b")]
    assert (pair.price, pair.module_g, pair.label) == (4.0, 10.0, "m at a and m at b")
    assert choices([module, other], ["a"])[-2].module_g is None
