"""An edited vehicle goes back into its own files: what was not edited keeps every byte."""

import os
import shutil
from dataclasses import replace
from pathlib import Path

import openpyxl
import pytest
from openpyxl.comments import Comment

import pdm_alloc as pa
from pdm_alloc.files import atomic
from pdm_alloc.files.atomic import WriteError
from pdm_alloc.files.faults import InputError
from pdm_alloc.files.outline import Draft
from pdm_alloc.files.plain import catalogue_plain, vehicle_plain
from pdm_alloc.files.save_back import ChangedMeanwhile, Edit, digest, in_file_order, in_order, save_back, save_together
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from pdm_alloc.files.write_tables import write_vehicle

DATA = Path(__file__).parents[2] / "data"
RALLY = DATA / "rally_coupe"
LOADS = """\
# wired by hand
load;command;running_a;kind;x_tag

# left side
lamp left;lights;4,6;filament;"a;b"
  lamp right ; lights ;4,60;filament;c
# pumps
pump;fuel;8,5;motor;d
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "car").mkdir()
    (tmp_path / "car" / "loads.csv").write_bytes(LOADS.replace("\n", "\r\n").encode("utf-8-sig"))
    return tmp_path / "car"


def plain(path):
    return in_file_order(path, vehicle_plain(read_vehicle(path)))


def edited(tables, load, **cells):
    rows = [{**row, **cells} if row["load"] == load else row for row in tables["loads"]]
    return {**tables, "loads": rows}


def saved(path, after):
    return save_back(path, plain(path), after, digest(path))


def text(folder):
    return (folder / "loads.csv").read_bytes().decode("utf-8-sig").replace("\r\n", "\n")


def test_nothing_edited_writes_nothing(folder):
    """Saving at once is no change, whatever the spelling in the file."""
    before = (folder / "loads.csv").read_bytes()
    assert saved(folder, plain(folder)) == []
    assert (folder / "loads.csv").read_bytes() == before


def test_one_cell_changes_and_no_other_byte(folder):
    """Remarks, order, mark, line ends, separator and odd spelling stay; a number is written as others are."""
    before = (folder / "loads.csv").read_bytes()
    assert saved(folder, edited(plain(folder), "pump", running_a="9.25")) == ["loads"]
    assert (folder / "loads.csv").read_bytes() == before.replace(b"8,5", b"9,25")


def test_rows_go_and_come_in_their_place(folder):
    """A deleted row leaves the others alone, a new one stands where it was put, further columns come with it."""
    tables = plain(folder)
    left, _, pump = tables["loads"]
    new = {"load": "=horn", "command": "horn", "running_a": "5", "kind": "coil", "note": "by hand"}
    saved(folder, {**tables, "loads": [left, new, pump]})
    lines = text(folder).splitlines()
    assert lines[1] == "load;command;running_a;kind;x_tag;note"
    assert [line.split(";")[0] for line in lines] == [
        "# wired by hand",
        "load",
        "",
        "# left side",
        "lamp left",
        "'=horn",
        "# pumps",
        "pump",
    ]
    assert {load.name for load in read_vehicle(folder).loads} == {"lamp left", "=horn", "pump"}


def test_a_file_changed_meanwhile_is_not_written_over(folder):
    """Another window or a spreadsheet saved first: nothing is written, and the message says what to do."""
    tables, old = plain(folder), digest(folder)
    (folder / "loads.csv").write_text(LOADS.replace("8,5", "7"))
    with pytest.raises(ChangedMeanwhile, match="changed on disk"):
        save_back(folder, tables, edited(tables, "pump", running_a="9"), old)
    assert "pump;fuel;7;motor" in text(folder)


def test_settings_keep_their_remarks(tmp_path):
    """In settings.toml only the value changes; a setting that is not there is added."""
    shutil.copytree(RALLY, tmp_path / "car")
    tables = plain(tmp_path / "car")
    new = {"headroom_pct": "15", "strategy": "spare"}
    rows = [{**row, "value": new.get(row["setting"], row["value"])} for row in tables["settings"]]
    before = (tmp_path / "car" / "settings.toml").read_text()
    assert saved(tmp_path / "car", {**tables, "settings": rows}) == ["settings"]
    after = before.replace("headroom_pct = 20 ", "headroom_pct = 15 ").replace('"isolate"', '"spare"')
    assert (tmp_path / "car" / "settings.toml").read_text() == after != before


@pytest.mark.parametrize("suffix", ["", ".xlsx"])
def test_what_was_saved_reads_back(tmp_path, suffix):
    """Folder or workbook: edited, deleted and new rows, in the order shown."""
    path = write_vehicle(read_vehicle(RALLY), tmp_path / f"car{suffix}")
    tables = plain(path)
    rows = [row for row in tables["loads"] if row["load"] not in ("horn", "spot lamp")]
    rows.insert(3, {"load": "sump heater", "command": "crew power", "running_a": "3.5", "kind": "heater"})
    after = edited({**tables, "loads": rows}, "cooling fan", running_a="14")
    saved(path, after)
    again = plain(path)
    assert [row["load"] for row in again["loads"]] == [row["load"] for row in after["loads"]]
    strip = lambda rows: [{k: v for k, v in row.items() if v} for row in rows]  # noqa: E731
    assert strip(again["loads"]) == strip(plain_like(path, after)["loads"])


def plain_like(path, tables):
    """The tables as the package itself spells them."""
    from pdm_alloc.files.tables.read_vehicle import read_plain

    spelled = vehicle_plain(read_plain(tables, "car"))
    return in_file_order(path, spelled)


def test_workbook_keeps_formats_remarks_and_other_sheets(tmp_path):
    """What a builder added by hand in the spreadsheet is still there."""
    path = write_vehicle(read_vehicle(RALLY), tmp_path / "car.xlsx")
    book = openpyxl.load_workbook(path)
    book["loads"]["A3"].comment = Comment("ask the builder", "me")
    book["loads"].column_dimensions["A"].width = 33
    book.create_sheet("x_ideas")["A1"] = "a roof rack"
    book.save(path)
    tables = plain(path)
    saved(path, {**tables, "loads": [row for row in tables["loads"] if row != tables["loads"][0]]})
    again = openpyxl.load_workbook(path)
    assert again["loads"]["A2"].comment.text == "ask the builder"
    assert again["loads"].column_dimensions["A"].width == 33
    assert again["x_ideas"]["A1"].value == "a roof rack"


def test_draft_comes_back_and_a_broken_one_is_none(folder):
    """A draft is no table, so the vehicle reads as before; damage to it is no error."""
    old = digest(folder)
    Draft(folder).write({"rows": [{"load": "é"}]})
    assert Draft(folder).read() == {"rows": [{"load": "é"}]}
    assert digest(folder) == old
    next(folder.glob(".*draft*")).write_text('{"rows": [')
    assert Draft(folder).read() is None


def test_drafts_of_two_windows_are_both_kept(folder):
    """A window never writes over what another drafted, nor deletes it; the last one written comes back first."""
    Draft(folder).write({"rows": "of yesterday"})
    one, two = Draft(folder), Draft(folder)
    assert one.read() == two.read()
    one.write({"rows": "of one"})
    two.write({"rows": "of two"})
    two.write({"rows": "of two, more"})
    drafts = {file.name: file.read_text() for file in folder.glob(".panel_draft*")}
    assert sorted(drafts.values()) == ['{"rows": "of one"}', '{"rows": "of two, more"}']
    os.utime(folder / ".panel_draft.json", (1, 1))
    third = Draft(folder)
    assert (third.read(), third.others) == ({"rows": "of two, more"}, 1)
    two.delete()
    assert Draft(folder).read() == {"rows": "of one"}


def beside(folder):
    """A catalogue beside the vehicle, its tables, and an edit of both."""
    shelf = folder.parent / "shelf"
    shutil.copytree(DATA / "catalogue", shelf)
    modules, tables = in_file_order(shelf, catalogue_plain(pa.read_catalogue(shelf))), plain(folder)
    heavier = [{**row, "mass_g": "1234"} for row in modules["modules"]]
    edits = (
        Edit(folder, tables, edited(tables, tables["loads"][0]["load"], note="both"), digest(folder)),
        Edit(shelf, modules, {**modules, "modules": heavier}, digest(shelf)),
    )
    return shelf, edits


def test_vehicle_and_catalogue_are_saved_together_or_not_at_all(folder):
    """Where one of both cannot be written, or was changed meanwhile, the other is not written either."""
    shelf, edits = beside(folder)
    before = digest(folder), digest(shelf)
    with pytest.raises(ChangedMeanwhile):
        save_together([edits[0], replace(edits[1], expected="other")])
    assert (digest(folder), digest(shelf)) == before
    (shelf / "modules.csv").rename(shelf / "kept.txt")
    (shelf / "modules.csv").mkdir()
    with pytest.raises((WriteError, InputError)):
        save_together(edits)
    (shelf / "modules.csv").rmdir()
    (shelf / "kept.txt").rename(shelf / "modules.csv")
    assert (digest(folder), digest(shelf)) == before
    assert save_together(edits) == ["loads", "modules"]
    assert digest(folder) != before[0]
    assert pa.read_catalogue(shelf)["middle-42"].mass_g == 1234


def test_a_save_killed_between_vehicle_and_catalogue_is_finished_by_the_next_reading(folder, monkeypatch):
    """Killed after the commit with one file moved, whoever reads the vehicle next finishes the catalogue too."""
    shelf, edits = beside(folder)
    moved = atomic._move

    def killed(staged, target):
        if "shelf" in str(target.resolve()):
            raise SystemExit("killed")
        moved(staged, target)

    monkeypatch.setattr(atomic, "_move", killed)
    with pytest.raises(SystemExit):
        save_together(edits)
    assert pa.read_catalogue(shelf)["middle-42"].mass_g != 1234
    monkeypatch.setattr(atomic, "_move", moved)
    assert next(load for load in pa.read_vehicle(folder).loads if load.note == "both")
    assert pa.read_catalogue(shelf)["middle-42"].mass_g == 1234
    assert not list(folder.glob(".pdm-alloc*"))


def test_an_empty_cell_and_what_it_means_are_one_row(folder):
    """Tables that are edited fill in what an empty cell means; the order of the file's rows stays all the same."""
    rows = [{"by": "feed", "subject": "", "colour": "red"}, {"by": "kind", "subject": "led", "colour": "blue"}]
    shown = [{**row, "subject": row["subject"] or "*"} for row in rows]
    assert in_order({"wire_colours": rows}, {"wire_colours": shown}) == {"wire_colours": rows}
