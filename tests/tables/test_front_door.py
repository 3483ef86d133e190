"""What people put into tables that is no fault of theirs, and what they are told of it."""

from pathlib import Path

import openpyxl
import pytest

from pdm_alloc.cli import main
from pdm_alloc.files.faults import InputError
from pdm_alloc.files.tables.read_catalogue import read_catalogue
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from pdm_alloc.files.write_tables import new_catalogue, new_tables
from tests.tables.good import CATALOGUE, VEHICLE, write_files

DATA = Path(__file__).parent.parent.parent / "data"
LOADS = "load,command,running_a,kind\n"


def said(path, read=read_vehicle):
    """Lines of the refusal."""
    with pytest.raises(InputError) as refusal:
        read(path)
    return str(refusal.value).splitlines()


@pytest.mark.parametrize(
    ("cells", "milliamps"),
    [
        (('"2,345"', '"6,5"'), 2345),
        (("2.345", "6.5"), 2345),
        (("2.345 A", "0.5"), 2345),
        (("0.345", "1"), 345),
        (("2.3450", "1"), 2345),
    ],
)
def test_three_digits_are_settled_by_the_column(tmp_path, cells, milliamps):
    """Another cell of the column shows the mark to be the decimal mark; where there was doubt it is noted."""
    notes = []
    text = LOADS + "".join(f"l{n},c,{cell},led\n" for n, cell in enumerate(cells))
    vehicle = read_vehicle(write_files(tmp_path / "car", {"loads.csv": text}), notes)
    assert vehicle.load("l0").running_ma == milliamps
    assert len(notes) == (0 if cells[1] == "1" else 1)


@pytest.mark.parametrize("cells", [('"1,440"', "5"), ("1.440", "5"), ('"1,440"', "6.5"), ('"1,440"', '"1,080"')])
def test_three_digits_that_nothing_settles_are_refused(tmp_path, cells):
    """Neither 1440 nor 1.44 is guessed; both are offered."""
    text = LOADS + "".join(f"l{n},c,{cell},led\n" for n, cell in enumerate(cells))
    first = said(write_files(tmp_path / "car", {"loads.csv": text}))[0]
    assert first.endswith("may be 1440 or 1.440; write 1440 or 1.4400")


def test_a_range_does_not_settle_against_the_other_marks_of_a_table(tmp_path):
    """No place has 1440 degrees, but beside x_m 1.95 a comma is none of decimals: 1.44 would be a guess."""
    files = {"loads.csv": LOADS + "a,c,1,led\n", "places.csv": 'place,x_m,y_m,ambient_c\nnose,1.95,0,"1,440"\n'}
    (line,) = said(write_files(tmp_path / "car", files))
    assert "places, row 2, column ambient_c" in line
    assert line.endswith("may be 1440 or 1.440; write 1440 or 1.4400")


def test_words_that_cannot_be_seen_are_none(tmp_path):
    """A pin without a function can do nothing: such a cell is refused, as an empty one is."""
    pins = "box,pin,functions\nunit A,1,\u200b\n"
    files = {"control_units.csv": "box\nunit A\n", "signal_pins.csv": pins}
    write_files(tmp_path / "all", {**CATALOGUE, **files})
    with pytest.raises(InputError, match=r"signal_pins, row 2, column functions: .*has no word in it"):
        read_catalogue(tmp_path / "all")


def test_whole_numbers_and_ranges_settle(tmp_path):
    """A count is whole and a supply no kilovolts: one reading is left, and it is noted; 1.000 items stay in doubt."""
    notes = []
    files = {
        "loads.csv": 'load,command,running_a,count,kind\na,c,5,"1,080",electronics\n',
        "states.csv": "command,on\nc,1\n",
        "supply.csv": "state,supply_v\non,13.800\n",
    }
    vehicle = read_vehicle(write_files(tmp_path / "car", files), notes)
    assert (vehicle.load("a").count, vehicle.states[0].supply_v, len(notes)) == (1080, 13.8, 2)
    files["loads.csv"] = "load,command,running_a,count,kind\na,c,5,1.000,electronics\n"
    assert "may be 1000 or 1.000" in said(write_files(tmp_path / "van", files))[0]


