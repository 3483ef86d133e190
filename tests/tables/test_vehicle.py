from dataclasses import fields
from fractions import Fraction
from pathlib import Path

import pytest

from pdm_alloc.domain.kinds import KINDS, Settings
from pdm_alloc.domain.vehicle import Command, Lock, Route
from pdm_alloc.files.tables.read_catalogue import read_catalogue
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from pdm_alloc.files.write_tables import vehicle_tables, write_catalogue, write_vehicle
from tests.tables.good import CATALOGUE, VEHICLE, write_files

DATA = Path(__file__).parents[2] / "data"


def vehicle_of(tmp_path, **files):
    """The vehicle in these tables, whose names are given without extension."""
    return read_vehicle(write_files(tmp_path / "car", {f"{name}.csv": text for name, text in files.items()}))


def one_load(tmp_path, **cells):
    """A vehicle of one load with these cells."""
    cells = {"load": "pump", "command": "ignition", "running_a": "4", "kind": "electronics", **cells}
    return vehicle_of(tmp_path, loads=f"{','.join(cells)}\n{','.join(cells.values())}\n").load("pump")


def test_defaults_of_a_load(tmp_path):
    """A load of which only the required columns are given has the defaults of the column guide."""
    load = one_load(tmp_path)
    assert (load.running_ma, load.count, load.kind, load.needs, load.importance) == (
        4000,
        1,
        "electronics",
        frozenset(),
        "needed",
    )
    assert (load.share, load.separate, load.place, load.length_m, load.min_v) == (True, None, None, None, None)
    assert (load.max_drop_pct, load.tolerance_pct, load.volt_exponent) == (3.0, 0, KINDS["electronics"].volt_exponent)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_inrush_comes_from_the_kind_where_the_table_is_silent(kind, tmp_path):
    """Peak and length of the kind, marked as assumed; a kind without excess has no length."""
    load = one_load(tmp_path, kind=kind)
    assert load.inrush_ma == round(4000 * KINDS[kind].inrush_multiple)
    assert load.inrush_ms == KINDS[kind].inrush_ms
    assert load.inrush_assumed


@pytest.mark.parametrize(
    ("cells", "peak", "length", "assumed"),
    [
        ({"inrush_a": "20", "inrush_ms": "80"}, 20_000, 80.0, False),
        ({"inrush_a": "20"}, 20_000, 150.0, True),
        ({"inrush_ms": "80"}, 24_000, 80.0, True),
        ({"inrush_a": "4"}, 4_000, 0.0, False),
        ({"inrush_a": "4", "inrush_ms": "0"}, 4_000, 0.0, False),
        ({"running_a": "0.0301", "inrush_a": "0.2001", "inrush_ms": "1"}, 201, 1.0, False),
    ],
)
def test_inrush_given_in_part(cells, peak, length, assumed, tmp_path):
    """What is given holds, what is not comes from the kind (motor: 6 times, 150 ms); milliamps are rounded up."""
    load = one_load(tmp_path, kind="motor", **cells)
    assert (load.inrush_ma, load.inrush_ms, load.inrush_assumed) == (peak, length, assumed)


@pytest.mark.parametrize(("importance", "drop"), [("vital", 3.0), ("needed", 3.0), ("comfort", 10.0)])
def test_drop_comes_from_the_importance(importance, drop, tmp_path):
    """3 % for vital and needed loads, 10 % for comfort, unless the table says otherwise."""
    assert one_load(tmp_path / "a", importance=importance).max_drop_pct == drop
    assert one_load(tmp_path / "b", importance=importance, max_drop_pct="1.5").max_drop_pct == 1.5


def test_without_states_everything_is_on(tmp_path):
    """One state, every command on all the time, at reference_v, which is system_v where it is not given."""
    files = {
        "loads.csv": "load,command,running_a,kind\na,x,1,electronics\nb,y,1,electronics\n",
        "settings.toml": "system_v = 24\n",
    }
    vehicle = read_vehicle(write_files(tmp_path / "van", files))
    (state,) = vehicle.states
    assert (vehicle.states_given, state.name, state.supply_v) == (False, "all on", 24.0)
    assert state.duty_ppm == {"x": 1_000_000, "y": 1_000_000}


def test_states_are_a_matrix_with_supply(tmp_path):
    """Duties in parts per million, rounded up; empty is off; voltage, charging and minutes from supply."""
    vehicle = vehicle_of(
        tmp_path,
        loads="load,command,running_a,kind\na,x,1,electronics\nb,y,1,electronics\n",
        states="command,ready,night\nx,1,0.3333333\ny,,12.5 %\n",
        supply="state,supply_v,charging_a,minutes\nnight,13.8,60,\nready,12.4,,5\n",
    )
    ready, night = vehicle.states
    assert (ready.name, ready.duty_ppm, ready.supply_v) == ("ready", {"x": 1_000_000, "y": 0}, 12.4)
    assert (night.duty_ppm, night.charging_a, night.minutes) == ({"x": 333_334, "y": 125_000}, 60.0, None)
    assert ready.is_on("x") and not ready.is_on("y")


