"""The panel without a browser: edits in, verdicts out."""

import json
import threading
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

pytest.importorskip("anywidget", reason="the extra 'notebook' is not installed")

import ipywidgets as widgets

import pdm_alloc as pa
from pdm_alloc.panel import answers
from pdm_alloc.panel import panel as panel_of
from pdm_alloc.panel.answers import Answer, Answers, Early, Wish, question_of
from pdm_alloc.panel.markup import Html
from pdm_alloc.panel.panel import Panel
from pdm_alloc.panel.views import short
from pdm_alloc.studies.signal_places import signals_beside
from pdm_alloc.studies.signal_sizing import size_signals

DATA = Path(__file__).parents[2] / "data"
WAIT_S = 240  # a busy machine takes a while; nobody waits once it has happened


@pytest.fixture(scope="module")
def tables():
    """The demo with one module of each size: the panel judges every module it is given."""
    catalogue = pa.read_catalogue(DATA / "catalogue")
    sizes = tuple(catalogue[name] for name in ("compact-31", "large-56", "middle-42"))
    return pa.read_vehicle(DATA / "rally_coupe"), replace(catalogue, modules=sizes)


@pytest.fixture
def panel(tables):
    panel = Panel(*tables, "middle-42")
    yield panel
    panel._worker.overtake()


def head(panel):
    return panel._screen.head.value


def section(panel, name):
    return panel._screen._sections[name].value


def key(panel, load):
    return next(row.key for row in panel.grid.sheet.rows if row.values["load"] == load)


def edit(panel, load, column, text):
    panel.grid.act({"op": "edit", "edits": [[key(panel, load), column, text]]})


def answered(panel, number):
    """Wait until the answer of that number has been shown."""
    for _ in range(WAIT_S * 100):
        with panel._worker.lock:
            if panel._answers >= number:
                return
        panel._worker.wait(0.01)
    raise AssertionError(head(panel))


def test_first_answer_is_there_at_once(panel, tables):
    """The cell that makes the panel ends with a verdict, and it is what `allocate` says."""
    assert panel.allocation == pa.allocate(tables[0], tables[1]["middle-42"])
    assert "Enough." in head(panel)
    assert 'data-run="1"' in head(panel)
    for load in panel.vehicle.loads:
        assert load.name in section(panel, "channels")


def test_edit_changes_vehicle_and_verdict(panel):
    """The verdict after an edit is about the vehicle after the edit; until then it says it is working."""
    edit(panel, "instruments", "running_a", "2,5")
    assert panel.vehicle.load("instruments").running_ma == 2500
    answered(panel, 2)
    assert panel.allocation.vehicle == panel.vehicle
    assert "pdm-stale" not in panel._screen.body._dom_classes


def drawing(vehicle, load, ma):
    """The vehicle with another running current of one load."""
    loads = (replace(x, running_ma=ma, inrush_ma=max(ma, x.inrush_ma)) if x.name == load else x for x in vehicle.loads)
    return replace(vehicle, loads=tuple(loads))


def test_that_it_is_enough_comes_before_the_best_wiring(tables):
    """Where the wiring as it was keeps every limit, that is said first; where it breaks one, nothing comes first."""
    answers, module = Answers(), tables[1]["middle-42"]
    wish = Wish(module, tables[0].settings.headroom_pct, tables[0].settings.spare_channels, "isolate")
    ask = lambda vehicle: answers(question_of(vehicle, tables[1], wish), lambda: False)  # noqa: E731
    wired = next(ask(tables[0])).allocation
    less = drawing(tables[0], "instruments", tables[0].load("instruments").running_ma - 10)
    parts = ask(less)
    early, answer = next(parts), next(parts)
    assert isinstance(early, Early)
    assert pa.verify(replace(wired, vehicle=less)).empty
    assert answer.allocation == pa.allocate(less, module)
    assert answer.side is None and next(parts).side  # signals only after the verdict
    table = answer.allocation.channels
    limit_a = table.limit_a[table.loads.str.contains("instruments")].max()
    assert not isinstance(next(ask(drawing(less, "instruments", int(1000 * limit_a) + 1))), Early)
    assert next(ask(less)).allocation is answer.allocation  # taken back: nothing is solved again


def asked_about(tables, vehicle):
    """The question of a vehicle on the middle module."""
    set_to = vehicle.settings
    wish = Wish(tables[1]["middle-42"], set_to.headroom_pct, set_to.spare_channels, set_to.strategy)
    return question_of(vehicle, tables[1], wish)


