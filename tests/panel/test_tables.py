"""All tables of the panel together: what a change of one brings along, and how a fault is pointed at."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

pytest.importorskip("anywidget", reason="the extra 'notebook' is not installed")

import pdm_alloc as pa
from pdm_alloc.files import rows
from pdm_alloc.files.faults import Faults, InputError
from pdm_alloc.files.grids import Grid
from pdm_alloc.files.plain import vehicle_hashes, vehicle_plain
from pdm_alloc.files.sources import Source
from pdm_alloc.files.tables import references
from pdm_alloc.files.tables.read_vehicle import vehicle_of
from pdm_alloc.panel.tables import SHOWN, Tables

DATA = Path(__file__).parents[2] / "data"
COUPE, CATALOGUE = pa.read_vehicle(DATA / "rally_coupe"), pa.read_catalogue(DATA / "catalogue")


@pytest.fixture
def tables():
    return Tables(COUPE.name, vehicle_plain(COUPE), CATALOGUE)


def edit(tables, table, name, column, text):
    """Put a text into the row whose first cell has a name."""
    grid = tables.grids[table]
    first = grid.sheet.columns[0].key
    key = next(row.key for row in grid.sheet.rows if row.values[first] == name)
    grid.act({"op": "edit", "edits": [[key, column, text]]})


def test_untouched_tables_are_the_vehicle_and_its_catalogue(tables):
    """Every table survives the way into the panel and back, also where it has no tab."""
    assert tables.vehicle == COUPE
    tables._read_catalogue()
    assert tables.catalogue == CATALOGUE
    assert tables.changed == {}


@pytest.mark.parametrize(
    ("table", "name", "column", "text", "look"),
    [
        ("loads", "horn", "running_a", "7", lambda v: v.load("horn").running_ma == 7000),
        ("commands", "horn", "on_s", "5", lambda v: v.command("horn").on_s == 5),
        (
            "inputs",
            "horn_button",
            "note",
            "left",
            lambda v: [i.note for i in v.inputs if i.name == "horn_button"] == ["left"],
        ),
        ("supply", "ready", "supply_v", "12.2", lambda v: v.states[0].supply_v == 12.2),
        ("places", "dash", "ambient_c", "41", lambda v: [p.ambient_c for p in v.places if p.name == "dash"] == [41]),
    ],
)
def test_a_cell_of_any_table_is_in_the_vehicle(tables, table, name, column, text, look):
    """An edit in any tab reaches the vehicle, and undo takes it back."""
    edit(tables, table, name, column, text)
    assert look(tables.vehicle)
    assert set(tables.changed) == {table}
    tables.undo()
    assert tables.vehicle == COUPE


def test_a_name_changed_in_its_table_is_changed_where_it_is_used(tables):
    """A load, a command, a place and a module keep what belongs to them under a new name."""
    tables.put("locked", [{"load": "horn", "module": "middle-42", "channel": "1"}])
    edit(tables, "loads", "horn", "load", "claxon")
    edit(tables, "commands", "horn", "command", "sound")
    edit(tables, "places", "dash", "place", "facia")
    vehicle = tables.vehicle
    assert vehicle.locked[0].load == "claxon"
    assert vehicle.load("claxon").command == "sound"
    assert "sound" in vehicle.states[0].duty_ppm
    assert "dash" not in str(vehicle.routes)
    edit(tables, "modules", "middle-42", "module", "mine")
    assert len(tables.catalogue["mine"].channels) == len(CATALOGUE["middle-42"].channels)
    assert tables.vehicle.locked[0].module == "mine"


def test_colours_follow_the_name_they_are_about_and_go_with_it(tables):
    """A load's rule follows to its new name, a signal's goes with it; a kind's stays, whatever a load is called."""
    rows = [("load", "horn"), ("command", "horn"), ("signal", "boost valve"), ("signal", "idle valve"), ("kind", "fan")]
    tables.put("wire_colours", [{"by": by, "subject": subject, "colour": "pink"} for by, subject in rows])
    edit(tables, "loads", "horn", "load", "fan")
    edit(tables, "loads", "fan", "load", "claxon")
    every = vehicle_plain(tables.vehicle)["signals"]
    tables.put("signals", [row for row in every if row["signal"] != "idle valve"])
    named = [(rule.by, rule.subject) for rule in tables.vehicle.wire_colours]
    assert named == [("load", "claxon"), ("command", "horn"), ("signal", "boost valve"), ("kind", "fan")]


