"""Voltage left at the loads."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.domain.vehicle import Command, Load, State, Vehicle
from pdm_alloc.harness.distribution import load_voltages, voltage_at_load

ECU = Load("ecu", "run", 5_000, importance="vital", min_v=8.0, volt_exponent=-1)
PUMP = Load("pump", "run", 10_000, kind="motor", volt_exponent=1)
ON = {"run": 1_000_000}
VEHICLE = Vehicle(
    "test",
    (ECU, PUMP),
    (Command("run"),),
    (State("ready", 12.0, ON), State("cranking", 8.5, ON), State("off", 12.0, {})),
)


def test_resistance_by_hand():
    """12 ohm behind 1 ohm at 13 V has 12 V; constant power has the higher root of a quadratic."""
    assert voltage_at_load(13, 1, 1, 1, 12) == pytest.approx(12)
    volts = voltage_at_load(12, 0.1, 5, -1, 12)
    assert volts**2 - 12 * volts + 0.1 * 5 * 12 == pytest.approx(0, abs=1e-9)
    assert volts == pytest.approx((12 + (144 - 24) ** 0.5) / 2)


def test_a_wire_that_cannot_feed():
    """Constant power behind too much wire has no operating point: 0 V, not a number from nowhere."""
    assert voltage_at_load(12, 5, 5, -1, 12) == 0
    assert voltage_at_load(0, 0.1, 5, 1, 12) == 0


@given(st.floats(5, 30), st.floats(0, 3), st.floats(0, 40), st.sampled_from([1, 0.55, 0, 2, 0.1]))
def test_drop_and_load_add_up(supply, ohm, running, exponent):
    """The voltage found and the drop of the current it causes make up the supply."""
    volts = voltage_at_load(supply, ohm, running, exponent, 12)
    if volts > 1e-3:
        assert volts + ohm * running * (volts / 12) ** exponent == pytest.approx(supply, rel=1e-8)
    else:
        assert ohm * running * (1e-3 / 12) ** exponent >= supply - 2e-3


@given(st.floats(6, 30), st.floats(0, 0.5), st.floats(0, 10))
def test_constant_power_is_the_higher_root(supply, ohm, running):
    """With constant power the result is above half the supply wherever one exists, and 0 otherwise."""
    volts = voltage_at_load(supply, ohm, running, -1, 12)
    real = supply**2 - 4 * ohm * running * 12
    if real > 1e-6:
        assert volts == pytest.approx((supply + real**0.5) / 2, rel=1e-9)
    elif real < -1e-6:
        assert volts == 0


def test_every_state_and_load():
    """Rows for loads that are on, in order; 8.5 V while cranking, 0.5 V lost in the feed, leaves the ECU too little."""
    lost = {(state, load): v for state, v in (("ready", 0.3), ("cranking", 0.5)) for load in ("ecu", "pump")}
    rows = load_voltages(VEHICLE, {"ecu": 0.02, "pump": None}, lost)
    assert [(row.state, row.load) for row in rows] == [
        *(("ready", "ecu"), ("ready", "pump")),
        *(("cranking", "ecu"), ("cranking", "pump")),
    ]
    ready, pump, cranking, _ = rows
    assert (
        ready.module_v == pytest.approx(11.7)
        and ready.supply_v == 12
        and ready.enough is True
        and ready.importance == "vital"
    )
    assert cranking.load_v < cranking.module_v == 8.0 and cranking.enough is False
    assert not pump.judged and pump.load_v == pump.module_v and pump.enough is None
    assert load_voltages(VEHICLE, {"ecu": 0.2})[2].enough is False
    assert load_voltages(VEHICLE, {"ecu": 0.0})[2].load_v == 8.5
