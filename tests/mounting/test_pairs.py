"""Two modules together, without places."""

import random
import time
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

import pdm_alloc as pa
from pdm_alloc.domain.module import Catalogue
from pdm_alloc.domain.vehicle import Load
from pdm_alloc.studies.alternatives import PAIRS, number_of_pairs, pairable, pairs_of
from tests.wiring import small

DATA = Path(__file__).parents[2] / "data"
LOADS = tuple(Load(f"load {n}", f"command {n}", 5_000, inrush_ma=5_000) for n in range(5))


def catalogue(**modules):
    """Modules by name: channels, price, mass in g."""
    made = [
        replace(small.unit(channels).module, name=name, price=price, mass_g=mass)
        for name, (channels, price, mass) in modules.items()
    ]
    return Catalogue("small", tuple(made))


def test_two_small_ones_where_no_single_one_is_enough():
    """Five circuits on modules of three channels: the cheapest pair that is enough; dearer ones are not tried."""
    study = pa.size(small.vehicle(*LOADS), catalogue(three=(3, 10.0, 100.0), two=(2, 9.0, 50.0)))
    assert study.smallest is None and study.is_enough
    table = study.pairs.set_index("modules")
    assert tuple(study.pairs.columns) == PAIRS
    # two and two are four channels; three and two are the cheapest that are enough, and lighter than three and three
    assert table.outcome.to_dict() == {
        "two and two": "not enough",
        "three and two": "proven best",
        "three and three": "passed over",
    }
    assert table.loc["three and two", ["channels_used", "channels", "spare"]].tolist() == [5, 5, 0]
    assert study.summary() == "No single module is enough; three and two together are."
    assert pa.verify(study.allocation("three and two")).empty
    with pytest.raises(pa.NotEnough):
        study.allocation("two and two")


def test_a_pair_is_told_of_where_it_beats_the_smallest():
    """Cheaper than the single one, but heavier: it is tried, and the table says in what it is better."""
    study = pa.size(small.vehicle(*LOADS), catalogue(one=(6, 30.0, 150.0), three=(3, 10.0, 100.0)))
    assert study.smallest == "one"
    row = study.pairs.set_index("modules").loc["three and three"]
    assert (row.outcome, row.beats, row.price, row.mass_g) == ("proven best", "price", 20.0, 200.0)
    assert study.summary().endswith("three and three together are enough too, and better in price.")


@pytest.mark.once
def test_what_beats_nothing_is_passed_over():
    """The demo's small module twice is dearer and heavier than the middle one: no time is spent on any pair."""
    car, modules = pa.read_vehicle(DATA / "rally_coupe"), pa.read_catalogue(DATA / "catalogue")
    study = pa.size(car, modules)
    assert set(study.pairs.outcome) == {"passed over"} and len(study.pairs) == 15
    assert study.pair_results == {} and study.summary().startswith("middle-36 is the smallest that is enough.\n")


def test_unknown_price_and_mass_beat_nothing():
    """A module without price and mass cannot be said to be cheaper or lighter."""
    modules = catalogue(one=(6, 30.0, 150.0), three=(3, None, None))
    study = pa.size(small.vehicle(*LOADS), modules)
    assert set(study.pairs.outcome) == {"passed over"}
    assert study.pairs.price.isna().any()


def test_all_pairs_in_one_order():
    """Cheapest first, whatever order the rows came in."""
    modules = catalogue(a=(1, 5.0, 1.0), b=(1, 3.0, 1.0), c=(1, 5.0, 0.5))
    labels = [pair.label for pair in pairs_of(modules)]
    assert labels == ["b and b", "b and c", "a and b", "c and c", "a and c", "a and a"]
    assert labels == [pair.label for pair in pairs_of(reversed(modules.modules))]


def test_stopped_before_the_pairs():
    """Stopping ends the study with what it has."""
    told = []
    study = pa.size(
        small.vehicle(*LOADS),
        catalogue(three=(3, 10.0, 100.0)),
        progress=told.append,
        stop=lambda: bool(told),
    )
    assert told == ["three"] and study.pair_results == {} and not study.is_enough


def test_a_study_takes_its_limit_once_for_each_module(monkeypatch):
    """Modules that use up their limit leave half a second for pairs and reasons, not the same time again for these."""
    now, asked = [0.0], []

    def slow(vehicle, modules, *, time_limit_s, stop, book):
        asked.append(time_limit_s)
        now[0] += time_limit_s
        raise pa.Unsolved("no answer in time", "raise time_limit_s")

    monkeypatch.setattr(
        "pdm_alloc.program.solver.time", SimpleNamespace(monotonic=lambda: now[0], process_time=time.process_time)
    )
    monkeypatch.setattr("pdm_alloc.studies.sizing.allocate", slow)
    modules = catalogue(one=(1, 1.0, 1.0), two=(2, 2.0, 2.0), three=(3, 3.0, 3.0))
    study = pa.size(small.vehicle(*LOADS), modules, time_limit_s=10.0)
    assert asked == [10.0, 10.0, 10.0, 0.5]
    assert len(study.open) == 5 and not study.is_proved_short


def test_pairs_get_as_much_time_as_all_modules_together():
    """Thirty modules make 465 pairs: with no time for them, they are counted as not tried, and never as not enough."""
    names = {f"m{n}": (2, float(n), 10.0) for n in range(30)}
    study = pa.size(small.vehicle(*LOADS), catalogue(**names), time_limit_s=0.0)
    assert study.pair_results == {} and set(study.pairs.outcome) == {"not tried"}
    assert study.open["465 more pairs of modules"] == "not tried"


@pytest.mark.parametrize("seed", range(20))
def test_no_pair_that_beats_the_smallest_is_passed_over_unmade(seed):
    """Of 501 modules only those are paired that can be cheaper or lighter; a price or mass may be missing or 0."""
    rng = random.Random(seed)
    some = (None, 0, 1, 2, 3, 5, 8)
    listed = catalogue(**{f"m{n}": (2, rng.choice(some), rng.choice(some)) for n in range(12)})
    modules = list(listed)
    for smallest in (None, *modules):
        better = [p.label for p in pairs_of(modules) if p.beats(smallest)]
        assert [p.label for p in pairs_of(pairable(modules, smallest)) if p.beats(smallest)] == better
    assert number_of_pairs(listed) == len(pairs_of(modules))