def test_unit_in_the_format_of_a_cell(tmp_path):
    """A cell that shows 500 mA holds 500: refused in amperes, taken in its own unit; a quoted % multiplies nothing."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "loads"
    for row in (["load", "command", "running_a", "tolerance_pct", "kind"], ["a", "c", 500, 5, "led"]):
        sheet.append(row)
    sheet["C2"].number_format, sheet["D2"].number_format = '0 "mA"', '0"%"'
    book.save(tmp_path / "car.xlsx")
    assert said(tmp_path / "car.xlsx")[0].endswith("'500 mA' is in mA; this column is in A: write 0.5")
    sheet["C2"].number_format = '0.0\\ "A"'
    book.save(tmp_path / "car.xlsx")
    load = read_vehicle(tmp_path / "car.xlsx").load("a")
    assert (load.running_ma, load.tolerance_pct) == (500_000, 5)


def test_title_rows_remarks_and_notes_sheets_are_passed_over(tmp_path):
    """What stands above the header, a remark of one cell, a sheet Notes: no faults, and all of them are told."""
    book = openpyxl.Workbook()
    book.active.title = "Notes"
    book.active.append(["remember the horn"])
    sheet = book.create_sheet("loads")
    rows = [
        ["My car"],
        ["as of spring", "draft"],
        ["load", "command", "running_a", "kind"],
        ["# front"],
        ["a", "c", 5, "led"],
    ]
    for row in rows:
        sheet.append(row)
    book.save(tmp_path / "car.xlsx")
    notes = []
    assert [load.name for load in read_vehicle(tmp_path / "car.xlsx", notes).loads] == ["a"]
    assert [note.row for note in notes] == [None, 1, 2, 4]


def test_rows_commented_out_are_no_loads(tmp_path, capsys):
    """A # before the name takes the row out, with a note wherever it is read; #1 is a name; a header stays one."""
    (tmp_path / "loads.csv").write_text(f"{LOADS}a,c,5,led\n#b,c,5,led\n # c,c,5,led\n#1 lamp,c,1,led\n#\n")
    notes = []
    assert [load.name for load in read_vehicle(tmp_path, notes).loads] == ["#1 lamp", "a"]
    assert [(note.row, note.message) for note in notes] == [
        (3, "is commented out and is passed over"),
        (4, "is commented out and is passed over"),
        (6, "is a remark and is passed over"),
    ]
    main(["size", str(tmp_path), "--catalogue", str(DATA / "catalogue")])
    assert "note: loads, row 3: '#b' is commented out and is passed over" in capsys.readouterr().err
    (tmp_path / "loads.csv").write_text("#load,command,running_a,kind\na,c,5,led\n")
    with pytest.raises(InputError, match="#load"):
        read_vehicle(tmp_path)


def test_workbook_of_charts_only(tmp_path):
    """A workbook without a sheet of cells is refused in words."""
    book = openpyxl.Workbook()
    book.create_chartsheet("chart")
    book.remove(book.active)
    book.save(tmp_path / "car.xlsx")
    assert "has no sheet with cells" in said(tmp_path / "car.xlsx")[0]


def test_chart_beside_the_tables(tmp_path):
    """A sheet that is a chart does not hinder the others."""
    book = openpyxl.Workbook()
    book.active.title = "loads"
    for row in (["load", "command", "running_a", "kind"], ["a", "c", 5, "led"]):
        book.active.append(row)
    chart = openpyxl.chart.BarChart()
    chart.add_data(openpyxl.chart.Reference(book.active, min_col=3, min_row=2, max_row=2))
    book.create_chartsheet("chart").add_chart(chart)
    book.save(tmp_path / "car.xlsx")
    assert len(read_vehicle(tmp_path / "car.xlsx").loads) == 1


def test_faults_of_one_cause_are_one_line(tmp_path):
    """Thirty loads with the same thing wrong are one line with the count and the first rows."""
    files = {**VEHICLE, "loads.csv": LOADS + "".join(f"l{n},horn,1,coil\n" for n in range(30)), "locked.csv": ""}
    lines = said(write_files(tmp_path / "car", {**files, "concessions.csv": ""}))
    assert [line for line in lines if "column command" in line] == [
        "loads, row 2, column command: 'horn' is not in table commands; add a row for it to the table "
        "commands (so in 30 rows: 2, 3, 4, 5, 6, 7, 8, 9, ...)"
    ]


def test_untouched_example_tables_are_told_once(tmp_path):
    """Loads filled in beside the example rows of the other tables: one line, and nothing that follows from them."""
    new_tables(tmp_path / "car")
    loads = LOADS + "".join(f"l{n},c{n},1,led\n" for n in range(22))
    (tmp_path / "car" / "loads.csv").write_text(loads)
    lines = said(tmp_path / "car")
    assert len(lines) == 1
    assert "holds only the example rows it came with, and so do " in lines[0]


