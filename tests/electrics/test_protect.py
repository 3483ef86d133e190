"""Setting and wire of a circuit together."""

from dataclasses import dataclass, replace
from fractions import Fraction

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from pdm_alloc.electrics.protection import (
    Demand,
    Protected,
    damage_ms,
    inrush_current,
    protect,
    trip_setting_ma,
    window_passes,
)
from pdm_alloc.electrics.wire import Refused, WireRules, choose_wire

RULES = WireRules()


@dataclass(frozen=True)
class Ratings:
    rated_ma: Fraction = Fraction(20_000)
    usable_ma: int = 16_000
    peak_ma: int = 100_000
    peak_ms: float = 300.0
    trip_step_ma: int = 100
    max_wire_mm2: float | None = None
    pins: int = 1
    wires: int = 1
    share: Fraction = Fraction(1)
    trip_error_pct: Fraction = Fraction(0)
    contact_ma: int | None = 100_000


def lamps(running_ma=9_200, runs=((9.2, 3.0, 3.0),)):
    return Demand(running_ma, (101.2,), (20.0,), 0, runs)


def test_lamps_by_hand():
    """9.2 A of lamps: 11.5 A trip, window 1.5 x 20 ms x ln(101.2 / 2.3) in whole tens, wire for drop."""
    result = protect(lamps(), Ratings(), RULES)
    assert (result.trip_ma, result.window_ms, result.stall) == (11_500, 120.0, None)
    assert result.wire == choose_wire(11.5, 9.2, [(9.2, 3.0, 3.0)], RULES)


@pytest.mark.parametrize(
    ("demand", "ratings", "rules", "reason"),
    [
        (lamps(20_001), Ratings(), RULES, "rating"),
        (lamps(), Ratings(), WireRules(ambient_c=110), "heat"),
        (lamps(), Ratings(max_wire_mm2=0.5), RULES, "terminal"),
        (lamps(runs=((9.2, 900.0, 0.1),)), Ratings(), RULES, "drop"),
        (lamps(), Ratings(max_wire_mm2=300.0), WireRules(ambient_c=104.9999), "ampacity"),
        (Demand(8_000, (45.0,), (50.0,), 53_000, ()), Ratings(peak_ms=60_000, max_wire_mm2=0.5), RULES, None),
    ],
)
def test_reasons(demand, ratings, rules, reason):
    """Every way not to be wired has its word; a stalled motor that a short window clears has none."""
    result = protect(demand, ratings, rules)
    assert result == Refused(reason) if reason else isinstance(result, Protected)


def test_contacts_ask_for_pins():
    """A setting of 11.5 A: one contact of 11.5 A, two of 11.499 A, all where not known; two of 5.749 A are too weak."""
    three = Ratings(pins=3, contact_ma=11_500)
    contacts = (11_500, 11_499, 3_834, None)
    assert [protect(lamps(), replace(three, contact_ma=ma), RULES).wire.parallel for ma in contacts] == [1, 2, 3, 3]
    assert protect(lamps(), Ratings(pins=2, contact_ma=5_749), RULES) == Refused("contact")


TERMINALS = st.fixed_dictionaries(
    {
        "rated_ma": st.integers(5_000, 60_000).map(Fraction),
        "max_wire_mm2": st.sampled_from([None, 0.5, 1.0, 2.5, 4.0, 10.0]),
        "pins": st.sampled_from([2, 4, 6]),
        "contact_ma": st.sampled_from([None, 4_000, 9_000, 30_000]),
    }
)


def terminal(rated_ma, max_wire_mm2, pins, contact_ma):
    return {"rated_ma": Fraction(rated_ma), "max_wire_mm2": max_wire_mm2, "pins": pins, "contact_ma": contact_ma}


@example(terminal(40_000, 4.0, 4, None), terminal(40_000, 4.0, 4, 30_000), (1, Fraction(1)), 9_000, 0, 3.0)
@example(terminal(40_000, 10.0, 2, 30_000), terminal(40_000, 1.0, 4, 30_000), (1, Fraction(1)), 9_000, 0, 3.0)
@given(
    TERMINALS,
    TERMINALS,
    st.sampled_from([(1, Fraction(1)), (2, Fraction(1, 2)), (2, Fraction(3, 5))]),
    st.integers(500, 40_000),
    st.sampled_from([0, 60_000]),
    st.floats(0.3, 40),
)
def test_what_another_terminal_has_shown_changes_nothing(one, other, paths, running_ma, stalled_ma, length_m):
    """A circuit known on one kind of channel is protected on another as if it were not, whatever the two terminals."""
    demand = Demand(running_ma, (2.0 * running_ma / 1000,), (20.0,), stalled_ma, ((running_ma / 1000, length_m, 3.0),))
    weak, strong = (
        Ratings(**each, wires=paths[0], share=paths[1], trip_error_pct=Fraction(3)) for each in (one, other)
    )
    like, plain = protect(demand, weak, RULES), protect(demand, strong, RULES)
    if isinstance(like, Protected) and like.trip_ma <= strong.rated_ma * strong.share * strong.wires:
        assert protect(demand, strong, RULES, like) == plain


