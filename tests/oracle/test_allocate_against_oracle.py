"""`allocate` against the textbook model: enough or not, fewest channels, most circuits, no limit broken."""

from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, note, settings

import pdm_alloc as pa
from pdm_alloc.verify.check import violations
from tests.oracle.breakers import BREAKERS
from tests.oracle.textbook import textbook
from tests.strategies import cases, examples, locked_cases

pytestmark = pytest.mark.once

BROKEN: Counter[str] = Counter()
QUIET = {"deadline": None, "derandomize": True, "suppress_health_check": list(HealthCheck)}


def allocated(vehicle, units, strategy):
    """The allocation, or None where it is not enough."""
    try:
        return pa.allocate(vehicle, units, strategy=strategy)
    except pa.NotEnough:
        return None


def value(allocation):
    """What the strategy counts; None where it is not enough."""
    if allocation is None:
        return None
    circuits = allocation.circuits
    return sum(len(c.channels) for c in circuits) if allocation.strategy == "spare" else len(circuits)


def agrees(vehicle, units, strategy):
    found = allocated(vehicle, units, strategy)
    note(repr((vehicle, units, strategy, found and found.circuits)))
    assert value(found) == textbook(vehicle, units, strategy).best
    if found is not None:
        assert found.outcome == "proven best"
        assert violations(found.vehicle, found.units, found.circuits) == []
    return found


def finds_what_is_broken(allocation):
    """Break each limit of a right allocation by hand, in every place it can be broken."""
    for breaker in BREAKERS:
        for rule, vehicle, units, circuits in breaker(allocation):
            BROKEN[breaker.__name__] += 1
            rules = {finding.rule for finding in violations(vehicle, units, circuits)}
            assert rule in rules, (breaker.__name__, vehicle, units, circuits)


@settings(max_examples=examples(120, 1000), **QUIET)
@given(case=cases())
def agree_and_break(case):
    for strategy in ("spare", "isolate"):
        found = agrees(*case, strategy)
    if found is not None:
        finds_what_is_broken(found)


@pytest.mark.once
def test_same_optimum_as_the_textbook_model_and_every_broken_limit_found():
    """Verdict and optimum of both strategies are those of an independent model and the recount finds nothing.

    On the same allocations with one limit broken by hand it finds it every time, and each limit was broken.
    """
    BROKEN.clear()
    agree_and_break()
    assert min(BROKEN[breaker.__name__] for breaker in BREAKERS) >= examples(3, 20), BROKEN


@settings(max_examples=examples(30, 400), **QUIET)
@given(case=cases(wires=True))
def test_same_optimum_where_wires_decide_too(case):
    """The same with places, routes, terminals and drops: in some one in ten of these the wire changes the answer."""
    for strategy in ("spare", "isolate"):
        agrees(*case, strategy)


@settings(max_examples=examples(20, 200), **QUIET)
@given(case=locked_cases())
def test_same_optimum_with_locked_loads(case):
    """The same where loads are wired already."""
    for strategy in ("spare", "isolate"):
        agrees(*case, strategy)


@settings(max_examples=examples(15, 100), **QUIET)
@given(case=cases())
def test_tables_say_what_the_recount_says(case):
    """The table of assignments, read back alone, is the same allocation."""
    found = allocated(*case, "spare")
    if found is not None:
        assert pa.verify(found).empty
        assert pa.verify(replace(found.vehicle), found.units, found.assignments).empty
