"""Merged classes and priced circuits give what a row for every limit and every circuit listed give."""

from contextlib import contextmanager
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pdm_alloc.allocator import allocate
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.domain.module import Channel, Module, units_of
from pdm_alloc.domain.vehicle import PPM, Command, Load, State, Vehicle
from pdm_alloc.program import allocation_solve as solve
from pdm_alloc.program import optimum
from pdm_alloc.program.handout import hand_out
from pdm_alloc.program.partition import Merged, columns_of, empty_task
from pdm_alloc.result.allocation import NotEnough
from pdm_alloc.verify.check import violations
from tests.scale.fleet import fleet
from tests.strategies import cases, examples

SLOW = settings(max_examples=examples(40, 400), deadline=None, suppress_health_check=list(HealthCheck))


@contextmanager
def way(merged=True, most_subsets=None, with_greedy=True):
    """Classes merged or not; commands of more sets of items are priced; a greedy allocation to begin with."""
    before = optimum._MOST_SUBSETS, optimum._MOST_ON_ONE, solve.merge, solve.greedy
    if most_subsets is not None:
        optimum._MOST_SUBSETS = optimum._MOST_ON_ONE = most_subsets
    if not merged:
        solve.merge = unmerged
    if not with_greedy:
        solve.greedy = lambda *_: None
    try:
        yield
    finally:
        optimum._MOST_SUBSETS, optimum._MOST_ON_ONE, solve.merge, solve.greedy = before


def unmerged(vehicle, units):
    """Every class stands for itself, so every limit is a row from the beginning."""
    fine = empty_task(vehicle, units)
    return Merged(fine, tuple((n,) for n in range(len(fine.classes))), fine)


def solved(vehicle, units, strategy):
    try:
        allocation = allocate(vehicle, units, strategy=strategy)
    except NotEnough:
        return None
    assert not violations(allocation.vehicle, allocation.units, allocation.circuits)
    return allocation


@SLOW
@given(cases(), st.sampled_from(("spare", "isolate")), st.sampled_from((10**9, 0)), st.booleans())
def test_same_verdict_and_same_optimum(case, strategy, most_subsets, with_greedy):
    """Enough or not, and every objective: merged or not, listed or priced, with or without a greedy allocation."""
    vehicle, units = case
    with way(merged=False, most_subsets=10**9):
        full = solved(vehicle, units, strategy)
    with way(most_subsets=most_subsets, with_greedy=with_greedy):
        merged = solved(vehicle, units, strategy)
    assert (full is None) == (merged is None)
    if full is None or merged is None:
        return
    found = dict(merged.objectives)
    wanted = {name: value for name, value in full.objectives if name in found}
    assert len(wanted) >= 3
    if merged.outcome == "proven best":
        assert [found[name] for name in wanted] == list(wanted.values())
    else:
        first = next(iter(wanted))
        assert found[first] == wanted[first]


class _Looks(tuple):
    """Slots that count how often one is looked at."""

    looks = 0

    def __iter__(self):
        for slot in super().__iter__():
            _Looks.looks += 1
            yield slot


def test_no_channel_is_looked_at_again_once_it_is_taken():
    """Handing out takes time in proportion to the channels: with 3,000 of one class their square was most of a run."""
    vehicle, _ = fleet(100)
    channels = tuple(Channel(str(n + 1), 12_500, 60_000, 50.0) for n in range(60))
    task = empty_task(vehicle, units_of(Module("wide", 500_000, 900_000, channels)))
    columns = [c for name in task.types for c in columns_of(task, name, CircuitBook(3)) if len(c.counts) == 1]
    first = {c.command: c for c in reversed(columns)}
    classes = tuple(replace(c, slots=_Looks(c.slots)) for c in task.classes)
    handed = hand_out(replace(task, columns=tuple(first.values()), classes=classes), (1,) * len(first))
    assert len(handed) == len({(h.unit, h.channels) for h in handed}) == 50
    assert _Looks.looks <= sum(len(c.slots) for c in task.classes)


@pytest.mark.parametrize("strategy", ["spare", "isolate"])
def test_a_fleet_is_proved_and_recounted(strategy):
    """200 loads on 7 modules: proved best, every limit of every bank and module recounted."""
    allocation = solved(*fleet(200), strategy)
    assert allocation is not None
    assert allocation.outcome == "proven best"


@pytest.mark.nightly
def test_sixteen_hundred_loads():
    """1,600 loads on 56 modules of 32 channels: fewest channels, proved."""
    allocation = solved(*fleet(1600), "spare")
    assert allocation is not None
    assert allocation.outcome == "proven best"


def test_one_command_of_many_loads_is_packed_exactly():
    """Sixty loads that fill twenty channels to the last milliamp: the twenty are found and proved."""
    dice = [(n * 37 % 110) + 380 for n in range(20)]
    triples = [(a, b, 1000 - a - b) for a, b in zip(dice, [(n * 53 % 60) + 255 for n in range(20)], strict=True)]
    loads = tuple(
        Load(f"load {n}", "all", 10 * ma, kind="coil", inrush_ma=10 * ma, volt_exponent=1.0)
        for n, ma in enumerate(x for triple in triples for x in triple)
    )
    state = State("on", 12.0, {"all": PPM})
    vehicle = Vehicle("bins", loads, (Command("all"),), (state,), states_given=True)
    bare = replace(vehicle.settings, headroom_pct=0, module_headroom_pct=0, lowest_ambient_c=20.0)
    vehicle = replace(vehicle, settings=bare)
    module = Module("m", 900_000, 990_000, tuple(Channel(str(n + 1), 12_500, 90_000, 90.0) for n in range(30)))
    allocation = solved(vehicle, [module], "spare")
    assert allocation is not None
    assert len(allocation.circuits) == 20
    assert allocation.outcome == "proven best"