def test_names_that_change_places_are_no_new_names(tables):
    """A table pasted over itself in another order renames nothing."""
    tables.put("locked", [{"load": "horn", "module": "middle-42", "channel": "1"}])
    grid = tables.loads
    keys = {row.values["load"]: row.key for row in grid.sheet.rows}
    grid.act({"op": "edit", "edits": [[keys["horn"], "load", "lift pump"], [keys["lift pump"], "load", "horn"]]})
    assert tables.texts("locked")[0]["load"] == "horn"


def test_a_new_command_has_rows_of_its_own(tables):
    """Said to be new, it is in the tables of commands and states, on all the time; one undo takes all of it back."""
    grid = tables.loads
    grid.act({"op": "edit", "edits": [[grid.order[0], "command", "seat heat"]]})
    assert "seat heat" not in {row["command"] for row in tables.texts("commands")}
    grid.act({"op": "answer", "column": "command", "text": "seat heat", "name": "seat heat"})
    assert tables.texts("commands")[-1]["command"] == "seat heat"
    assert set(tables.texts("states")[-1].values()) == {"seat heat", "1"}
    grid.act({"op": "undo"})
    assert "seat heat" not in {row["command"] for row in (*tables.texts("commands"), *tables.texts("states"))}


def test_a_command_no_load_has_goes_with_its_row(tables):
    """A command added by hand has duties at once, and deleted it leaves none behind."""
    grid = tables.grids["commands"]
    grid.act({"op": "add", "after": None})
    grid.act({"op": "edit", "edits": [[grid.order[-1], "command", "spare"]]})
    assert tables.texts("states")[-1]["command"] == "spare"
    grid.act({"op": "delete", "key": grid.order[-1]})
    assert tables.texts("states")[-1]["command"] != "spare"


def test_a_fault_is_pointed_at_and_the_good_value_stays(tables):
    """A contradiction is shown at its cell and counted on its tab; a refused text is counted, too."""
    edit(tables, "routes", "dash", "length_m", "0.01")
    with pytest.raises(pa.InputError):
        tables.vehicle
    faults = tables.grids["routes"].faults
    assert {fault["column"] for fault in faults} == {"length_m"}
    assert faults[0]["text"].startswith("'0.01' is shorter than the straight distance")
    edit(tables, "places", "dash", "x_m", "far")
    assert tables.tabs._bar.counts == {"Routes": len(faults), "Places": 1}
    tables.undo()
    tables.undo()
    assert tables.vehicle == COUPE
    assert tables.tabs._bar.counts == {}


def test_undo_looks_at_the_table_it_changed(tables):
    """What was changed elsewhere is not taken back unseen."""
    edit(tables, "places", "dash", "ambient_c", "41")
    assert tables.tabs.chosen == "Loads"
    tables.loads.act({"op": "undo"})
    assert tables.tabs.chosen == "Places"


def test_a_state_is_a_column(tables):
    """A state can be added and deleted; a name that is there already is refused in words."""
    grid = tables.grids["states"]
    grid.act({"op": "state", "name": "towing"})
    assert grid.sheet.columns[-1].key == "towing"
    with pytest.raises(pa.InputError, match=r"supply.*towing"):
        tables.vehicle
    grid.act({"op": "state", "name": "Towing"})
    assert grid.notice == "'Towing' is there already"
    grid.act({"op": "dropstate", "name": "towing"})
    assert tables.vehicle == COUPE


def test_a_catalogue_in_contradiction_does_not_stop_the_verdict(tables):
    """Until a module is whole, the catalogue as it last was counts, and the fault is at its cell."""
    edit(tables, "modules", "middle-42", "total_peak_a", "1")
    assert tables.catalogue == CATALOGUE
    assert tables.grids["modules"].faults[0]["column"] == "total_peak_a"
    edit(tables, "modules", "middle-42", "total_peak_a", "500")
    assert tables.catalogue["middle-42"].total_peak_ma == 500_000
    assert tables.vehicle == COUPE


