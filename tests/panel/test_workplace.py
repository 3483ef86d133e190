"""The panel as a place to work: files, drafts, questions before something is taken or replaced."""

import json
import shutil
import threading
from dataclasses import replace
from pathlib import Path

import pytest

import pdm_alloc as pa
from pdm_alloc.files.outline import Draft
from pdm_alloc.files.write_tables import write_vehicle
from pdm_alloc.panel import workplace
from pdm_alloc.panel.panel import Panel

DATA = Path(__file__).parents[2] / "data"
WAIT_S = 240
ALL = pa.read_catalogue(DATA / "catalogue")
CATALOGUE = replace(ALL, modules=(ALL["middle-36"], ALL["middle-42"]))  # every module there is is judged
LOADS = """\
# two lamps and a pump
load,command,running_a,kind,place,x_tag
lamp left,lights,4.6,filament,nose,a
lamp right,lights,4.6,filament,nose,b
pump,fuel pump,6,motor,,c
"""


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A small vehicle on disk; drafts are written at once."""
    monkeypatch.setattr(workplace, "_DRAFT_S", 0)
    (tmp_path / "car").mkdir()
    (tmp_path / "car" / "loads.csv").write_text(LOADS)
    (tmp_path / "car" / "places.csv").write_text("place,x_m,y_m,mount\nnose,0,0,no\ndash,2,0,yes\nboot,4,0,yes\n")
    (tmp_path / "car" / "routes.csv").write_text("from,to,length_m\nnose,dash,2\ndash,boot,9\n")
    return tmp_path / "car"


def opened(folder, module="middle-36"):
    panel = Panel.of_files(folder, CATALOGUE, module)
    assert panel.wait(WAIT_S)
    return panel


def edit(panel, row, column, text):
    panel.grid.act({"op": "edit", "edits": [[panel.grid.order[row], column, text]]})
    assert panel.wait(WAIT_S)


def kept(panel):
    """Wait until the draft is on disk."""
    if panel._home._timer is not None:
        panel._home._timer.join(WAIT_S)


def read_draft(folder):
    return Draft(folder).read()


def said(panel):
    return panel.files._notice.value


def test_saving_writes_the_edit_and_nothing_else(folder):
    """Remarks, order, free columns and other tables stay; the draft goes."""
    panel = opened(folder)
    edit(panel, 2, "running_a", "7.5")
    kept(panel)
    assert read_draft(folder)["tables"]["loads"][2]["running_a"] == "7.5"
    assert "not saved" in panel.files._title.value
    panel.save()
    assert (folder / "loads.csv").read_text() == LOADS.replace("pump,6", "pump,7.5")
    assert "Saved: loads." in said(panel)
    assert "not saved" not in panel.files._title.value
    assert read_draft(folder) is None
    panel.save()
    assert "Nothing to save" in said(panel)


@pytest.mark.once
def test_a_new_panel_begins_with_the_draft(folder):
    """After a reload or a killed kernel the edits are back, refused texts and controls too; Open again drops them."""
    panel = opened(folder)
    edit(panel, 0, "running_a", "5")
    edit(panel, 1, "running_a", "bright")
    panel.controls.headroom.value = "120"
    panel.controls.place.value = "boot"
    kept(panel)
    again = opened(folder)
    assert [row["running_a"] for row in again.grid.rows] == ["5", "4.6", "6"]
    assert list(again.grid.drafts.values()) == [{"running_a": "bright"}]
    assert (again.controls.headroom.value, again.controls.place.value) == ("120", "boot")
    assert "draft" in said(again)
    again.reopen()
    kept(again)
    assert again.grid.rows[0]["running_a"] == "4.6"
    assert read_draft(folder) is None
    assert "draft" not in said(opened(folder))


@pytest.mark.parametrize(
    "draft",
    [
        {"tables": {"loads": [{"load": "a"}]}, "drafts": {"loads": [5]}},
        {
            "tables": {"loads": [{"load": "a"}]},
            "drafts": {"loads": [[-1, "running_a", "x"]]},
        },  # no row counted from below
        {"tables": {"loads": [{"load": "a"}]}, "drafts": {"loads": [["0", "running_a"]]}},
        {"tables": {"loads": [{"load": 7}]}, "drafts": {}},
        {"tables": {"loads": {}}, "drafts": {}},
        {"tables": {}, "drafts": {}, "wish": ["isolate"]},
        {"tables": {}, "drafts": {}, "wish": {"headroom": 5}},
        {"tables": {}, "drafts": {}, "time": {}},
        [],
    ],
)
def test_a_damaged_draft_is_none(folder, draft):
    """A draft that is not as it was written is passed over whole: nothing of it is guessed."""
    (folder / ".panel_draft.json").write_text(json.dumps(draft))
    assert workplace.Home(folder).draft() is None


def test_half_a_character_is_drafted(folder):
    """What a browser may send and no file in UTF-8 can hold comes back as it was typed."""
    Draft(folder).write({"tables": {"loads": [{"load": "\ud800"}]}, "drafts": {}})
    assert workplace.Home(folder).draft()["tables"] == {"loads": [{"load": "\ud800"}]}


def test_an_edit_does_not_wait_for_the_disk(folder, monkeypatch):
    """While a draft is being written to a slow disk the next edit is taken, and is in the draft after it."""
    home, begun, go_on = workplace.Home(folder), threading.Event(), threading.Event()
    write = home._drafted.write
    monkeypatch.setattr(home._drafted, "write", lambda draft: (begun.set(), go_on.wait(WAIT_S), write(draft)))
    home.keep({"tables": {}, "drafts": {}, "wish": "first"})
    assert begun.wait(WAIT_S)
    edits = threading.Thread(target=home.keep, args=({"tables": {}, "drafts": {}, "wish": "second"},), daemon=True)
    edits.start()
    edits.join(WAIT_S / 4)
    assert not edits.is_alive()
    go_on.set()
    home._timer.join(WAIT_S)
    assert read_draft(folder)["wish"] == "second"


@pytest.mark.once
def test_back_to_what_is_on_disk_is_saved(folder):
    """Undone, or typed back, nothing is unsaved and no draft stays; a wish alone is a draft, the files are as saved."""
    panel = opened(folder)
    for back in (panel.tables.undo, lambda: edit(panel, 2, "running_a", "6")):
        edit(panel, 2, "running_a", "7.5")
        kept(panel)
        assert "not saved" in panel.files._title.value and read_draft(folder)
        back()
        kept(panel)
        assert "not saved" not in panel.files._title.value and read_draft(folder) is None
    panel.controls.place.value = "boot"
    kept(panel)
    assert "not saved" not in panel.files._title.value
    assert read_draft(folder)["wish"] == {"place": "boot"}
    panel.controls.place.value = ""
    kept(panel)
    assert read_draft(folder) is None


@pytest.mark.once
def test_a_broken_draft_is_passed_over(folder):
    """Whatever lies in the draft's place, the vehicle opens as it is on disk."""
    for text in ("{", "[]", '{"rows": 3}', '{"tables": {"loads": [3]}, "drafts": {}}'):
        (folder / ".panel_draft.json").write_text(text)
        assert opened(folder).controls.module.value == "middle-36"


