"""Allocations kept under names: compared, built, gone back to, and found again after a reload."""

import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from xml.etree import ElementTree

import pytest

pytest.importorskip("anywidget", reason="the extra 'notebook' is not installed")

import pdm_alloc as pa
from pdm_alloc.export.paperwork import write_documents
from pdm_alloc.export.read_saved import Shelf, built_harness, harnesses, kept_file
from pdm_alloc.export.saved_tables import allocation_digest, allocation_json
from pdm_alloc.panel.kept import KeptAllocations
from pdm_alloc.studies.signal_places import signals_beside
from pdm_alloc.verify.check import violations

DATA = Path(__file__).parents[2] / "data"
CATALOGUE = pa.read_catalogue(DATA / "catalogue")
LOADS = """\
load,command,running_a,kind
lamp left,lights,4.6,filament
lamp right,lights,4.6,filament
pump,fuel pump,6,motor
"""


@pytest.fixture(scope="module")
def answers(tmp_path_factory):
    """Answers of one small vehicle on two modules, and of the same with a stronger pump."""
    folder = tmp_path_factory.mktemp("car")
    (folder / "loads.csv").write_text(LOADS)
    vehicle = pa.read_vehicle(folder)
    stronger = replace(vehicle, loads=tuple(replace(x, running_ma=x.running_ma + 900) for x in vehicle.loads))
    return [answer(vehicle, "middle-36"), answer(vehicle, "middle-42"), answer(stronger, "middle-36")]


def answer(vehicle, module):
    question = SimpleNamespace(vehicle=vehicle, module=CATALOGUE[module])
    allocation = pa.allocate(vehicle, CATALOGUE[module])
    return SimpleNamespace(allocation=allocation, allocation_if=None, side=None, question=question)


class Desk:
    """Kept allocations with a stand-in for the panel around them."""

    def __init__(self, home, answer):
        self.answer, self.returned, self.changes = answer, [], 0
        self.kept = KeptAllocations(home, lambda: self.answer, self.go_back, self.changed)

    def go_back(self, allocation):
        self.returned.append(allocation)
        return "All is as it was."

    def changed(self):
        self.changes += 1

    def press(self, words):
        [button] = [b for row in self.kept.box.children for b in getattr(row, "children", ()) if words == said_on(b)]
        button.click()

    @property
    def notice(self):
        return self.kept._notice.value


def said_on(widget):
    return widget.description if hasattr(widget, "click") else None


def columns(desk):
    """Cells of the comparison by row and heading."""
    html = desk.kept._table.value
    root = ElementTree.fromstring(html[html.index("<table") : html.index("</table>") + len("</table>")])
    names = [cell.text for cell in root.iter("th")][1:]
    rows = [[" ".join(filter(None, map(str.strip, texts(cell)))) for cell in row] for row in root.find("tbody")]
    return {name: dict(zip(names, cells, strict=True)) for name, *cells in rows}


def texts(cell):
    """Texts of a cell without those of its picture."""
    return [text for part in cell.iter() if part.tag != "title" for text in (part.text or "", part.tail or "")]


def test_kept_ones_survive_a_killed_kernel(tmp_path, answers):
    """What was kept, and which one is built, is there again in a new panel; nothing else is written."""
    desk = Desk(tmp_path, answers[0])
    desk.kept.keep("plain")
    desk.answer = answers[1]
    desk.kept.keep()
    assert [file.name for file in tmp_path.iterdir()] == [".panel_kept.json"]
    again = Desk(tmp_path, answers[0])
    assert again.kept.names == ("plain", "middle-42")
    assert again.kept.built == answers[0].allocation
    assert again.kept._shelf["middle-42"].allocation == answers[1].allocation


def test_one_that_is_enough_if_is_kept_with_its_conditions(tmp_path, answers):
    """It is kept, compared and read back with what it is enough under, which no saved allocation says itself."""
    given = replace(answers[0].allocation, conditions=("headroom is 18 % instead of 20 %",))
    if_ = SimpleNamespace(allocation=None, allocation_if=given, side=None, question=answers[0].question)
    desk = Desk(tmp_path, if_)
    desk.kept.keep("close")
    assert "enough if: headroom is 18 % instead of 20 %." in desk.notice.lower()
    again = Desk(tmp_path, answers[0])
    again.kept.show(answers[0])
    assert again.kept._shelf["close"].allocation.conditions == given.conditions
    assert columns(again)["verdict"]["close (built)"] == "enough if: headroom is 18 % instead of 20 %"


