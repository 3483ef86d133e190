"""Sets of concessions: minimal, distinct, in order, and none cheaper is missed."""

from itertools import combinations

from hypothesis import HealthCheck, assume, given, settings

from pdm_alloc.allocator import allocate
from pdm_alloc.diagnose.concession_sets import concession_sets
from pdm_alloc.domain.concession_options import concede, options
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
    best = exhaustive(vehicle, units, offered)
    assert [s.weight for s in sets] == sorted(sum(o.weight for o in made) for made in best)[: len(sets)]
    assert len(sets) == min(5, len(best))
    for one in sets:
        assert not violations(one.vehicle, one.allocation.units, one.allocation.circuits)
        assert set(one.made) in [set(made) for made in best]
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