def with_load(vehicle, name, **changes):
    """The vehicle with one load altered."""
    return replace(vehicle, loads=tuple(replace(x, **changes) if x.name == name else x for x in vehicle.loads))


def test_signals_are_worked_out_anew_only_where_they_read_what_changed(tables, monkeypatch):
    """An edit of a power load leaves boxes, pins and bus as they are; any other edit brings those of a fresh count."""
    counted = []
    monkeypatch.setattr(answers, "signals_beside", lambda *a, **k: counted.append(1) or signals_beside(*a, **k))
    asked, catalogue = Answers(), tables[1]
    always = tuple(replace(x, condition="not ignition") if x.name == "crew safety" else x for x in tables[0].commands)
    fed = replace(tables[0].settings, control_unit_load="engine computer")
    vehicle = replace(tables[0], commands=always, settings=fed)
    side = lambda v, c=catalogue: asked._side(replace(asked_about(tables, v), catalogue=c))  # noqa: E731
    first = side(vehicle)
    number = len(counted)
    less = with_load(vehicle, "tracking unit", running_ma=70)  # draws from the parked vehicle
    after = side(less)
    assert len(counted) == number  # nothing worked out
    assert after.vehicle == less and after.as_plain() != first.as_plain()
    assert after.as_plain() == signals_beside(less, catalogue, after.units).as_plain()
    moved = with_load(less, "engine computer", place="boot")
    again = side(moved)
    assert again.as_plain() == signals_beside(moved, catalogue, after.units).as_plain() != after.as_plain()
    assert len(counted) > number
    boxes = tuple(replace(box, mass_g=1.0) for box in catalogue.boxes)
    assert {box.box.mass_g for box in side(moved, replace(catalogue, boxes=boxes)).boxes} == {1.0}


def test_control_units_are_weighed_once_for_an_edit_of_power(tables, monkeypatch):
    """Which control units are enough is not solved again where only a power load has changed."""
    weighed = []
    monkeypatch.setattr(answers, "size_signals", lambda *a, **k: weighed.append(1) or size_signals(*a, **k))
    asked = Answers()
    study = lambda v, stop: asked._control_units(asked_about(tables, v), {}, stop)  # noqa: E731
    study(tables[0], lambda: True)  # overtaken: what there is of it is not kept
    first = study(tables[0], lambda: False)
    less = drawing(tables[0], "instruments", 900)
    again = study(less, lambda: False)
    assert len(weighed) == 2
    assert again.vehicle == less and again.results == first.results
    assert again.results == size_signals(less, tables[1], [], time_limit_s=20).results


def test_early_verdict_leaves_the_answer_as_it_is(panel):
    """What is certain is said in the head; the tables below stay marked as old, and no answer is counted."""
    with panel._worker.lock:  # the rest of the first answer may still be on its way
        panel._deliver(Early(panel._asked, 0.1))
        assert "Enough." in head(panel)
        assert "keeps every limit" in head(panel)
        assert "data-run" not in head(panel)
        assert panel._answers == 1


def test_no_picture_is_drawn_of_an_overtaken_answer(panel, monkeypatch):
    """What stays in a saved notebook is drawn once an answer is whole, and not where a newer question has come."""
    drawn = []
    assert panel.wait(WAIT_S)
    monkeypatch.setattr(panel_of, "static", lambda answer, *more: drawn.append(answer) or Html("picture"))
    panel._saved, panel._answer = object(), lambda question, stop: iter([panel.answer])
    assert list(panel._work(panel._asked, lambda: True)) == [panel.answer] and drawn == []
    assert list(panel._work(panel._asked, lambda: False)) == [panel.answer, "picture"] and drawn == [panel.answer]
    panel._saved = None


def test_hidden_sections_are_not_drawn(panel):
    """While another tab is looked at, the tables of the answer are not made; they come when their tab is chosen."""
    panel._screen.tabs.choose("Compare")
    before = section(panel, "channels")
    edit(panel, "instruments", "running_a", "1.23")
    answered(panel, 2)
    assert section(panel, "channels") == before
    panel._screen.tabs.choose("Answer")
    assert section(panel, "channels") not in ("", before)


