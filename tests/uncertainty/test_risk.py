"""Risk of guesses: counted chances agree with the independent check, draw by draw, and with exact cases."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from pdm_alloc.allocator import allocate
from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import Channel, Module
from pdm_alloc.domain.vehicle import PPM, Command, Load, State, Vehicle
from pdm_alloc.result.allocation import NotEnough
from pdm_alloc.studies.risk import _turned_out, allocation_risk, factors, limits_of, module_risk, wilson
from pdm_alloc.verify.check import violations
from tests.strategies import cases, examples

SLACK_MA = 12  # every item is rounded to whole milliamps in every state; a draw is not


def blind(vehicle):
    """Tolerances known but not provided for: what the draws are for."""
    return replace(vehicle, settings=replace(vehicle.settings, tolerance_loads=0))


@settings(max_examples=examples(25, 250), deadline=None, suppress_health_check=list(HealthCheck))
@given(cases(), st.integers(0, 1000))
def test_a_draw_passes_a_limit_exactly_when_the_independent_check_says_so(case, seed):
    """The limits as sums are the limits of the recount, for every draw that is not within rounding of one."""
    vehicle, units = case
    loads = tuple(replace(x, tolerance_pct=Fraction(40)) for x in vehicle.loads)
    vehicle = blind(replace(vehicle, loads=loads))
    try:
        allocation = allocate(vehicle, units)
    except NotEnough:
        assume(False)
    limits = limits_of(allocation)
    order = {name: n for n, name in enumerate(limits.loads)}
    drawn = factors(np.random.default_rng(seed), limits.tolerance, 1)[0]
    margin = limits.most - limits.weights @ drawn
    assume(np.abs(margin).min() > SLACK_MA)
    by_table = np.array([drawn[order[load.name]] for load in vehicle.loads])
    found = violations(_turned_out(vehicle, by_table), allocation.units, allocation.circuits)
    broken = {f.rule for f in found} - {"trip", "wire", "ampacity", "drop", "terminal", "stall"}
    assert bool(broken) == bool((margin < 0).any()), (broken, limits.subjects)


def one_load(running_ma=8000, tolerance=25, limit_ma=9000):
    """A guess on one channel that is rated a quarter above the limit, as the trip setting asks."""
    load = Load("pump", "c", running_ma, kind="heater", inrush_ma=running_ma, tolerance_pct=Fraction(tolerance))
    state = State("on", 12.0, {"c": PPM})
    plain = Settings(headroom_pct=Fraction(20), module_headroom_pct=Fraction(0), tolerance_loads=0)
    vehicle = Vehicle("v", (load,), (Command("c"),), (state,), plain, states_given=True)
    return vehicle, Module("m", 99_000, 99_000, (Channel("1", -(-limit_ma * 5 // 4), 90_000, 50.0),))


def test_the_chance_of_one_guess_is_what_geometry_says():
    """8 A give or take 2 A, evenly, against 9 A: kept in three quarters of all draws."""
    vehicle, module = one_load()
    risk = allocation_risk(allocate(vehicle, module), draws=40_000, seed=3)
    low, high = risk.interval
    assert low <= 0.75 <= high
    assert high - low < 0.01
    assert list(risk.measure_first.load) == ["pump"]
    assert risk.measure_first.chance_if_measured.iloc[0] == 1.0
    assert risk.limits.worst_a.max() == pytest.approx(10, abs=0.01)


def test_what_cannot_happen_is_not_counted():
    """With room for every guess at its top the chance is 1, and there is nothing to measure."""
    vehicle, module = one_load(tolerance=10)
    risk = allocation_risk(allocate(vehicle, module), draws=1000)
    assert risk.chance == 1.0
    assert risk.measure_first.empty
    assert risk.limits.empty


def test_guaranteed_against_tolerance_is_never_passed():
    """An allocation that provides for every load at its top keeps every limit in every draw."""
    vehicle, module = one_load(limit_ma=10_000)
    sure = replace(vehicle, settings=replace(vehicle.settings, tolerance_loads=1))
    assert allocation_risk(allocate(sure, module), draws=20_000).chance == 1.0
    with pytest.raises(NotEnough):
        allocate(sure, one_load(limit_ma=9_999)[1])


def test_same_seed_same_chance_whatever_runs_it():
    """Draws are made before they are dealt out, so two workers find what one finds."""
    vehicle, module = one_load()
    alone = module_risk(vehicle, module, draws=30, seed=5)
    seen = []
    with ThreadPoolExecutor(2) as executor:
        both = module_risk(vehicle, module, 30, 5, executor=executor, progress=lambda *n: seen.append(n))
    assert both == alone
    assert seen[-1] == (30, 30)
    assert 0 < alone.enough < 30


def test_no_draws_are_refused():
    """A chance of no draws is no chance."""
    vehicle, module = one_load()
    with pytest.raises(ValueError, match="at least 1"):
        allocation_risk(allocate(vehicle, module), draws=0)
    with pytest.raises(ValueError, match="at least 1"):
        module_risk(vehicle, module, draws=0)


@pytest.mark.parametrize(
    ("hits", "draws", "low", "high"),
    # Wilson's score interval, z = 1.96: values from memory, recomputed by the quadratic below.
    [(0, 10, 0.0, 0.2775), (5, 10, 0.2366, 0.7634), (10, 10, 0.7225, 1.0)],
)
def test_wilson_interval(hits, draws, low, high):
    """Textbook values, and the ends solve the quadratic the interval is defined by."""
    found = wilson(hits, draws)
    assert found == pytest.approx((low, high), abs=5e-4)
    z, share = 1.959964, hits / draws
    for end in found:
        if 1e-9 < end < 1 - 1e-9:
            assert abs(share - end) == pytest.approx(z * (end * (1 - end) / draws) ** 0.5, abs=1e-9)
