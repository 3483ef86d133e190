"""Sets of concessions: minimal, distinct, in order, and none cheaper is missed."""

from dataclasses import replace
from itertools import combinations

import pytest
from hypothesis import HealthCheck, assume, given, settings

import pdm_alloc as pa
from pdm_alloc.allocator import allocate
from pdm_alloc.diagnose.concession_sets import _kind_of_set, concession_sets
from pdm_alloc.domain.concession_options import coil_of, concede, options, switch_for
from pdm_alloc.result.refusals import NotEnough
from pdm_alloc.verify.check import violations
from tests.strategies import cases

MOST_OPTIONS = 9


def enough(vehicle, units):
    try:
        allocate(vehicle, units)
    except NotEnough:
        return False
    return True


def allowed(vehicle, made):
    """A command is joined once at the most, and then takes no other concession."""
    joined = [name for o in made if o.kind == "join" for name in o.members]
    if len(joined) > len(set(joined)):
        return False
    commands = {load.name: load.command for load in vehicle.loads}
    others = [o for o in made if o.kind not in ("join", "separation")]
    return not any(commands.get(o.subject, o.subject) in joined for o in others)


def exhaustive(vehicle, units, offered):
    """Every minimal set that is enough, by trying all sets, cheapest first."""
    found = []
    every = [s for n in range(1, len(offered) + 1) for s in combinations(offered, n)]
    for made in sorted(every, key=lambda s: sum(o.weight for o in s)):
        if any(set(smaller) <= set(made) for smaller in found) or not allowed(vehicle, made):
            continue
        if enough(concede(vehicle, made), units):
            found.append(made)
    return found


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(cases(most_loads=4, most_items=6, most_channels=5))
def test_no_cheaper_set_exists_and_none_has_a_member_too_many(case):
    """The sets found weigh what the cheapest minimal sets of an exhaustive search weigh."""
    vehicle, units = case
    offered = options(vehicle)
    assume(len(units) == 1 and len(offered) <= MOST_OPTIONS and not enough(vehicle, units))
    sets = concession_sets(vehicle, units)
    every = exhaustive(vehicle, units, offered)
    best = list({_kind_of_set(vehicle, made): made for made in reversed(every)}.values())
    assert [s.weight for s in sets] == sorted(sum(o.weight for o in made) for made in best)[: len(sets)]
    assert len(sets) == min(5, len(best))
    for one in sets:
        assert not violations(one.vehicle, one.allocation.units, one.allocation.circuits)
        assert set(one.made) in [set(made) for made in every]
        for option in one.made:
            assert not enough(concede(vehicle, [o for o in one.made if o != option]), units)


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(cases())
def test_sets_are_distinct_and_in_order(case):
    """No set contains another, and none is cheaper than the one before it."""
    vehicle, units = case
    assume(len(units) == 1 and not enough(vehicle, units))
    sets = concession_sets(vehicle, units)
    assert [s.weight for s in sets] == sorted(s.weight for s in sets)
    assert not any(set(a.made) <= set(b.made) for a, b in combinations(sets, 2))
    assert not any(set(b.made) <= set(a.made) for a, b in combinations(sets, 2))


@pytest.mark.parametrize(
    ("load", "joins"),
    [
        (pa.Load("anchor light", "lights", 800, kind="led"), True),
        (pa.Load("windlass", "anchor", 60_000, kind="motor"), False),
        (pa.Load("windlass control", "up", 500, kind="electronics"), False),
        (pa.Load("relay", "horn", 200, kind="coil"), False),
        (pa.Load("pump", "bilge", 4_000, kind="electronics"), False),
        (pa.Load("lamp", "engine start", 800, kind="led"), False),
        (pa.Load("cabin lamp", "cabin", 800, kind="filament", importance="vital"), False),
    ],
)
def test_what_moves_or_starts_is_never_joined(load, joins):
    """An anchor light on one channel with a windlass would start the winch."""
    other = pa.Load("reading lamp", "reading", 500, kind="led")
    commands = tuple(pa.Command(name) for name in (load.command, other.command))
    vehicle = pa.Vehicle("v", (load, other), commands, (pa.State("on", 12.0, {c.name: 1_000_000 for c in commands}),))
    assert any(o.kind == "join" for o in options(vehicle)) == joins
    forbidden = replace(vehicle, commands=(replace(commands[0], joins=False), commands[1]))
    assert not any(o.kind == "join" for o in options(forbidden))


def test_a_relay_is_chosen_by_rating():
    """A relay up to 40 A, a contactor beyond, nothing beyond the largest; the coil grows with it."""
    sizes = {a: switch_for(pa.Load("x", "c", a * 1000)) for a in (40, 41, 400, 401)}
    assert [s and (s.name, s.most_a) for s in sizes.values()] == [
        ("relay", 40), ("contactor", 100), ("contactor", 400), None
    ]  # fmt: skip
    assert coil_of(pa.Load("x", "c", 400_000), 12.0).running_ma == 1_000
    starter = pa.Vehicle(
        "v", (pa.Load("starter", "c", 401_000),), (pa.Command("c"),), (pa.State("on", 12.0, {"c": 1}),)
    )
    assert not any(o.kind == "relay" for o in options(starter))