@pytest.mark.once
def test_refused_text_asks_nothing(panel):
    """A bad cell leaves the verdict, and says so under it."""
    edit(panel, "horn", "running_a", "loud")
    assert (panel._worker.asked, panel._answers) == (1, 1)
    assert "1 cell to put right" in head(panel)


@pytest.mark.once
def test_row_still_to_be_filled_asks_nothing(panel):
    """A new row is no load yet; the verdict stays, and says that it is not counted."""
    panel.grid.act({"op": "add", "after": None})
    assert (panel._worker.asked, panel._answers) == (1, 1)
    assert "Not counted yet: 1 row" in head(panel)


def test_contradiction_is_no_verdict(panel):
    """While the table contradicts itself there is no answer to be taken for one, and nothing else is shown."""
    edit(panel, "cooling fan", "inrush_a", "2")
    assert panel.answer is None
    assert "No verdict." in head(panel)
    assert "column inrush_a" in head(panel)
    assert section(panel, "channels") == ""
    with pytest.raises(pa.InputError):
        panel.vehicle


@pytest.mark.once
def test_wishes_are_asked_for(panel):
    """Headroom, spares, strategy and module reach the question."""
    panel.controls.headroom.value = "25"
    panel.controls.spares.value = "3"
    panel.controls.strategy.value = "spare"
    panel.controls.module.value = "large-56"
    answered(panel, 2)
    settings = panel.vehicle.settings
    assert (settings.headroom_pct, settings.spare_channels, settings.strategy) == (25, 3, "spare")
    assert panel.wait(WAIT_S)
    assert (panel.answer.question.module.name, panel.answer.question.vehicle) == ("large-56", panel.vehicle)
    assert panel.allocation.channels.headroom_pct.min() >= 25
    assert len(panel.allocation.spare) >= 3


@pytest.mark.once
def test_too_small_a_module_says_what_is_short(panel):
    """Not enough comes with a reason, and the reason with its table."""
    panel.controls.module.value = "compact-31"
    answered(panel, 2)
    assert "Not enough." in head(panel)
    for _ in range(WAIT_S * 20):
        if panel.answer.shortfall is not None:
            break
        panel.wait(0.05)
    with panel._worker.lock:
        assert panel.answer.why in head(panel)
        assert panel.answer.shortfall["sentence"].iloc[0] in section(panel, "short")
    assert section(panel, "channels") == ""


@pytest.mark.once
def test_ways_not_looked_for_are_not_called_none():
    """A search that ended early says so, with or without what it found."""
    none = pd.DataFrame({"rank": []})
    assert "None was found" in short(Answer(None, None, 0.0, concessions=none))
    assert "Time ran out." in short(Answer(None, None, 0.0, concessions=none, left_open="time ran out"))
    assert "No set helps." in short(Answer(None, None, 0.0, concessions=none, why_none="no set helps"))


def test_kept_design_is_compared_with(panel):
    """What `compare` finds between the kept design and the present one is on the screen."""
    panel.keep()
    kept = panel.allocation
    assert "this is the built allocation" in section(panel, "moved")
    edit(panel, "instruments", "running_a", "9")
    for _ in range(WAIT_S * 20):
        if panel.answer.moved is not None:
            break
        panel.wait(0.05)
    assert panel.answer.moved.equals(pa.compare(kept, panel.allocation))
    assert len(panel.answer.moved)


@pytest.mark.once
def test_names_are_shown_as_text(tables):
    """A name with signs of HTML in it is a name."""
    vehicle, catalogue = tables
    panel = Panel(vehicle, catalogue, "middle-42")
    edit(panel, "horn", "load", '<img src=x onerror=alert(1)> & "co"')
    answered(panel, 2)
    assert "<img src=x" not in section(panel, "channels")
    assert "&lt;img src=x" in section(panel, "channels")
    panel._worker.overtake()


@pytest.mark.once
def test_module_to_begin_with(tables):
    """Without being told, the panel begins with the smallest module that has a channel for each command."""
    vehicle, catalogue = tables
    panel = Panel(vehicle, catalogue)
    assert panel.controls.module.value == "compact-31"
    panel._worker.overtake()


@pytest.mark.once
def test_saved_picture_has_verdict_figure_and_table(panel):
    """What stays in a saved notebook needs no script, is small, and carries the caution."""
    picture = panel._static()
    assert "Enough." in picture
    assert "data:image/png;base64," in picture
    assert "<td>cooling fan</td>" in picture
    assert "What may be on in each state" in picture
    assert "Values are for design" in picture
    assert "<script" not in picture
    assert len(picture) < 150_000


