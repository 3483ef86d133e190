"""What the recount takes a setting to trip at, worked out by hand; each line was alive under a mutation once."""

from dataclasses import replace
from fractions import Fraction

import pytest

from pdm_alloc.verify.assignment import Recount
from pdm_alloc.verify.strength import draw_below_trip, rated_ma, reads_ma
from tests.verify import case


def wired(name, *, vehicle=case.VEHICLE, error_pct=0, share_pct=50):
    """The recount and one circuit of the case, its module off in its reading, its pair off in its halves."""
    channels = tuple(replace(c, share_pct=Fraction(share_pct)) if c.pair else c for c in case.MODULE.channels)
    units = case.units(trip_error_pct=Fraction(error_pct), channels=channels)
    recount = Recount(vehicle, units, case.wired())
    return recount, next(w for w in recount.wired if w.circuit.channel == name)


@pytest.mark.parametrize(
    ("name", "setting_ma", "error_pct", "share_pct", "trips_ma"),
    [
        ("3", 10_000, 0, 50, 10_000.0),
        ("3", 10_000, 4, 50, 9_600.0),  # a reading that is 4 % high
        ("5+6", 20_000, 0, 50, 20_000.0),  # two halves of 10 A
        ("5+6", 20_000, 0, 80, 12_500.0),  # 10 A on one of them are 80 % of 12.5 A
        ("5+6", 20_000, 4, 80, 12_000.0),
    ],
)
def test_least_current_at_which_a_setting_trips(name, setting_ma, error_pct, share_pct, trips_ma):
    """The channel with the larger share decides, its reading high by its error."""
    _, circuit = wired(name, error_pct=error_pct, share_pct=share_pct)
    assert reads_ma(circuit, setting_ma) == pytest.approx(trips_ma, rel=1e-12)


def test_a_draw_that_reaches_the_trip_is_found_with_state_and_voltage():
    """Pump and radio draw 6.9 + 0.87 A at 13.8 V in driving, which trips 7.77 A and does not trip 7.771 A."""
    recount, circuit = wired("3")
    assert list(draw_below_trip(recount, circuit, 7_771)) == []
    (finding,) = draw_below_trip(recount, circuit, 7_770)
    assert (finding.rule, finding.module, finding.channel, finding.state) == (
        "draw below trip",
        "compact",
        "3",
        "driving",
    )
    assert (finding.value, finding.limit, finding.unit) == (7.77, 7.77, "A")
    assert finding.message == "it draws 7.77 A at 13.8 V and may trip at 7.77 A"


def test_a_circuit_that_is_never_on_is_judged_at_the_reference_voltage():
    """With every duty 0 pump and radio draw 6 + 1 A at 12 V, in no state."""
    ready, driving = case.still().states
    off = replace(case.still(), states=(replace(ready, duty_ppm=dict.fromkeys(case.NAMES, 0)), driving))
    (finding,) = draw_below_trip(*wired("3", vehicle=off), 7_000)
    assert (finding.state, finding.value) == ("", 7.0)


def test_a_rating_is_derated():
    """At 75 deg C three quarters are left: 7.5 A of a channel of 10 A, 18 A of a pair of 12 A each."""
    recount = Recount(case.at_place(75.0), case.units("bulkhead"), case.wired())
    rated = {w.circuit.channel: rated_ma(recount, w) for w in recount.wired}
    assert (rated["3"], rated["5+6"]) == (7_500, 18_000)


@pytest.mark.parametrize(("at_once", "lifts"), [(0, (0, 0)), (1, (3_600, 40)), (2, (3_600, 40))])
def test_surges_of_several_items_with_their_tolerance(at_once, lifts):
    """A lamp is 36 A above its 4 A, two markers 0.2 A each above 0.5 A; 10 % of that where it is guarded against."""
    loose = case.loose("lights", 10, tolerance_loads=at_once)
    loads = tuple(replace(x, inrush_ma=700) if x.name == "marker" else x for x in loose.loads)
    recount, circuit = wired("1", vehicle=replace(loose, loads=loads))
    lamp, marker = recount.surges(circuit, 12.0)
    assert (lamp[:2], marker[:2]) == ((36_000, lifts[0]), (400, lifts[1]))


def test_a_coil_draws_most_at_its_coldest():
    """1 A of a solenoid at -20 deg C is 1 A x 254.5 / 214.5 = 1.187 A, and its inrush of 3 A is that much more."""
    cold = case.settings(lowest_ambient_c=-20.0)
    loads = tuple(replace(x, kind="solenoid", inrush_ma=3_000) if x.name == "dash light" else x for x in cold.loads)
    recount, circuit = wired("4", vehicle=replace(cold, loads=loads))
    (load, _), *_ = circuit.counts
    assert recount.draw(load, 12.0) == 1_187
    assert recount.cold_excess(load, 12.0) == 2_373  # 3559.44 less 1187, rounded up


def test_the_tolerance_of_several_items_counts_each():
    """Lamp and two markers: 4 + 1 A and 10 % of each, 0.4 + 0.1 A."""
    recount, circuit = wired("1", vehicle=case.loose("lights", 10, tolerance_loads=2))
    assert recount.draw_at(circuit, 12.0) == 5_500
