"""The model that is the yardstick of the benchmark must be right, or the comparison says nothing."""

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings

from pdm_alloc.verify.check import violations
from tests.benchmarks.pulp_textbook import IMPOSSIBLE, PROVED, PulpTextbook, has_cbc
from tests.oracle.slots import suits
from tests.oracle.textbook import textbook
from tests.strategies import cases, examples


def unconditional(vehicle, units):
    """The case with every command an input of its own, on for good: combinations are for the other model."""
    commands = tuple(replace(c, condition="", on_s=None, cycle_s=None) for c in vehicle.commands)
    return replace(vehicle, commands=commands), units


@settings(max_examples=examples(12, 100), deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(case=cases(most_loads=5, most_items=6, most_channels=6))
def test_same_optimum_as_the_other_textbook_model(case):
    """Two models, two solvers, one optimum; and its wiring breaks no rule."""
    case = unconditional(*case)
    if not suits(*case):
        return
    for strategy in ("spare", "isolate"):
        run, best = PulpTextbook(*case, strategy).run(60), textbook(*case, strategy).best
        assert (run.verdict, run.value) == ((IMPOSSIBLE, None) if best is None else (PROVED, best))
        if best is not None:
            assert violations(*case, run.circuits) == []


@pytest.mark.skipif(not has_cbc(), reason="this PuLP brings no CBC")
@settings(max_examples=examples(5, 20), deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(case=cases(most_loads=5, most_items=6, most_channels=6))
def test_same_optimum_with_cbc(case):
    """Another solver, the same verdict and number of channels."""
    case = unconditional(*case)
    if suits(*case):
        runs = PulpTextbook(*case, "spare").run(60), PulpTextbook(*case, "spare").run_cbc(60)
        assert (runs[0].verdict, runs[0].value) == (runs[1].verdict, runs[1].value)
