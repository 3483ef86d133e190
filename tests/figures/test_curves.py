import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

import pdm_alloc as pa
from pdm_alloc.electrics.protection import damage_ms, short_time_c, trip_ms
from pdm_alloc.figures.limits import curves, inrush, trip_curve_a, wire_curve_a

_AMPS = st.floats(1.0, 30.0)


@given(_AMPS, _AMPS, st.floats(2.0, 12.0), st.floats(5, 50), st.floats(0, 400), st.floats(0.2, 1e5))
def test_the_trip_curve_is_where_the_channel_has_just_tripped(usable_a, trip_a, times, peak_ms, window_ms, t_ms):
    """A little more current than the curve trips by that time, a little less does not, says `trip_ms`."""
    channel = (usable_a, usable_a * times, peak_ms)
    at = float(trip_curve_a(np.array([t_ms]), trip_a, window_ms, *channel)[0])
    assume(abs(t_ms - window_ms) > 1e-6 * t_ms)
    assert trip_ms(1.0001 * at, trip_a, window_ms, *channel) <= t_ms * 1.001
    assert trip_ms(0.9999 * at, trip_a, window_ms, *channel) >= t_ms * 0.999


@given(st.floats(0.35, 16), st.floats(5, 100), st.sampled_from([60.0, 105.0, 125.0, 150.0]), st.floats(0.1, 1e5))
def test_the_wire_curve_is_the_damage_time_turned_round(area_mm2, ampacity_a, insulation_c, t_ms):
    """The current of the curve does its damage in just that time, unless the wire carries it for ever."""
    at = float(wire_curve_a(np.array([t_ms]), area_mm2, ampacity_a, insulation_c)[0])
    if at > ampacity_a:
        took = damage_ms(at, area_mm2, insulation_c, short_time_c(insulation_c))
        assert took == pytest.approx(t_ms)
    assert at >= ampacity_a


def test_a_circuit_on_its_channel_and_wire_can_be_drawn():
    """From numbers to picture: the circuit stays below the trip curve, the trip curve below the wire's."""
    table = curves(7.1, (35.5,), (50.0,), (8.9, 340.0), (8.62, 92.0, 25.0), (1.5, 22.0, 125.0), stalled_a=42.6)
    assert (table["circuit_a"] < table["trip_a"]).all()
    assert (table["trip_a"] < table["wire_a"]).all()
    assert table["circuit_a"].iloc[0] == pytest.approx(7.1 + 35.5 * math.exp(-0.1 / 50))
    assert len(inrush(table).lines) == 4


@pytest.fixture(scope="module")
def allocation():
    data = Path(__file__).resolve().parents[2] / "data"
    middle = pa.read_catalogue(data / "catalogue")["middle-36"]
    return pa.allocate(pa.read_vehicle(data / "rally_coupe"), pa.Unit("middle-36", middle, "glove box"))


def test_every_circuit_of_an_allocation_has_curves_that_keep_clear_of_each_other(allocation):
    """What the allocation promises must be seen in the picture: the inrush passes, and the wire outlasts the trip."""
    for channel in allocation.channels["channel"]:
        table = pa.figures.curves_of(allocation, channel)
        assert (table["circuit_a"] <= table["trip_a"]).all(), channel
        assert (table["trip_a"] <= table["wire_a"]).all(), channel


def test_curves_settle_at_the_running_current_of_the_settings(allocation):
    """The same numbers as in the table of settings: running current, stalled current, trip setting."""
    settings = allocation.settings.set_index("channel")
    for channel in settings.index:
        last = pa.figures.curves_of(allocation, channel).iloc[-1]
        assert last["circuit_a"] == pytest.approx(settings.running_a[channel])
        assert last["trip_a"] <= settings.trip_a[channel]
        stalled = settings.stalled_a[channel]
        assert math.isnan(stalled) or last["stalled_a"] == pytest.approx(stalled)


def test_a_channel_without_a_circuit_has_no_curves(allocation):
    """A spare channel, or one that does not exist, is named in the refusal."""
    with pytest.raises(KeyError, match="no circuit is on channel 99"):
        pa.figures.curves_of(allocation, 99)
