"""Peukert's law, charge carried from state to state, days parked."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.domain.kinds import CHEMISTRIES
from pdm_alloc.electrics.battery import (
    CHARGE_EFFICIENCY,
    Battery,
    Leg,
    carry_charge,
    estimated_ohm,
    parked_days,
    peukert_hours,
    rated_draw_a,
)


@pytest.mark.parametrize(
    ("capacity", "amps", "exponent", "hours"),
    [
        (100, 10, 1.2, 6.3),  # worked example for a capacity stated at a rate of 1 A, from memory
        (100, 5, 1.2, 14.5),  # electrotechnik.net, Peukert law and discharge of lead acid batteries, seen
        (250, 20, 1.3, 5.09),  # easycalculation.com, battery capacity and discharge time, seen: 5.0886 h
    ],
)
def test_peukert_examples(capacity, amps, exponent, hours):
    """Published examples state the capacity at 1 A, where H = C and the law is C / I**k."""
    assert peukert_hours(capacity, capacity, amps, exponent) == pytest.approx(hours, abs=0.02)


def test_peukert_at_its_own_rate():
    """A 100 Ah battery stated at 20 h gives 5 A for 20 h whatever its exponent; no draw lasts for ever."""
    assert all(peukert_hours(100, 20, 5, k) == pytest.approx(20) for k in CHEMISTRIES.values())
    assert peukert_hours(100, 20, 0, 1.2) == math.inf


@given(st.floats(1, 300), st.floats(10, 500), st.floats(1, 1.5))
def test_rated_draw_is_the_law_above_the_rate_and_the_label_below(amps, capacity, exponent):
    """Time to empty is capacity over the draw at the rate; below the rate no more than the label is given."""
    battery = Battery(capacity, 0, 20, exponent)
    hours = capacity / rated_draw_a(amps, battery)
    law = peukert_hours(capacity, 20, amps, exponent)
    assert hours == pytest.approx(min(law, capacity / amps), rel=1e-9)


def test_charge_is_carried_over():
    """By hand, no Peukert: 60 Ah, floor 30 Ah; 20 A for 60 min leaves 40 Ah; as much again passes the floor."""
    legs = [Leg("night", 20, 0, 60), Leg("camp", 20, 0, 60), Leg("drive", 10, 30, 60)]
    night, camp, drive = carry_charge(Battery(60), legs)
    assert (night.end_ah, night.floor_minutes, night.carried) == (40, 90, True)
    assert (camp.start_ah, camp.end_ah, camp.floor_minutes, camp.carried) == (40, 20, 30, False)
    assert (drive.end_ah, drive.carried) == (20 + 20 * CHARGE_EFFICIENCY, True)


def test_a_starter_motor_takes_its_share():
    """200 A for 5 s from a 60 Ah battery of 1.25: 0.278 Ah by the clock, 0.781 Ah by Peukert (2.81 times)."""
    (crank,) = carry_charge(Battery(60, 50, 20, 1.25), [Leg("cranking", 200, 0, 5 / 60)])
    assert 60 - crank.end_ah == pytest.approx(200 * 5 / 3600 * (200 / 3) ** 0.25, rel=1e-9)


def test_a_state_of_unknown_length_changes_nothing():
    """What cannot be counted is said, and the next state starts with the same charge."""
    first, second = carry_charge(Battery(60), [Leg("a", 10), Leg("b", 10, 0, 30)])
    assert (first.carried, first.end_ah, second.start_ah) == (None, 60, 60)


@given(st.lists(st.tuples(st.floats(0, 200), st.floats(0, 200), st.floats(0, 600)), max_size=6), st.floats(1, 1.5))
def test_charge_stays_within_the_battery(legs, exponent):
    """Whatever is drawn and charged, a battery is neither fuller than full nor emptier than empty."""
    result = carry_charge(Battery(80, 40, 20, exponent), [Leg(str(n), *leg) for n, leg in enumerate(legs)])
    assert all(0 <= leg.end_ah <= 80 for leg in result)
    assert all(
        leg.carried == (leg.end_ah >= 32 - 1e-9)
        for leg in result
        if leg.start_ah >= 32 and leg.floor_minutes != math.inf
    )


def test_days_parked():
    """30 Ah above the floor at 25 mA last 50 days; nothing drawn lasts for ever."""
    assert parked_days(Battery(60, 50, 20, 1.25), 25) == pytest.approx(50)
    assert parked_days(Battery(60), 0) == math.inf
    assert parked_days(Battery(60), 25, start_ah=20) == 0


def test_estimated_resistance_against_the_crank_test(published):
    """A 60 Ah battery cranked with 540 A (from memory) at -18 deg C sags from 12.6 V to 7.2 V at most: 10 milliohm."""
    row = published("battery_crank_tests", standard="SAE")[0]
    limit = (12.6 - float(row["min_V"])) / 540
    assert 0.5 * limit < estimated_ohm(60, 12) <= limit
