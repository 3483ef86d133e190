"""Tables of the signal side: read, written back, refused with one clear message per fault."""

import re

import pytest

import pdm_alloc as pa
from pdm_alloc.allocator import key_counts, signals_of_vehicle
from pdm_alloc.files.faults import InputError
from pdm_alloc.files.write_tables import write_catalogue, write_vehicle
from tests.tables.good import CATALOGUE, VEHICLE, write_files

MORE_VEHICLE = {
    "signals.csv": """\
signal,kind,count,place,importance,needs,current_a,note,x_part
oil pressure,voltage,1,nose,vital,supply_5v sensor_ground,0.012,,P-9
valve,low_side,2,nose,,pwm,0.8,,
wheel,frequency_pair,,,,,,,
spare,voltage,2,,,spare,,,
""",
    "messages.csv": """\
message,bytes,period_ms,priority,deadline_ms,jitter_ms,note
speed,8,10,256,,0.5,
lamps,2,100.5,512,50,,
""",
    "inputs.csv": """\
input,kind,place,read_by,note
master,switch,dash,module,
ignition,switch,dash,control_unit,
flash,switch,dash,keypad,
""",
}
MORE_CATALOGUE = {
    "control_units.csv": """\
box,expander,mass_g,price,quiescent_ma,note
unit A,no,400,900,0.5,invented
helper,yes,80,120,,invented
""",
    "signal_pins.csv": """\
box,pin,connector,functions,max_a,pair
unit A,1,A,voltage_input resistance_input,,
unit A,2,A,low_side pwm,1.2345,
unit A,3,A,frequency_pair,,w
unit A,4,A,frequency_pair,,w
unit A,5,A,supply_5v,0.1,
helper,1,X,voltage_input,,
small,1,S,switch_to_ground,,
""",
    "keypads.csv": """\
keypad,keys,wires,bus_nodes,mass_g,price,quiescent_ma,note
pad,8,4,1,120,180,0.2,invented
""",
}
GOOD = {"vehicle": VEHICLE | MORE_VEHICLE, "catalogue": CATALOGUE | MORE_CATALOGUE}


def _write(tmp_path, name=None, old="", new=""):
    for folder, files in GOOD.items():
        edited = dict(files)
        if name in edited:
            assert old in edited[name]
            edited[name] = edited[name].replace(old, new, 1)
        write_files(tmp_path / folder, edited)
    return tmp_path / "vehicle", tmp_path / "catalogue"


def test_the_tables_are_read_with_units_and_defaults(tmp_path):
    """Currents in whole mA, limits rounded down, times in whole us, the kind's current where none stands."""
    vehicle_path, catalogue_path = _write(tmp_path)
    vehicle, catalogue = pa.read_vehicle(vehicle_path), pa.read_catalogue(catalogue_path)
    signals = {signal.name: signal for signal in vehicle.signals}
    assert (signals["oil pressure"].current_ma, signals["oil pressure"].current_assumed) == (12, False)
    assert signals["oil pressure"].extra == (("x_part", "P-9"),)
    assert signals["spare"].current_assumed
    assert [(m.name, m.period_us, m.deadline_us, m.jitter_us) for m in vehicle.messages] == [
        ("speed", 10_000, None, 500),
        ("lamps", 100_500, 50_000, 0),
    ]
    assert [(box.name, box.role) for box in catalogue.boxes] == [
        ("helper", "expander"),
        ("small", "module"),
        ("unit A", "control_unit"),
    ]
    assert [pin.max_ma for pin in catalogue.boxes[2].pins] == [None, 1234, None, None, 100]
    assert catalogue.keypads[0].keys == 8


def test_inputs_read_by_a_pin_are_signals_and_those_of_a_keypad_are_keys(tmp_path):
    """What reads an input decides where it counts."""
    vehicle = pa.read_vehicle(_write(tmp_path)[0])
    read = {s.name: (s.kind, s.reader) for s in signals_of_vehicle(vehicle) if s.reader}
    assert read == {"master": ("switch_to_ground", "module"), "ignition": ("switch_to_ground", "control_unit")}
    assert key_counts(vehicle) == {"dash": 1}


@pytest.mark.parametrize("ending", ["", ".xlsx"])
def test_what_is_written_reads_back_the_same(tmp_path, ending):
    """As folder and as workbook, fingerprints included."""
    vehicle_path, catalogue_path = _write(tmp_path)
    vehicle, catalogue = pa.read_vehicle(vehicle_path), pa.read_catalogue(catalogue_path)
    (tmp_path / "out").mkdir()
    assert pa.read_vehicle(write_vehicle(vehicle, tmp_path / "out" / f"vehicle{ending}")) == vehicle
    assert pa.read_catalogue(write_catalogue(catalogue, tmp_path / "out" / f"catalogue{ending}")) == catalogue


