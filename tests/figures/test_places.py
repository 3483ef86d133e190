import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pdm_alloc.figures.choices import front, ledger, mass, pareto
from pdm_alloc.figures.drawing import place_labels
from pdm_alloc.figures.vehicle_plan import grounds, plan
from tests.figures import samples


def _lines(axes):
    return [line for line in axes.lines if len(line.get_xdata()) == 2]


def test_every_segment_joins_its_places_and_thicker_bundles_are_thicker_lines():
    """Lines lie where the harness lies, and their width tells the bundle's size."""
    places, segments, modules = samples.plan()
    at = places.set_index("place")[["x_m", "y_m"]].T.to_dict("list")
    lines = _lines(plan(places, segments, modules))
    drawn = [[*zip(line.get_xdata(), line.get_ydata(), strict=True)] for line in lines[: len(segments)]]
    assert drawn == [[tuple(at[s]), tuple(at[e])] for s, e in zip(segments["start"], segments["end"], strict=True)]
    widths = {row.bundle_mm: line.get_linewidth() for row, line in zip(segments.itertuples(), lines, strict=False)}
    assert [widths[mm] for mm in sorted(widths)] == sorted(widths.values())


def test_a_plan_keeps_its_proportions():
    """A metre along the car is a metre across it."""
    assert plan(*samples.plan()).get_aspect() == 1.0


def test_a_module_at_an_unknown_place_is_refused_by_name():
    """A module that would vanish from the drawing is an error."""
    places, segments, _ = samples.plan()
    with pytest.raises(ValueError, match="have no coordinates: cellar"):
        plan(places, segments, pd.DataFrame([("m", "cellar")], columns=["module", "place"]))


def test_a_plan_names_the_module_and_what_a_place_contains():
    """Where the module sits, and where battery and fuel are, is what the plan is looked at for."""
    texts = [text.get_text() for text in plan(*samples.plan()).texts]
    assert "middle-36\nglove box" in texts
    assert "tank (fuel)" in texts
    assert "battery box" in texts


def test_ground_points_say_what_they_bear_and_where_returns_come_from():
    """Every stud has its returns and worst current against its limit; returns known at both ends have a line."""
    places, points, returns = samples.grounds()
    axes = grounds(places, points, returns)
    texts = [text.get_text() for text in axes.texts]
    assert "S1: 9, 0.18 of 10 A\nG5: 8, 2.96 A\ndash" in texts
    assert "G4: 8, 14.7 of 150 A\nengine" in texts
    assert len(_lines(axes)) == 5
    with pytest.raises(ValueError, match="have no coordinates: cellar"):
        grounds(places, points.assign(place="cellar"), returns)


def test_ledger_bars_are_the_masses_of_its_rows():
    """A bar per known mass, in kg, removed parts left of zero; the part of unknown mass is left out."""
    table = samples.ledger()
    axes = ledger(table)
    assert [bar.get_width() for bar in axes.patches] == pytest.approx(table["mass_g"].dropna() / 1000)
    assert "relay with socket ×14" in [label.get_text() for label in axes.get_yticklabels()]


def test_labels_keep_clear_of_each_other():
    """Points on a coarse grid leave room: no two labels may overlap."""
    points = np.array([(x, y) for x in range(5) for y in range(4)], dtype=float)
    sizes = np.full((20, 2), (0.5, 0.2))
    centres = place_labels(points, sizes, 0.05)
    for n, (a, b) in enumerate(zip(*np.triu_indices(20, 1), strict=True)):
        assert (np.abs(centres[a] - centres[b]) >= sizes[0] - 1e-9).any(), n


def test_a_label_is_nearest_to_its_own_point():
    """A name between two points must not be read as the other's."""
    points = np.array([(0.0, 0.0), (1.0, 0.0), (0.5, 0.4)])
    sizes = np.full((3, 2), (0.3, 0.1))
    for own, centre in enumerate(place_labels(points, sizes, 0.04)):
        away = np.hypot(*(np.abs(points - centre) - sizes[0] / 2).clip(min=0).T)
        assert away.argmin() == own


def test_mass_is_stacked_lightest_first():
    """The three parts of a bar add up to what stands at its end."""
    axes = mass(samples.choices(6), most=4)
    table = samples.choices(6).sort_values("mass_g").head(4)
    ends = [bar.get_x() + bar.get_width() for bar in axes.patches[-4:]]
    assert ends == pytest.approx((table["mass_g"] / 1000).tolist())
    assert [text.get_text() for text in axes.texts] == [f"{g / 1000:.2f}" for g in table["mass_g"]]
    assert "the lightest 4 of 6 choices" in axes.get_xlabel()


_NUMBERS = st.lists(st.tuples(st.integers(1, 9), st.integers(1, 9)), min_size=1, max_size=12)


@given(_NUMBERS)
@settings(max_examples=200, deadline=None)
def test_the_front_is_what_nothing_beats(pairs):
    """Checked against the definition, pair by pair: on the front means nothing is as good and better in one."""
    table = pd.DataFrame(pairs, columns=["price", "mass_g"]).drop_duplicates()
    kept = set(front(table).itertuples(index=False, name=None))
    rows = list(table.itertuples(index=False, name=None))
    beaten = {a for a in rows for b in rows if b != a and b[0] <= a[0] and b[1] <= a[1]}
    assert kept == set(rows) - beaten


def test_the_picture_of_prices_numbers_the_front_and_names_it():
    """The numbers at the points and the list at the side are the same choices."""
    table = samples.choices(30)
    axes = pareto(table)
    listed = axes.texts[-1].get_text().replace("\n    ", " ").split("\n")
    assert [line[3:] for line in listed] == front(table)["choice"].tolist()
