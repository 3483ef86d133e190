"""Loads locked to channels by hand: what is written, and what is said of a lock that cannot be kept."""

from dataclasses import replace
from pathlib import Path
from threading import Event, RLock
from types import SimpleNamespace

import pytest

pytest.importorskip("anywidget", reason="the extra 'notebook' is not installed")

import pdm_alloc as pa
from pdm_alloc.diagnose.explain import lock_reasons, slots_of
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Lock
from pdm_alloc.panel.controls import LocksByHand

DATA = Path(__file__).parents[2] / "data"
CATALOGUE = pa.read_catalogue(DATA / "catalogue")
MODULE = CATALOGUE["middle-42"]
UNIT = Unit("middle-42", MODULE)
WAIT_S = 120
ONE = next(name for name, (use, _) in slots_of(pa.read_vehicle(DATA / "rally_coupe"), UNIT).items() if use == "bridge")
LOADS = """\
load,command,running_a,kind,count,needs
lamp,lights,4.6,filament,2,
pump,fuel pump,6,motor,1,
window,window,4,motor,1,reversing
"""


@pytest.fixture(scope="module")
def vehicle(tmp_path_factory):
    folder = tmp_path_factory.mktemp("car")
    (folder / "loads.csv").write_text(LOADS)
    return pa.read_vehicle(folder)


class Desk:
    """The list of channels with a stand-in for the table ``locked``."""

    def __init__(self, vehicle, *locks):
        self.vehicle, self.rows = (
            vehicle,
            [dict(zip(("load", "module", "channel"), lock, strict=True)) for lock in locks],
        )
        self.list = LocksByHand(lambda: self.rows, self.edit)
        self.list.show(self.answer())

    def edit(self, table, rows):
        assert table == "locked"
        self.rows = rows

    def answer(self):
        locked = replace(self.vehicle, locked=tuple(Lock(**row) for row in self.rows))
        question = SimpleNamespace(vehicle=locked, module=MODULE, place=None)
        try:
            result = pa.allocate(locked, UNIT)
            return SimpleNamespace(question=question, result=result, allocation=result)
        except pa.NotEnough as refusal:
            return SimpleNamespace(question=question, result=refusal, allocation=None)

    def on(self, load):
        return [c["channel"] for c in self.list.box.channels if load in [x["load"] for x in c["loads"]]]

    def held(self):
        return {(x["load"], c["channel"]) for c in self.list.box.channels for x in c["loads"] if x["locked"]}


def test_drag_writes_the_table_and_is_solved(vehicle):
    """A load put on another channel is one row of the table, and the next allocation has it there, marked as locked."""
    desk = Desk(vehicle)
    [before] = desk.on("pump")
    free = next(c["channel"] for c in desk.list.box.channels[::-1] if not c["loads"])
    desk.list.act({"op": "lock", "load": "pump", "to": free, "origin": before})
    assert desk.rows == [{"load": "pump", "module": "middle-42", "channel": free}]
    desk.list.show(desk.answer())
    assert desk.on("pump") == [free] and desk.held() == {("pump", free)}
    desk.list.act({"op": "unlock", "load": "pump", "channel": free})
    assert desk.rows == []


def test_items_of_a_load_stay_where_they_are(vehicle):
    """Of a load on two channels one item is dragged; the other is locked where it is, and that is said."""
    desk = Desk(vehicle)
    one, other = desk.on("lamp")
    free = next(c["channel"] for c in desk.list.box.channels[::-1] if not c["loads"])
    desk.list.act({"op": "lock", "load": "lamp", "to": free, "origin": one})
    assert [(row["load"], row["channel"]) for row in desk.rows] == [("lamp", free), ("lamp", other)]
    assert f"its other items are locked to {other}" in desk.list.box.notice
    desk.list.show(desk.answer())
    assert set(desk.on("lamp")) == {free, other}


def test_reversing_load_takes_both_halves(vehicle):
    """A load that reverses, dropped on one channel of a bridge, is locked to both."""
    desk = Desk(vehicle)
    desk.list.act({"op": "lock", "load": "window", "to": ONE.split("+")[0]})
    assert desk.rows[0]["channel"] == ONE
    desk.list.show(desk.answer())
    assert desk.on("window") == [ONE]


