"""The benchmark of vehicles nobody tuned to runs through every step."""

from collections import defaultdict

import pytest

from tests.benchmarks.bench_realistic import measure, read


@pytest.mark.once
def test_every_step_is_timed():
    """On a small van with modules that are enough and one that is not."""
    times = defaultdict(list)
    measure(times, *read("van", 2))
    assert {"size", "allocate", "why", "edit", "room left"} == set(times)
