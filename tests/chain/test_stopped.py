"""A study that is stopped half-way ends at once and says only what it has proved."""

import itertools
from dataclasses import replace

import pytest

import pdm_alloc as pa
from pdm_alloc.circuits.classes import channel_classes
from pdm_alloc.circuits.columns import CircuitBook, OutOfTime, circuits_of
from pdm_alloc.circuits.draws import Wiring
from pdm_alloc.circuits.items import load_types
from pdm_alloc.diagnose.concession_sets import concession_study, offered
from pdm_alloc.diagnose.shortfall import shortfall
from pdm_alloc.domain.vehicle import Place, Route
from pdm_alloc.program.concession_program import concession_model
from pdm_alloc.program.solver import Clock
from pdm_alloc.studies.mounting_search import Search, objective_of
from tests.shortfall.conftest import LOAD, _alone, _together, module_of, vehicle_of

CASES = [case[1:3] for case in _alone()] + [case[1:3] for case in _together()]


class Impatient(Clock):
    """Lets so many questions pass, and then the time is up for good."""

    def __init__(self, questions):
        self.asked = itertools.count()
        super().__init__(600, lambda: next(self.asked) >= questions)


@pytest.mark.parametrize("case", CASES, ids=range(len(CASES)))
def test_whatever_was_not_proved_is_left_out(case):
    """Wherever the clock stops it, a study ends, and all it says is allocated."""
    vehicle, unit = case
    for questions in (0, 1, 2, 3, 5, 8, 13, 21, 34, 55):
        study = shortfall(vehicle, (unit,), Impatient(questions), CircuitBook(vehicle.settings.tolerance_loads))
        assert bool(study.parts) == (study.allocation is not None)
        assert study.allocation is None or pa.verify(study.allocation).empty


def many(number):
    """A vehicle of so many small loads, each with a command of its own, and a module of two channels fewer."""
    loads = [
        replace(LOAD, name=f"lamp {n}", command=f"lamp {n}", running_ma=2000 + 100 * n, importance="comfort")
        for n in range(number)
    ]
    return vehicle_of(*loads), module_of(number - 2)


def test_building_the_program_of_concessions_asks_the_clock_at_every_concession():
    """With 1,000 loads, 20 s were spent on concessions after a limit of 1 s: only the listing of circuits asked."""
    vehicle, unit = many(8)
    book = CircuitBook(vehicle.settings.tolerance_loads)
    there = offered(vehicle, (unit,), book)
    asked = itertools.count()
    concession_model(vehicle, unit, there, book, lambda: next(asked) < 0)
    changing = [o for o in there if o.kind in ("join", "relay", "soft_start", "drop", "measure", "divide")]
    assert changing
    assert next(asked) > len(changing) + len(vehicle.loads)


def test_sets_found_before_the_clock_ran_out_are_kept():
    """Wherever the clock stops the search, what it found is the beginning of what it finds with more time."""
    vehicle, unit = many(5)
    every = [s.made for s in concession_study(vehicle, (unit,)).sets]
    lengths = set()
    for questions in (0, 3, 20, 60, 200, 250, 300, 350, 400, 500, 700, 1000, 2000, 4000):
        clock = Impatient(questions)
        study = concession_study(vehicle, (unit,), time_limit_s=600, stop=lambda clock=clock: clock.left_s <= 0)
        assert [s.made for s in study.sets] == every[: len(study.sets)]
        assert study.left_open or len(study.sets) == len(every)
        lengths.add(len(study.sets))
    assert {0, len(every)} < lengths


def test_listing_asks_the_clock_where_hardly_anything_is_borne():
    """Of 300 loads of one command few that are tried together are borne: asked at those alone, 1 s became 2.5 s."""
    loads = [replace(LOAD, name=f"lamp {n}", running_ma=7000 + n, inrush_ma=7000 + n) for n in range(40)]
    vehicle, unit = vehicle_of(*loads), module_of(3)
    types = tuple(load_types(vehicle, [unit]))
    rating = channel_classes(vehicle, [unit])[0][0].rating
    assert len(circuits_of(types, rating, Wiring(vehicle))) == len(loads)
    asked = itertools.count()
    with pytest.raises(OutOfTime):
        circuits_of(types, rating, Wiring(vehicle), late=lambda: next(asked) > 2)
    asked = itertools.count()
    circuits_of(types, rating, Wiring(vehicle), late=lambda: next(asked) < 0)
    assert next(asked) > len(loads) * len(loads) / 2 / 50


def test_half_of_the_time_is_kept_for_solving_places():
    """Bounds on masses took all the time there was, and no place was solved."""
    clock = Clock(600)
    places, routes = (Place("nose"), Place("tail", mount=True)), (Route("nose", "tail", 2.0),)
    vehicle = vehicle_of(replace(LOAD, place="nose"), places=places, routes=routes)
    search = Search(vehicle, (), objective_of("mass"), 600, clock)
    assert search.bounds.clock().left_s < 301
