"""The switches behind the widget: what stays when an answer comes, what a message about something gone does."""

from types import SimpleNamespace

import pandas as pd
import pytest

import pdm_alloc as pa
from pdm_alloc.domain.module import Channel, Module
from pdm_alloc.export.commissioning import commissioning
from pdm_alloc.panel.switches import Switches
from pdm_alloc.panel.views import may_be_on

MODULE = Module(
    "box", 60_000, 400_000, tuple(Channel(str(n), 20_000, 90_000, 60.0, pins=(f"p{n}",)) for n in (1, 2, 3))
)


def vehicle(horn_a=4.0, condition="master and clutch"):
    return pa.vehicle(
        loads=pd.DataFrame(
            {"load": ["relay", "horn"], "command": ["starter", "horn"], "running_a": [2, horn_a], "kind": "electronics"}
        ),
        commands=pd.DataFrame({"command": ["starter", "horn"], "condition": [condition, None]}),
        states=pd.DataFrame({"command": ["starter", "horn"], "ready": [0, 1], "cranking": [1, 1]}),
        name="van",
    )


def answered(vehicle, is_enough=True):
    allocation = pa.allocate(vehicle, MODULE) if is_enough else None
    return SimpleNamespace(
        result=allocation or object(), allocation=allocation, question=SimpleNamespace(vehicle=vehicle)
    )


@pytest.fixture
def switches():
    switches = Switches()
    switches.show(answered(vehicle()))
    return switches


def press(switches, *names):
    for name in names:
        switches.act({"op": "press", "name": name})


def test_inputs_stay_when_an_answer_comes(switches):
    """A load edited while switches are on: what the vehicle still has stays on, the rest is gone."""
    press(switches, "master", "clutch", "horn")
    switches.stale()
    assert switches.box.is_old
    switches.show(answered(vehicle(horn_a=6.0, condition="master")))
    assert not switches.box.is_old
    assert switches.box.shown["on"] == ["horn", "master"]
    assert switches.result.on == {"horn", "starter"}
    assert switches.result.supply.total_a.tolist() == [8.0]


def test_a_press_that_says_on_or_off_is_no_other_press(switches):
    """A slider pushed up twice is up, however late the page hears of the first push."""
    for on in (True, True, False, False, True):
        switches.act({"op": "press", "name": "master", "on": on})
        assert switches.box.shown["on"] == (["master"] if on else [])


def test_more_of_the_same_answer_changes_nothing(switches):
    """What is short becomes known later: the last press is still told."""
    press(switches, "horn")
    answer = answered(vehicle())
    switches.show(answer)
    press(switches, "horn")
    told = switches.box.shown["press"]
    switches.show(SimpleNamespace(**vars(answer)))
    assert switches.box.shown["press"] == told == "horn off: switches nothing on."


def test_a_message_about_something_gone_changes_nothing(switches):
    """A press that was under way when its input was deleted, an unknown state, an unknown word."""
    shown = switches.box.shown
    for message in ({"op": "press", "name": "gone"}, {"op": "dance"}, {}, {"op": "state", "name": "gone"}):
        switches.act(message)
    assert switches.box.shown == {**shown, "state": ""}
    Switches().act({"op": "press", "name": "master"})  # before there is a vehicle


def test_a_module_that_is_not_enough_still_has_switches():
    """Commands and supply without channels, and it says so."""
    switches = Switches()
    switches.show(answered(vehicle(), is_enough=False))
    press(switches, "horn")
    assert switches.result.on == {"horn"} and switches.box.shown["channels"] == []
    assert "no load has a channel" in switches.box.fixed["model"] and switches.box.fixed["steps"] == 0
    for op in ("worst", "step"):
        switches.act({"op": op})


def test_every_step_of_the_sheet_is_what_the_model_does(switches):
    """Each step sets its inputs, a command without condition its own switch; the amps are those of the sheet."""
    sheet = commissioning(pa.allocate(vehicle(), MODULE))
    assert switches.box.fixed["steps"] == len(sheet)
    words = []
    for number in range(1, len(sheet) + 1):
        switches.act({"op": "step", "number": number})
        assert switches.box.shown["step"]["right"]
        words.append(switches.box.shown["step"]["words"])
    for amps in sheet.expected_a.dropna():
        assert sum(f": {amps:g} A (" in line for line in words) == 1


def test_the_table_that_needs_no_script():
    """Every command in every state it may be on in, and empty where the state keeps it off."""
    html = may_be_on(vehicle())
    assert html.count("4 A") == 2 and html.count("2 A") == 1
    assert "cranking" in html and "master and clutch" in html
