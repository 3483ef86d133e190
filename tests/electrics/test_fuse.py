"""Main fuse and main feed."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.electrics.battery import FUSE_GATES, FUSE_RATINGS_A, fuse_latest_s, fuse_shortest_s, main_fuse_a
from pdm_alloc.electrics.wire import Refused, WireRules
from pdm_alloc.harness.distribution import StateSupply, main_feed


def one(name, running, peak):
    return StateSupply(name, 12.0, running, running, peak, None, -running, None, None)


def test_gates_are_the_recalled_ones(published):
    """The gates in use are the copied rows of ISO 8820-3, which are from memory."""
    rows = [row for row in published("fuse_gates") if row["standard"].startswith("ISO 8820-3")]
    assert all("FROM MEMORY" in row["status"] for row in rows)
    copied = [(float(r["percent_of_rating"]), float(r["t_min_s"]), float(r["t_max_s"] or math.inf)) for r in rows]
    assert copied == list(FUSE_GATES)


def test_quicker_than_ul_248_14(published):
    """A blade fuse opens within what UL 248-14 lets a slower supplementary fuse take at 135 and 200 % (seen)."""
    for row in published("fuse_gates"):
        if row["standard"].startswith("UL") and row["t_max_s"]:
            assert fuse_latest_s(float(row["percent_of_rating"])) <= float(row["t_max_s"])


@given(st.floats(111, 2000), st.floats(1.001, 3))
def test_gates_fall(percent, factor):
    """More current never takes longer, and the earliest time is never after the latest."""
    assert fuse_shortest_s(percent) <= fuse_latest_s(percent)
    assert fuse_shortest_s(percent * factor) <= fuse_shortest_s(percent)
    assert fuse_latest_s(percent * factor) <= fuse_latest_s(percent)


def test_at_and_between_gates():
    """On a gate the gate, at and below the rating never, beyond the last by constant I squared t."""
    assert fuse_shortest_s(200) == pytest.approx(0.15) and fuse_latest_s(200) == pytest.approx(5)
    assert fuse_shortest_s(100) == math.inf and fuse_latest_s(134) == math.inf
    assert fuse_shortest_s(1200) == pytest.approx(0.005)


@pytest.mark.parametrize(
    ("running", "peak", "seconds", "fuse"),
    [(40, 40, 0.1, 50), (40.1, 40.1, 0.1, 60), (40, 300, 0.05, 100), (0, 0, 0, 1), (401, 401, 1, None)],
)
def test_choice(running, peak, seconds, fuse):
    """At most 80 % loaded; an inrush of six times the rating needs a larger one; beyond the series none."""
    assert main_fuse_a(running, peak, seconds) == fuse


@given(st.floats(0.1, 300), st.floats(1, 6), st.floats(0.001, 1))
def test_smallest_that_holds(running, multiple, seconds):
    """The rating below the chosen one is overloaded or would open on the inrush."""
    fuse = main_fuse_a(running, running * multiple, seconds)
    if fuse is None or fuse == FUSE_RATINGS_A[0]:
        return
    below = FUSE_RATINGS_A[FUSE_RATINGS_A.index(fuse) - 1]
    assert running > 0.8 * below or fuse_shortest_s(100 * running * multiple / below) <= seconds


def test_main_feed():
    """The worst state sets the fuse, the fuse the wire, the length its drop."""
    feed = main_feed([one("day", 30, 90), one("night", 62, 150)], 0.1, 2.0, WireRules())
    assert (feed.state, feed.running_a, feed.peak_a, feed.fuse_a) == ("night", 62, 150, 80)
    assert feed.wire.ampacity_a >= 80 and feed.wire.drops_pct[0] <= 3
    assert feed.ohm == pytest.approx(2 * feed.wire.size.ohm_per_m * 335 / 250)


def test_peak_may_come_from_another_state():
    """A state with less running and more inrush still has to pass the fuse."""
    feed = main_feed([one("wipe", 20, 500), one("night", 62, 100)], 0.1, None, WireRules())
    assert feed.state == "night" and feed.peak_a == 500 and feed.fuse_a == 225
    assert feed.ohm is None and feed.wire.drops_pct == (None,)


def test_feeds_that_cannot_be():
    """No standard fuse, or no wire in that heat: said by a word."""
    assert main_feed([one("all", 900, 900)], 0.1, 2.0, WireRules()).wire == Refused("fuse")
    hot = main_feed([one("all", 60, 60)], 0.1, 2.0, WireRules(ambient_c=110))
    assert hot.wire == Refused("heat") and hot.ohm is None