def test_stall_asks_for_a_thicker_wire():
    """A slow motor needs a window of seconds: the wire grows until it outlasts the stall, or there is none."""
    slow = Demand(4_000, (36.0,), (3_000.0,), 40_000, ())
    ratings = Ratings(peak_ms=60_000.0)
    plain = choose_wire(5.0, 4.0, [], RULES)
    result = protect(slow, ratings, RULES)
    assert result.wire.size.area_mm2 > plain.size.area_mm2
    assert result.stall.safe and result.stall.trip_ms < result.stall.damage_ms
    assert damage_ms(40.0, plain.size.area_mm2, 105, 160) < result.stall.trip_ms
    assert protect(slow, Ratings(peak_ms=60_000.0, max_wire_mm2=plain.size.area_mm2), RULES) == Refused("stall")


@given(
    st.integers(100, 15_000),
    st.lists(st.tuples(st.floats(0, 60), st.floats(0.5, 400)), max_size=3),
    st.booleans(),
    st.sampled_from([105.0, 125.0]),
)
def test_whatever_is_allowed_is_protected(running, pairs, motor, insulation):
    """Setting, window, wire and stall of every circuit that is let through hold by the plain functions."""
    excess, tau = zip(*pairs, strict=True) if pairs else ((), ())
    stalled = running + round(1000 * sum(excess)) if motor else 0
    rules, ratings = WireRules(insulation_c=insulation), Ratings()
    result = protect(Demand(running, excess, tau, stalled, ((running / 1000, 2.0, 3.0),)), ratings, rules)
    if isinstance(result, Refused):
        assert result in ("rating", "stall", "drop", "ampacity")
        return
    trip = result.trip_ma / 1000
    assert result.trip_ma == trip_setting_ma(running, ratings.rated_ma, 100)
    assert result.wire.ampacity_a >= trip
    assert result.wire.drops_pct[0] <= 3 * (1 + 1e-9)
    assert window_passes(running / 1000, excess, tau, trip, result.window_ms)
    assert inrush_current(result.window_ms + 1e-6, running / 1000, excess, tau) <= trip
    assert result.wire.parallel == 1
    assert result.stall.safe if motor else result.stall is None


def test_a_channel_whose_reading_is_off_trips_later_and_waits_longer():
    """9.2 A and 5 %: 1.25 x 9.2 / 0.95 up to 12.2 A; it may read that at 11.59 A: 1.5 x 20 ms x ln(101.2 / 2.39)."""
    result = protect(lamps(), Ratings(trip_error_pct=Fraction(5)), RULES)
    assert (result.trip_ma, result.window_ms) == (12_200, 120.0)
    assert protect(lamps(16_000), Ratings(trip_error_pct=Fraction(1)), RULES) == Refused("rating")
    assert protect(lamps(16_000), Ratings(), RULES).trip_ma == 20_000


def test_a_pulsed_load_has_an_inrush_time():
    """An injector draws nothing above running, but each pulse must pass: 20 ms at least, in whole tens."""
    pulsed = Demand(900, (0.0,), (0.0,), 0, (), 20.0)
    assert protect(pulsed, Ratings(), RULES).window_ms == 20.0
    assert protect(replace(pulsed, window_ms=0.0), Ratings(), RULES).window_ms == 0.0


def test_two_channels_that_share_unevenly_are_set_for_the_larger_share():
    """20 A over two of 60 %: 1.25 x 12 A = 15 A each; of two channels of 16 A usable each 26.6 A."""
    pair = Ratings(Fraction(100_000, 3), 26_666, 166_666, pins=2, wires=2, share=Fraction(3, 5))
    result = protect(Demand(20_000, (), (), 0, ()), pair, RULES)
    assert result.trip_ma == 2 * 15_000
    assert result.wire.ampacity_a >= 30
    assert protect(Demand(26_667, (), (), 0, ()), pair, RULES) == Refused("rating")
    assert protect(Demand(26_666, (), (), 0, ()), pair, RULES).trip_ma == 2 * 20_000


def test_paralleled_channels_have_a_conductor_each():
    """Two channels together: two conductors even where one would do, and four where two do not."""
    half = Fraction(1, 2)
    pair = Ratings(rated_ma=Fraction(40_000), usable_ma=32_000, pins=4, wires=2, max_wire_mm2=2.5, share=half)
    assert protect(lamps(), pair, RULES).wire.parallel == 2
    assert protect(lamps(32_000, ()), pair, WireRules(bundle_wires=7)).wire.parallel == 4


def test_without_a_terminal_as_many_conductors_as_it_takes():
    """A rating no single size carries: two thick ones for 1,000 A, though the channel names one pin."""
    huge = Ratings(rated_ma=Fraction(2_000_000), usable_ma=1_600_000, peak_ma=9_000_000, contact_ma=None)
    result = protect(Demand(800_000, (), (), 0, ()), huge, RULES)
    assert result.wire.parallel == 2 and result.wire.ampacity_a >= 1_000
    assert choose_wire(1_000.0, 800.0, [], RULES) == Refused("ampacity")
