"""`compare` says what is different and nothing else, and what it says leads from the one to the other."""

from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

import pdm_alloc as pa
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.studies.what_if import COMPARISON, compare, spot_text, spots
from tests.strategies import cases, examples
from tests.what_if.builds import QUIET, changed_cases, enough, lamp, module, unit, vehicle, wired

DATA = Path(__file__).parents[2] / "data"
SOME = settings(max_examples=examples(20, 400), suppress_health_check=list(HealthCheck), **QUIET)


def told(table, what):
    """Rows of one kind as tuples."""
    rows = table[table["what"] == what]
    return [tuple(row) for row in rows[["module", "channel", "subject", "before", "after"]].to_numpy()]


def test_each_kind_of_change_is_one_row():
    """Moved, added, removed; used, freed; command, current: each once, paired by name, in words with units."""
    before_car = vehicle(lamp("a", "x"), lamp("b", "x"), lamp("c", "y"), lamp("d", "z"))
    after_car = vehicle(lamp("a", "x", 3.0), lamp("b", "x"), lamp("e", "y"), lamp("d", "z"))
    units = [unit("box", module(10, 10, 10, 10, 10))]
    before = wired(
        before_car,
        units,
        ("box", "1", "x", {"a": [1], "b": [1]}),
        ("box", "2", "y", {"c": [1]}),
        ("box", "3", "z", {"d": [1]}),
    )
    after = wired(
        after_car,
        units,
        ("box", "1", "x", {"a": [1]}),
        ("box", "2", "x", {"b": [1]}),
        ("box", "4", "y", {"e": [1]}),
        ("box", "3", "z", {"d": [1]}),
    )
    table = compare(before, after)
    assert tuple(table.columns) == COMPARISON
    assert told(table, "load moved") == [("box", "2", "b", "box, channel 1", "box, channel 2")]
    assert told(table, "load removed") == [("box", "2", "c", "box, channel 2", "")]
    assert told(table, "load added") == [("box", "4", "e", "", "box, channel 4")]
    assert told(table, "channel used") == [("box", "4", "e", "", "e")]
    assert told(table, "channel freed") == []
    assert told(table, "command") == [("box", "2", "b", "y", "x"), ("box", "4", "e", "", "y")]
    assert told(table, "current") == [("box", "1", "a", "4 A", "3 A")]
    assert told(table, "trip setting")[0] == ("box", "1", "a", "5 A", "3.8 A")  # 1.25 x 4 A; 1.25 x 3 A up to 0.1 A
    assert "3" not in set(table["channel"])


def test_identical_items_are_interchangeable():
    """Swapping two items of one load is no change; swapping two loads, however alike, is."""
    car = vehicle(lamp("a", "x", count=2), lamp("b", "x"))
    units = [unit("box", module(10, 10, 10))]
    here = ("box", "1", "x", {"a": [1]}), ("box", "2", "x", {"a": [2]}), ("box", "3", "x", {"b": [1]})
    items = ("box", "1", "x", {"a": [2]}), ("box", "2", "x", {"a": [1]}), ("box", "3", "x", {"b": [1]})
    loads = ("box", "1", "x", {"a": [1]}), ("box", "2", "x", {"b": [1]}), ("box", "3", "x", {"a": [2]})
    assert compare(wired(car, units, *here), wired(car, units, *items)).empty
    moved = compare(wired(car, units, *here), wired(car, units, *loads))
    assert sorted(moved[moved["what"] == "load moved"]["subject"]) == ["a", "b"]


def test_paired_by_name_not_by_position():
    """Rows, units and circuits in another order are no change; another label is."""
    car = vehicle(lamp("a", "x"), lamp("b", "y"))
    one, two = unit("left", module(10, 10)), unit("right", module(10, 10))
    before = wired(car, [one, two], ("left", "1", "x", {"a": [1]}), ("right", "1", "y", {"b": [1]}))
    turned = replace(car, loads=car.loads[::-1], commands=car.commands[::-1])
    same = wired(turned, [two, one], ("right", "1", "y", {"b": [1]}), ("left", "1", "x", {"a": [1]}))
    assert compare(before, same).empty
    other = wired(car, [one, two], ("right", "1", "x", {"a": [1]}), ("left", "1", "y", {"b": [1]}))
    assert set(told(compare(before, other), "load moved")) == {
        ("right", "1", "a", "left, channel 1", "right, channel 1"),
        ("left", "1", "b", "right, channel 1", "left, channel 1"),
    }


def test_a_unit_moved_or_replaced_is_told():
    """Another place and another module under the same label are rows of the unit itself."""
    from tests.what_if.builds import two_places

    car = vehicle(lamp("a", "x"), places=two_places())
    before = wired(car, [unit("box", module(10), "front")], ("box", "1", "x", {"a": [1]}))
    after = wired(car, [unit("box", module(12, name="larger"), "rear")], ("box", "1", "x", {"a": [1]}))
    table = compare(before, after)
    assert told(table, "place") == [("box", "", "box", "front", "rear")]
    assert told(table, "module") == [("box", "", "box", "box", "larger")]
    assert told(table, "rating") == [("box", "1", "a", "10 A", "12 A")]