BAD = {
    "unknown kind": ("signals.csv", ",voltage,1", ",voltag,1", "signals, row 2, column kind: 'voltag' is not a word"),
    "actuator without current": ("signals.csv", ",pwm,0.8", ",pwm,", "signals, row 3, column current_a: is empty"),
    "pwm of a sensor": ("signals.csv", "supply_5v sensor", "pwm sensor", "'pwm' is not for a voltage"),
    "supply of an output": ("signals.csv", ",pwm,0.8", ",supply_5v,0.8", "'supply_5v' is for sensors"),
    "unknown place": (
        "signals.csv",
        "1,nose",
        "1,noose",
        "row 2, column place: 'noose' is not in table places",
    ),
    "signal twice": ("signals.csv", "wheel,", "valve,", "column signal: 'valve' is already in row 3"),
    "signal and input": ("signals.csv", "wheel,", "master,", "'master' is already an input with a reader"),
    "reader of a message": (
        "inputs.csv",
        "switch,dash,module",
        "bus,dash,module",
        "'module' is for inputs with a wire",
    ),
    "keypad of an analog": ("inputs.csv", "switch,dash,keypad", "analog,dash,keypad", "'keypad' reads keys"),
    "nine bytes": ("messages.csv", "speed,8", "speed,9", "messages, row 2, column bytes: '9' is too large"),
    "no period": ("messages.csv", "8,10,", "8,0,", "messages, row 2, column period_ms: '0' is too small"),
    "priority twice": ("messages.csv", ",512,", ",256,", "'256' is already the priority of row 2"),
    "late deadline": ("messages.csv", ",512,50,", ",512,101,", "column deadline_ms: '101' is after the next one"),
    "unknown function": ("signal_pins.csv", "1,A,voltage_input", "1,A,volt_input", "not known here"),
    "output without limit": ("signal_pins.csv", "1.2345", "", "signal_pins, row 3, column max_a: is empty"),
    "supply and more": ("signal_pins.csv", "supply_5v,0.1", "supply_5v frequency,0.1", "beside another function"),
    "pwm alone": ("signal_pins.csv", "low_side pwm", "frequency pwm", "has pwm and no output"),
    "half a pair": ("signal_pins.csv", "4,A,frequency_pair,,w", "4,A,frequency,,", "'w' is on 1 pin of unit A"),
    "pair without label": ("signal_pins.csv", "frequency_pair,,w", "frequency_pair,,", "column pair: is empty"),
    "pin twice": ("signal_pins.csv", "unit A,2,A", "unit A,1,A", "is already in row 2"),
    "unknown box": ("signal_pins.csv", "helper,1", "helpr,1", "is neither a control unit nor a module"),
    "unit without pins": ("control_units.csv", "helper,", "helper 2,", "'helper 2' has no signal pins"),
    "unit and module": ("control_units.csv", "helper,", "small,", "'small' is a module already"),
    "no keys": ("keypads.csv", "pad,8", "pad,0", "keypads, row 2, column keys: '0' is too small"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_input_is_told_with_table_row_column_and_value(tmp_path, name):
    """One fault, one message, an error and never a guess."""
    file, old, new, said = BAD[name]
    vehicle_path, catalogue_path = _write(tmp_path, file, old, new)
    with pytest.raises(InputError) as error:
        pa.read_vehicle(vehicle_path)
        pa.read_catalogue(catalogue_path)
    assert said in str(error.value)


FEEDS = {
    "unknown load": ("valve,low_side,1,0.8,lamb", "signals, row 2, column fed_by: 'lamb' is not in table loads"),
    "of a sensor": ("float,resistance,1,,{load}", "is for low_side and injector, whose other end is fed"),
    "other count": ("valve,low_side,7,0.8,{load}", "'7' is not the count of the load"),
    "named alike": ("{load},low_side,7,0.8,", "'7' is not the count of the load"),
    "fed twice": ("{load},high_side,1,0.8,", "is a load too, and a high_side feeds it as well"),
}


@pytest.mark.parametrize("name", FEEDS)
def test_a_feed_is_a_load_of_as_many_items(tmp_path, name):
    """The load that feeds an actuator is there once for each; what a box feeds is no load."""
    row, said = FEEDS[name]
    load = VEHICLE["loads.csv"].splitlines()[1].split(",")[0]
    files = {**VEHICLE, "signals.csv": "signal,kind,count,current_a,fed_by\n" + row.format(load=load) + "\n"}
    folder = tmp_path / "car"
    folder.mkdir()
    for file, text in files.items():
        (folder / file).write_text(text)
    with pytest.raises(InputError, match=re.escape(said)):
        pa.read_vehicle(folder)