def test_tables_left_as_they_came_are_an_answer_for_the_example(tmp_path, capsys):
    """Blank tables answer with code 0, and a note says whose answer it is; of a catalogue likewise."""
    for words in (["new", str(tmp_path / "car")], ["new", str(tmp_path / "modules"), "--catalogue"]):
        assert main(words) == 0
    capsys.readouterr()
    for folder, table in (("car", "loads"), ("modules", "modules")):
        assert main(["check", str(tmp_path / folder)]) == 0
        said = capsys.readouterr().out
        assert said.count("example") == 2
        assert f"note: {table}: holds only the example rows it came with; write yours in their place" in said


def test_example_module_beside_ones_own(tmp_path):
    """It would be judged with the others, and so would the control unit nobody sells: two lines say so."""
    new_catalogue(tmp_path / "all")
    for table, row in (("modules", "M,60,300" + "," * 10), ("channels", "M,1,,,,10,60,50" + "," * 9)):
        path = tmp_path / "all" / f"{table}.csv"
        path.write_text(path.read_text() + row + "\n")
    lines = said(tmp_path / "all", read_catalogue)
    assert lines[1].startswith(
        "modules, row 2, column module: 'module A' is the example row; delete the row, or make it a module"
    )
    assert lines[0].startswith("banks: holds only the example rows it came with, and so do control_units, derating, ")
    assert len(lines) == 2


def test_many_states(tmp_path):
    """A table of 300 states is read."""
    names = [f"s{n}" for n in range(300)]
    states = f"command,{','.join(names)}\nc,{','.join(['1'] * 300)}\n"
    vehicle = read_vehicle(write_files(tmp_path / "car", {"loads.csv": LOADS + "a,c,1,led\n", "states.csv": states}))
    assert len(vehicle.states) == 300


@pytest.mark.parametrize(("volts", "word"), [("1.38", "less than 0.25"), ("138", "more than 2.5")])
def test_supply_far_from_the_nominal_voltage(tmp_path, volts, word):
    """1.38 V on a 12 V vehicle is a slipped point; 6 V while cranking is not."""
    files = {**VEHICLE, "supply.csv": f"state,supply_v\nready,{volts}\nnight,6\n"}
    (line,) = said(write_files(tmp_path / "car", files))
    assert line.startswith(f"supply, row 2, column supply_v: '{volts}' is {word} times system_v (12 V)")


@pytest.mark.parametrize(
    ("locked", "line"),
    [
        ("low beam left,small,1\nlow beam right,small,1+2", "has a channel in it that row 2 names as 1"),
        ("fan,small,3", "has 2 items with share = no, each alone on a channel, and is locked to 1"),
        ("horn,small,1\nbell,small,1", "is on one channel with the load in row 2, and horn has share = no"),
        (
            "low beam left,small,1\nlow beam right,small,1",
            "is on one channel with the load in row 2, and both have separate =",
        ),
    ],
)
def test_locks_that_contradict_each_other(tmp_path, locked, line):
    """Each names both rows, or the row and the count."""
    more = "horn,lights,1,1,coil,,,,,no,,,,\nbell,lights,1,1,coil,,,,,,,,,\n"
    files = {**VEHICLE, "loads.csv": VEHICLE["loads.csv"] + more, "locked.csv": f"load,module,channel\n{locked}\n"}
    (fault,) = said(write_files(tmp_path / "car", files))
    assert fault.startswith("locked, row ") and line in fault


def test_channel_named_as_two_joined(tmp_path):
    """A channel 1+2 beside the channels 1 and 2 is refused."""
    channels = CATALOGUE["channels.csv"] + "small,1+2,X1,9,rear,10,40,100,,,,2.5\n"
    (line,) = said(write_files(tmp_path / "all", {**CATALOGUE, "channels.csv": channels}), read_catalogue)
    assert "'1+2' is what the channels 1 and 2 are called when they are joined" in line


