"""The search over choices against trying everything, and how it can be run and stopped."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from itertools import product
from math import inf
from pathlib import Path
from types import SimpleNamespace

import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

import pdm_alloc as pa
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.domain.vehicle import Load
from pdm_alloc.export.paperwork import write_documents
from pdm_alloc.export.read_saved import read_allocation
from pdm_alloc.program.solver import Clock
from pdm_alloc.studies.alternatives import Choice, Found, choices, known_price, mount_places, objective_of
from pdm_alloc.studies.mounting import mount, mounting_of
from pdm_alloc.studies.mounting_bounds import Bounds
from pdm_alloc.studies.mounting_search import Judged, Search, module_dg
from tests.mounting.exhaustive import lightest_dg
from tests.mounting.studies import studies
from tests.strategies import examples
from tests.wiring import small

QUIET = {"deadline": None, "derandomize": True, "suppress_health_check": list(HealthCheck)}
OBJECTIVES = ("price", "mass", {"price": 1, "mass_g": 0.2}, "front")
DATA = Path(__file__).parents[2] / "data"


def every_choice(vehicle, catalogue):
    """Each choice with its least mass, found by trying every wiring; None where none is right."""
    for choice in choices(catalogue, mount_places(vehicle)):
        try:
            yield choice, lightest_dg(vehicle, choice.units)
        except ValueError:
            yield choice, None


@settings(max_examples=examples(8, 60), **QUIET)
@given(studies())
def test_same_best_as_trying_everything(study):
    """Price, mass, a weighting and the front: best choice and mass are those of exhaustive enumeration."""
    vehicle, catalogue = study
    known = [
        Found(c.number, known_price(c), module_dg(c) + harness)
        for c, harness in every_choice(vehicle, catalogue)
        if harness is not None
    ]
    event("some are enough" if known else "none is enough")
    for wanted in OBJECTIVES:
        objective, found = objective_of(wanted), mount(vehicle, catalogue, wanted)
        assert found.outcome == ("proven best" if known else "not enough")
        best = objective.best(known)
        assert (found.best and found.best.number) == (best and best.number)
        if best is not None:
            assert found.choices.mass_g[0] * 10 == pytest.approx(best.mass_dg)
        if wanted == "front":
            assert _front(found) == {(f.price, f.mass_dg) for f in known if not _beaten(f, known)}


def _beaten(found, known):
    return any(
        o.price <= found.price and o.mass_dg <= found.mass_dg and (o.price, o.mass_dg) != (found.price, found.mass_dg)
        for o in known
    )


def _front(found):
    solved = [Found(0, row.price, round(row.mass_g * 10)) for row in found.choices.dropna(subset="mass_g").itertuples()]
    return {(f.price, f.mass_dg) for f in solved if not _beaten(f, solved)}


@pytest.mark.once
@settings(max_examples=examples(8, 60), **QUIET)
@given(studies())
def test_no_harness_is_lighter_than_its_bound(study):
    """The bound of every choice is at most the least mass, and a choice without a bound is not enough."""
    vehicle, catalogue = study
    bounds = Bounds(vehicle, CircuitBook(vehicle.settings.tolerance_loads))
    for choice, least in every_choice(vehicle, catalogue):
        bound = bounds.harness_dg(choice.units)
        assert least is None if bound is None else least is None or bound <= least


def found_at(number):
    return st.builds(Found, st.just(number), st.sampled_from((10, 20, 30)), st.integers(0, 6))


@pytest.mark.once
@given(st.sampled_from([*OBJECTIVES, {"price": 3, "mass_g": 10}]), st.lists(found_at(5), max_size=1), found_at(3))
def test_cutoff_lets_through_what_is_better_and_nothing_else(wanted, known, other):
    """At the largest mass that counts a choice is better than what is known; a tenth of a gram heavier it is not."""
    objective = objective_of(wanted)
    known = [*known, other]
    for number, price in ((4, 10), (4, 20), (6, 20), (6, 30), (1, 30)):
        most = objective.most_dg(number, price, known)
        assert most == inf or _counts(objective, Found(number, price, most), known) == (most >= 0) or most < 0
        if most != inf:
            assert not _counts(objective, Found(number, price, most + 1), known)


def _counts(objective, found, known):
    if objective.is_front:
        beaten = any(o.price <= found.price and o.mass_dg <= found.mass_dg for o in known if o.number < found.number)
        worse = any(
            o.price <= found.price
            and o.mass_dg <= found.mass_dg
            and (o.price, o.mass_dg) != (found.price, found.mass_dg)
            for o in known
        )
        return not beaten and not worse
    return all(objective.key(found) < objective.key(o) for o in known)


@pytest.fixture(scope="module")
def demo():
    return pa.read_vehicle(DATA / "rally_coupe"), pa.read_catalogue(DATA / "catalogue")


@pytest.mark.once
def test_the_demo_has_enough_to_choose_from(demo):
    """At least 150 choices, a proved best, and hardly any had to be solved; the allocation is right and as light."""
    found = mount(*demo, "mass")
    assert len(found.choices) >= 150 and found.outcome == "proven best" and found.gap == 0
    assert found.choices.mass_g.notna().sum() <= 10
    assert pa.verify(found.allocation).empty
    assert found.allocation.wires.mass_g.notna().all()
    row = found.choices.iloc[0]
    assert row.feed_g == pytest.approx(found.allocation.feeds.mass_g.sum(), abs=0.2)
    assert row.mass_g == pytest.approx(row.module_g + row.wire_g + row.feed_g)
    assert found.laid_g >= row.wire_g


@pytest.fixture(scope="module")
def cheapest(demo):
    return mount(*demo, "price")


@pytest.mark.once
def test_threads_give_the_same_answer(demo, cheapest):
    """Solved two at a time in an executor that is passed in, the answer is the same and progress is told."""
    told, alone = [], cheapest
    with ThreadPoolExecutor(2) as executor:
        found = mount(*demo, "price", executor=executor, progress=told.append)
    assert found.best == alone.best and found.outcome == "proven best"
    assert found.allocation.circuits == alone.allocation.circuits
    assert found.best.label in told


@pytest.mark.once
def test_stopped_at_once_it_says_so(demo):
    """Before anything is solved there is no best; the summary says that there is no answer."""
    nothing = mount(*demo, "mass", stop=lambda: True)
    assert (nothing.outcome, nothing.best, nothing.allocation) == ("no answer in time", None, None)
    assert nothing.summary().startswith("No answer in time")
    # what bounds alone refuse is known before anything is solved
    assert "not tried" in set(nothing.choices.outcome) <= {"not tried", "not enough"}


@pytest.fixture(scope="module")
def two_on_the_front(demo):
    """The cheapest module that is enough is made heavier than the next larger one, so that both are on the front."""
    vehicle, catalogue = demo
    heavier = tuple(replace(m, mass_g=m.mass_g + 400) if m.name == "middle-36" else m for m in catalogue)
    return vehicle, replace(catalogue, modules=heavier)


@pytest.mark.once
def test_stopped_on_the_way_it_has_the_best_so_far(two_on_the_front):
    """Stopped when the first choice of a front is found: that one is the best so far, and others may be better."""
    told = []
    some = mount(*two_on_the_front, "front", progress=told.append, stop=lambda: "middle-36 at glove box" in told)
    assert some.outcome == "best so far" and some.best.label == "middle-36 at glove box"
    assert some.gap > 0 and "best so far" in some.summary()
    assert pa.verify(some.allocation).empty and "not tried" in set(some.choices.outcome)


@pytest.mark.once
def test_an_interrupt_keeps_the_best_so_far(two_on_the_front):
    """A key pressed during the search ends it with what was found."""

    def interrupt(label):
        if label == "middle-36 at glove box":
            raise KeyboardInterrupt

    found = mount(*two_on_the_front, "front", progress=interrupt)
    assert found.outcome == "best so far" and found.best.label == "middle-36 at glove box"


def test_a_study_over_places_takes_its_limit_once_for_each_module(monkeypatch, demo):
    """Choices that use up their limit one after the other end the study at that limit for each module."""
    now, vehicle, catalogue = [0.0], *demo

    def slow(job):
        now[0] += job.time_limit_s
        return Judged(job.choice.number, "no answer in time")

    monkeypatch.setattr("pdm_alloc.program.solver.time", SimpleNamespace(monotonic=lambda: now[0]))
    monkeypatch.setattr("pdm_alloc.studies.mounting_search.judge_choice", slow)
    study = mount(vehicle, catalogue, time_limit_s=10.0)
    assert now[0] == 10.0 * len(catalogue)
    assert study.outcome == "no answer in time"


@pytest.mark.once
def test_the_gap_is_that_to_the_least_open_bound(demo):
    """With one choice solved and others open, the gap is that from its mass to the least bound of those."""
    vehicle, catalogue = demo
    search = Search(vehicle, choices(catalogue, mount_places(vehicle)), objective_of("mass"), 60.0)
    best = next(c for c in search.choices if c.label == "middle-36 at glove box")
    heaviest = max(module_dg(c) + search.least[c.number] for c in search.choices if c.number in search.least)
    search.judged[best.number] = Judged(best.number, "proven best", (), heaviest - module_dg(best), 0, 0)
    found = mounting_of(search)
    mass = {c.number: module_dg(c) + least for c, least in search.undecided()}
    assert best.number not in mass and found.outcome == "best so far"
    weighs = module_dg(best) + search.judged[best.number].harness_dg
    assert found.gap == pytest.approx((weighs - min(mass.values())) / weighs)
    assert all(dg <= weighs for dg in mass.values())


@pytest.mark.once
def test_what_is_missing_is_named(demo):
    """No place to mount, a module without mass, an unknown objective: one line each."""
    vehicle, catalogue = demo
    bare = replace(vehicle, places=tuple(replace(p, mount=False) for p in vehicle.places))
    with pytest.raises(ValueError, match="no place can take a module"):
        mount(bare, catalogue)
    light = replace(catalogue, modules=(replace(catalogue.modules[0], mass_g=None), *catalogue.modules[1:]))
    with pytest.raises(ValueError, match="mass_g is missing for compact-31"):
        mount(vehicle, light, "mass")
    for wanted in ("weight", {}, {"price": -1}, {"colour": 1}):
        with pytest.raises(ValueError, match="price"):
            mount(vehicle, catalogue, wanted)


@pytest.mark.once
def test_the_allocation_can_be_saved_and_documented(cheapest, tmp_path):
    """What a study over places gives is an allocation like any other: saved, read back equal, with a wire list."""
    found = cheapest.allocation
    path = write_documents(found, tmp_path / "out")
    saved = next(p for p in path if p.name == "allocation.json")
    again = read_allocation(saved)
    assert again.circuits == found.circuits and again.units == found.units
    assert again.wires.equals(found.wires)


@pytest.mark.parametrize("limit_s", [0.0, 60.0])
def test_feeds_that_are_not_to_be_had_are_no_internal_error(limit_s):
    """No cable carries 3,000 A: such a choice is not enough, also where time is over before its circuits are listed."""
    loads = [
        Load(f"{name} {n}", f"{name} {n}", 100_000, 30, "heater", place=name)
        for name in ("left", "right")
        for n in (1, 2)
    ]
    weak, strong = small.unit(2, "left", "weak"), small.unit(200, "left", "strong")
    strong = replace(strong, module=replace(strong.module, total_ma=9_000_000))
    wiring = small.forked(*loads, battery_place="source")
    listed = tuple(
        Choice(n, (replace(u, place=p),)) for n, (u, p) in enumerate(product((weak, strong), ("left", "right")))
    )
    search = Search(wiring, listed, objective_of("mass"), limit_s, Clock(limit_s))
    search.run()
    assert search.best is None and all(search.judged[n].outcome == "not enough" for n in (2, 3))
