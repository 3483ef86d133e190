"""One command of too many circuits to list: answers at once, what is built kept, and bounds said."""

import random

import pytest

import pdm_alloc as pa
from pdm_alloc.circuits.columns import OutOfTime
from pdm_alloc.domain.module import Channel, Module
from pdm_alloc.domain.vehicle import PPM, Command, Load, State, Vehicle
from pdm_alloc.program import allocation_solve
from pdm_alloc.program.optimum import _MOST_SUBSETS, _subsets
from pdm_alloc.program.partition import merge

RATINGS_MA = (8_000, 12_500, 20_000)


def one_command(number, seed, extra=()):
    """So many different loads on one command; invented."""
    chance = random.Random(seed)
    currents = [chance.randrange(400, 6_000) for _ in range(number)]
    loads = [
        Load(f"load {n}", "on", ma, kind="heater", inrush_ma=9_000, inrush_ms=20.0, volt_exponent=1.0)
        for n, ma in enumerate([*currents, *extra])
    ]
    return Vehicle("one", tuple(loads), (Command("on"),), (State("on", 12.0, {"on": PPM}),))


def module_of(channels):
    """Three ratings in turn."""
    every = tuple(Channel(str(n + 1), RATINGS_MA[n % 3], 60_000, 50.0) for n in range(channels))
    return Module("m", 400_000, 900_000, every)


@pytest.mark.once
@pytest.mark.parametrize("number", [15, 24, *(pytest.param(n, marks=pytest.mark.nightly) for n in (18, 21))])
def test_fewest_channels_with_a_bound(number):
    """Never empty, recounted, and within one channel of what the currents alone need."""
    vehicle = one_command(number, number)
    allocation = pa.allocate(vehicle, module_of(32), strategy="spare", time_limit_s=10)
    assert pa.verify(allocation).empty
    assert allocation.outcome in ("proven best", "best so far")
    usable_ma = 16_000  # the largest rating less the headroom of 20 %
    assert dict(allocation.objectives)["channels"] <= -(-sum(x.running_ma for x in vehicle.loads) // usable_ma) + 2
    assert allocation.gap < 0.5
    assert bool(allocation.unproved) == (allocation.outcome == "best so far")
    assert allocation.unproved in allocation.summary()


def test_what_is_built_stays_though_its_circuits_are_too_many_to_list():
    """A load more on a command of 22: it alone is wired, and that is proved to be least."""
    before = pa.allocate(one_command(22, 3), module_of(32), strategy="spare", time_limit_s=3)
    after = one_command(22, 3, extra=(2_345,))
    units = pa.allocate(after, module_of(32), strategy="isolate", time_limit_s=2).units
    assert sum(_subsets(merge(after, units).task, "on")) > _MOST_SUBSETS
    kept = pa.allocate(after, module_of(32), strategy="spare", time_limit_s=6, keep=before)
    assert dict(kept.objectives)["wires moved or added"] == 1
    assert pa.verify(kept).empty
    where = {item: (c.unit, c.channels) for c in before.circuits for item in c.items}
    assert {item: (c.unit, c.channels) for c in kept.circuits for item in c.items if item in where} == where


def test_no_time_at_all_is_said():
    """The clock is asked from the beginning: an empty answer is no answer in time, never a wrong verdict."""
    with pytest.raises(pa.Unsolved, match="time"):
        pa.allocate(one_command(24, 1), module_of(32), time_limit_s=0.0)


def test_an_answer_waits_for_no_list_of_circuits(monkeypatch):
    """The clock may end while circuits are listed: the allocation made before that is the answer."""

    def over(*_):
        raise OutOfTime("on")

    monkeypatch.setattr(allocation_solve, "listed", over)
    allocation = pa.allocate(one_command(16, 16), module_of(32), strategy="spare")
    assert (allocation.outcome, allocation.gap) == ("best so far", 1.0)
    assert pa.verify(allocation).empty


def test_where_nothing_is_found_by_greed_the_levelled_circuits_are_packed_at_once(monkeypatch):
    """The clock may end in the first objective: what the relaxation was levelled to is an answer by then."""

    def over(*_):
        raise OutOfTime("on")

    monkeypatch.setattr(allocation_solve, "greedy", lambda *_: None)
    monkeypatch.setattr(allocation_solve, "optimise_priced", over)
    allocation = pa.allocate(one_command(24, 24), module_of(32), strategy="spare")
    assert allocation.outcome == "best so far"
    assert pa.verify(allocation).empty