def test_two_windows_lose_nothing_of_each_other(tmp_path, answers):
    """What one window keeps is in the other before that writes."""
    one, other = Desk(tmp_path, answers[0]), Desk(tmp_path, answers[1])
    one.kept.keep("a")
    other.kept.keep("a")
    one.kept.keep("c")
    assert one.kept.names == ("a", "a 2", "c")


def test_table_has_every_measure_of_each(tmp_path, answers):
    """Module, price, spare channels, headroom and rework stand under the name of each, the present one first."""
    desk = Desk(None, answers[0])
    desk.kept.keep("plain")
    desk.answer = answers[1]
    desk.kept.show(desk.answer)
    table = columns(desk)
    assert list(table["module"].items()) == [("now, not kept", "middle-42"), ("plain (built)", "middle-36")]
    assert list(table["price"].values()) == [f"{CATALOGUE[m].price:.0f}" for m in ("middle-42", "middle-36")]
    for name, one in (("now, not kept", answers[1]), ("plain (built)", answers[0])):
        assert table["spare channels"][name] == str(len(one.allocation.spare))
        least = one.allocation.channels.headroom_pct.min()
        assert table["least headroom: channel"][name].startswith(f"{least:.0f} %")
    assert list(table["to rewire"].values()) == ["3 moved", "nothing"]
    assert list(table["its tables"].values()) == ["as they stand", "as they stand"]


def test_other_tables_are_named(answers):
    """A kept allocation of other loads says that its tables are not the present ones."""
    desk = Desk(None, answers[0])
    desk.kept.keep("plain")
    desk.answer = answers[2]
    desk.kept.show(desk.answer)
    assert columns(desk)["its tables"]["plain (built)"] == "loads differ from the present ones"


def test_built_one_is_chosen_and_told(answers):
    """The first one kept counts as built, another one when chosen, none when that is wanted; each time it is told."""
    desk = Desk(None, answers[0])
    desk.kept.keep("a")
    desk.answer = answers[1]
    desk.kept.keep("b")
    assert (desk.kept.built, desk.changes) == (answers[0].allocation, 1)
    desk.press("It is built")
    assert (desk.kept.built, desk.changes) == (answers[1].allocation, 2)
    desk.press("Nothing is built")
    assert (desk.kept.built, desk.changes) == (None, 3)


def test_rename_delete_and_bring_back(answers):
    """A new name keeps what is built; a name that is taken is refused; what was deleted can be brought back."""
    desk = Desk(None, answers[0])
    desk.kept.keep("a")
    desk.kept._other.value = "first"
    desk.press("Rename")
    assert desk.kept.names == ("first",) and desk.kept.built is not None
    desk.kept.keep("second")
    desk.kept._other.value = "first"
    desk.press("Rename")
    assert desk.kept.names == ("first", "second") and "another one" in desk.notice
    desk.press("Delete")
    assert desk.kept.names == ("first",)
    desk.press("Bring it back")
    assert desk.kept.names == ("first", "second")


def test_going_back_hands_over_the_allocation(answers):
    """The panel gets the allocation whose tables are wanted, and what it says of it is shown."""
    desk = Desk(None, answers[0])
    desk.kept.keep("a")
    desk.press("Go back to it")
    assert desk.returned == [answers[0].allocation]
    assert "All is as it was." in desk.notice


def test_nothing_to_keep(answers):
    """Where the module is not enough there is nothing to keep, and that is said."""
    desk = Desk(None, SimpleNamespace(allocation=None, allocation_if=None, side=None, question=answers[0].question))
    desk.kept.keep("a")
    assert desk.kept.names == ()
    assert "no allocation to keep" in desk.notice


def test_what_breaks_a_limit_is_not_taken(tmp_path, answers):
    """A kept allocation whose tables were changed with a new digest is recounted, refused by name, and not lost."""
    file = kept_file(tmp_path)
    good = answers[0].allocation
    weak = replace(good, vehicle=answers[2].question.vehicle)
    strong = replace(weak, vehicle=replace(weak.vehicle, loads=tuple(twice(x) for x in weak.vehicle.loads)))
    assert violations(strong.vehicle, strong.units, strong.circuits)
    entries = [{"name": n, "allocation": json.loads(allocation_json(a))} for n, a in (("good", good), ("bad", strong))]
    document = {"format": "pdm_alloc kept allocations", "version": 1, "built": "bad", "kept": entries}
    file.write_text(json.dumps(document))
    desk = Desk(tmp_path, answers[0])
    assert desk.kept.built is None
    assert "bad cannot be used: bad: breaks a limit" in desk.kept._table.value
    desk.kept.keep("more")
    assert Shelf(file).kept[1].document == entries[1]["allocation"]