@pytest.mark.once
def test_two_windows_on_one_folder(folder):
    """The second to save is told that the files were changed meanwhile; saving anyway keeps both edits."""
    first, second = opened(folder), opened(folder)
    edit(first, 0, "running_a", "5")
    edit(second, 2, "running_a", "7")
    first.save()
    second.save()
    assert "changed on disk" in said(second)
    assert "pump,6" in (folder / "loads.csv").read_text()
    second.save(anyway=True)
    assert "lamp left,lights,5" in (folder / "loads.csv").read_text()
    assert [row["running_a"] for row in second.grid.rows] == ["5", "4.6", "7"]
    assert "pump,7" in (folder / "loads.csv").read_text()


@pytest.mark.once
def test_a_table_in_contradiction_is_not_saved(folder):
    """What could not be read back is not written."""
    panel = opened(folder)
    edit(panel, 0, "inrush_a", "1")
    panel.save()
    assert "inrush_a" in said(panel)
    assert (folder / "loads.csv").read_text() == LOADS


def test_export_writes_pin_map_binder_and_workbook(folder):
    """The documents are those of the command line."""
    panel = opened(folder)
    panel.files._export()
    names = {file.name for file in (folder / "documents").iterdir()}
    assert {"pin_map.csv", "car.pdf", "car.xlsx", "allocation.json"} <= names
    assert "Written into car/documents: pin map pin_map.csv, binder car.pdf, workbook car.xlsx" in said(panel)
    assert opened(folder).allocation is not None


