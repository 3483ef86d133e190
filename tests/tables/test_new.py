import csv

import pytest

from pdm_alloc.kinds import KINDS
from pdm_alloc.tables import InputError, new_tables, read_vehicle
from pdm_alloc.tables.row import columns_of
from pdm_alloc.tables.settings_row import SettingsRow
from pdm_alloc.tables.vehicle_rows import VEHICLE_ROWS
from pdm_alloc.tables.whole import WriteError


def test_blank_tables_make_a_vehicle(tmp_path):
    """What is written reads without a fault, and has an example of everything but a locked wire."""
    written = new_tables(tmp_path / "deep" / "mine")
    assert all(path.is_file() for path in written)
    vehicle = read_vehicle(tmp_path / "deep" / "mine")
    assert vehicle.name == "mine"
    for table in ("loads", "commands", "inputs", "states", "places", "routes", "concessions"):
        assert getattr(vehicle, table), table
    assert vehicle.states_given
    assert not vehicle.locked


def test_every_table_has_every_column(tmp_path):
    """Each file has the header the column guide tells of, in its order, and the guide tells of every column."""
    new_tables(tmp_path / "mine")
    guide = (tmp_path / "mine" / "columns.md").read_text(encoding="utf-8")
    for table, model in VEHICLE_ROWS.items():
        header = (tmp_path / "mine" / f"{table}.csv").read_text(encoding="utf-8").splitlines()[0]
        assert next(csv.reader([header])) == list(columns_of(model))
        section = guide.split(f"## {table}.csv")[1].split("## ")[0]
        for column in columns_of(model):
            assert f"| {column} |" in section
    assert all(f"| {setting} |" in guide for setting in columns_of(SettingsRow))
    assert all(kind in guide for kind in KINDS)


def test_every_setting_is_in_the_settings_file(tmp_path):
    """Each setting stands in the file with what it means, set or commented out."""
    new_tables(tmp_path / "mine")
    lines = (tmp_path / "mine" / "settings.toml").read_text(encoding="utf-8").splitlines()
    for setting in columns_of(SettingsRow):
        assert any(line.removeprefix("# ").startswith(f"{setting} = ") for line in lines), setting


def test_nothing_is_overwritten(tmp_path):
    """A folder with anything in it, a file, a dangling link: refused, and left as it was."""
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "note.txt").write_text("mine")
    (tmp_path / "file").write_text("mine")
    (tmp_path / "link").symlink_to(tmp_path / "nowhere")
    for name in ("full", "file", "link"):
        with pytest.raises(InputError, match=f"{name}: is there already; name a folder that does not exist yet"):
            new_tables(tmp_path / name)
    assert [path.name for path in (tmp_path / "full").iterdir()] == ["note.txt"]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["file", "full", "link"]


def test_empty_folder_is_filled(tmp_path):
    """An empty folder is as good as none."""
    (tmp_path / "mine").mkdir()
    assert new_tables(tmp_path / "mine")


def test_failure_leaves_nothing_behind(tmp_path, monkeypatch):
    """A disk that fills up half way: one line, and neither files nor a temporary folder remain."""
    from pathlib import Path

    def full(self, *_, **__):
        raise OSError(28, "No space left on device", str(self))

    monkeypatch.setattr(Path, "write_text", full)
    with pytest.raises(InputError, match=r"mine: cannot be written \(No space left on device\); choose a place"):
        new_tables(tmp_path / "mine")
    assert not list(tmp_path.iterdir())


def test_place_below_a_file(tmp_path):
    """A folder cannot be made below a file: one line, not a traceback."""
    (tmp_path / "file").write_text("")
    with pytest.raises(WriteError, match=r"cannot write .*mine: a part of the path is a file"):
        new_tables(tmp_path / "file" / "mine")