@pytest.mark.once
def test_state_of_all_widgets_is_plain(panel):
    """Everything that goes to the browser is plain JSON."""
    json.dumps(panel.grid.get_state(["columns", "order", "shown", "drafts", "marks", "can", "notice", "heard"]))


@pytest.mark.once
def test_kept_design_is_held(panel):
    """With the tick, one load more is wired and nothing that is wired is touched; without it much is moved about."""
    panel.keep()
    panel.grid.act({"op": "add", "after": None})
    new = panel.grid.order[-1]
    texts = {"load": "sump heater", "command": "crew power", "running_a": "2", "kind": "heater"}
    panel.grid.act({"op": "edit", "edits": [[new, column, text] for column, text in texts.items()]})
    assert wired(panel) == {"load added": 1}
    panel.controls.hold.value = False
    assert wired(panel, {"load added": 1})["load moved"] > 5


def wired(panel, but=None):
    """How many loads were added, removed or moved against the kept design, once that is known."""
    for _ in range(WAIT_S * 20):
        answer = panel.answer
        if answer.moved is not None and answer.question == panel._asked:
            counts = answer.moved["what"].value_counts().to_dict()
            found = {what: n for what, n in counts.items() if what.startswith("load ")}
            if found != but:
                return found
        panel.wait(0.05)
    raise AssertionError(head(panel))


@pytest.mark.once
def test_enough_if_is_a_verdict_of_its_own(tables):
    """Where every rating is kept and a margin is not, the panel says which, and does not call the module too small."""
    from dataclasses import replace

    from pdm_alloc.panel.verdicts import verdict

    panel = Panel(*tables, "compact-31")
    answer = replace(panel.answer, conditions=("headroom is 18 % instead of 20 %",))
    assert "Enough if." in verdict(answer, 1)
    assert "if: headroom is 18 % instead of 20 %." in verdict(answer, 1)
    assert "too small" not in verdict(answer, 1)


class Watched:
    """A part of the panel that notes what it is told."""

    def __init__(self):
        self.box, self.told = widgets.HTML(), []

    def show(self, answer):
        self.told.append(answer)

    def stale(self):
        self.told.append("stale")


@pytest.mark.once
def test_part_not_looked_at_costs_nothing(panel):
    """A part beside the answer is told of answers only while its tab is chosen, and of the latest when it is."""
    part = Watched()
    panel.add("Watched", part)
    edit(panel, "horn", "running_a", "6")
    answered(panel, 2)
    assert part.told == []
    assert part.box not in panel._screen.tabs._pages.children
    with panel._worker.lock:  # of the same answer more may be known later
        panel._screen.tabs.choose("Watched")
        assert part.told == [panel.answer]
    assert panel.wait(WAIT_S)
    told_before = len(part.told)
    edit(panel, "horn", "running_a", "7")
    answered(panel, 3)
    with panel._worker.lock:
        panel._screen.tabs.choose("Answer")
        latest = panel.answer
    stale, *told = part.told[told_before:]
    assert stale == "stale" and told[-1] is latest
    assert all(answer.question is latest.question for answer in told)  # its signal side may have come as well
    assert part.box.layout.display == "none"


@pytest.mark.once
def test_tables_can_be_put_by_a_part(panel):
    """What a part puts into a table is in the vehicle asked about, and every watcher is told which table it was."""
    heard = []
    panel.tables.observe(heard.append)
    places = [{**row, "ambient_c": "41"} if row["place"] == "dash" else row for row in panel.tables.texts("places")]
    panel.tables.put("places", places)
    assert heard == ["places"]
    assert {place.name: place.ambient_c for place in panel.vehicle.places}["dash"] == 41
    panel.tables.put("places", places)
    assert heard == ["places"]


