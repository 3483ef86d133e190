import os

import pytest

from pdm_alloc.files.faults import InputError
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from tests.tables.good import write_files

LOADS = "load,command,running_a,kind\npump,ignition,6.5,electronics\n"


def read(tmp_path, content, **more):
    """The vehicle with this ``loads.csv``."""
    return read_vehicle(write_files(tmp_path / "car", {"loads.csv": content, **more}))


@pytest.mark.parametrize(
    "content",
    [
        "sep=;\nload;command;running_a;kind\npump;ignition;6,5;electronics\n",
        ";;;;\n;;;;\nload;command;running_a;kind;\n;;;;\npump;ignition;6,5;electronics;\n;;;;\n",
        'load,command,running_a,kind\npump,ignition,"6,5",electronics\n',
        " Load , COMMAND,Running A, KIND\n\xa0pump , ignition, 6.5 A, Electronics \n",
        '"load";"command";"running_a";"kind"\n"pump";"ignition";"6,5";"electronics"',
        "running-a\tload\tcommand\tkind\n6.5\tpump\tignition\telectronics",
        "load,command,running_a,kind,\npump,ignition,6.5,electronics,\n",
    ],
    ids=["sep=", "blank rows and columns", "quoted comma", "spaces", "all quoted", "tab", "trailing column"],
)
def test_exports_of_one_table_are_one_vehicle(content, tmp_path):
    """However a spreadsheet exports one load, it is the same load."""
    assert read(tmp_path / "a", content) == read(tmp_path / "b", LOADS)


@pytest.mark.parametrize(
    ("content", "row"),
    [
        ("load,command,running_a,kind\n\n\npump,ignition,-1,electronics\n", 4),
        ("\n\nload,command,running_a,kind\npump,ignition,-1,electronics\n", 4),
        ('load,command,running_a,kind,note\nfan,ignition,1,fan,"two\nlines\nor three"\n\npump,ignition,-1,led,\n', 4),
        ('load,command,"running_a",kind\r\n\r\npump,ignition,-1,motor\r\n', 3),
        ("sep=,\nload,command,running_a,kind\npump,ignition,-1,electronics\n", 2),
    ],
    ids=[
        "blank rows",
        "header further down",
        "line breaks in a cell",
        "carriage returns",
        "line of the spreadsheet's own",
    ],
)
def test_rows_are_counted_as_the_spreadsheet_counts_them(content, row, tmp_path):
    """Blank rows count, line breaks inside a cell do not."""
    with pytest.raises(InputError) as refusal:
        read(tmp_path, content)
    assert [fault.row for fault in refusal.value.faults] == [row]


def test_free_columns_go_along_untouched(tmp_path):
    """Columns named x_ keep their cells as they are: spaces, zeros, commas, in the table's order."""
    vehicle = read(tmp_path, 'X_Part,load,command,running_a,kind,x_colour\n 007 ,pump,ignition,1,motor,"red, white"\n')
    assert vehicle.load("pump").extra == (("X_Part", " 007 "), ("x_colour", "red, white"))


@pytest.mark.parametrize(
    "name", [".hidden.csv", "~$loads.csv", ".~lock.loads.csv#", "notes.txt", "loads.xlsx.bak", "x_mine.csv", "old"]
)
def test_other_files_in_the_folder_do_not_matter(name, tmp_path):
    """Notes, lock files, hidden files and files named x_ are left unread."""
    assert len(read(tmp_path, LOADS, **{name: "anything, at all\n"}).loads) == 1


def test_folder_that_holds_a_workbook_instead(tmp_path):
    """A folder without tables but with a workbook: the remedy names the workbook."""
    with pytest.raises(InputError, match=r"loads: is missing or empty; .* or give the path of the workbook van.xlsx"):
        read_vehicle(write_files(tmp_path / "car", {"van.xlsx": "", "notes.txt": ""}))


def test_table_that_is_no_file(tmp_path):
    """A folder or a pipe in the place of a table is a fault; reading does not wait for it."""
    folder = write_files(tmp_path / "car", {"loads.csv": LOADS})
    (folder / "places.csv").mkdir()
    os.mkfifo(folder / "routes.csv")
    with pytest.raises(InputError) as refusal:
        read_vehicle(folder)
    assert str(refusal.value).splitlines() == [
        "places: 'places.csv' is not a file; put a CSV file in its place",
        "routes: 'routes.csv' is not a file; put a CSV file in its place",
    ]


def test_table_that_may_not_be_read(tmp_path, monkeypatch):
    """A table without permission is a fault with the system's own reason."""
    from pathlib import Path

    def refuse(self, *_):
        raise PermissionError(13, "Permission denied", str(self))

    folder = write_files(tmp_path / "car", {"loads.csv": LOADS})
    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(
        InputError, match=r"loads: 'loads.csv' cannot be read \(Permission denied\); see that you may read it"
    ):
        read_vehicle(folder)


@pytest.mark.parametrize("path", ["", "nowhere", "a\0b", "n" * 5000])
def test_path_that_leads_nowhere(path, tmp_path, monkeypatch):
    """No such path, an impossible one, a folder without tables: an InputError each."""
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError):
        read_vehicle(path)


def test_every_fault_of_every_table_at_once(tmp_path):
    """Faults of all tables come together, sorted by table and row."""
    files = {"places.csv": "place,x_m\ndash,far\n", "settings.toml": "headroom_pct = -1\n"}
    with pytest.raises(InputError) as refusal:
        read(tmp_path, "load,command,running_a,kind\na,b,-1,electronics\na,b,no,electronics\n", **files)
    faults = refusal.value.faults
    assert [(fault.table, fault.row, fault.column) for fault in faults] == [
        ("loads", 2, "running_a"),
        ("loads", 3, "running_a"),
        ("loads", 3, "load"),
        ("places", 2, "x_m"),
        ("settings", 1, "headroom_pct"),
    ]
    assert str(refusal.value).splitlines() == [str(fault) for fault in faults]
