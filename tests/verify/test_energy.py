"""The closed form for the energy of an inrush, against numerical integration and cases one can do on paper."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pdm_alloc.verify.strength import overload
from tests.strategies import examples

AMPS = st.floats(0.01, 200, allow_nan=False)
WAVES = st.lists(st.tuples(AMPS, st.floats(0.1, 200)), min_size=1, max_size=4)


def by_trapezoids(running, waves, usable, end_ms):
    """Independent of the closed form and of the crossing: the integrand cut off where it is negative."""
    t = np.concatenate([[0.0], np.geomspace(1e-6, end_ms, 400_000)])
    i = running + sum(e * np.exp(-t / tau) for e, tau in waves)
    return np.trapezoid(np.maximum(i**2 - usable**2, 0), t)


@settings(max_examples=examples(60, 600), deadline=None, derandomize=True)
@given(running=AMPS, waves=WAVES, gap=st.floats(0.001, 50))
def test_agrees_with_numerical_integration(running, waves, gap):
    """Several time constants, any sizes, within what trapezoids can show."""
    usable = running + gap
    end = max(tau for _, tau in waves) * (1 + math.log(1 + sum(e for e, _ in waves) / gap))
    expected = by_trapezoids(running, waves, usable, end)
    assert overload(running, waves, usable) == pytest.approx(expected, rel=1e-6, abs=1e-6)


def test_never_above_is_nothing():
    """A peak at the usable limit overloads nothing."""
    assert overload(4.0, [(6.0, 20.0)], 10.0) == 0.0


def test_running_at_the_limit_overloads_for_ever_and_by_a_finite_amount():
    """With r = c the crossing is never; 2 r e tau + e**2 tau / 2 = 2*10*5*20 + 25*10 A2 ms."""
    assert overload(10.0, [(5.0, 20.0)], 10.0) == pytest.approx(2250.0, rel=1e-14)


def test_one_wave_on_paper():
    """r = 0, c = 1, e = 2, tau = 1: above until ln 2, integral of 4 exp(-2t) - 1 is 1.5 - ln 2."""
    assert overload(0.0, [(2.0, 1.0)], 1.0) == pytest.approx(1.5 - math.log(2), rel=1e-14)


def test_a_wave_in_two_parts_is_the_same_wave():
    """Two loads of one length are one load of both currents."""
    assert overload(3.0, [(2.0, 7.0), (5.0, 7.0)], 4.0) == pytest.approx(overload(3.0, [(7.0, 7.0)], 4.0), rel=1e-13)


def test_no_length_no_energy():
    """A peak without length is judged by the peak alone."""
    assert overload(1.0, [(500.0, 0.0)], 2.0) == 0.0