@SOME
@given(case=cases())
def test_nothing_changed_nothing_told(case):
    """An allocation compared with itself, and with itself solved again from shuffled rows, gives an empty table."""
    found = enough(*case)
    assume(found is not None)
    turned = replace(found.vehicle, loads=found.vehicle.loads[::-1])
    again = pa.allocate(turned, case[1])
    assert compare(found, found).empty
    assert compare(found, again).empty


@pytest.mark.once
@SOME
@given(case=changed_cases(), strategy=st.sampled_from(("isolate", "spare")))
def test_the_rows_lead_from_before_to_after(case, strategy):
    """Taking from the allocation before what the rows take away, and adding what they add, gives the one after."""
    before, after = enough(*case[:2]), enough(case[2], case[1], strategy=strategy)
    assume(before is not None and after is not None)
    table = compare(before, after)
    names = {spot_text(spot): spot for a in (before, after) for own in spots(a).values() for spot in own}
    wanted = {load: Counter(own) for load, own in spots(before).items()}
    for row in table[table["what"].isin(("load moved", "load added", "load removed"))].itertuples():
        own = wanted.setdefault(row.subject, Counter())
        own.subtract({names[row.before]: row.items} if row.before else {})
        own.update({names[row.after]: row.items} if row.after else {})
        assert not any(v < 0 for v in own.values())
    assert {load: +own for load, own in wanted.items() if +own} == spots(after)
    used = {(r.module, r.channel) for r in table[table["what"] == "channel used"].itertuples()}
    freed = {(r.module, r.channel) for r in table[table["what"] == "channel freed"].itertuples()}
    assert (channels(before) - freed) | used == channels(after)
    assert channels(before).isdisjoint(used) and freed <= channels(before)


def channels(allocation):
    return {(c.unit, c.channel) for c in allocation.circuits}


@pytest.mark.once
@SOME
@given(case=changed_cases())
def test_currents_before_and_after_are_those_of_the_channels(case):
    """Every current, setting and wire told is the one in the tables, and every one that differs is told."""
    before, after = enough(*case[:2]), enough(case[2], case[1])
    assume(before is not None and after is not None)
    table = compare(before, after)
    old, new = (by_spot(a.channels, "running_a") for a in (before, after))
    differ = {spot for spot in old.keys() & new.keys() if old[spot] != new[spot]}
    rows = {(r.module, r.channel): r for r in table[table["what"] == "current"].itertuples()}
    assert rows.keys() == differ
    for spot, row in rows.items():
        assert (row.before, row.after) == (f"{old[spot]:g} A", f"{new[spot]:g} A")
    trips = [by_spot(a.settings, "trip_a") for a in (before, after)]
    told_trips = {(r.module, r.channel) for r in table[table["what"] == "trip setting"].itertuples()}
    assert told_trips == {spot for spot in {*trips[0], *trips[1]} if trips[0].get(spot) != trips[1].get(spot)}


def by_spot(table, column):
    return {(r["module"], r["channel"]): r[column] for r in table.to_dict("records")}


def test_split_items_are_counted():
    """Three of four items moved together are one row that says three."""
    car = vehicle(lamp("a", "x", count=4))
    units = [unit("box", module(20, 20))]
    before = wired(car, units, ("box", "1", "x", {"a": [1, 2, 3, 4]}))
    after = wired(car, units, ("box", "1", "x", {"a": [4]}), ("box", "2", "x", {"a": [1, 2, 3]}))
    rows = compare(before, after)
    moved = rows[rows["what"] == "load moved"]
    assert moved["items"].tolist() == [3]


@pytest.mark.parametrize("use", ["pair", "bridge"])
def test_two_channels_together_are_their_own_channel(use):
    """A circuit that goes from one channel to two paralleled ones has moved."""
    car = vehicle(lamp("a", "x"))
    box = module(10, 10)
    box = replace(box, channels=tuple(replace(c, **{use: "p"}) for c in box.channels))
    before = wired(car, [unit("box", box)], ("box", "1", "x", {"a": [1]}))
    both = replace(before, circuits=(PlacedCircuit("box", ("1", "2"), use, "x", (("a", 1),)),))
    assert told(compare(before, both), "load moved") == [("box", "1+2", "a", "box, channel 1", "box, channel 1+2")]


def test_the_demo_before_and_after():
    """On the demo a stronger fan is a current, a setting and nothing moved when the design is kept."""
    car, catalogue = pa.read_vehicle(DATA / "rally_coupe"), pa.read_catalogue(DATA / "catalogue")
    built = pa.allocate(car, catalogue["middle-42"])
    stronger = pa.what_if(car).change("cooling fan", running_a=15.5).allocate(catalogue["middle-42"], keep=built)
    table = pa.compare(built, stronger)
    assert set(table["subject"]) == {"cooling fan"}
    assert {"current", "trip setting"} <= set(table["what"])
    assert not set(table["what"]) & {"load moved", "load added", "load removed", "channel used", "channel freed"}