def test_other_modules_keep_their_locks(vehicle):
    """Rows of the table for a module that is not looked at stay as they are."""
    desk = Desk(vehicle, ("pump", "large-56", "7"))
    desk.list.act({"op": "lock", "load": "pump", "to": "9"})
    assert ("pump", "large-56", "7") in [tuple(row.values()) for row in desk.rows]
    desk.list.act({"op": "unlock all"})
    assert desk.rows == []


def test_lock_beyond_the_rating_says_so_and_what_helps(vehicle):
    """The reason names what the channel takes and the load draws; that unlocking helps is solved before it is said."""
    weak = min((c for c in MODULE.channels), key=lambda c: c.continuous_ma)
    desk = Desk(vehicle, ("pump", "middle-42", weak.name))
    steps = list(lock_reasons(desk.answer().question.vehicle, UNIT, lambda: False))
    [first], [last] = steps[0], steps[-1]
    assert (first.load, first.channel) == ("pump", weak.name)
    assert "A with the headroom wanted, the load draws 6 A" in first.words
    assert last.words.endswith("With it unlocked middle-42 is enough.")


def test_locks_that_only_clash_are_told_apart(vehicle):
    """Where each lock is possible by itself, the one whose unlocking is enough is found by solving."""
    many = replace(vehicle, settings=replace(vehicle.settings, spare_channels=len(MODULE.channels) - 4))
    two = next(name for name, (use, _) in slots_of(vehicle, UNIT).items() if use == "pair")
    locked = replace(many, locked=(Lock("pump", "middle-42", two),))
    with pytest.raises(pa.NotEnough):
        pa.allocate(locked, UNIT)
    words = [reason.words for reason in list(lock_reasons(locked, UNIT, lambda: False))[-1]]
    alone = pa.allocate(many, UNIT, strategy="spare")
    assert len(alone.circuits) <= 4
    assert words == [
        f"pump on channel {two}: cannot be kept together with all the rest. With it unlocked middle-42 is enough."
    ]


def test_reasons_reach_the_browser(vehicle):
    """What is not enough because of a lock is said in the list, beside a button that unlocks it."""
    weak = min((c for c in MODULE.channels), key=lambda c: c.continuous_ma)
    desk = Desk(vehicle, ("pump", "middle-42", weak.name))
    assert desk.list._worker.wait(WAIT_S)
    [reason] = desk.list.box.reasons
    assert reason["load"] == "pump" and "is enough" in reason["words"]
    assert desk.held() == {("pump", weak.name)}  # without an allocation, what is locked is shown
    desk.list.show(None)
    assert desk.list.box.old and desk.list.box.locks[0]["load"] == "pump"


def test_reasons_stay_while_more_of_the_answer_becomes_known(vehicle):
    """Their buttons were taken away and put back at each part of a search that takes twenty seconds."""
    weak = min((c for c in MODULE.channels), key=lambda c: c.continuous_ma)
    desk = Desk(vehicle, ("pump", "middle-42", weak.name))
    assert desk.list._worker.wait(WAIT_S)
    answer, seen = desk.list._answer, []
    desk.list.box.observe(lambda change: seen.append(change.new), "reasons")
    desk.list.show(SimpleNamespace(**vars(answer)))
    assert seen == []
    desk.list.stale()
    desk.list.show(answer)
    assert desk.list._worker.wait(WAIT_S)
    assert seen[0] == [] and "is enough" in seen[-1][0]["words"]


def test_reasons_of_an_older_answer_are_never_said_beside_a_newer_one(vehicle):
    """The older ones are on their way when an answer arrives that is enough: they do not come after it."""
    weak = min((c for c in MODULE.channels), key=lambda c: c.continuous_ma)
    desk, lock = Desk(vehicle, ("pump", "middle-42", weak.name)), RLock()
    refused, desk.rows = desk.list._answer, []
    enough, went_on = desk.answer(), Event()
    desk.list = LocksByHand(lambda: desk.rows, desk.edit, lock)
    [*_, reasons] = lock_reasons(refused.question.vehicle, UNIT, lambda: False)
    deliver = desk.list._worker._deliver
    desk.list._worker._work = lambda *_: iter([reasons])
    desk.list._worker._deliver = lambda part: (went_on.set(), deliver(part))
    with lock:  # as whoever delivers an answer holds it
        desk.list.show(refused)
        assert not went_on.wait(0.3)
        desk.list.show(enough)
    desk.list._worker.wait(WAIT_S)
    assert desk.list.box.reasons == [] and not went_on.is_set()