@pytest.mark.once
def test_going_back_to_a_kept_one_brings_its_tables_and_wishes(panel):
    """After other loads, headroom and module, the kept allocation comes back whole: table, controls and answer."""
    panel.controls.unit.value = "control-76"
    assert panel.wait(WAIT_S)
    panel.keep("plain")
    kept, rows, side = panel.allocation, panel.grid.sheet.complete, panel.answer.side
    edit(panel, "instruments", "running_a", "2.5")
    panel.controls.headroom.value = "25"
    panel.controls.unit.value = ""
    panel.controls.put_unit("control-40", "boot")
    panel.controls.module.value = "large-56"
    assert panel.wait(WAIT_S)
    assert panel.allocation.vehicle != kept.vehicle
    panel.compare._return()
    assert panel.wait(WAIT_S)
    assert panel.grid.sheet.complete == rows
    assert (panel.controls.module.value, panel.controls.headroom.value) == ("middle-42", "20")
    assert panel.allocation == kept
    assert panel.answer.side.as_plain() == side.as_plain()
    assert "Back to plain." in panel.compare._notice.value


@pytest.mark.once
def test_lock_by_hand_reaches_the_table_and_the_answer(panel):
    """A load locked in tab Locks is a row of the table ``locked``, and the next allocation has it there."""
    panel._screen.tabs.choose("Locks")
    locks = panel._parts._parts["Locks"]
    spare = panel.allocation.spare.iloc[-1]["channel"]
    locks.act({"op": "lock", "load": "cabin lamp", "to": spare})
    assert panel.wait(WAIT_S)
    assert panel.tables.texts("locked") == ({"load": "cabin lamp", "module": "middle-42", "channel": spare},)
    [circuit] = [c for c in panel.allocation.circuits if "cabin lamp" in c.loads]
    assert circuit.channel == spare
    assert any(x["locked"] for c in locks.box.channels for x in c["loads"])


@pytest.mark.parametrize("part", ["tables", "switches"])
def test_an_edit_and_an_answer_never_wait_for_each_other(panel, part):
    """An answer that arrives while a cell is edited or a switch pressed, and reads what changes, holds up neither."""
    switches = panel._parts._parts["Switches"]
    held, worker = {
        "tables": (panel.tables.lock, panel._worker),
        "switches": (switches._lock, switches._worker),
    }[part]
    arrived = threading.Event()

    def deliver():
        with worker.lock:
            arrived.set()
            with held:
                pass

    answer = threading.Thread(target=deliver, daemon=True)
    with held:
        answer.start()
        arrived.wait(0.1)
        assert worker.lock.acquire(timeout=2)
        worker.lock.release()
    answer.join(WAIT_S)
    assert not answer.is_alive()


def test_signals_have_their_verdict_beside_the_power_verdict(tables):
    """Enough, another control unit, put elsewhere, and too many injectors: said in the head and shown in its tab."""
    panel = Panel(tables[0], replace(tables[1], modules=(tables[1]["middle-42"],)), "middle-42")
    panel.controls.place.value = "boot"
    panel._screen.tabs.choose("Pins and bus")
    assert panel.wait(WAIT_S)
    assert "Signals: enough." in head(panel) and "control-40 at bulkhead, spare: 3 of 40" in head(panel)
    side, shown = panel.answer.side, panel.signals._tables.value
    for row in side.pin_map().itertuples():
        assert f"{row.box} {row.connector} {row.pin}" in shown and row.signal in shown
    for words in ("twisted, screened", f"trunk {side.bus.trunk.length_m:.2f} m", f"Load {100 * side.bus.load:.1f} %"):
        assert words in shown
    choice = panel.signals._choice.value
    assert "For power and signals together the lowest price: middle-42, control-40, keypad-8, keypad-15" in choice
    panel.controls.put_unit("control-40", "glove box")
    assert panel.wait(WAIT_S) and "control-40 at glove box" in head(panel)
    assert panel.answer.papers.signals.nodes["control-40"] == "glove box"
    panel.controls.unit.value = "control-76"
    assert panel.wait(WAIT_S) and "spare: 39 of 76" in head(panel)
    injectors = next(row for row in panel.tables.grids["signals"].sheet.rows if row.values["signal"] == "injectors")
    panel.tables.grids["signals"].act(
        {"op": "edit", "edits": [[injectors.key, "count", "40"], [injectors.key, "fed_by", ""]]}
    )
    assert panel.wait(WAIT_S) and "Enough." in head(panel)
    assert "Signals: not enough." in head(panel) and "injector_driver pins" in head(panel)
    panel.tables.put("signals", [])
    panel.tables.put("inputs", [{**row, "read_by": ""} for row in panel.tables.texts("inputs")])
    assert (
        panel.wait(WAIT_S)
        and "Signals" not in head(panel)
        and "there is no signal side" in panel.signals._verdict.value
    )