def test_commands_that_only_loads_name_are_there_too(tmp_path):
    """Every command is an object, and a state has a duty for one that no load uses."""
    vehicle = read_vehicle(
        write_files(tmp_path / "car", VEHICLE | {"commands.csv": VEHICLE["commands.csv"] + "horn,,,\n"})
    )
    assert [command.name for command in vehicle.commands] == ["cooling", "engine", "horn", "lights"]
    assert vehicle.command("horn") == Command("horn")
    assert {state.duty_ppm["horn"] for state in vehicle.states} == {0}
    assert [
        command.name
        for command in vehicle_of(tmp_path / "b", loads="load,command,running_a,kind\na,x,1,electronics\n").commands
    ] == ["x"]


def test_all_tables_reach_the_vehicle(tmp_path):
    """Places, routes, what is locked, concessions and settings are read with their values."""
    vehicle = read_vehicle(write_files(tmp_path / "car", VEHICLE))
    assert vehicle.name == "car"
    nose = vehicle.place("nose")
    assert (nose.x_m, nose.y_m, nose.compartment, nose.ambient_c, nose.mount) == (1.8, 0.4, "nose", 60.0, False)
    assert vehicle.place("tank").contains == {"fuel"}
    assert vehicle.routes == (Route("dash", "nose", 2.6), Route("dash", "tank", None))
    assert vehicle.locked == (
        Lock("fan", "small", "3"),
        Lock("fan", "small", "4"),
        Lock("fuel pump", "small", "1"),
    )
    assert [(c.kind, c.subject, c.weight) for c in vehicle.concessions] == [
        ("leave_out", "fan", 5),
        ("separation", "low beam", None),
    ]
    assert vehicle.settings == Settings(headroom_pct=Fraction(20), spare_channels=1, battery_place="tank")


def test_catalogue_is_read_with_all_its_tables(tmp_path):
    """Modules with their channels, pins, banks and derating, in natural order."""
    catalogue = read_catalogue(write_files(tmp_path / "all", CATALOGUE))
    small = catalogue["small"]
    assert (small.total_ma, small.total_peak_ma, small.inputs, small.trip_step_ma) == (60_000, 150_000, 8, 100)
    assert small.bank_ma == {"front": 30_000, "rear": 25_000}
    assert small.derating == ((0.0, Fraction(1)), (60.0, Fraction(4, 5)))
    assert [channel.name for channel in small.channels] == ["1", "2", "3", "4"]
    first = small.channel("1")
    assert (first.pins, first.pair, first.bridge, first.max_wire_mm2) == (("1", "2"), "main", None, 4.0)
    assert (small.channel("3").features, small.channel("3").bridge) == ({"pwm"}, "turn")
    assert [module.name for module in catalogue] == ["large", "small"]


def test_every_setting_can_be_set(tmp_path):
    """Each field of the settings can be given in the file, and a value other than the default arrives."""
    other = {
        "system_v": 24, "reference_v": 27, "headroom_pct": 15, "module_headroom_pct": 5, "spare_channels": 2,
        "strategy": "spare", "module_ambient_c": 40, "return_path": "wire", "wire_sizes": "awg",
        "insulation_c": 125, "wire_ambient_c": 45, "bundle_wires": 4, "battery_ah": 60,
        "battery_place": "dash", "battery_floor_pct": 40, "slack_pct": 8, "end_allowance_m": 0.2,
        "tolerance_loads": 1, "time_limit_s": 5, "rules": "boat", "lowest_ambient_c": -35,
        "battery_chemistry": "agm", "battery_rate_h": 5, "peukert": 1.2, "battery_mohm": 6,
        "isolator_place": "dash", "starter_place": "dash", "alternator_place": "dash",
        "bus_kbit": 250, "bus_stub_m": 0.3, "control_unit_load": "a",
    }  # fmt: skip
    assert set(other) == {item.name for item in fields(Settings)}
    text = "\n".join(
        f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {value}" for key, value in other.items()
    )
    files = {
        "loads.csv": "load,command,running_a,kind\na,x,1,electronics\n",
        "places.csv": "place\ndash\n",
        "settings.toml": text,
    }
    assert read_vehicle(write_files(tmp_path / "car", files)).settings == Settings(**other)