@pytest.mark.parametrize("run", ["1-12", "1..12", "1–12"])
def test_row_for_a_run_of_channels(tmp_path, run):
    """One row is twelve channels, each with its pins; an empty peak_ms is assumed; both are noted."""
    channels = f"module,channel,pins,continuous_a,peak_a\nM,{run},a1-a12 b1-b24,10,60\nM,X1-2,c1,10,60\n"
    files = {"modules.csv": "module,total_a,total_peak_a\nM,60,300\n", "channels.csv": channels}
    notes = []
    module = read_catalogue(write_files(tmp_path / "all", files), notes)["M"]
    assert [channel.name for channel in module.channels] == [*map(str, range(1, 13)), "X1-2"]
    assert module.channel("12").pins == ("a12", "b23", "b24")
    assert module.channel("1").peak_ms == 50
    assert [note.column for note in notes] == ["channel", "peak_ms"]
    files["channels.csv"] = channels.replace("a1-a12", "a1-a11")
    assert "are 11 pins for 12 channels" in said(write_files(tmp_path / "other", files), read_catalogue)[0]


def test_notes_of_one_kind_are_one_line(tmp_path, capsys):
    """As faults are: a catalogue of many runs has one note of them."""
    channels = "module,channel,continuous_a,peak_a,peak_ms\n" + "".join(
        f"M,{n}-{n + 4},10,60,50\n" for n in range(1, 30, 5)
    )
    files = {"modules.csv": "module,total_a,total_peak_a\nM,60,300\n", "channels.csv": channels}
    assert main(["check", str(write_files(tmp_path / "all", files))]) == 0
    (line,) = (line for line in capsys.readouterr().out.splitlines() if line.startswith("note"))
    assert "'1-5' stands for a run of channels (so in 6 rows: 2, 3, 4, 5, 6, 7)" in line


@pytest.mark.parametrize("name", ["12-1", "1-1", "a5..a2", "1-600"])
@pytest.mark.parametrize("column", ["channel", "pins", "pin"])
def test_a_name_that_reads_like_a_run_is_noted(tmp_path, name, column):
    """Twelve channels written backwards were one without a word; where all are named so, it is said of none."""
    channel, pins, pin = (name if column == one else one for one in ("channel", "pins", "pin"))
    files = {
        "modules.csv": "module,total_a,total_peak_a\nM,60,300\n",
        "channels.csv": f"module,channel,pins,continuous_a,peak_a,peak_ms\nM,{channel},{pins},10,60,50\n",
        "control_units.csv": "box\nbox\n",
        "signal_pins.csv": f"box,pin,functions\nbox,{pin},voltage_input\n",
    }
    notes = []
    read_catalogue(write_files(tmp_path / "all", files), notes)
    assert [(note.column, note.value, note.row) for note in notes] == [(column, name, 2)]
    assert "not for a run" in notes[0].message
    many = "".join(f"box,{a}-{b},voltage_input\n" for a in (1, 2) for b in (1, 2))
    files["signal_pins.csv"] = f"box,pin,functions\n{many}"
    notes.clear()
    read_catalogue(write_files(tmp_path / "many", files), notes)
    assert [note for note in notes if note.table == "signal_pins"] == []


def test_check_takes_a_catalogue(tmp_path, capsys):
    """check of a folder of modules reads it as a catalogue and says what is wrong with it."""
    assert main(["check", str(write_files(tmp_path / "all", CATALOGUE))]) == 0
    assert "no fault found" in capsys.readouterr().out
    broken = {**CATALOGUE, "banks.csv": "module,bank,limit_a\nsmall,front,x\n"}
    assert main(["check", str(write_files(tmp_path / "bad", broken))]) == 2


@pytest.mark.parametrize("name", ["\u200b", "\u3164", "\u200e\u2800", "\ufeff \u2060"])
def test_name_of_invisible_characters_is_refused(tmp_path, name):
    """Nobody could tell such a load from an empty cell."""
    (line,) = said(write_files(tmp_path / "car", {"loads.csv": f"{LOADS}{name},c,1,led\n"}))
    assert "invisible characters only" in line or "is empty" in line


def test_input_with_a_space_in_a_condition(tmp_path):
    """The name as the table of inputs holds it; kept so that the condition reads alike without that table."""
    files = {
        "loads.csv": LOADS + "a,c,1,led\n",
        "commands.csv": "command,condition\nc,head switch and not ignition\n",
        "inputs.csv": "input\nhead switch\nignition\n",
    }
    vehicle = read_vehicle(write_files(tmp_path / "car", files))
    assert vehicle.command("c").condition == '"head switch" and not ignition'


def test_grammar_is_checked_without_inputs(tmp_path):
    """A condition cut off is a fault also where no table of inputs is."""
    files = {"loads.csv": LOADS + "a,c,1,led\n", "commands.csv": "command,condition\nc,a and\n"}
    (line,) = said(write_files(tmp_path / "car", files))
    assert line.startswith("commands, row 2, column condition: 'a and' cannot be read (at character 6: found the end")
