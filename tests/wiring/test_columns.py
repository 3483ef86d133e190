"""Circuits with their wires: none is lost by stopping early, and each is what the physics says."""

from dataclasses import replace
from fractions import Fraction
from itertools import product

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pdm_alloc.circuits import columns
from pdm_alloc.circuits.classes import channel_classes
from pdm_alloc.circuits.columns import CircuitBook, circuits_of, fit, is_as_strong, may_share
from pdm_alloc.circuits.draws import CircuitDraw, Wiring
from pdm_alloc.circuits.items import item_types, load_types
from pdm_alloc.domain.module import units_of
from pdm_alloc.domain.vehicle import Load
from pdm_alloc.electrics.protection import Demand, protect
from pdm_alloc.electrics.wire import WireRules
from tests.scale.fleet import fleet
from tests.strategies import cases, examples
from tests.wiring import small

QUIET = {"deadline": None, "suppress_health_check": list(HealthCheck)}


def every_circuit(types, rating, wiring, tolerance_loads):
    """Every combination of counts tried on its own, without stopping anywhere."""
    for numbers in product(*(range(t.count + 1) for t in types)):
        counts = tuple((n, k) for n, k in enumerate(numbers) if k)
        if counts and may_share(types, counts):
            found = fit(types, counts, rating, wiring, tolerance_loads)
            if found is not None and found.made is not None:
                yield counts, found


@pytest.mark.once
@settings(max_examples=examples(150, 1500), **QUIET)
@given(cases(most_loads=5, most_items=6, wires=True))
def test_stopping_early_loses_no_circuit(case):
    """Growing circuits item by item finds the circuits that trying every combination finds."""
    vehicle, units = case
    wiring, at_once = Wiring(vehicle), vehicle.settings.tolerance_loads
    for rating in {c.rating for c in channel_classes(vehicle, units)[0]}:
        for types in item_types(vehicle).values():
            grown = circuits_of(types, rating, wiring, at_once)
            assert grown == dict(every_circuit(types, rating, wiring, at_once))


@settings(max_examples=examples(100, 1000), **QUIET)
@given(cases(most_loads=5, most_items=6))
def test_voltages_left_out_decide_nothing(case):
    """What a circuit draws at its worst is the same as over every voltage of every state."""
    vehicle, _ = case
    every = {t.load: t for t in load_types(vehicle)}
    for types in item_types(vehicle).values():
        few = [(t, t.count) for t in types]
        full = CircuitDraw([(every[t.load], k) for t, k in few], vehicle.settings.tolerance_loads)
        draw = CircuitDraw(few, vehicle.settings.tolerance_loads)
        assert (draw.running_ma, draw.draw_ma, draw.peak_ma) == (full.running_ma, full.draw_ma, full.peak_ma)


@pytest.mark.once
@settings(max_examples=examples(60, 1000), **QUIET)
@given(cases(most_loads=4, most_items=5, wires=True), st.data())
def test_what_a_rating_surely_bears_every_stronger_one_bears(case, data):
    """Circuits taken over from a weaker rating are among those that trying every combination on the stronger finds."""
    vehicle, units = case
    ratings = sorted({c.rating for c in channel_classes(vehicle, units)[0]}, key=lambda r: (r.usable_ma, r.peak_ma))
    weak = data.draw(st.sampled_from(ratings))
    times, peak, lasting = (data.draw(st.sampled_from((1, Fraction(11, 10), 3))) for _ in range(3))
    strong = replace(
        weak,
        rated_ma=weak.rated_ma * times,
        usable_ma=int(weak.usable_ma * times),
        peak_ma=int(weak.peak_ma * peak),
        peak_ms=float(weak.peak_ms * lasting),
        pwm=data.draw(st.sampled_from((weak.pwm, True))),
        max_wire_mm2=data.draw(st.sampled_from((weak.max_wire_mm2, None))),
    )
    assert is_as_strong(strong, weak) and is_as_strong(weak, strong) == (weak == strong)
    book, wiring = CircuitBook(vehicle.settings.tolerance_loads), Wiring(vehicle)
    for types in item_types(vehicle).values():
        assert book.borne(types, weak, wiring) == dict(every_circuit(types, weak, wiring, book.tolerance_loads)).keys()
        sure = set(book.surely(types, weak, wiring))
        every = dict(every_circuit(types, strong, wiring, book.tolerance_loads)).keys()
        assert sure <= every
        assert book.borne(types, strong, wiring, sure=sure) == every


