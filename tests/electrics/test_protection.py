"""A channel's protection against waveforms and constant currents."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.electrics.protection import inrush_use, overload_capacity, overload_integral, time_to_trip


def test_use_by_hand():
    """A 5 A lamp pair with 12-fold inrush on a 10 A channel that bears 80 A for 50 ms."""
    use = inrush_use(5, [55], [20], 8, 80, 50)
    assert use.peak == 0.75
    assert use.energy == pytest.approx(overload_integral(5, [55], [20], 8) / ((6400 - 64) * 50))
    assert use.passes and use.worst == 0.75


def test_peak_exactly_at_the_limit_passes():
    """0.1 A and 0.2 A meet a limit of 0.3 A, though their binary sum does not."""
    assert inrush_use(0.1, [0.2], [1], 0.2, 0.3, 1000).passes


@pytest.mark.parametrize(
    ("running", "excess", "usable", "peak", "peak_ms"),
    [(11, 0, 10, 40, 100), (5, 36, 10, 40, 100), (9, 20, 10, 40, 0), (9, 20, 10, 10, 50)],
)
def test_trips(running, excess, usable, peak, peak_ms):
    """Running above usable, peak above peak_a, no time to bear it, no peak above the limit: none passes."""
    assert not inrush_use(running, [excess], [30], usable, peak, peak_ms).passes


def test_no_overload_uses_nothing():
    """A load without inrush uses no energy even of a channel that has none to give."""
    assert inrush_use(5, [], [], 10, 10, 0).energy == 0


@given(st.floats(1, 50), st.floats(1.05, 10), st.floats(1, 500), st.floats(0.01, 1))
def test_trip_time_of_a_constant_current(usable, ratio, peak_ms, share):
    """A constant current trips when its own overload integral has used the capacity; at peak_a after peak_ms."""
    peak = usable * ratio
    current = usable + share * (peak - usable)
    t = time_to_trip(current, usable, peak, peak_ms)
    assert (current**2 - usable**2) * t == pytest.approx(overload_capacity(usable, peak, peak_ms), rel=1e-9)
    assert time_to_trip(peak, usable, peak, peak_ms) == pytest.approx(peak_ms)


def test_trip_time_ends():
    """Above peak_a at once, at the usable limit never."""
    assert time_to_trip(40.1, 10, 40, 100) == 0
    assert time_to_trip(10, 10, 40, 100) == math.inf
