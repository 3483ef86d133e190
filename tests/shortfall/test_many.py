"""A command with so many different loads that its circuits cannot be listed."""

from dataclasses import replace

import pytest

from pdm_alloc.circuits import columns
from pdm_alloc.circuits.classes import channel_classes
from pdm_alloc.circuits.columns import CircuitBook, OutOfTime, TooManyCircuits, circuits_of
from pdm_alloc.circuits.draws import Wiring
from pdm_alloc.circuits.items import item_types
from pdm_alloc.diagnose.concession_sets import concession_study
from pdm_alloc.diagnose.shortfall import shortfall
from pdm_alloc.program.partition import task_of
from pdm_alloc.program.solver import Clock
from tests.shortfall.conftest import LOAD, module_of, vehicle_of

# Fours that fill a channel of 8 A usable (10 A, 20 % headroom) exactly: 10 channels, and no fewer.
FOURS = [(1601 + 13 * n, 1907 + 29 * n, 2003 + 7 * n) for n in range(10)]
CURRENTS = [ma for some in FOURS for ma in (*some, 8000 - sum(some))]


@pytest.fixture(autouse=True)
def few_circuits(monkeypatch):
    """Too many are a thousand, not twenty, so that this takes no minutes."""
    monkeypatch.setattr(columns, "MOST_CIRCUITS", 1_000)


@pytest.fixture(scope="module")
def many():
    loads = (replace(LOAD, name=f"lamp {n}", running_ma=ma, inrush_ma=ma) for n, ma in enumerate(CURRENTS))
    return vehicle_of(*loads)


def test_its_circuits_cannot_be_listed(many):
    """Otherwise the tests here show nothing."""
    with pytest.raises(TooManyCircuits):
        task_of(many, [module_of(7)], CircuitBook(3))


def test_how_many_channels_are_short_is_told_all_the_same(many):
    """From verdicts alone, each proved."""
    (short,) = shortfall(many, (module_of(7),), Clock(60), CircuitBook(3)).shorts
    assert (short.kind, short.have, short.need) == ("channels", 7, 10)
    assert short.sentence == "3 more channels of 10 A"


def test_concessions_that_were_not_looked_for_are_not_called_none(many):
    """Nothing found and nothing looked for are told apart."""
    study = concession_study(many, (module_of(9),))
    assert study.sets == () and study.why_none == ""
    assert study.left_open.startswith("concessions were not looked for: the command c has too many different loads")


def test_listing_keeps_to_the_clock(many):
    """What takes longer than there is time for is given up, and said to be."""
    rating = channel_classes(many, [module_of(7)])[0][0].rating
    (types,) = item_types(many).values()
    with pytest.raises(OutOfTime, match="time ran out while the circuits of c were listed"):
        circuits_of(types, rating, Wiring(many), late=Clock(0).is_over)
    assert "time ran out" in concession_study(many, (module_of(9),), time_limit_s=0.05).left_open


def test_that_there_are_too_few_channels_is_told_without_a_list(many):
    """80 A on seven channels of 10 A, and nothing on offer that takes any of it away."""
    study = concession_study(many, (module_of(7),))
    assert study.left_open == "" and study.why_none.endswith("with all of them there are still too few channels")