def twice(load):
    return replace(load, running_ma=load.running_ma * 9, inrush_ma=load.inrush_ma * 9)


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"format": "pdm_alloc kept allocations", "version": 1, "kept": 3}'])
def test_damaged_file_is_said_and_left(tmp_path, answers, text):
    """A file that holds no kept allocations is named in the panel, which begins without."""
    kept_file(tmp_path).write_text(text)
    desk = Desk(tmp_path, answers[0])
    assert "does not hold kept allocations" in desk.notice
    assert desk.kept.names == ()
    desk.kept.keep("a")
    assert "It lasts as long as this panel" in desk.notice
    assert kept_file(tmp_path).read_text() == text


def test_built_harness_comes_from_the_folder_alone(tmp_path, answers):
    """Documents and a JSON inside the folder can be loaded; a link that leads out of it, or a path, cannot."""
    home, outside = tmp_path / "car", tmp_path / "outside"
    (home / "old").mkdir(parents=True)
    write_documents(answers[0].allocation, home / "documents")
    (home / "old" / "spring.json").write_bytes(allocation_json(answers[1].allocation))
    write_documents(answers[1].allocation, outside)
    (home / "outline.json").write_text('{"points": []}')  # no allocation
    (home / "linked").symlink_to(outside)
    (home / "old" / "link.json").symlink_to(outside / "allocation.json")
    assert harnesses(home) == ("documents", "old/spring.json")
    for name in ("linked", "old/link.json", "../outside", str(outside)):
        with pytest.raises(pa.InputError, match="is no saved allocation in the folder"):
            built_harness(home, name)
    desk = Desk(home, answers[0])
    desk.kept._harness.value = "old/spring.json"
    desk.press("Load as built")
    assert allocation_digest(desk.kept.built) == allocation_digest(answers[1].allocation)
    assert desk.changes == 1


@pytest.fixture(scope="module")
def with_boxes():
    """Two answers of the demo, the second with its control unit elsewhere."""
    coupe = pa.read_vehicle(DATA / "rally_coupe")
    made = answer(coupe, "middle-42")
    sides = [signals_beside(coupe, CATALOGUE, made.allocation.units, ["control-40"], [at]) for at in ("dash", "boot")]
    assert all(sides)
    return [SimpleNamespace(**{**vars(made), "side": side}) for side in sides]


def test_the_signal_side_is_kept_with_the_allocation(tmp_path, with_boxes):
    """Boxes, pins, keypads and bus come back from the file; where they are and what they change is compared."""
    desk = Desk(tmp_path, with_boxes[0])
    desk.kept.keep("at dash")
    assert "signals are not in it" not in desk.notice
    desk.answer = with_boxes[1]
    desk.kept.keep("at boot")
    again = Desk(tmp_path, with_boxes[1]).kept
    for name, one in zip(("at dash", "at boot"), with_boxes, strict=True):
        signals = again._shelf[name].allocation.signals
        assert signals.as_plain() == one.side.as_plain()
    shown = columns(desk)
    assert shown["control units"]["at dash (built)"].startswith("control-40 at dash")
    assert shown["control units"]["at boot"].startswith("control-40 at boot")
    assert shown["to rewire"]["at boot"] == "nothing"  # the same pins, by wires of another length
    assert desk.kept.built == with_boxes[0].allocation  # what is held is the wiring of the module
    prices = [
        one.price for side in (with_boxes[0].side,) for one in (side.boxes[0].box, *(p for _, _, p in side.pads()))
    ]
    whole = with_boxes[0].allocation.units[0].module.price + sum(prices)
    assert shown["price"]["at dash (built)"].replace(",", "") == f"{whole:g}"
    desk.answer = SimpleNamespace(**{**vars(with_boxes[1]), "side": None})
    desk.kept.keep("bare")
    assert "price, without control units, keypads and signal wires, which not all have" in columns(desk)


def test_signals_still_worked_out_are_said_to_be_missing(with_boxes):
    """Kept before the signals are known, the allocation has none, says so, and counts none as rewired."""
    desk = Desk(None, SimpleNamespace(**{**vars(with_boxes[0]), "side": None}))
    desk.kept.keep("early")
    assert "Its signals are not in it" in desk.notice
    desk.answer = with_boxes[0]
    desk.kept.show(desk.answer)
    assert columns(desk)["to rewire"]["now, not kept"] == "nothing"