def test_a_rating_that_differs_in_kind_is_no_stronger():
    """Another place, a coarser trip setting or a single channel in place of a bridge are compared in nothing."""
    rating = small.rating(pwm=True)
    for change in (
        {"place": "elsewhere"},
        {"trip_step_ma": rating.trip_step_ma + 1},
        {"reversing": not rating.reversing},
        {"pins": rating.pins + 1},
        {"trip_error_pct": rating.trip_error_pct + 1},
        {"contact_ma": 1},
        {"wires": rating.wires + 1},
        {"share": rating.share / 2},
        {"pwm": False},
    ):
        assert not is_as_strong(replace(rating, **change), rating)
    assert is_as_strong(rating, replace(rating, pwm=False))


def test_a_circuit_that_is_allowed_only_with_more_on_it():
    """A slow motor alone would burn the wire its terminal takes; with a heater its window is shorter.

    The window is 1.5 x 3 s x ln(36 / 1) = 16.1 s alone, 9.9 s with 12 A more. The worst current is the one at which
    the channel's own protection, 8930 A2 s above 24 A, takes as long: sqrt((24**2 x 16.1 + 8930) / 7646) = 1.54 mm2
    of copper alone, 1.38 mm2 with the heater.
    """
    vehicle = small.vehicle(
        Load("motor", "run", 4_000, kind="motor", inrush_ma=40_000, inrush_ms=9_000.0, volt_exponent=1.0),
        Load("heater", "run", 12_000, kind="heater", inrush_ma=12_000, volt_exponent=1.0),
    )
    unit = small.unit(max_wire_mm2=1.5, peak_ma=53_000, peak_ms=4_000.0)
    (rating,) = {c.rating for c in channel_classes(vehicle, [unit])[0]}
    types = item_types(vehicle)["run"]
    assert [t.load for t in types] == ["heater", "motor"]
    found = circuits_of(types, rating, Wiring(vehicle))
    assert ((1, 1),) not in found and ((0, 1), (1, 1)) in found
    assert fit(types, ((1, 1),), rating, Wiring(vehicle)).made is None


def test_wire_of_a_fork_by_hand():
    """Trunk once, branches, an end at the module and at each item: 2 + 1 + 3 m by 1.05 and 4 ends; mass of 0.5 mm2."""
    vehicle = small.forked(Load("a", "run", 1_000, place="left"), Load("b", "run", 2_000, count=2, place="right"))
    types = item_types(vehicle)["run"]
    wiring = Wiring(vehicle)
    some = [(t, t.count) for t in types]
    assert wiring.wire_m(some, "source") == pytest.approx(6 * 1.05 + 4 * 0.15)
    runs = {t.load: run for (t, _), run in zip(some, wiring.runs(some, "source"), strict=True)}
    # to a: 1 A alone over 1 m and its end, 5 A over 2 m and the end at the module
    assert runs["a"][0] * runs["a"][1] == pytest.approx(1 * (1 * 1.05 + 0.15) + 5 * (2 * 1.05 + 0.15))
    # to b: 4 A over 3 m, 5 A over the trunk and the end at the module, its own 2 A over its own end
    assert runs["b"][0] * runs["b"][1] == pytest.approx(4 * 3 * 1.05 + 5 * (2 * 1.05 + 0.15) + 2 * 0.15)
    assert runs["a"][1:] == (pytest.approx(3 * 1.05 + 0.3), 3.0)


