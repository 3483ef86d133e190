"""Effective current, uneven sharing and heat of a module."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.electrics.current import effective_factor, effective_ma, module_heat_w, paralleled_ma

SECONDS = st.floats(0.05, 500, allow_nan=False)


def _hottest(times, tau):
    """Peak rise of a body of one time constant under a current of 1 that comes and goes, by stepping through cycles."""
    on, cycle = times
    rise = 0.0
    for _ in range(10_000):
        hot = 1 + (rise - 1) * math.exp(-on / tau)
        cooled = hot * math.exp(-(cycle - on) / tau)
        if abs(cooled - rise) < 1e-12:
            break
        rise = cooled
    return hot


@given(st.floats(1, 500), st.floats(1, 500), st.floats(1, 300))  # shorter cycles do not come to repeat in the steps
def test_effective_current_brings_the_same_temperature(on, off, tau):
    """Stepping a body through on and off until it repeats, its hottest is what the effective current would bring."""
    hottest = _hottest((on, on + off), tau)
    assert effective_factor(on, on + off, tau) ** 2 == pytest.approx(hottest, rel=1e-6)


@given(SECONDS, SECONDS, st.floats(1, 300))
def test_effective_current_lies_between_root_mean_square_and_all(on, off, tau):
    """A body with mass heats less than its peak current says and more than the mean of its squares."""
    factor = effective_factor(on, on + off, tau)
    assert math.sqrt(on / (on + off)) - 1e-9 <= factor <= 1


STEPS = st.integers(1, 400)


@given(st.lists(st.tuples(st.integers(0, 50), STEPS, STEPS, STEPS), min_size=2, max_size=3), st.floats(5, 100))
def test_sum_of_effective_currents_is_safe(loads, tau):
    """By Minkowski no timing of several loads heats more than the sum of their effective currents squared."""
    step = 0.25
    total = sum(amps * effective_factor(on * step, (on + off) * step, tau) for amps, on, off, _ in loads)
    rise, highest, cooling = 0.0, 0.0, math.exp(-step / tau)
    for n in range(2_000):
        amps = sum(a for a, on, off, shift in loads if (n + shift) % (on + off) < on)
        rise = amps**2 + (rise - amps**2) * cooling
        highest = max(highest, rise)
    assert highest <= total**2 * (1 + 1e-9)


@pytest.mark.parametrize(("on", "cycle", "tau"), [(None, None, 60), (5, None, 60), (5, 60, 0)])
def test_what_is_not_known_counts_in_full(on, cycle, tau):
    """Without times or time constant a current is never taken to be less than it is."""
    assert effective_ma(12_345, on, cycle, tau) == 12_345


def test_a_horn_of_five_seconds_a_minute():
    """By hand: 5 s in 60 s with a time constant of 60 s is sqrt(0.0800 / 0.6321) = 0.3557 of its current."""
    assert effective_factor(5, 60, 60) == pytest.approx(0.3557, abs=1e-4)
    assert effective_ma(10_000, 5, 60, 60) == 3_557


@pytest.mark.parametrize(("on", "cycle", "tau"), [(0, 5, 1), (6, 5, 1), (5, 6, -1)])
def test_impossible_times_are_refused(on, cycle, tau):
    """A cycle is no shorter than the time on in it."""
    with pytest.raises(ValueError):
        effective_factor(on, cycle, tau)


@given(st.integers(1, 60_000), st.integers(1, 60_000), st.integers(50, 100))
def test_a_pair_that_shares_unevenly(one, other, share):
    """At its limit neither channel passes its own, and a milliamp more would pass the weaker one's."""
    limit = paralleled_ma(one, other, share)
    assert Fraction(limit * share, 100) <= min(one, other) < Fraction((limit + 1) * share, 100)
    assert limit <= one + other


def test_two_channels_of_20_a_bear_33_a_at_the_usual_share():
    """20 A / 0.6 is 33.3 A, not 40 A; a share of all is a single channel."""
    assert (paralleled_ma(20_000, 25_000, 60), paralleled_ma(20_000, 25_000, 100)) == (33_333, 20_000)
    with pytest.raises(ValueError):
        paralleled_ma(1, 1, 49)


def test_module_heat():
    """Current squared times resistance: 20 A through 5 milliohm is 2 W; a channel that is off needs no resistance."""
    assert module_heat_w([20, 10, 0], [5, 8, None], 0.1) == pytest.approx(2 + 0.8 + 0.1)
    assert module_heat_w([20, 10], [5, None]) is None
