"""Rounding: always to the careful side, and only once."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.verify.arithmetic import derating_at, deviation, excess_ma, limit_ma, running_ma, top


def test_decimals_are_taken_as_written():
    """13.8 is 13.8, not the binary number just above: 1000 mA * 13.8 / 12 is 1150 mA and not 1151."""
    assert running_ma(1000, 1.0, 13.8, 12.0) == 1150
    assert excess_ma(1000, 13.8, 12.0) == 1150


@pytest.mark.parametrize(
    ("exponent", "volts", "expected"),
    [(0.0, 9.0, 1000), (1.0, 9.0, 750), (-1.0, 9.0, 1334), (-1.0, 14.4, 834), (2.0, 6.0, 250), (0.5, 3.0, 500)],
)
def test_running_current_at_a_voltage(exponent, volts, expected):
    """I = 1000 mA * (V / 12)**k, rounded up: constant current, resistance, constant power, square, square root."""
    assert running_ma(1000, exponent, volts, 12.0) == expected


@given(ma=st.integers(1, 10**6), volts=st.sampled_from((9.0, 10.5, 13.8, 14.4)))
def test_a_filament_is_rounded_up_and_by_less_than_a_milliamp(ma, volts):
    """k = 0.55 (lamp rerating exponent, from memory) is not exact; the guard costs a millionth of a milliamp a kA."""
    exact = ma * (volts / 12) ** 0.55
    assert exact - 1e-8 * exact <= running_ma(ma, 0.55, volts, 12.0) < exact + 1


def test_excess_never_shrinks():
    """Below the reference voltage the stated excess stays."""
    assert excess_ma(1000, 9.0, 12.0) == 1000


def test_limits_are_rounded_down():
    """10001 mA * 0.9 * 0.8 = 7200.72 mA."""
    assert limit_ma(10001, Fraction(9, 10), Fraction(20)) == 7200


def test_deviation_is_rounded_up():
    """33 % of 101 mA is 33.33 mA."""
    assert deviation(101, Fraction(33)) == 34


def test_top_takes_the_largest():
    """Two at once of 5, 1, 4: 9; none at once: 0."""
    assert (top([5, 1, 4], 2), top([5, 1, 4], 0), top([5], 3)) == (9, 0, 5)


TABLE = ((25.0, Fraction(1)), (65.0, Fraction(3, 5)), (85.0, Fraction(2, 5)))


@pytest.mark.parametrize(
    ("ambient_c", "factor", "inside"),
    [
        (25.0, 1, True),
        (45.0, Fraction(4, 5), True),
        (65.0, Fraction(3, 5), True),
        (75.0, Fraction(1, 2), True),
        (85.0, Fraction(2, 5), True),
        (24.9, 1, False),
        (85.1, Fraction(2, 5), False),
    ],
)
def test_derating_between_rows(ambient_c, factor, inside):
    """Halfway between two rows the factor is halfway; outside them it is not known."""
    assert derating_at(TABLE, ambient_c) == (factor, inside)


def test_one_row_and_no_rows():
    """One row is known at its own temperature only; no table is no derating."""
    assert derating_at(TABLE[:1], 25.0) == (1, True)
    assert derating_at(TABLE[:1], 30.0) == (1, False)
    assert derating_at((), 200.0) == (1, True)