def test_a_stated_length_is_a_wire_of_its_own():
    """Without places every item has the wire its row states; nothing is known of the others."""
    vehicle = small.vehicle(Load("a", "run", 1_000, count=2, length_m=3.0), Load("b", "run", 2_000))
    some = [(t, t.count) for t in item_types(vehicle)["run"]]
    wiring = Wiring(vehicle)
    assert wiring.wire_m(some, None) == 6.0
    assert {t.load: run[:2] for (t, _), run in zip(some, wiring.runs(some, None), strict=True)} == {
        "a": (1.0, 3.0),
        "b": (2.0, None),
    }


def test_a_bridge_has_both_wires():
    """A reversing load is fed out and back by wire even in a car with chassis return: twice the mass and the drop."""
    load = Load("window", "run", 3_000, place="left", max_drop_pct=50.0)
    plain, both = (
        fit(
            item_types(vehicle := small.forked(replace(load, needs=frozenset(needs))))["run"],
            ((0, 1),),
            small.rating(place="source", reversing=bool(needs)),
            Wiring(vehicle),
        )
        for needs in ((), ("reversing",))
    )
    assert both.made.wire.size == plain.made.wire.size
    assert both.mass_mg == pytest.approx(2 * plain.mass_mg, abs=1)
    assert both.made.wire.drops_pct[0] == pytest.approx(2 * plain.made.wire.drops_pct[0])


def test_two_vehicles_share_a_book_only_where_they_are_wired_alike():
    """The same loads with longer routes are other circuits: what a wire depends on is part of what is remembered."""
    near = small.forked(Load("a", "run", 5_000, place="right"))
    far = replace(near, routes=tuple(replace(r, length_m=20.0) for r in near.routes))
    book, rating = CircuitBook(3), replace(small.rating(), place="source")
    types = item_types(near)["run"]
    assert types == item_types(far)["run"]
    thin, thick = (book.circuits(types, rating, book.wiring(v))[((0, 1),)] for v in (near, far))
    assert thin.made.wire.size.area_mm2 < thick.made.wire.size.area_mm2
    assert book.wiring(near) is book.wiring(replace(near, name="other"))


def test_what_fits_is_what_protect_says():
    """The setting and wire kept with a circuit are those of the plain function on its numbers."""
    vehicle = small.forked(Load("a", "run", 5_000, kind="filament", inrush_ma=60_000, inrush_ms=60.0, place="right"))
    types, wiring = item_types(vehicle)["run"], Wiring(vehicle)
    rating = replace(small.rating(), place="source")
    found = fit(types, ((0, 1),), rating, wiring)
    demand = Demand(5_000, [55.0], [20.0], 0, wiring.runs([(types[0], 1)], "source"))
    assert found.made == protect(demand, rating, WireRules(ambient_c=30.0))
    assert found.made.trip_ma == 6_300 and found.made.wire.drops_pct[0] <= 3.0


def test_commands_that_differ_in_name_alone_share_their_circuits(monkeypatch):
    """The physics is asked for two commands of forty-eight; what each then has is what asking anew would find."""
    vehicle, modules = fleet(96)
    loads = tuple(replace(load, running_ma=(400, 900, 1300, 2100)[n % 4]) for n, load in enumerate(vehicle.loads))
    vehicle, unit = replace(vehicle, loads=loads), units_of(modules[0])
    book, asked, rating = CircuitBook(3), [], channel_classes(vehicle, unit)[0][0].rating
    types, wiring = item_types(vehicle), book.wiring(vehicle)
    expected = {name: circuits_of(each, rating, wiring, 3) for name, each in types.items()}
    monkeypatch.setattr(columns, "fit", lambda *words: asked.append(words[1]) or fit(*words))
    assert {name: book.circuits(each, rating, wiring) for name, each in types.items()} == expected
    assert len(asked) == 2 * 3  # each alone, and both together