def test_rows_put_by_a_part_keep_who_they_are(tables):
    """A row of the same name is the same row, and one that waits to be filled stays."""
    grid = tables.grids["places"]
    grid.act({"op": "add", "after": None})
    keys = list(grid.order)
    tables.put("places", tables.texts("places")[::-1])
    assert grid.order == [*keys[-2::-1], grid.order[-1]]
    assert grid.rows[-1]["place"] == ""


def test_every_table_shown_has_a_tab(tables):
    """Tables are found by name, in order."""
    assert [title.lower().replace(" ", "_") for title in tables.tabs._bar.titles] == list(SHOWN)


def read_anew(tables):
    """The vehicle as files with the same rows would be read, or what is wrong with them."""
    rows = {table: tables.texts(table) for table in vehicle_plain(SMALL)}
    grids = {
        table: Grid(table, 1, list(lines[0]), [(n, list(line.values())) for n, line in enumerate(lines, 1)])
        for table, lines in rows.items()
        if lines
    }
    try:
        return vehicle_of(Source(SMALL.name, grids), Faults())
    except InputError as error:
        return str(error)


def test_only_what_is_edited_is_read_again(tables, monkeypatch):
    """Of an edit of one cell one row is read; of the checks those are done again that read the column."""
    lines, checks = [], []
    line, places = rows._line, references._check_places
    monkeypatch.setattr(
        rows, "_line", lambda number, *rest, **more: lines.append(number) or line(number, *rest, **more)
    )
    monkeypatch.setattr(references, "_check_places", lambda *given: checks.append(1) or places(*given))
    assert tables.vehicle == COUPE
    lines.clear()
    checks.clear()
    edit(tables, "loads", "horn", "running_a", "7")
    assert tables.vehicle.load("horn").running_ma == 7000
    assert (len(lines), len(checks)) == (1, 0)
    edit(tables, "loads", "horn", "place", "boot")
    assert tables.vehicle.load("horn").place == "boot"
    assert (len(lines), len(checks)) == (2, 1)


# A part of the demo, so that it is read in no time.
SMALL = vehicle_hashes(
    replace(COUPE, loads=COUPE.loads[:8], signals=(), locked=(), parts=(), wire_colours=(), concessions=())
)

_CELLS = {
    "loads": {
        "running_a": ("3,25", "7", "120 %", "0", "-1"),
        "count": ("2", "1.5"),
        "tolerance_pct": ("120", "10"),
        "kind": ("led", "lde"),
        "place": ("dash", "boot", "nowhere"),
        "command": ("horn", "hron"),
    },
    "commands": {"condition": ("ignition", "ignition and"), "on_s": ("3", "")},
    "supply": {"supply_v": ("12.1", "0")},
    "places": {"ambient_c": ("60", "hot"), "place": ("dash 2",)},
}
_STEPS = st.lists(
    st.sampled_from(
        [(t, column, text) for t, cells in _CELLS.items() for column, texts in cells.items() for text in texts]
    ).flatmap(lambda cell: st.tuples(st.just(cell), st.integers(0, 3)))
    | st.just("undo"),
    min_size=1,
    max_size=4,
)


@settings(max_examples=12)
@given(_STEPS)
def test_any_edits_leave_what_reading_the_tables_anew_gives(steps):
    """After each of any edits, good and bad, and steps back, the vehicle is that of a fresh read of the good texts."""
    tables = Tables(SMALL.name, vehicle_plain(SMALL), CATALOGUE)
    assert tables.vehicle == SMALL
    for step in steps:
        if step == "undo":
            tables.undo()
        else:
            (table, column, text), row = step
            grid = tables.grids[table]
            grid.act({"op": "edit", "edits": [[grid.sheet.rows[row].key, column, text]]})
        try:
            assert tables.vehicle == read_anew(tables)
        except InputError as error:
            assert str(error) == read_anew(tables)