@pytest.mark.once
def test_a_number_out_of_range_stays_and_is_marked(folder):
    """120 % stays 120; the last good value counts, and the verdict says so."""
    panel = opened(folder)
    panel.controls.headroom.value = "120"
    panel.wait(WAIT_S)
    assert panel.controls.headroom.value == "120"
    assert "pdm-refused" in panel.controls.headroom._dom_classes
    assert "until then 20 counts" in panel._screen.head.value
    assert panel.answer.question.vehicle.settings.headroom_pct == 20
    panel.controls.headroom.value = "12,5"
    panel.wait(WAIT_S)
    assert panel.answer.question.vehicle.settings.headroom_pct == 12.5
    assert "pdm-refused" not in panel.controls.headroom._dom_classes


@pytest.mark.once
def test_verdict_at_a_place_is_the_command_line_s(folder):
    """With the place chosen the voltage drop counts: allocation and module verdict are those of `fitted`."""
    from pdm_alloc.files.tables.read_catalogue import fitted

    panel = opened(folder)
    assert "not decided" in panel._screen.head.value
    panel.controls.place.value = "boot"
    assert panel.wait(WAIT_S)
    vehicle = pa.read_vehicle(folder)
    assert panel.allocation == pa.allocate(vehicle, fitted(vehicle, CATALOGUE, ["middle-36"], ["boot"]))
    assert panel.allocation.units[0].place == "boot"
    assert "not decided" not in panel._screen.head.value


@pytest.mark.once
def test_a_new_command_is_asked_about(folder):
    """A slip does not become a command; the nearest known one is offered, and one answer serves every row."""
    panel = opened(folder)
    keys = panel.grid.order
    panel.grid.act({"op": "edit", "edits": [[keys[0], "command", "ligths"], [keys[1], "command", "ligths"]]})
    assert panel.grid.marks[str(keys[0])]["command"] == "'ligths' is a new command; did you mean 'lights'?"
    assert panel.grid.asked[str(keys[0])]["command"] == {"text": "ligths", "near": "lights", "new": "ligths"}
    assert {command.name for command in panel.vehicle.commands} == {"lights", "fuel pump"}
    panel.grid.act({"op": "answer", "column": "command", "text": "ligths", "name": "ligths"})
    assert panel.grid.marks == {}
    assert {command.name for command in panel.vehicle.commands} == {"ligths", "fuel pump"}
    edit(panel, 2, "command", "LIGTHS")
    assert panel.grid.rows[2]["command"] == "ligths"


@pytest.mark.once
def test_a_new_place_is_asked_about(folder):
    """A slip offers the nearest place; said to be new it becomes a row of the places, and one undo takes back both."""
    panel = opened(folder)
    edit(panel, 2, "place", "nosse")
    key = str(panel.grid.order[2])
    assert panel.grid.asked[key]["place"] == {"text": "nosse", "near": "nose", "new": "nosse"}
    panel.grid.act({"op": "answer", "column": "place", "text": "nosse", "name": "nosse"})
    assert [row["place"] for row in panel.tables.texts("places")] == ["nose", "dash", "boot", "nosse"]
    assert panel.grid.notice == "nosse taken; with it places"
    assert "joined by no routes" in panel._screen.head.value
    assert panel.tables.tabs._bar.counts == {"Loads": 1}
    assert [(fault["key"], fault["column"]) for fault in panel.grid.faults] == [(panel.grid.order[2], "place")]
    panel.grid.act({"op": "undo"})
    assert [row["place"] for row in panel.tables.texts("places")] == ["nose", "dash", "boot"]
    assert (panel.grid.rows[2]["place"], panel.grid.faults) == ("", [])


@pytest.mark.once
def test_every_table_is_saved_with_its_remarks_and_order(folder):
    """Edits in several tables are written back, each into its own file, and nothing else in it changes."""
    (folder / "places.csv").write_text("# measured\nplace,x_m,y_m,mount\nnose,0,0,no\ndash,2,0,yes\nboot,4,0,yes\n")
    panel = opened(folder)
    act(panel, "places", 2, "ambient_c", "35")
    act(panel, "routes", 1, "length_m", "8.5")
    kept(panel)
    assert set(read_draft(folder)["tables"]) == {"places", "routes"}
    again = opened(folder)
    assert again.tables.texts("places")[2]["ambient_c"] == "35"
    again.save()
    assert "Saved: places, routes." in said(again)
    assert (folder / "places.csv").read_text() == (
        "# measured\nplace,x_m,y_m,mount,ambient_c\nnose,0,0,no,\ndash,2,0,yes,\nboot,4,0,yes,35\n"
    )
    assert (folder / "routes.csv").read_text() == "from,to,length_m\nnose,dash,2\ndash,boot,8.5\n"
    assert (folder / "loads.csv").read_text() == LOADS


