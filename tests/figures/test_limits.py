import numpy as np
import pandas as pd
import pytest
from matplotlib.colors import to_hex

from pdm_alloc.figures import drawing as style
from pdm_alloc.figures.limits import drop, inrush, room
from pdm_alloc.figures.ways_out import concessions, shortfall, states, supply
from tests.figures import samples
from tests.figures.look import words


def _texts(axes):
    return [text for text, _ in words(axes)]


def _state(current_a):
    columns = ["module", "subject", "state", "current_a", "limit_a"]
    return pd.DataFrame([("m", "bank a", "ready", current_a, 50.0)], columns=columns)


@pytest.mark.parametrize(("current_a", "filled"), [(0.0, 0.0), (20.0, 0.4), (50.0, 1.0), (80.0, 1.0)])
def test_a_cell_is_filled_as_far_as_its_limit_is_used(current_a, filled):
    """Half a limit is half a cell, and a cell never runs into its neighbour."""
    _, bar = states(_state(current_a)).patches
    assert bar.get_width() == pytest.approx(0.94 * filled)


@pytest.mark.parametrize(("current_a", "hatched"), [(49.9, False), (50.0, False), (50.1, True)])
def test_a_cell_is_hatched_only_above_its_limit(current_a, hatched):
    """At the limit is allowed, above is not."""
    assert bool(states(_state(current_a)).patches[1].get_hatch()) is hatched


def test_a_shortfall_bar_shows_what_there_is_of_what_is_needed():
    """31 of 35 channels is a bar to 31/35 and a hatched rest, with the sentence above it."""
    axes = shortfall(samples.shortfall().head(1))
    have, missing = axes.patches
    assert have.get_width() == pytest.approx(31 / 35)
    assert (missing.get_x(), missing.get_width()) == pytest.approx((31 / 35, 4 / 35))
    assert {"4 more channels", "31 of 35"} <= set(_texts(axes))


@pytest.mark.parametrize(
    ("sets", "title"),
    [((1, 1), "all of it together"), ((0, 0), "each kind of limit alone"), ((1, 0), "together; below it")],
)
def test_a_shortfall_says_whether_its_bars_grow_together(sets, title):
    """Parts of one growth are not each enough by themselves, and the heading says which they are."""
    table = samples.shortfall().head(2).assign(set=sets)
    assert title in shortfall(table).get_title(loc="left")


def test_a_limit_without_numbers_still_shows_its_sentence():
    """Where no single kind of limit is enough there is a sentence and no number."""
    table = samples.shortfall().head(1).assign(need=np.nan, have=np.nan)
    axes = shortfall(table)
    assert not axes.patches
    assert "4 more channels" in _texts(axes)


def test_two_sets_of_concessions_show_every_member_and_their_sums():
    """Nothing of a set may be hidden: each member, its weight, and the weight of the set."""
    axes = concessions(samples.concessions())
    texts = _texts(axes)
    assert "set 1:  3 concessions, weight 28" in texts
    assert "set 2:  3 concessions, weight 57" in texts
    assert {"20", "4", "30", "15", "12"} <= set(texts)
    assert "leave out: passenger window" in texts


def test_a_set_that_does_not_exist_is_refused():
    """Asking for a third set where there are two is a mistake to be told about."""
    with pytest.raises(ValueError, match="no set of concessions of rank 3"):
        concessions(samples.concessions(), ranks=(1, 3))


def test_inrush_draws_the_columns_it_is_given_on_logarithmic_axes():
    """Times from a tenth of a millisecond to minutes and currents from 1 A to 1000 A need logarithmic axes."""
    table = samples.curves()
    axes = inrush(table)
    assert (axes.get_xscale(), axes.get_yscale()) == ("log", "log")
    drawn = {line.get_label(): line for line in axes.lines}
    wire = table.dropna(subset=["wire_a"])
    assert drawn["the wire is damaged"].get_ydata() == pytest.approx(wire["wire_a"].to_numpy())
    assert drawn["the channel switches off"].get_ydata() == pytest.approx(table["trip_a"].to_numpy())


def test_inrush_without_a_motor_has_no_stalled_curve():
    """A lamp does not stall."""
    axes = inrush(samples.curves().drop(columns="stalled_a"))
    assert len(axes.lines) == 3


def test_drops_stand_longest_first_and_loads_without_length_are_counted():
    """The worst drop is on top, and what is not judged is said."""
    axes = drop(samples.drops(20))
    widths = [bar.get_width() for bar in axes.patches]
    assert widths == sorted(widths, reverse=True)
    assert len(widths) == 18
    assert "2 loads without a length are not judged" in axes.get_xlabel()


def test_a_drop_above_its_own_limit_is_hatched():
    """3.2 per cent is too much for a pump and nothing for a comfort load."""
    table = pd.DataFrame({"load": ["pump", "lamp"], "drop_pct": [3.2, 3.2], "limit_pct": [3.0, 10.0]})
    hatched = {label.get_text(): bool(bar.get_hatch()) for label, bar in zip(*_by_row(drop(table)), strict=True)}
    assert hatched == {"pump": True, "lamp": False}


def _by_row(axes):
    return axes.get_yticklabels(), axes.patches


def test_supply_says_how_long_the_battery_lasts_where_charging_is_not_enough():
    """The builder wants minutes, and only where they are counted."""
    table = samples.supply().iloc[[3, 4, 6]]
    texts = _texts(supply(table))
    assert "+4.0 A" in texts
    assert "−21.0 A, battery lasts 86 min" in texts
    assert "charging not stated" in texts


def test_supply_counts_the_starter_and_names_the_charge_at_the_end():
    """28 A of loads and 180 A of starter are 208 A; the charge carried on stands beside."""
    table = samples.supply().iloc[[1]].assign(other_a=180.0, end_ah=55.85, floor_minutes=2.8)
    assert "−208.0 A, battery lasts 3 min, ends at 56 Ah" in _texts(supply(table))


def test_supply_bars_are_the_mean_and_the_mark_is_charging():
    """Bar, line and mark are where the numbers are."""
    axes = supply(samples.supply().iloc[[4]])
    assert axes.patches[0].get_width() == 111
    marks = {line.get_marker(): line.get_xdata()[0] for line in axes.lines}
    assert (marks["D"], marks["|"]) == (90, 186)


def test_room_left_is_a_count_and_what_stops_the_next_one():
    """How many more, and why not one more."""
    axes = room(samples.room())
    assert [bar.get_width() for bar in axes.patches] == [4, 2, 20, 0, 6]
    assert "20 or more" in _texts(axes)
    assert "2   then: channels of at least 11 A" in _texts(axes)


def test_full_cells_are_dark_from_nine_tenths():
    """A limit that is nearly used up stands out before it is passed."""
    tones = [to_hex(states(_state(a)).patches[1].get_facecolor()) for a in (44.9, 45.0)]
    assert tones == [style.STEPS[1], style.RUNNING]
