"""Ratings at temperature and with headroom."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.electrics.current import derating_factor, rated_ma, usable_ma

TABLE = ((25.0, Fraction(1)), (60.0, Fraction(4, 5)), (85.0, Fraction(1, 2)))


@pytest.mark.parametrize(
    ("ambient", "factor"), [(25, 1), (85, Fraction(1, 2)), (60, Fraction(4, 5)), (42.5, Fraction(9, 10)), (72.5, 0.65)]
)
def test_linear_between_rows(ambient, factor):
    """On a row the row's factor, between rows the straight line, exactly."""
    assert derating_factor(TABLE, ambient) == Fraction(str(factor))


@pytest.mark.parametrize("ambient", [24.9, 85.1, -40])
def test_never_extrapolated(ambient):
    """Outside its table a factor is not known, and the message says where it is."""
    with pytest.raises(ValueError, match="from 25 to 85 deg C"):
        derating_factor(TABLE, ambient)


def test_no_table_no_derating():
    """A module without a table keeps its rating at any temperature; one row holds at that row only."""
    assert derating_factor((), 200) == 1
    assert derating_factor(((40.0, Fraction(7, 10)),), 40.0) == Fraction(7, 10)


def test_usable_limit():
    """20 A at factor 0.9 with 20 % headroom is 14.4 A; a fraction of a milliamp is given away."""
    assert rated_ma(20_000, Fraction(9, 10)) == 18_000
    assert usable_ma(20_000, Fraction(9, 10), Fraction(20)) == 14_400
    assert usable_ma(10_001, Fraction(1, 3), Fraction(0)) == 3_333


@given(st.integers(0, 200_000), st.fractions(0, 1), st.fractions(0, 99))
def test_usable_is_the_floor(continuous, factor, headroom):
    """Never above the exact value, never a whole milliamp below it."""
    true = continuous * factor * (1 - headroom / 100)
    assert 0 <= true - usable_ma(continuous, factor, headroom) < 1
