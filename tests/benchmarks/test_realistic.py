"""The benchmark of vehicles nobody tuned to runs through every step."""

from collections import defaultdict

import pytest

import pdm_alloc as pa
from tests.benchmarks.bench_realistic import measure, read


@pytest.mark.once
def test_every_step_is_timed():
    """On a small van and two modules, of which one is enough."""
    times = defaultdict(list)
    vehicle, catalogue = read("van", 2)
    measure(times, vehicle, pa.Catalogue("two", tuple(catalogue)[-2:]))
    assert {"size", "allocate", "why", "edit", "room left"} == set(times)
