"""Edits on the board: no edit loses or invents a place, and its opposite restores the rows."""

import string
from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

import pdm_alloc as pa
from pdm_alloc.files.plain import vehicle_plain
from pdm_alloc.files.tables.table_edits import BadEdit, Plan, edited, plan_of, uses

pytestmark = pytest.mark.once

NAMES = [f"place {letter}" for letter in string.ascii_lowercase[:6]]
MM = st.integers(-9_000, 9_000).map(lambda mm: mm / 1000)


@st.composite
def plans(draw):
    """Places, some without coordinates, with routes no shorter than the straight distance, a battery and a module."""
    names = draw(st.lists(st.sampled_from(NAMES), min_size=2, unique=True))
    points = {name: draw(st.none() | st.tuples(MM, MM)) for name in names}
    places = tuple(
        {"place": name, "x_m": f"{p[0]:.4f}" if p else "", "y_m": f"{p[1]:.4f}" if p else "", "mount": "yes"}
        | ({"contains": draw(st.sampled_from(["", "battery", "fuel", "battery fuel"]))})
        for name, p in points.items()
    )
    plan = Plan(places, mounted=(("unit", names[0]),), settings=({"setting": "battery_place", "value": names[1]},))
    routes = []
    for one, other in draw(st.lists(st.tuples(*[st.sampled_from(names)] * 2), max_size=6)):
        row = {"from": one, "to": other, "length_m": ""}
        straight = plan.straight_m(row)
        if one == other or straight == 0 or any({r["from"], r["to"]} == {one, other} for r in routes):
            continue
        extra = draw(st.none() | st.integers(0, 3_000))
        if straight is None or extra is not None:
            row["length_m"] = f"{(straight or 0) + (extra or 100) / 1000 + 0.0001:.4f}"
        routes.append(row)
    return replace(plan, routes=tuple(routes))


def numbers(plan):
    """Places, routes, settings and modules, with numbers for texts: 0.5 and 0.50 are one length."""

    def read(row):
        return {k: float(v) if k.endswith("_m") and v else v for k, v in row.items() if v}

    return [[read(row) for row in rows] for rows in (plan.places, plan.routes, plan.settings)], plan.mounted


@given(plans(), st.data(), MM, MM)
def test_a_place_moved_there_and_back_is_where_it_was(plan, data, x, y):
    """Stated lengths follow a drag and come back with it; nobody else's row changes."""
    place = data.draw(st.sampled_from(plan.names))
    at = plan.point(place)
    assume(at is not None)
    there, _ = edited(plan, {"op": "move", "place": place, "x": x, "y": y})
    assert there.point(place) == (x, y)
    assert there.names == plan.names
    assert [r for r in there.places if r["place"] != place] == [r for r in plan.places if r["place"] != place]
    assert [r for r in there.routes if place not in (r["from"], r["to"])] == [
        r for r in plan.routes if place not in (r["from"], r["to"])
    ]
    back, _ = edited(there, {"op": "move", "place": place, "x": at[0], "y": at[1]})
    assert numbers(back) == numbers(plan)


@given(plans(), st.data(), MM, MM, st.booleans())
def test_no_move_makes_a_route_shorter_than_the_straight_distance(plan, data, x, y, follow):
    """The tables would be refused for it."""
    after, _ = edited(
        plan, {"op": "move", "place": data.draw(st.sampled_from(plan.names)), "x": x, "y": y, "follow": follow}
    )
    for row in after.routes:
        straight = after.straight_m(row)
        assert not row["length_m"] or straight is None or float(row["length_m"]) >= straight - 0.0001


@given(plans(), st.data())
def test_battery_and_module_go_there_and_back(plan, data):
    """The word battery goes with the battery; a module changes its place alone."""
    place = data.draw(st.sampled_from(plan.names))
    for box, old in (("battery", plan.setting("battery_place")), ("unit", dict(plan.mounted)["unit"])):
        there, _ = edited(plan, {"op": "put", "box": box, "place": place})
        assert there.names == plan.names
        assert (there.setting("battery_place") if box == "battery" else dict(there.mounted)["unit"]) == place
        if box == "unit":
            assert (there.places, there.routes, there.settings) == (plan.places, plan.routes, plan.settings)
        words = {n: set(plan.row(n).get("contains", "").split()) for n in plan.names}
        if "battery" in words[old] or "battery" not in words[place]:
            assert numbers(edited(there, {"op": "put", "box": box, "place": old})[0]) == numbers(plan)


