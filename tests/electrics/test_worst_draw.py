"""Largest draw over spans of voltage, cold copper, and trip settings that hold at it."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.domain.kinds import KINDS
from pdm_alloc.electrics.current import (
    cold_copper_factor,
    inrush_excess_ma,
    largest_running_ma,
    running_over_span_ma,
    worst_excess_ma,
)
from pdm_alloc.electrics.protection import acceptance_band_ma, inrush_window_ms, trip_setting_ma
from pdm_alloc.electrics.wire import Refused

ITEMS = st.lists(
    st.tuples(st.integers(1, 40_000), st.sampled_from([-1.0, 0.0, 0.55, 1.0, 1.65, 2.0]), st.integers(1, 3)),
    min_size=1,
    max_size=5,
)


@given(ITEMS, st.floats(6, 16), st.floats(0, 8), st.floats(0, 1))
def test_both_ends_of_a_span_suffice(items, low, wide, share):
    """No voltage in between draws more than the worse end, whatever exponents are mixed."""
    inside = low + share * wide
    true = sum(ma * count * (inside / 12) ** exponent for ma, exponent, count in items)
    assert true <= largest_running_ma(items, [(low, low + wide)], 12.0) + 1e-6


def test_constant_power_draws_most_while_cranking():
    """0.8 A of electronics at 12 V are 1.0 A at 9.6 V; a fan draws most at the top, 1.15**1.65 at 13.8 V."""
    assert running_over_span_ma([(800, -1.0, 1)], (9.6, 12.4), 12.0) == (1_000, 775)
    fan = KINDS["fan"].volt_exponent
    assert largest_running_ma([(18_750, fan, 1)], [(9.6, 12.4), (13.8,)], 12.0) == math.ceil(18_750 * 1.15**1.65)
    assert largest_running_ma([(800, -1.0, 1)], [], 12.0) == 0


def test_a_fan_of_225_w():
    """From memory: a 225 W radiator fan peaks at 80 A and settles in about 500 ms; the kind covers it, not twice."""
    kind, running = KINDS["fan"], 225 / 12
    assert 80 <= kind.inrush_multiple * running <= 1.3 * 80
    assert 400 <= kind.inrush_ms <= 600


# Inrush of LED drivers on the mains, peak A and length ms: a note to makers' data of 150 W and 220 W drivers, read at
# gophotonics.com ("What is inrush current of an LED driver module"). Capacitors charge in so long; at 12 V what peak
# they reach is set by wire and driver, several times running (makers' notes on low voltage, from memory).
LED_DRIVERS = ((130, 0.165), (80, 1.0))


@pytest.mark.parametrize("length_ms", [ms for _, ms in LED_DRIVERS])
def test_an_led_driver(length_ms):
    """What is assumed of a led lasts as long as drivers are stated to charge, and is a rise above running."""
    kind = KINDS["led"]
    assert kind.inrush_multiple >= 2 and length_ms <= kind.inrush_ms <= 5 * max(ms for _, ms in LED_DRIVERS)


def test_cold_copper():
    """FAA AC 43.13-1B: 254.5 / (234.5 + t); at -20 deg C a winding draws 1.186 times as much."""
    assert cold_copper_factor(-20) == pytest.approx(254.5 / 214.5)
    assert cold_copper_factor(40) == 1
    with pytest.raises(ValueError):
        cold_copper_factor(-234.5)


@given(st.integers(1, 9_000), st.integers(1, 9_000), st.floats(8, 16), st.integers(0, 50), st.floats(-40, 20))
def test_inrush_at_its_worst(running, more, volts, tolerance, lowest):
    """Tolerance and cold only add to the inrush, and without them it is the one already in use."""
    plain = worst_excess_ma(running + more, running, (volts, 12.0))
    assert plain == inrush_excess_ma(running + more, running, volts, 12.0)
    worst = worst_excess_ma(running + more, running, (volts, 12.0), tolerance, cold_copper_factor(lowest))
    assert worst >= math.floor(plain * (1 + tolerance / 100) - 1)


def test_inrush_of_a_cold_fan_by_hand():
    """80 A at 18.75 A running, 10 % off, 1.2 times in the cold: (96 - 18.75) * 1.1 = 84.975 A above running."""
    assert worst_excess_ma(80_000, 18_750, (12.0, 12.0), 10, 1.2) == 84_975


@given(st.integers(1, 40_000), st.integers(1, 60_000), st.sampled_from([50, 100, 250]), st.integers(0, 20))
def test_a_trip_setting_holds_or_there_is_none(draw, rated, step, error):
    """Even with the reading at its worst a quarter of the draw is left, by the least step; none where none fits."""
    setting = trip_setting_ma(draw, Fraction(rated), step, Fraction(error))
    least = draw * Fraction(5, 4) / (1 - Fraction(error, 100))
    if setting == Refused("rating"):
        assert math.ceil(least / step) * step > rated
    else:
        assert setting % step == 0 and least <= setting <= rated and setting - step < least


def test_a_setting_allows_for_the_reading_by_hand():
    """12.5 A for 10 A, over 1 - 0.2 where the module reads up to 20 % off: 15.625 A, up to the step 15.7 A."""
    assert trip_setting_ma(10_000, Fraction(60_000), 100, Fraction(20)) == 15_700


def test_headroom_and_the_quarter_are_one_margin():
    """A channel at its 20 % headroom has a setting; its wire may still be too thin for it."""
    assert trip_setting_ma(8_000, Fraction(10_000), 100) == 10_000
    assert trip_setting_ma(8_001, Fraction(10_000), 100) == Refused("rating")
    assert trip_setting_ma(8_000, Fraction(10_000), 100, Fraction(3)) == Refused("rating")
    assert trip_setting_ma(4_000, Fraction(10_000), 100, ampacity_ma=4_900) == Refused("wire")
    for step, error in ((0, 0), (100, 100), (100, -1)):
        with pytest.raises(ValueError):
            trip_setting_ma(1, Fraction(1), step, Fraction(error))


def test_crew_safety_no_longer_trips_while_cranking():
    """0.7 A on a channel that tripped at 0.9 A draws 1.00 A at 9.6 V with its tolerance: the setting is now 1.3 A."""
    draw = math.ceil(largest_running_ma([(762, -1.0, 1)], [(9.6, 12.4), (13.8,)], 12.0) * 1.05)
    assert draw == 1_001
    assert trip_setting_ma(draw, Fraction(10_000), 100) == 1_300


@given(st.integers(0, 9_000), st.integers(0, 3_000), st.integers(0, 60), st.integers(0, 10))
def test_the_acceptance_band_never_reaches_the_trip(low, more, allowance, error):
    """However wide the allowance, what may trip the channel is never accepted, the draw itself always."""
    high = low + more
    trip = trip_setting_ma(max(1, high), Fraction(10**6), 100, Fraction(error))
    lowest, highest = acceptance_band_ma((low, high), Fraction(allowance), trip, Fraction(error))
    assert lowest <= low <= high <= highest < trip * (1 - Fraction(error, 100))


def test_a_draw_at_the_trip_is_refused():
    """A sheet must not accept what switches the channel off."""
    with pytest.raises(ValueError):
        acceptance_band_ma((900, 1_000), Fraction(10), 1_000)


def test_pulsed_loads_have_an_inrush_time():
    """Injectors, horns and relays have no excess, and still a window above zero; the others keep theirs."""
    for name in ("solenoid", "coil"):
        assert inrush_window_ms(1.0, [0.0], [0.0], 1.5, KINDS[name].pulse_ms) == KINDS[name].pulse_ms > 0
    assert inrush_window_ms(1.0, [0.0], [0.0], 1.5) == 0
    assert inrush_window_ms(1.0, [5.0], [100.0], 1.5, 20.0) == inrush_window_ms(1.0, [5.0], [100.0], 1.5)
