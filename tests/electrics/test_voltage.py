"""Currents at the voltage of a state."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.electrics.current import exact, inrush_excess_ma, running_at_voltage_ma

volts = st.integers(60, 320).map(lambda tenths: tenths / 10)


@pytest.mark.parametrize(
    ("exponent", "supply", "expected"),
    [(1, 13.8, 1150), (-1, 10.0, 1200), (0, 9.0, 1000), (0.55, 12.0, 1000), (-1, 13.8, 870), (2, 24.0, 4000)],
)
def test_known_currents(exponent, supply, expected):
    """1 A at 12 V: a resistance rises with the voltage, constant power falls, both without float noise."""
    assert running_at_voltage_ma(1000, exponent, supply, 12.0) == expected


@given(st.integers(0, 100_000), st.sampled_from([-1, 0, 1]), volts, volts)
def test_exact_and_never_rounded_down(running, exponent, supply, reference):
    """The result is the true product rounded up, computed independently in tenths of a volt."""
    true = running * Fraction(round(supply * 10), round(reference * 10)) ** exponent
    assert 0 <= running_at_voltage_ma(running, exponent, supply, reference) - true < 1


@given(st.integers(1, 100_000), st.floats(-2, 2), volts, volts)
def test_any_exponent_is_within_a_milliamp(running, exponent, supply, reference):
    """A power without an exact form is rounded up as well, less a guard of a billionth."""
    value = running_at_voltage_ma(running, exponent, supply, reference)
    true = running * (supply / reference) ** exponent
    assert true * (1 - 2e-9) <= value < true + 1 + 1e-9 * true


def test_excess_grows_with_voltage_and_never_shrinks():
    """A cold filament is a resistance: 55 A of excess at 12 V is 63.25 A at 13.8 V and still 55 A while cranking."""
    assert inrush_excess_ma(60_000, 5_000, 13.8, 12.0) == 63_250
    assert inrush_excess_ma(60_000, 5_000, 9.0, 12.0) == 55_000
    assert inrush_excess_ma(5_000, 5_000, 13.8, 12.0) == 0
    assert inrush_excess_ma(4_000, 5_000, 13.8, 12.0) == 0


@pytest.mark.parametrize(("supply", "reference"), [(0, 12), (-1, 12), (12, 0), (float("nan"), 12)])
def test_no_voltage_no_current(supply, reference):
    """A voltage that is not above zero has no answer."""
    with pytest.raises(ValueError, match="above 0 V"):
        running_at_voltage_ma(1000, -1, supply, reference)


def test_numbers_mean_what_was_written():
    """13.8 is 69/5, and a fraction stays itself."""
    assert exact(13.8) == Fraction(69, 5)
    assert exact(Fraction(1, 3)) == Fraction(1, 3)
    assert exact(7) == 7


def test_filament_exponent():
    """Current of a gas-filled lamp goes with the voltage to the power 0.55 (lamp rerating exponents, from memory)."""
    assert running_at_voltage_ma(4583, 0.55, 13.2, 12.0) == pytest.approx(4583 * 1.0538, abs=1.5)
