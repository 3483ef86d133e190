"""Why choices of modules and places are not enough: grouped, gravest first, each growth enough."""

from dataclasses import replace
from fractions import Fraction

import pandas as pd

import pdm_alloc as pa
from pdm_alloc.domain.module import Catalogue, Channel, Module
from pdm_alloc.domain.vehicle import Lock, Place, Route
from pdm_alloc.harness.distribution import Feeder
from pdm_alloc.printed import reason_lines
from tests.shortfall.conftest import LOAD, vehicle_of

PLACES = tuple(Place(name, x, 0.0, ambient_c=c, mount=True) for name, x, c in (("hot", 0, 80), ("dry", 3, 30)))


def _mounted(*loads, derating=(), sizes=(2, 3)):
    every = tuple(Channel(str(n + 1), 10_000, 40_000, 50.0) for n in range(max(sizes)))
    modules = tuple(
        Module(f"m{n}", 500_000, 900_000, every[:n], mass_g=100.0, price=10.0 * n, derating=derating) for n in sizes
    )
    placed = tuple(replace(load, place="dry") for load in loads)
    vehicle = vehicle_of(*placed, places=PLACES, routes=(Route("hot", "dry"),))
    return pa.mount(vehicle, Catalogue("c", modules), most=1)


def _loads(number, **changes):
    return tuple(replace(LOAD, name=f"l{n}", command=f"c{n}", **changes) for n in range(number))


def test_one_line_for_one_cause_with_all_its_choices():
    """Five loads on modules of two and three channels at two places: a line, in all four choices, by up to three."""
    study = _mounted(*_loads(5))
    table = study.reasons()
    row = next(table.itertuples())
    assert row.number == 4 and row.cause.startswith("up to 3 channels of 10 A missing (for l")
    assert row.where == "m2 and m3 at dry and hot"
    assert row.choices == "m2 at dry, m2 at hot, m3 at dry, m3 at hot"
    assert list(reason_lines(table))[2] == f"  4 (m2 and m3 at dry and hot): {row.cause}"


def test_the_cause_of_most_choices_comes_first():
    """At the hot place channels are weaker and none bears the heater; the smallest module lacks one anywhere."""
    derating = ((20.0, Fraction(1)), (90.0, Fraction(2, 5)))
    heater = replace(LOAD, name="heater", command="heat", running_ma=7_000, inrush_ma=7_000)
    study = _mounted(*_loads(2, running_ma=1_000, inrush_ma=1_000), heater, derating=derating)
    table = study.reasons()
    assert list(table["number"]) == sorted(table["number"], reverse=True)
    first = table.iloc[0]
    assert first["where"] == "m2 and m3 at hot" and "missing (for heater" in first["cause"]
    assert "m2 at dry" in " ".join(table["where"]) and study.is_enough


def test_a_module_beyond_its_derating_table_says_so():
    """The hot place is hotter than the table of derating goes: that is the cause, and no growth is looked for."""
    table = _mounted(*_loads(1), derating=((20.0, Fraction(1)), (60.0, Fraction(1)))).reasons()
    assert list(table["number"]) == [2] and table["where"][0] == "m2 and m3 at hot"
    assert "80" in table["cause"][0]


def test_no_time_is_said_once():
    """Without any time all choices are one line that says so; where all are enough there is none."""
    study = _mounted(*_loads(5))
    table = study.reasons(0.0)
    assert list(table["cause"]) == ["why was not worked out in time"] and list(table["number"]) == [4]
    assert list(reason_lines(pd.DataFrame())) == [] and _mounted(*_loads(1)).reasons().empty


def test_of_two_modules_a_load_that_no_channel_bears_is_named():
    """A heater that neither of two modules bears is the cause of every choice of two."""
    name = "heater {x} (s)"  # nothing in a name is taken for a gap in the sentence
    heater = replace(LOAD, name=name, command="heat", running_ma=30_000, inrush_ma=30_000, place="dry")
    vehicle = vehicle_of(heater, places=PLACES, routes=(Route("hot", "dry"),))
    every = tuple(Channel(str(n + 1), 10_000, 40_000, 50.0) for n in range(2))
    study = pa.mount(vehicle, Catalogue("c", (Module("m", 500_000, 900_000, every, mass_g=1.0, price=1.0),)))
    rows = {row.cause: row for row in study.reasons().itertuples()}
    assert rows[f"no channel bears {name}"].where == "3 of two modules" and len(rows) == 2


def test_a_lock_that_no_growth_gets_round_is_the_cause():
    """A heater locked to a channel too weak for it: more channels do not help, and the lock is named."""
    heater = replace(LOAD, name="heater", command="heat", running_ma=7_000, inrush_ma=7_000, place="dry")
    locked = (Lock("heater", "m", "1"),)
    vehicle = vehicle_of(heater, places=PLACES, routes=(Route("hot", "dry"),), locked=locked)
    channels = (Channel("1", 2_000, 8_000, 50.0), Channel("2", 10_000, 40_000, 50.0))
    study = pa.mount(vehicle, Catalogue("c", (Module("m", 500_000, 900_000, channels, price=1.0),)), most=1)
    assert list(study.reasons()["cause"]) == ["heater is locked to channel 1"]


def test_a_place_that_no_cable_reaches_is_refused_with_the_reason_and_others_go_on(monkeypatch):
    """Where no cable or fuse carries a feed that place is out, without any time too; the other one is enough."""
    mass_g = Feeder.mass_g
    monkeypatch.setattr(Feeder, "mass_g", lambda self, ma, place: None if place == "hot" else mass_g(self, ma, place))
    monkeypatch.setattr(Feeder, "length_m", lambda self, place: 1.0)
    study = _mounted(*_loads(2))
    assert study.is_enough and study.best.units[0].place == "dry"
    table = study.reasons(0.0)
    assert list(table["where"]) == ["m2 and m3 at hot"]
    assert table["cause"][0].startswith("no cable or fuse carries") and table["cause"][0].endswith("A to hot")


def test_a_place_beside_fuel_is_taken_only_where_no_other_is_enough():
    """The load sits beside the tank, where wires are lightest: the safe place is taken, and the tank's is left out."""
    tank = Place("tank", 0.0, 0.0, compartment="boot", ambient_c=30, mount=True, contains=frozenset({"fuel"}))
    safe = Place("dash", 3.0, 0.0, compartment="cabin", ambient_c=30, mount=True)
    every = tuple(Channel(str(n + 1), 10_000, 40_000, 50.0) for n in range(2))
    catalogue = Catalogue("c", (Module("m", 500_000, 900_000, every, mass_g=1.0, price=1.0),))
    load = replace(LOAD, place="tank")
    vehicle = vehicle_of(load, places=(tank, safe), routes=(Route("tank", "dash"),))
    study = pa.mount(vehicle, catalogue, most=1)
    assert [u.place for u in study.best.units] == ["dash"]
    assert study.summary().endswith(" with a module in one compartment with fuel (1) are left out: others are enough.")
    hot = replace(safe, ambient_c=300)  # no wire leads through it, so only the tank's place is left
    study = pa.mount(replace(vehicle, places=(tank, hot)), catalogue, most=1)
    assert [u.place for u in study.best.units] == ["tank"]
    assert "no choice outside one is enough" in study.summary()