@given(plans(), st.data(), MM, MM)
def test_what_is_added_can_be_deleted(plan, data, x, y):
    """A place or a route added and deleted leaves the rows as they were."""
    there, _ = edited(plan, {"op": "add", "name": " new  one ", "x": x, "y": y, "mount": True})
    assert there.names == [*plan.names, "new one"]
    assert there.point("new one") == (x, y)
    assert edited(there, {"op": "delete", "place": "new one"})[0] == plan
    ends = data.draw(st.lists(st.sampled_from(plan.names), min_size=2, max_size=2, unique=True))
    try:
        joined, _ = edited(plan, {"op": "join", "start": ends[0], "end": ends[1]})
    except BadEdit:
        same = any({r["from"], r["to"]} == set(ends) for r in plan.routes)
        points = [plan.point(end) for end in ends]
        assert same or None in points or points[0] == points[1]
    else:
        assert len(joined.routes) == len(plan.routes) + 1
        assert edited(joined, {"op": "part", "start": ends[1], "end": ends[0]})[0] == plan


@given(plans())
def test_a_row_gives_every_place_coordinates_and_keeps_those_there_are(plan):
    """Laid out in a row, nothing that had coordinates moves, nothing is invented, no stated length is lost."""
    if all(map(plan.point, plan.names)):
        with pytest.raises(BadEdit):
            edited(plan, {"op": "row"})
        return
    after, _ = edited(plan, {"op": "row"})
    assert after.names == plan.names
    assert all(map(after.point, after.names))
    kept = [name for name in plan.names if plan.point(name)]
    assert [after.point(name) for name in kept] == [plan.point(name) for name in kept]
    assert len({after.point(name) for name in after.names if name not in kept}) == len(plan.names) - len(kept)


REFUSED = [
    ({"op": "move", "place": "nowhere", "x": 0, "y": 0}, "no place 'nowhere'"),
    ({"op": "move", "place": "dash", "x": "x", "y": 0}, "not a number of metres"),
    ({"op": "move", "place": "dash", "x": float("nan"), "y": 0}, "too far away"),
    ({"op": "put", "box": "unit", "place": "radiator"}, "No module can be mounted at radiator"),
    ({"op": "put", "box": "other", "place": "boot"}, "no module or control unit 'other'"),
    ({"op": "add", "name": "  ", "x": 0, "y": 0}, "a name"),
    ({"op": "add", "name": "DASH", "x": 0, "y": 0}, "There is a place 'DASH' already"),
    ({"op": "join", "start": "dash", "end": "dash"}, "two places"),
    ({"op": "join", "start": "dash", "end": "bulkhead"}, "already"),
    ({"op": "length", "start": "dash", "end": "bulkhead", "metres": "0.1"}, "too short"),
    ({"op": "length", "start": "dash", "end": "tank", "metres": "3"}, "no route"),
    ({"op": "delete", "place": "engine"}, "engine is in use ("),
    ({"op": "delete", "place": "glove box"}, "move what is there"),
    ({"op": "mount", "place": "glove box", "mount": False}, "unit is mounted at glove box"),
    ({"op": "row"}, "no place without coordinates"),
]


@pytest.mark.parametrize(("message", "words"), REFUSED, ids=lambda value: value if isinstance(value, str) else "")
def test_refused_with_a_remedy(rally, message, words):
    """What cannot be done is refused in one sentence."""
    with pytest.raises(BadEdit, match=words.replace("(", r"\(")):
        edited(rally, message)


@pytest.fixture(scope="module")
def vehicle():
    return pa.read_vehicle("data/rally_coupe")


@pytest.fixture(scope="module")
def rally(vehicle):
    plain = vehicle_plain(vehicle)
    plan = plan_of(vehicle, lambda table: plain.get(table, []))
    return replace(plan, mounted=(("unit", "glove box"),))


def test_what_sits_where_counts_every_table(vehicle):
    """A place is in use by loads, inputs, grounds and the settings' battery, isolator, starter and alternator."""
    sits = uses(vehicle)
    assert {"starter", "alternator"} <= set(sits["engine"])
    assert "battery" in sits["battery box"]
    assert (
        sum(len(words) for words in sits.values())
        == sum(x.place is not None for x in (*vehicle.loads, *vehicle.inputs, *vehicle.signals, *vehicle.grounds)) + 4
    )


def test_stated_lengths_that_stay_give_way_to_the_straight_distance(rally):
    """With lengths that do not follow, a route pulled tight counts as the straight distance, and that is said."""
    after, said = edited(rally, {"op": "move", "place": "lamp bar", "x": -1, "y": 0, "follow": False})
    assert "lamp bar to nose left (0.7 m)" in said
    assert [r["length_m"] for r in after.routes if r["from"] == "lamp bar"] == ["", ""]
    near, said = edited(rally, {"op": "move", "place": "lamp bar", "x": 0.06, "y": 0, "follow": False})
    assert [r["length_m"] for r in near.routes if r["from"] == "lamp bar"] == ["0.7", "0.7"]
    assert "straight" not in said
