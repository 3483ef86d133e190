"""A refusal is data; `explain` does the work."""

import pickle
from concurrent.futures import ProcessPoolExecutor
from dataclasses import FrozenInstanceError
from multiprocessing import get_context

import pytest

import pdm_alloc as pa
from pdm_alloc.diagnose import explain as room


def refused(units=None):
    vehicle = pa.Vehicle(
        "van",
        tuple(pa.Load(f"fan {n}", f"c{n}", 4000, kind="led", inrush_ma=4000, importance="comfort") for n in range(3)),
        tuple(pa.Command(f"c{n}") for n in range(3)),
        (pa.State("always", 12.0, {f"c{n}": 1_000_000 for n in range(3)}),),
    )
    with pytest.raises(pa.NotEnough) as caught:
        pa.allocate(vehicle, module(2) if units is None else units)
    return caught.value


def module(channels, total_a=100, name="two"):
    slots = tuple(pa.Channel(str(n + 1), 10_000, 40_000, 100.0) for n in range(channels))
    return pa.Module(name, total_a * 1000, 10 * total_a * 1000, slots)


def allocate_in_process(case):
    return pa.allocate(*case)


def test_it_pickles():
    """Data and words are the same on the other side."""
    refusal = refused()
    again = pickle.loads(pickle.dumps(refusal))
    assert (again.vehicle, again.units, again.shorts) == (refusal.vehicle, refusal.units, refusal.shorts)
    assert (str(again), again.outcome) == (str(refusal), "not enough")


def test_no_answer_in_time_pickles():
    """Both words of the other refusal survive as well."""
    again = pickle.loads(pickle.dumps(pa.Unsolved("no answer in time", "raise time_limit_s")))
    assert (again.outcome, str(again)) == ("no answer in time", "raise time_limit_s")


def test_it_crosses_a_process_pool():
    """A study in processes gets the refusal itself, and can have it explained here."""
    refusal = refused()
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        with pytest.raises(pa.NotEnough) as caught:
            pool.submit(allocate_in_process, (refusal.vehicle, refusal.units)).result()
        explained = pool.submit(pa.explain, caught.value, sets=1).result()
    assert str(caught.value) == str(refusal)
    assert explained.sentence() == pa.explain(refusal, sets=0).sentence()


def test_nothing_is_solved_when_it_is_looked_at(monkeypatch):
    """Printing, showing and reading a refusal touch neither the shortfall nor the concessions."""
    refusal = refused()

    def solved(*_, **__):
        raise AssertionError("solved")

    for name in ("shortfall", "concession_study"):
        monkeypatch.setattr(room, name, solved)
    for name in (n for n in dir(refusal) if not n.startswith("__")):
        getattr(refusal, name)
    assert str(refusal).count("\n") == repr(refusal).count("\n") == 0
    assert str(refusal) in refusal._repr_html_()
    with pytest.raises(AssertionError, match="solved"):
        pa.explain(refusal)


def test_arithmetic_is_said_at_once():
    """What needs no solver stands in the refusal itself."""
    refusal = refused(module(3, total_a=5, name="weak"))
    assert [short.kind for short in refusal.shorts] == ["whole module"] or refusal.shorts
    assert str(refusal).startswith("weak is not enough: ") and refusal.shorts[0].sentence in str(refusal)


def test_two_modules_are_not_enough():
    """Several modules take the plural."""
    refusal = refused([module(1, name="one"), module(1, name="other")])
    assert str(refusal).startswith("one and other are not enough: ")
    assert pa.explain(refusal).sentence().startswith("one and other are not enough: ")


def test_the_explanation_has_everything():
    """What is short, what could be given up, in tables and in words; and it cannot be changed."""
    explained = pa.explain(refused())
    assert explained.shortfall["sentence"].tolist()[0].startswith("1 more channel")
    assert explained.sentence().startswith("two is not enough: 1 more channel")
    assert explained.concession_sets and explained.left_open == ""
    assert set(explained.concessions["rank"]) == {s.rank for s in explained.concession_sets}
    assert explained.summary() == repr(explained) == f"{explained.sentence()}\n  or give up: {explained.cheapest}"
    with pytest.raises(FrozenInstanceError):
        explained.left_open = "no"


def test_less_is_worked_out_where_less_is_asked():
    """The easiest way out alone, and no concessions."""
    refusal = refused()
    brief, whole = pa.explain(refusal, every_limit=False, sets=0), pa.explain(refusal)
    assert brief.first == whole.first and brief.concession_sets == ()
    assert len(pa.explain(refusal, sets=1).concession_sets) == 1 < len(whole.concession_sets)


def test_without_time_nothing_is_claimed():
    """A study that was stopped says so, of the concessions; and names no limit it has not proved."""
    explained = pa.explain(refused(), time_limit_s=0)
    assert explained.concession_sets == () and explained.left_open
    assert explained.shortfall.empty


@pytest.mark.parametrize("thing", [None, "two", ValueError("no")])
def test_only_a_refusal_can_be_explained(thing):
    """Anything else is refused in words."""
    with pytest.raises(TypeError, match="explain takes the NotEnough that allocate raised"):
        pa.explain(thing)


def test_size_explains_each_refused_module_once(monkeypatch):
    """Once per refused module, with the time limit of the study, and in full where that is asked for."""
    from pdm_alloc.studies import sizing

    asked = []

    def counted(refusal, **how):
        asked.append((refusal.units[0].label, how["time_limit_s"], how["every_limit"]))
        return room.explain(refusal, **how)

    monkeypatch.setattr(sizing, "explain", counted)
    vehicle, catalogue = (
        refused().vehicle,
        pa.Catalogue("c", (module(1, name="one"), module(2), module(3, name="three"))),
    )
    study = pa.size(vehicle, catalogue, time_limit_s=7)
    pa.size(vehicle, catalogue, why=True)
    assert asked == [("one", 7, False), ("two", 7, False), ("one", None, True), ("two", None, True)]
    repr(study), study._repr_html_(), study.verdicts
    assert len(asked) == 4
    assert study.verdicts.tightest[1].startswith("1 more channel") and study.explanations["two"].cheapest
