"""The search and one program over everything agree."""

from hypothesis import given, settings

from pdm_alloc.studies.mounting import mount
from tests.benchmarks.monolith import monolith
from tests.mounting.studies import studies
from tests.mounting.test_search import QUIET
from tests.strategies import examples


@settings(max_examples=examples(8, 60), **QUIET)
@given(studies())
def test_one_program_finds_the_same_mass(study):
    """Least mass of modules, wires and feeds; or neither finds anything."""
    found, answer = mount(*study, "mass"), monolith(*study, 60.0)
    assert (found.outcome, answer.outcome) in (("proven best",) * 2, ("not enough",) * 2)
    if found.best is not None:
        assert round(10 * found.choices.mass_g[0]) == answer.mass_dg