def act(panel, table, row, column, text):
    grid = panel.tables.grids[table]
    grid.act({"op": "edit", "edits": [[grid.order[row], column, text]]})
    assert panel.wait(WAIT_S)


@pytest.mark.once
def test_a_module_of_ones_own_is_saved_beside(folder, tmp_path):
    """A module copied in the panel has its channels, can be chosen at once and is saved."""
    shutil.copytree(DATA / "catalogue", tmp_path / "catalogue")
    panel = Panel.of_files(folder, tmp_path / "catalogue", "middle-36")
    modules = panel.tables.grids["modules"]
    at = [row["module"] for row in modules.rows].index("middle-42")
    modules.act({"op": "copy", "key": modules.order[at]})
    name = modules.rows[at + 1]["module"]
    assert name == "middle-42 2"
    panel.controls.module.value = name
    assert panel.wait(WAIT_S)
    assert panel.answer.question.module.name == name
    before = (tmp_path / "catalogue" / "channels.csv").read_text()
    panel.save()
    assert "Saved: modules, channels, banks, derating." in said(panel)
    assert (tmp_path / "catalogue" / "channels.csv").read_text().startswith(before)
    assert pa.read_catalogue(tmp_path / "catalogue")[name].channels


@pytest.mark.once
def test_a_channel_of_a_run_is_not_saved_twice(folder, tmp_path):
    """Where the file names channels as a run, one of them changed would stand there twice: it is refused in words."""
    shelf = tmp_path / "shelf"
    shelf.mkdir()
    (shelf / "modules.csv").write_text("module,total_a,total_peak_a,trip_step_a\nbox,100,300,0.5\n")
    (shelf / "channels.csv").write_text("module,channel,continuous_a,peak_a,peak_ms\nbox,1-6,20,90,50\n")
    panel = Panel.of_files(folder, shelf, "box")
    act(panel, "channels", 2, "continuous_a", "15")
    panel.save()
    assert "is one of a run in the file" in said(panel)
    assert pa.read_catalogue(shelf)["box"].channels[2].continuous_ma == 20_000
    act(panel, "channels", 2, "continuous_a", "20")
    act(panel, "modules", 0, "price", "90")
    panel.save()
    assert pa.read_catalogue(shelf)["box"].price == 90


PASTE = {"op": "paste", "column": "load", "text": "horn\tlights\t3\nbell\tlights\t2\n"}


@pytest.mark.once
def test_a_paste_says_what_it_replaces_first(folder):
    """Nothing is replaced before somebody said so; it can go into new rows instead, or be forgotten."""
    panel = opened(folder)
    key = panel.grid.order[0]
    panel.grid.act({**PASTE, "key": key})
    assert panel.grid.question["words"] == "This paste replaces what stands in 4 filled cells of 2 rows, 1 to 2."
    assert [row["load"] for row in panel.grid.rows] == ["lamp left", "lamp right", "pump"]
    panel.grid.act({"op": "forget"})
    assert panel.grid.question == {}
    panel.grid.act({**PASTE, "key": key, "how": "below"})
    assert [row["load"] for row in panel.grid.rows] == ["lamp left", "horn", "bell", "lamp right", "pump"]
    panel.grid.act({"op": "undo"})
    panel.grid.act({**PASTE, "key": key, "how": "replace"})
    assert [row["load"] for row in panel.grid.rows] == ["horn", "bell", "pump"]


def test_a_workbook_is_a_home_too(folder, tmp_path):
    """The same in one XLSX file, with its draft and documents beside it."""
    path = write_vehicle(pa.read_vehicle(folder), tmp_path / "car.xlsx")
    panel = opened(path, "middle-42")
    edit(panel, 0, "note", "by hand")
    kept(panel)
    panel.save()
    assert pa.read_vehicle(path).loads[0].note == "by hand"
    panel.files._export()
    assert (tmp_path / "car_documents" / "pin_map.csv").is_file()
