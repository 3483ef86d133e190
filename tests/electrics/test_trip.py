"""Trip settings, windows, and stalled loads against their wire."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from pdm_alloc.electrics.protection import (
    damage_ms,
    inrush_current,
    inrush_window_ms,
    short_time_c,
    stall_check,
    trip_ms,
    window_passes,
)


def test_window_by_hand():
    """5 A and 55 A more with tau 20 ms against 7.5 A: above it for 61.8 ms, window 92.7, set 100 ms."""
    assert 20 * math.log(55 / 2.5) == pytest.approx(61.8, abs=0.03)
    assert inrush_window_ms(5, [55], [20], 7.5) == 100
    assert inrush_window_ms(5, [2], [20], 7.5) == 0
    assert inrush_window_ms(8, [2], [20], 7.5) == math.inf


@given(
    st.floats(0, 20),
    st.lists(st.tuples(st.floats(0, 100), st.floats(0.1, 200)), min_size=1, max_size=4),
    st.floats(1.05, 3),
)
def test_window_always_passes_its_own_inrush(running, pairs, margin):
    """At two thirds of the window that is set, the current is at the trip setting or below."""
    excess, tau = zip(*pairs, strict=True)
    trip = running * margin + 0.1
    window = inrush_window_ms(running, excess, tau, trip)
    assert window_passes(running, excess, tau, trip, window)
    assert window % 10 == 0
    if window:
        assert inrush_current(window / 1.5, running, excess, tau) <= trip * (1 + 1e-9)
        assert not window_passes(running, excess, tau, trip, window - 10.001)


@pytest.mark.parametrize(("start", "limit", "k"), [(70, 160, 115), (90, 250, 143)])
def test_adiabatic_law(start, limit, k):
    """k of IEC 60364-4-43 for copper, 115 and 143 (from memory), and 226 sqrt(ln(1 + ...)) of IEC 60364-5-54 (seen)."""
    ours = math.sqrt(damage_ms(1.0, 1.0, start, limit) / 1000)
    assert ours == pytest.approx(k, abs=0.5)
    assert ours == pytest.approx(226 * math.sqrt(math.log(1 + (limit - start) / (234.5 + start))), rel=2e-3)


def test_damage_against_a_simulation():
    """The closed form is the time a small-step heating of copper takes, resistance rising with temperature."""
    temperature, ms, dt = 105.0, 0.0, 0.05
    while temperature < 160:
        resistance = 0.017241e-3 * (234.5 + temperature) / 254.5
        temperature += (100 / 2.5) ** 2 * resistance * dt / 1000 / 3.45e-3
        ms += dt
    assert damage_ms(100.0, 2.5, 105, 160) == pytest.approx(ms, rel=1e-3)


@given(st.floats(1, 1000), st.floats(0.5, 300), st.floats(20, 159))
def test_damage_scales(current, area, start):
    """Twice the area bears four times as long, twice the current a quarter; hot wire less than cool."""
    here = damage_ms(current, area, start, 160)
    assert damage_ms(current, 2 * area, start, 160) == pytest.approx(4 * here)
    assert damage_ms(2 * current, area, start, 160) == pytest.approx(here / 4)
    assert damage_ms(current, area, start + 1, 160) < here
    assert damage_ms(current, area, 160, 160) == 0
    assert damage_ms(np.array([current] * 3), area, start, 160).shape == (3,)


def test_short_time_temperatures():
    """160 deg C for thermoplastic classes, 250 deg C for cross-linked ones (from memory); refused above."""
    assert [short_time_c(c) for c in (60, 90, 105, 125, 200)] == [160, 160, 160, 250, 250]
    with pytest.raises(ValueError):
        short_time_c(201)


def test_stalled_fan_trips_in_time():
    """A 12 A fan that stalls at 72 A: 1.5 mm2, trip 15 A with a 200 ms window, trips long before the wire suffers."""
    check = stall_check(72, (15, 200), (12, 80, 400), (1.5, 27, 105, 160))
    assert check.trip_ms == 200 and check.damage_ms > 3000 and check.steady and check.safe


@pytest.mark.parametrize(
    ("stalled", "trip", "channel", "wire", "safe"),
    [
        (14, (15, 200), (16, 80, 400), (1.5, 27, 105, 160), True),
        (72, (15, 9_000), (12, 80, 9_000), (1.5, 27, 105, 160), False),
        (72, (15, 200), (12, 80, 400), (1.5, 14, 105, 160), False),
        (90, (15, 9_000), (12, 80, 9_000), (1.5, 27, 105, 160), True),
    ],
)
def test_stalls(stalled, trip, channel, wire, safe):
    """Within the setting; a window too long for the wire; a wire too thin for the setting; a peak trips at once."""
    assert stall_check(stalled, trip, channel, wire).safe is safe


@given(st.floats(1, 30), st.floats(1.01, 8), st.floats(10, 500))
def test_earlier_of_the_two(usable, ratio, window):
    """A channel trips by its setting or by its own protection, whichever comes first, and sooner on more current."""
    trip, peak = usable * 1.25, usable * 10
    assume(usable * ratio > trip)
    first = trip_ms(usable * ratio, trip, window, usable, peak, 100)
    assert first <= window
    assert trip_ms(usable * ratio * 1.1, trip, window, usable, peak, 100) <= first
    assert trip_ms(usable, trip, window, usable, peak, 100) == math.inf
