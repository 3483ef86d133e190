"""The rework list is exactly the difference: every wire and setting that changes, once, with its pins, and no other."""

from collections import Counter

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from pdm_alloc.studies.what_if import REWORK, rework, spots
from tests.strategies import examples
from tests.what_if.builds import QUIET, changed_cases, enough, lamp, module, unit, vehicle, wired

WIRES = {"move wire", "add wire", "remove wire"}
SET = {"set trip setting": "trip_a", "set inrush window": "window_ms"}


def test_a_list_to_work_by():
    """Wires first, then settings; every wire with the pins it leaves and the pins it goes to."""
    units = [unit("box", module(10, 10, 10))]
    before = wired(
        vehicle(lamp("a", "x"), lamp("b", "y")), units, ("box", "1", "x", {"a": [1]}), ("box", "2", "y", {"b": [1]})
    )
    after = wired(
        vehicle(lamp("a", "x"), lamp("c", "y", 4.0)),
        units,
        ("box", "3", "x", {"a": [1]}),
        ("box", "2", "y", {"c": [1]}),
    )
    todo = rework(before, after)
    assert tuple(todo.columns) == REWORK
    wires = todo[todo["action"].isin(WIRES)]
    shown = wires[["action", "subject", "items", "from_channel", "from_pins", "to_channel", "to_pins"]]
    assert shown.to_numpy().tolist() == [
        ["remove wire", "b", 1, "2", "p2", "", ""],
        ["move wire", "a", 1, "1", "p1", "3", "p3"],
        ["add wire", "c", 1, "", "", "2", "p2"],
    ]
    trips = todo[todo["action"] == "set trip setting"][["to_channel", "before", "after"]].to_numpy().tolist()
    # 1.25 x 2 A = 2.5 A, 1.25 x 4 A = 5 A
    assert sorted(trips) == [["1", "2.5 A", ""], ["2", "2.5 A", "5 A"], ["3", "", "2.5 A"]]


def test_nothing_to_do():
    """The same design needs no work."""
    units = [unit("box", module(10, 10))]
    built = wired(vehicle(lamp("a", "x")), units, ("box", "1", "x", {"a": [1]}))
    assert rework(built, built).empty


@settings(max_examples=examples(20, 400), suppress_health_check=list(HealthCheck), **QUIET)
@given(case=changed_cases(), keep=st.booleans())
def test_exactly_the_difference(case, keep):
    """Doing what the list says gives the new design; leaving out any line does not."""
    before = enough(*case[:2])
    after = enough(case[2], case[1], **({"keep": before} if keep else {}))
    assume(before is not None and after is not None)
    todo = rework(before, after)
    assert done(before, todo) == spots(after)
    for n in todo.index[todo["action"].isin(WIRES)]:
        assert done(before, todo.drop(index=n)) != spots(after)
    assert set_to(before, todo) == settings_of(after)
    for row in todo.itertuples():
        assert row.from_pins == pins(case[1], row.from_module, row.from_channel)
        assert row.to_pins == pins(case[1], row.to_module, row.to_channel)


def done(before, todo):
    """Items of each load on each channel after the wires of the list are moved, added and removed."""
    found = {load: Counter(own) for load, own in spots(before).items()}
    for row in todo[todo["action"].isin(WIRES)].itertuples():
        own = found.setdefault(row.subject, Counter())
        if row.from_module:
            own[row.from_module, row.from_channel] -= row.items
        if row.to_module:
            own[row.to_module, row.to_channel] += row.items
    return {load: +own for load, own in found.items() if +own}


def settings_of(allocation):
    """Command, trip current and window of every channel, as the list writes them."""
    found = {}
    for row in allocation.settings.to_dict("records"):
        spot = (row["module"], row["channel"])
        found[spot, "set command"] = row["command"]
        found[spot, "set trip setting"] = f"{row['trip_a']:.6g} A"
        found[spot, "set inrush window"] = f"{row['window_ms']:.6g} ms"
    return found


def set_to(before, todo):
    """The same after the settings of the list are made; every line must find what it says was there."""
    found = settings_of(before)
    for row in todo[~todo["action"].isin({*WIRES, "change wire"})].itertuples():
        key = ((row.to_module, row.to_channel), row.action)
        assert found.get(key, "") == row.before != row.after
        found[key] = row.after
    return {key: value for key, value in found.items() if value}


def pins(units, label, channel):
    if not label:
        return ""
    box = next(u for u in units if u.label == label).module
    return " ".join(pin for name in channel.split("+") for pin in box.channel(name).pins)
