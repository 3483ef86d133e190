"""With an allocation built already, as few wires are moved as can be, proved; and the rework list is the difference."""

from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, assume, given, note, settings
from hypothesis import strategies as st

import pdm_alloc as pa
from pdm_alloc.domain.module import Channel, units_of
from pdm_alloc.domain.vehicle import Lock
from pdm_alloc.program import handout
from pdm_alloc.program.handout import MOVES
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.studies.what_if import rework, spots
from pdm_alloc.verify.check import violations
from tests.oracle.brute import wirings
from tests.oracle.slots import placed, slots_of
from tests.strategies import examples
from tests.what_if.builds import QUIET, changed_cases, enough, lamp, module, two_places, unit, vehicle, wired

DATA = Path(__file__).parents[2] / "data"
TINY = {"most_loads": 4, "most_items": 4, "most_channels": 4}


def moves(before, after):
    """Items wired before and after, on another channel: counted here once more, by load."""
    old, new = spots(before), spots(after)
    return sum(
        min(own.total(), new[load].total()) - (own & new[load]).total() for load, own in old.items() if load in new
    )


def fewest_moves(before, car, units):
    """The fewest over every way of wiring that breaks no rule; None where all do."""
    slots, command, best = slots_of(units), {load.name: load.command for load in car.loads}, None
    for wiring in wirings(car, units):
        circuits = tuple(placed(slots[s], command[items[0][0]], items) for s, items in wiring.items())
        number = moves(before, Allocation(car, units, circuits))
        if (best is None or number < best) and not violations(car, units, circuits):
            best = number
    return best


@pytest.mark.once
@settings(max_examples=examples(20, 200), suppress_health_check=list(HealthCheck), **QUIET)
@given(case=changed_cases(**TINY), strategy=st.sampled_from(("isolate", "spare")))
def test_no_allocation_moves_fewer(case, strategy):
    """On tiny vehicles trying every wiring finds none that moves fewer; the number is also what is reported."""
    before = enough(case[0], case[1], strategy="isolate" if strategy == "spare" else "spare")
    assume(before is not None)
    kept = enough(case[2], case[1], keep=before, strategy=strategy)
    assert (kept is None) == (enough(case[2], case[1]) is None)
    assume(kept is not None)
    note(repr((case, before.circuits, kept.circuits)))
    assert kept.outcome == "proven best"
    assert moves(before, kept) == fewest_moves(before, case[2], case[1])
    items = sum(load.count for load in case[2].loads)
    old = spots(before)
    stay = sum((own & old.get(load, Counter())).total() for load, own in spots(kept).items())
    assert dict(kept.objectives)[MOVES] == items - stay


@pytest.mark.once
@settings(max_examples=examples(20, 400), suppress_health_check=list(HealthCheck), **QUIET)
@given(case=changed_cases(), strategy=st.sampled_from(("isolate", "spare")))
def test_never_more_moves_than_without_keeping(case, strategy):
    """Keeping never moves more than allocating anew, never breaks a rule, and is enough exactly when that is."""
    before = enough(*case[:2])
    assume(before is not None)
    anew, kept = (enough(case[2], case[1], strategy=strategy, **keep) for keep in ({}, {"keep": before}))
    assert (anew is None) == (kept is None)
    assume(kept is not None)
    assert moves(before, kept) <= moves(before, anew)
    assert violations(kept.vehicle, kept.units, kept.circuits) == []
    if case[2] == case[0]:
        assert pa.compare(before, kept)["what"].isin(("load moved",)).sum() == 0


@pytest.mark.once
@settings(max_examples=examples(20, 200), suppress_health_check=list(HealthCheck), **QUIET)
@given(case=changed_cases(), strategy=st.sampled_from(("isolate", "spare")))
def test_unchanged_stays_as_it_is(case, strategy):
    """Kept without a change nothing moves, even for a strategy that would have built it otherwise."""
    before = enough(*case[:2])
    assume(before is not None)
    kept = pa.allocate(case[0], case[1], keep=before, strategy=strategy)
    assert moves(before, kept) == 0
    assert spots(kept) == spots(before)


@pytest.mark.once
@settings(max_examples=examples(20, 200), suppress_health_check=list(HealthCheck), **QUIET)
@given(case=changed_cases())
def test_the_order_of_rows_moves_nothing(case):
    """What is kept, and the rows of the load table, in another order give the same allocation."""
    before = enough(*case[:2])
    kept = enough(case[2], case[1], keep=before) if before else None
    assume(kept is not None)
    turned = replace(before, circuits=before.circuits[::-1])
    again = pa.allocate(replace(case[2], loads=case[2].loads[::-1]), case[1], keep=turned)
    assert again.circuits == kept.circuits


