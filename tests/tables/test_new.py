import csv
from pathlib import Path

import pytest

from pdm_alloc.cli import main
from pdm_alloc.domain.kinds import KINDS
from pdm_alloc.domain.module import FUNCTIONS, SIGNAL_KINDS
from pdm_alloc.figures.vehicle_plan import plan
from pdm_alloc.files.atomic import WriteError
from pdm_alloc.files.faults import InputError
from pdm_alloc.files.rows import columns_of
from pdm_alloc.files.tables.catalogue_rows import CATALOGUE_ROWS
from pdm_alloc.files.tables.read_catalogue import read_catalogue
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from pdm_alloc.files.tables.settings_rows import SettingsRow
from pdm_alloc.files.tables.vehicle_rows import VEHICLE_ROWS
from pdm_alloc.files.write_tables import new_catalogue, new_demo, new_tables

DATA = Path(__file__).resolve().parents[2] / "data"


def test_blank_tables_make_a_vehicle(tmp_path):
    """What is written reads without a fault, and has an example of everything but a locked wire."""
    written = new_tables(tmp_path / "deep" / "mine")
    assert all(path.is_file() for path in written)
    vehicle = read_vehicle(tmp_path / "deep" / "mine")
    assert vehicle.name == "mine"
    for table in ("loads", "commands", "inputs", "states", "places", "routes", "concessions", "grounds", "removed"):
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


def test_guides_tell_what_each_kind_of_signal_takes_and_each_function_means(tmp_path):
    """Every word has one line, with one meaning that no other word has, in both guides."""
    new_tables(tmp_path / "mine")
    new_catalogue(tmp_path / "modules")
    for name in ("mine", "modules"):
        guide = (tmp_path / name / "columns.md").read_text(encoding="utf-8")
        kinds = guide.split("## Kinds of signals")[1].split("## ")[0]
        functions = guide.split("## Functions of pins")[1]
        assert [kinds.count(f"\n| {kind} |") for kind in SIGNAL_KINDS] == [1] * len(SIGNAL_KINDS)
        meanings = [line.split(" | ")[1] for line in functions.splitlines() if line.startswith("| ")][2:]
        assert len(set(meanings)) == len(meanings) == len(FUNCTIONS)
        assert "| frequency_pair | 2 pins with frequency_pair, of one pair label | 0 A" in kinds
        assert "| low_side | 1 pin with low_side | must be given |" in kinds


def test_of_blank_settings_the_reference_follows_the_system(tmp_path):
    """Who writes 24 V for the system states currents at 24 V, without a second number to think of."""
    new_tables(tmp_path / "mine")
    settings = tmp_path / "mine" / "settings.toml"
    settings.write_text(settings.read_text(encoding="utf-8").replace("system_v = 12", "system_v = 24"))
    assert read_vehicle(tmp_path / "mine").settings.reference_v == 24


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

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(WriteError, match="the disk is full"):
        new_tables(tmp_path / "mine")
    assert not list(tmp_path.iterdir())


def test_place_below_a_file(tmp_path):
    """A folder cannot be made below a file: one line, not a traceback."""
    (tmp_path / "file").write_text("")
    with pytest.raises(WriteError, match=r"cannot write .*mine: a part of the path is a file"):
        new_tables(tmp_path / "file" / "mine")


def test_blank_catalogue(tmp_path):
    """The blank tables of a catalogue make one module; the guide tells of every column."""
    new_catalogue(tmp_path / "mine")
    (module,) = read_catalogue(tmp_path / "mine")
    assert module.name == "module A"
    guide = (tmp_path / "mine" / "columns.md").read_text(encoding="utf-8")
    for table, model in CATALOGUE_ROWS.items():
        section = guide.split(f"## {table}.csv")[1].split("## ")[0]
        assert all(f"| {column} |" in section for column in columns_of(model))


def test_demo(tmp_path):
    """The demo reads as it does from the repository, and brings its catalogue to the place where it is looked for."""
    new_demo(tmp_path / "demo")
    for name in ("rally_coupe", "expedition_truck"):
        assert read_vehicle(tmp_path / "demo" / name) == read_vehicle(DATA / name)
    assert read_catalogue(tmp_path / "demo" / "catalogue") == read_catalogue(DATA / "catalogue")


def test_a_guide_agrees_with_the_plan():
    """x_m runs from the front to the rear and y_m to the right, in the guide as in the figure."""
    columns = columns_of(VEHICLE_ROWS["places"])
    said = (plan.__doc__ or "").replace("\n", " ")
    assert "from the front to the rear" in columns["x_m"].description
    assert "to the right" in columns["y_m"].description
    assert "x_m (from the front to the rear, m), y_m (from the centre line to the right, m)" in said


def test_blank_vehicle_and_blank_catalogue_fit_together(tmp_path, capsys):
    """Both written side by side are checked without a fault: the examples agree on temperatures."""
    new_tables(tmp_path / "mine")
    new_catalogue(tmp_path / "catalogue")
    assert main(["check", str(tmp_path / "mine")]) == 0
    assert "no fault found" in capsys.readouterr().out