def test_times_of_a_command_and_span_of_a_state_are_read_and_written(tmp_path):
    """What is on at once, how long and at which voltages reaches the vehicle, and survives being written."""
    vehicle = vehicle_of(
        tmp_path,
        commands="command,on_s,cycle_s,joins\nc,5,60,no\nd,,,\n",
        states="command,cranking,ready\nc,1,1\nd,1,\n",
        supply="state,supply_v,supply_top_v,other_a\ncranking,9.6,12.4,150.5\nready,13.8,13.8,\n",
        loads="load,command,running_a,kind\na,c,1,electronics\nb,d,1,electronics\n",
    )
    horn, other = vehicle.commands
    assert (horn.on_s, horn.cycle_s, horn.joins) == (5, 60, False)
    assert (other.on_s, other.cycle_s, other.joins) == (None, None, True)
    assert [state.span_v for state in vehicle.states] == [(9.6, 12.4), (13.8,)]
    assert [state.other_ma for state in vehicle.states] == [150_500, 0]
    for form in ("folder", "book.xlsx"):
        assert read_vehicle(write_vehicle(vehicle, tmp_path / form)) == vehicle


def test_what_a_module_says_of_its_own_accuracy_heat_and_pins(tmp_path):
    """The columns of a catalogue that most leave empty are read, rounded to the careful side, and written."""
    files = dict(CATALOGUE)
    head = files["modules.csv"].splitlines()
    more = (",trip_error_pct,settle_s,quiescent_ma", ",3,60,2.5", ",,,")
    files["modules.csv"] = "\n".join(a + b for a, b in zip(head, more, strict=True))
    head = files["channels.csv"].splitlines()
    more = (",share_pct,contact_a,on_mohm,contact_c,turn_off_mj", ",55,13.0007,4,105,80", *[",,,,,"] * (len(head) - 2))
    files["channels.csv"] = "\n".join(a + b for a, b in zip(head, more, strict=True))
    catalogue = read_catalogue(write_files(tmp_path / "c", files))
    large, small = catalogue.modules
    assert (small.trip_error_pct, small.settle_s, small.quiescent_ma) == (3, 60, 2.5)
    assert (large.trip_error_pct, large.settle_s, large.quiescent_ma) == (0, 0, None)
    first, second = small.channels[:2]
    assert (first.share_pct, first.contact_ma, first.on_mohm) == (55, 13_000, 4)
    assert (first.contact_c, first.turn_off_mj, second.contact_c, second.turn_off_mj) == (105, 80, None, None)
    assert (second.share_pct, second.contact_ma, second.on_mohm) == (60, None, None)
    assert read_catalogue(write_catalogue(catalogue, tmp_path / "d")).modules == catalogue.modules


@pytest.mark.parametrize("name", ["rally_coupe", "expedition_truck"])
@pytest.mark.parametrize("form", ["folder", "workbook.xlsx"])
def test_demo_reads_back(name, form, tmp_path):
    """The vehicles that come with the project survive being written and read, name and hashes included."""
    vehicle = read_vehicle(DATA / name)
    assert read_vehicle(write_vehicle(vehicle, tmp_path / form)) == vehicle


@pytest.mark.parametrize("form", ["catalogue", "catalogue.xlsx"])
def test_catalogue_reads_back(form, tmp_path):
    """So does the catalogue."""
    catalogue = read_catalogue(DATA / "catalogue")
    assert read_catalogue(write_catalogue(catalogue, tmp_path / form)) == catalogue


def test_tables_of_a_vehicle_are_frames_as_read(tmp_path):
    """`vehicle_tables` gives the columns people know, with what is empty left empty."""
    tables = vehicle_tables(read_vehicle(write_files(tmp_path / "car", VEHICLE)))
    assert set(tables) == {name.split(".")[0] for name in VEHICLE}
    loads = tables["loads"].set_index("load")
    assert loads.loc["fuel pump", "running_a"] == "6.5"
    assert loads.loc["low beam left", "inrush_a"] == ""
    assert tables["states"].set_index("command").loc["lights", "night"] == "0.5"


def test_hash_changes_with_its_table_alone(tmp_path):
    """A changed current changes the hash of loads and of no other table."""
    one = dict(read_vehicle(write_files(tmp_path / "a", VEHICLE)).table_hashes)
    two = dict(
        read_vehicle(
            write_files(tmp_path / "b", VEHICLE | {"loads.csv": VEHICLE["loads.csv"].replace("6.5", "6.6")})
        ).table_hashes
    )
    assert {table for table in one if one[table] != two[table]} == {"loads"}
    assert all(len(digest) == 64 for digest in one.values())