def test_a_later_objective_still_counts():
    """Among allocations that move as little, the strategy decides: the new load is alone, or shares."""
    before_car = vehicle(lamp("a", "x"), lamp("b", "y"))
    car = vehicle(lamp("a", "x"), lamp("b", "y"), lamp("c", "x"))
    units = [unit("box", module(10, 10, 10, 10))]
    built = wired(before_car, units, ("box", "4", "x", {"a": [1]}), ("box", "2", "y", {"b": [1]}))
    isolated = pa.allocate(car, units, keep=built, strategy="isolate")
    shared = pa.allocate(car, units, keep=built, strategy="spare")
    assert moves(built, isolated) == moves(built, shared) == 0
    assert [c.items for c in isolated.circuits if c.channel == "4"] == [(("a", 1),)]
    assert [c.items for c in shared.circuits if c.channel == "4"] == [(("a", 1), ("c", 1))]


def test_items_keep_their_numbers():
    """Items that stay are the very items, not others of the load."""
    car = vehicle(lamp("a", "x", count=4))
    units = [unit("box", module(10, 10, 10))]
    built = wired(car, units, ("box", "2", "x", {"a": [1, 3]}), ("box", "3", "x", {"a": [2, 4]}))
    kept = pa.allocate(car, units, keep=built, strategy="spare")
    assert {(c.channel, c.items) for c in kept.circuits} == {("2", (("a", 1), ("a", 3))), ("3", (("a", 2), ("a", 4)))}


def test_the_right_items_go_when_there_are_fewer():
    """Of two loads alike one loses an item: another load's item on a weaker channel is no substitute for it."""
    before_car = vehicle(lamp("a", "x", count=2), lamp("b", "x"))
    car = vehicle(lamp("a", "x", count=1), lamp("b", "x"))
    units = [unit("box", module(10, 10, 3.5))]
    built = wired(
        before_car,
        units,
        ("box", "1", "x", {"a": [1]}),
        ("box", "2", "x", {"a": [2]}),
        ("box", "3", "x", {"b": [1]}),
    )
    kept = pa.allocate(car, units, keep=built)
    assert moves(built, kept) == 0
    assert spots(kept)["b"] == {("box", "3"): 1}


def test_a_pair_is_made_free_by_moving_one_wire():
    """Two kept loads each block a pair that a new load needs: exactly one of them moves."""
    before_car = vehicle(lamp("a", "x"), lamp("b", "y"))
    car = vehicle(lamp("a", "x"), lamp("b", "y"), lamp("big", "z", 13.0))
    box = module(10, 10, 10, 10)
    pairs = ("p", "p", "q", "q")
    units = units_of(replace(box, channels=tuple(replace(c, pair=p) for c, p in zip(box.channels, pairs, strict=True))))
    built = wired(before_car, units, ("box", "1", "x", {"a": [1]}), ("box", "3", "y", {"b": [1]}))
    kept = pa.allocate(car, units, keep=built)
    assert moves(built, kept) == 1
    assert {c.use for c in kept.circuits if c.command == "z"} == {"pair"}


def test_no_load_is_told_apart_by_its_looks():
    """Two loads alike on two channels stay where each of them is, not where the other is."""
    car = vehicle(lamp("a", "x"), lamp("b", "x"))
    units = [unit("box", module(10, 10, 10))]
    built = wired(car, units, ("box", "3", "x", {"a": [1]}), ("box", "1", "x", {"b": [1]}))
    kept = pa.allocate(car, units, keep=built)
    assert spots(kept) == {"a": {("box", "3"): 1}, "b": {("box", "1"): 1}}


@pytest.mark.parametrize("use", ["pair", "bridge"])
def test_what_is_wired_to_two_channels_stays_there(use):
    """A circuit on a pair or a bridge stays on it, and a single beside it does too."""
    needs = frozenset({"reversing"}) if use == "bridge" else frozenset()
    car = vehicle(lamp("big", "x", 13.0 if use == "pair" else 5.0, needs=needs), lamp("small", "y"))
    labels = {"1": "p", "2": "p", "3": "q", "4": "q"}
    channels = tuple(Channel(n, 10_000, 60_000, 100.0, **{use: label}) for n, label in labels.items())
    units = units_of(replace(module(1), channels=channels))
    anew = pa.allocate(car, units)
    assert [c.channel for c in anew.circuits if c.command == "x"] == ["1+2"]
    turned = tuple(
        replace(c, channels=tuple({"1": "3", "2": "4", "3": "1", "4": "2"}[n] for n in c.channels))
        for c in anew.circuits
    )
    built = replace(anew, circuits=turned)
    assert violations(car, units, turned) == []
    assert spots(pa.allocate(car, units, keep=built)) == spots(built)


