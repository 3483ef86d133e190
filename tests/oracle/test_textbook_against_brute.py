"""The textbook model is itself checked: on tiny vehicles it must agree with trying everything."""

import pytest
from hypothesis import HealthCheck, given, settings

from tests.oracle.brute import brute
from tests.oracle.textbook import textbook
from tests.strategies import cases, examples, locked_cases

TINY = {"most_loads": 4, "most_items": 4, "most_channels": 4}
BRIEF = settings(
    max_examples=examples(25, 200), deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
)


@pytest.mark.parametrize("strategy", ["spare", "isolate"])
@BRIEF
@given(case=cases(**TINY, wires=True))
def test_same_optimum(strategy, case):
    """Enough or not, and the best value, are what trying every wiring gives."""
    assert textbook(*case, strategy).best == brute(*case, strategy)


@pytest.mark.once
@BRIEF
@given(case=locked_cases(**TINY))
def test_same_optimum_with_locked_loads(case):
    """The same where loads are wired already."""
    assert textbook(*case, "spare").best == brute(*case, "spare")
