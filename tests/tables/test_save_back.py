"""An edited vehicle goes back into its own files: what was not edited keeps every byte."""

import shutil
from pathlib import Path

import openpyxl
import pytest
from openpyxl.comments import Comment

from pdm_alloc.files.plain import vehicle_plain
from pdm_alloc.files.save_back import ChangedMeanwhile, digest, in_file_order, read_draft, save_back, write_draft
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from pdm_alloc.files.write_tables import write_vehicle

RALLY = Path(__file__).parents[2] / "data" / "rally_coupe"
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
    write_draft(folder, {"rows": [{"load": "é"}]})
    assert read_draft(folder) == {"rows": [{"load": "é"}]}
    assert digest(folder) == old
    next(folder.glob(".*draft*")).write_text('{"rows": [')
    assert read_draft(folder) is None