def test_what_is_gone_counts_for_nothing():
    """Units, channels and loads that are no more are passed over; the rest stays."""
    car = vehicle(lamp("a", "x"), lamp("b", "y"))
    units = [unit("box", module(10, 10, 10))]
    built = wired(
        vehicle(lamp("a", "x"), lamp("b", "y"), lamp("old", "z")),
        [unit("box", module(*[10] * 9)), unit("gone", module(10))],
        ("gone", "1", "x", {"a": [1]}),
        ("box", "3", "y", {"b": [1]}),
        ("box", "9", "z", {"old": [1]}),
    )
    kept = pa.allocate(car, units, keep=built)
    assert spots(kept)["b"] == {("box", "3"): 1}


def test_locked_rows_stay_hard():
    """A locked row wins over what is kept: it is a rule, keeping is a wish."""
    car = vehicle(lamp("a", "x"), lamp("b", "y"))
    units = [unit("box", module(10, 10, 10))]
    built = wired(car, units, ("box", "1", "x", {"a": [1]}), ("box", "2", "y", {"b": [1]}))
    locked = replace(car, locked=(Lock("b", "box", "1"),))
    kept = pa.allocate(locked, units, keep=built)
    assert spots(kept)["b"] == {("box", "1"): 1}
    assert moves(built, kept) == 2


def locked_design():
    """Two modules at two places, everything locked where it is built."""
    car = vehicle(
        lamp("head", "x", 4.0, count=2, place="front"),
        lamp("tail", "y", 2.0, count=2, place="rear"),
        lamp("pump", "z", 6.0, place="rear"),
        places=two_places(),
    )
    units = units_of([unit("nose box", module(10, 10, 10), "front"), unit("tail box", module(10, 10, 10), "rear")])
    built = wired(
        car,
        units,
        ("nose box", "3", "x", {"head": [1, 2]}),
        ("tail box", "2", "y", {"tail": [1, 2]}),
        ("tail box", "1", "z", {"pump": [1]}),
    )
    locks = tuple(Lock(load, *spot) for load, own in spots(built).items() for spot in own)
    return replace(car, locked=locks), units, built


@pytest.mark.parametrize("keeping", [True, False])
def test_a_load_added_to_a_locked_design(keeping):
    """Two places, two modules: nothing locked moves, and the rework list is the one wire and its channel."""
    car, units, built = locked_design()
    more = pa.what_if(car).add(load="fog", command="w", running_a=3, place="rear", kind="solenoid").vehicle
    after = pa.allocate(more, units, **({"keep": built} if keeping else {}))
    for load, own in spots(built).items():
        assert spots(after)[load] == own
    todo = rework(built, after)
    wires = todo[todo["action"].isin(("add wire", "move wire", "remove wire"))]
    assert wires[["action", "subject", "items", "from_module"]].to_numpy().tolist() == [["add wire", "fog", 1, ""]]
    assert set(todo["to_channel"]) == set(wires["to_channel"]) and set(todo["subject"]) == {"fog"}
    assert {"set command", "set trip setting"} <= set(todo["action"])


@pytest.mark.once
def test_keeping_on_the_demo():
    """A lamp more on the demo moves nothing, where allocating anew moves dozens of wires."""
    car, catalogue = pa.read_vehicle(DATA / "rally_coupe"), pa.read_catalogue(DATA / "catalogue")
    built = pa.allocate(car, catalogue["middle-42"])
    more = pa.what_if(car).add(load="bug lamp", command="side lamps", running_a=0.42, kind="filament").vehicle
    kept = pa.allocate(more, catalogue["middle-42"], keep=built)
    assert moves(built, kept) == 0
    assert dict(kept.objectives)[MOVES] == 1


def test_a_channel_is_held_against_circuits_of_its_own_command(monkeypatch):
    """Of 1,000 loads all circuits were held against all channels, 2.6 s of a limit of 1 s."""
    loads = [lamp(f"a{n}", f"x{n}", 2.0) for n in range(24)]
    before = pa.allocate(vehicle(*loads), module(*[10] * 24))
    asked = []
    known = handout._stay
    monkeypatch.setattr(handout, "_stay", lambda *of: asked.append(of) or known(*of))
    after = pa.what_if(before.vehicle).allocate(module(*[10] * 24), keep=before)
    assert spots(after) == spots(before)
    assert 0 < len(asked) < 4 * len(loads)
