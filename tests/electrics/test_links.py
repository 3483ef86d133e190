"""Cables past the modules: fuse, cable, fault current, distance of the fuse."""

import pytest

from pdm_alloc.electrics.battery import FUSE_LOADING, LinkDemand, Source, fault_current_a, short_time_mm2, size_link
from pdm_alloc.electrics.protection import damage_ms
from pdm_alloc.electrics.wire import Refused, WireRules, resistance_ohm_per_m

RULES = WireRules()
SOURCE = Source(14.4, 0.005)


def test_fault_current_by_hand():
    """14.4 V over 5 milliohm of battery and 7 of cable is 1200 A; without any resistance there is no answer."""
    assert fault_current_a(14.4, 0.005, 0.007) == pytest.approx(1200)
    with pytest.raises(ValueError):
        fault_current_a(12, 0)


def test_a_feed():
    """Its fuse carries the current for long, its cable carries the fuse, and a short at its end opens the fuse soon."""
    link = size_link(LinkDemand("feed", 80, 120, 0.05, 3.0), RULES, SOURCE)
    assert link.fuse_a * FUSE_LOADING >= 80 and link.wire.ampacity_a >= link.fuse_a
    cold = resistance_ohm_per_m(link.wire.size, -20) * 3.0
    assert link.fault_a == pytest.approx(14.4 / 0.005)
    assert link.end_fault_a == pytest.approx(14.4 / (0.005 + cold))
    assert link.opens_s < 1 and link.cold_ohm < link.hot_ohm


def test_copper_in_the_cold_makes_the_larger_fault():
    """Resistance is least at the lowest ambient, so the short circuit is largest there."""
    demand = LinkDemand("feed", 80, 120, 0.05, 3.0)
    cold, warm = (size_link(demand, RULES, Source(14.4, 0.005, c)).end_fault_a for c in (-30, 20))
    assert cold > warm


def test_a_starter_cable_is_made_for_seconds():
    """Without fuse: 300 A for 10 s keep it within its class; ten times as long asks for sqrt(10) the area."""
    link = size_link(LinkDemand("starter", 300, 600, 0.2, 0.5, 50.0, fused=False, seconds=10), RULES, SOURCE)
    area = link.wire.size.area_mm2
    assert (link.fuse_a, link.opens_s, link.fuse_within_m) == (None, None, None)
    assert damage_ms(300, area, 30, 105) >= 10_000
    assert short_time_mm2(300, 100, 30, 105) == pytest.approx(10**0.5 * short_time_mm2(300, 10, 30, 105))


def test_a_starter_cable_is_no_warmer_than_its_class():
    """It is above what it carries for good and made to stay within its class: its drop is that of copper at 105 deg C.

    420 A for 30 s over 2.944 m out and back in an ambient of 65 deg C: 4/0 AWG (205,500 circular mils) has 0.2209 mohm
    a metre at its class, so 0.546 V, 2.28 % of 24 V; a steady current beyond its ampacity would have made it 2.36 %.
    """
    rules = WireRules(sizes="awg", ambient_c=65, return_path="wire", system_v=24, pack="boat")
    demand = LinkDemand("starter", 420, 420, 0, 2.944, 2.338, fused=False, seconds=30)
    wire = size_link(demand, rules, SOURCE).wire
    assert wire.size.name == "4/0 AWG" and wire.ampacity_a < 420
    assert wire.drops_pct[0] == pytest.approx(2.276, abs=0.002)


def test_an_alternator_link_flows_for_good():
    """Not fused and without an end its current must stay within 80 % of the cable's ampacity."""
    link = size_link(LinkDemand("alternator", 90, 90, 0, None, fused=False), RULES, SOURCE)
    assert link.wire.ampacity_a >= 90 / 0.8 and link.end_fault_a is None and link.hot_ohm is None


def test_what_cannot_be_had_is_said():
    """No standard fuse for 600 A; no cable in an ambient above its class."""
    assert size_link(LinkDemand("feed", 600, 600, 0, 1), RULES, SOURCE).wire == Refused("fuse")
    hot = WireRules(ambient_c=110)
    assert size_link(LinkDemand("starter", 300, 600, 0, 1, fused=False, seconds=5), hot, SOURCE).wire == Refused("heat")


def test_a_boat_has_its_fuse_within_seven_inches():
    """33 CFR 183.455, from memory: 7 inches are 178 mm; a road vehicle follows common practice."""
    demand = LinkDemand("feed", 40, 40, 0, 2)
    within = [size_link(demand, WireRules(pack=pack), SOURCE).fuse_within_m for pack in ("boat", "general")]
    assert within == [pytest.approx(7 * 0.0254, abs=5e-4), 0.3]
