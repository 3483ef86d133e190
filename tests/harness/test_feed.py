"""Feeds from the battery."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from pdm_alloc.domain.vehicle import PPM, Load, State
from pdm_alloc.electrics.battery import as_constant_s
from pdm_alloc.electrics.wire import mass_g_per_m
from pdm_alloc.harness.distribution import Feeder, surges
from tests.wiring import small

LAMP = Load("lamp", "light", 10_000, count=2, kind="filament", inrush_ma=70_000, inrush_ms=60.0, place="left")
PUMP = Load("pump", "pump", 20_000, kind="motor", inrush_ma=50_000, inrush_ms=150.0, place="right", volt_exponent=1.0)


def test_surges_by_hand():
    """Two lamps bring 2 x 60 A for two thirds of 20 ms; the pump, on at 15 V only, 30 A x 15 / 12."""
    states = (State("night", 12.0, {"light": PPM, "pump": 0}), State("day", 15.0, {"light": 0, "pump": PPM}))
    vehicle = small.forked(LAMP, PUMP, states=states)
    assert surges(vehicle) == ((120_000, pytest.approx(2 / 3 * 0.020)), (37_500, pytest.approx(2 / 3 * 0.050)))


@given(st.floats(0, 50), st.floats(0.1, 200), st.floats(1, 500))
def test_held_peak_heats_no_less_than_the_inrush(running, excess, tau):
    """Current squared over time, above what running alone brings, by numerical integration."""
    more = quad(lambda t: (running + excess * math.exp(-t / tau)) ** 2 - running**2, 0, 40 * tau, limit=200)[0]
    assert (running + excess) ** 2 * as_constant_s(tau) * 1000 >= more * (1 - 1e-6)


def test_feed_by_hand():
    """40 A: the 50 A fuse is loaded by 80 %; the cable carries 50 A and is 2 x 1.05 + 0.3 m long."""
    vehicle = small.forked(LAMP, PUMP, battery_place="source")
    feeder = Feeder(vehicle)
    assert feeder.length_m("joint") == pytest.approx(2.4)
    feed = feeder.feed(40_000, "joint", "all on")
    assert (feed.state, feed.fuse_a, feed.running_a, feed.peak_a) == ("all on", 50.0, 40.0, 160.0)
    assert feed.wire.ampacity_a >= 50 and feed.wire.drops_pct[0] <= 3
    assert feeder.mass_g(40_000, "joint") == pytest.approx(2.4 * mass_g_per_m(feed.wire.size.area_mm2))
    assert feed.ohm == pytest.approx(2.4 * feed.wire.size.ohm_per_m * 335 / 250)


def test_feed_grows_with_the_current_and_the_way():
    """More current or a longer way never makes a lighter feed; back by wire is twice the cable."""
    vehicle = small.forked(LAMP, PUMP, battery_place="source")
    masses = [Feeder(vehicle).mass_g(ma, "joint") for ma in range(5_000, 300_000, 5_000)]
    assert masses == sorted(masses)
    far = Feeder(vehicle).mass_g(40_000, "right")
    assert far > Feeder(vehicle).mass_g(40_000, "joint")
    wired = replace(vehicle, settings=replace(vehicle.settings, return_path="wire"))
    assert Feeder(wired).mass_g(40_000, "joint") >= 2 * Feeder(vehicle).mass_g(40_000, "joint")


def test_an_unknown_way_is_not_weighed():
    """Without a battery place, or without a place of the module, fuse and cable stand and the mass does not."""
    feeder = Feeder(small.forked(LAMP))
    assert feeder.mass_g(40_000, "joint") is None and feeder.feed(40_000, "joint").fuse_a == 50.0
    assert Feeder(small.forked(LAMP, battery_place="source")).mass_g(40_000, None) is None


def test_the_surge_that_matters_most_sizes_the_fuse():
    """A long inrush of a pump asks for a larger fuse than the higher but short one of lamps."""
    slow = replace(PUMP, inrush_ma=130_000, inrush_ms=3_000.0)
    quick, both = (Feeder(small.forked(*loads, battery_place="source")) for loads in ((LAMP,), (LAMP, slow)))
    assert quick.feed(40_000, "joint").fuse_a == 50.0
    assert both.feed(40_000, "joint").fuse_a > 50.0
