"""A vehicle changed in code is the vehicle its tables would give, and is refused where they would be."""

from fractions import Fraction
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import pdm_alloc as pa
from pdm_alloc.domain.vehicle import PPM
from pdm_alloc.files.plain import vehicle_plain
from pdm_alloc.files.tables.read_vehicle import read_plain
from pdm_alloc.files.write_tables import write_vehicle
from pdm_alloc.studies.what_if import WhatIf, what_if
from tests.strategies import examples
from tests.what_if.builds import QUIET, table_vehicles

DATA = Path(__file__).parents[2] / "data"


@pytest.fixture(scope="module")
def car():
    return pa.read_vehicle(DATA / "rally_coupe")


def faults(make):
    with pytest.raises(pa.InputError) as caught:
        make()
    return caught.value.faults


def test_the_verb_stays_a_verb():
    """`pa.what_if` can be called although importing from the package of the same name puts a module there."""
    import pdm_alloc.studies.what_if  # noqa: F401

    assert callable(pa.what_if)


def test_nothing_changes_what_was_there(car):
    """Every change is another object: the one before, and the vehicle, are as they were."""
    one = pa.what_if(car)
    two = one.add(load="winch", command="winch", running_a=12, kind="motor")
    assert (one.vehicle, one.changes) == (car, ())
    assert len(two.vehicle.loads) == len(car.loads) + 1
    with pytest.raises(AttributeError):
        two.vehicle = car


def test_an_added_load_is_what_its_row_in_a_file_would_be(car, tmp_path):
    """Written to files and read again, the changed vehicle is the same to the last milliamp."""
    changed = (
        pa.what_if(car)
        .add(load="winch", command="winch", running_a=0.1 + 0.2, kind="motor", needs=["pwm"], x_wire_label="WN-1")
        .add(load="bug lamp", command="side lamps", running_a="0,42", count=2, kind="filament", place="lamp bar")
        .vehicle
    )
    write_vehicle(changed, tmp_path / car.name)
    assert pa.read_vehicle(tmp_path / car.name) == changed
    assert changed.load("winch").running_ma == 300
    assert changed.load("winch").needs == {"pwm"}
    assert changed.load("bug lamp").running_ma == 420
    assert dict(changed.load("winch").extra) == {"x_wire_label": "WN-1"}


@pytest.mark.parametrize("value", [1.5, "1.5", "1,5 A", Fraction(3, 2), np.float64(1.5), np.float32(1.5)])
def test_numbers_of_every_kind_are_the_same_milliamps(car, value):
    """A number is read as the decimal it shows, whichever library it comes from."""
    assert (
        pa.what_if(car).add(load="new", command="new", running_a=value, kind="led").vehicle.load("new").running_ma
        == 1500
    )


@given(ma=st.integers(1, 10_000_000))
@settings(max_examples=examples(200, 2000), **QUIET)
def test_every_whole_milliamp_survives(ma):
    """A decimal current becomes exactly its milliamps, with no step lost to binary fractions."""
    from pdm_alloc.files.cells import Number, milliamps
    from pdm_alloc.files.tables.read_vehicle import cell_text

    assert Number("A", 0, 10_000, to=milliamps).read(cell_text(ma / 1000)) == ma


def test_a_new_command_is_on_in_every_state_unless_told(car):
    """A command no table knows is taken as always on, and the change says so; otherwise as told."""
    always = pa.what_if(car).add(load="new", command="new", running_a=1, kind="led")
    half = pa.what_if(car).add(load="new", command="new", running_a=1, duty=0.5, kind="led")
    some = pa.what_if(car).add(
        load="new", command="new", running_a=1, duty={"cranking": "25 %", "ready": 1}, kind="led"
    )
    assert {s.duty_ppm["new"] for s in always.vehicle.states} == {PPM}
    assert "on in every state" in always.changes[0]
    assert {s.duty_ppm["new"] for s in half.vehicle.states} == {PPM // 2}
    assert {s.name: s.duty_ppm["new"] for s in some.vehicle.states if s.is_on("new")} == {
        "ready": PPM,
        "cranking": PPM // 4,
    }
    assert "on in ready and cranking (25 %)" in some.changes[0]


def test_a_changed_load_keeps_the_rest_of_its_row(car):
    """Only the named cells change; an assumed inrush and a usual drop follow what they depend on."""
    lamp = car.load("number plate lamp")
    changed = pa.what_if(car).change("number plate lamp", running_a=0.5, importance="vital").vehicle.load(lamp.name)
    assert changed.running_ma == 500
    assert changed.inrush_ma == 6000  # filament: 12 times running
    assert (lamp.max_drop_pct, changed.max_drop_pct) == (10.0, 3.0)
    assert (changed.place, changed.extra, changed.note) == (lamp.place, lamp.extra, lamp.note)
    given = pa.what_if(car).change("cooling fan", running_a=20).vehicle.load("cooling fan")
    assert given.inrush_ma == car.load("cooling fan").inrush_ma == 78_000


def test_a_load_goes_with_what_is_said_of_it_alone(car):
    """Locks, concessions and colours of a load go with it, follow it to a new name, and stay when others go."""
    from dataclasses import replace

    from pdm_alloc.domain.vehicle import Concession, Lock, WireColour

    locked = replace(
        car,
        locked=(Lock("intercom", "middle-42", "1"), Lock("map lamp", "middle-42", "2")),
        concessions=(Concession("leave_out", "intercom", 3), Concession("leave_out", "map lamp", 5)),
        wire_colours=(WireColour("load", "intercom", "grey"), WireColour("command", car.load("horn").command, "pink")),
    )
    gone = pa.what_if(locked).without("intercom").vehicle
    assert gone.locked == (Lock("map lamp", "middle-42", "2"),)
    assert gone.concessions == (Concession("leave_out", "map lamp", 5),)
    renamed = pa.what_if(locked).change("intercom", load="trumpet").vehicle
    assert {lock.load for lock in renamed.locked} == {"map lamp", "trumpet"}
    assert {c.subject for c in renamed.concessions} == {"map lamp", "trumpet"}
    assert [c.subject for c in renamed.wire_colours] == ["trumpet", car.load("horn").command]
    assert [c.by for c in gone.wire_colours] == ["command"]


def test_settings_and_duties_change(car):
    """Settings go by their names in settings.toml, duties by command; both are told in words."""
    changed = pa.what_if(car).settings(headroom_pct=12.5, spare_channels=3).duty("horn", {"ready": 0.25})
    assert changed.vehicle.settings.headroom_pct == Fraction(25, 2)
    assert changed.vehicle.settings.spare_channels == 3
    assert [s.name for s in changed.vehicle.states if s.is_on("horn")] == ["ready"]
    assert changed.changes == (
        "set headroom_pct 20 to 12.5, spare_channels 1 to 3",
        "the command 'horn' is now on in ready (25 %)",
    )
    assert pa.what_if(car).settings(headroom_pct=None).vehicle.settings.headroom_pct == 20


BAD = [
    (lambda w: w.add(load="new", command="new", running_a=-1, kind="led"), ("loads", "running_a", "-1"), "above 0"),
    (
        lambda w: w.add(load="new", command="new", running_a=float("nan"), kind="led"),
        ("loads", "running_a", "nan"),
        "number in A",
    ),
    (lambda w: w.add(load="new", command="new", running_a=1), ("loads", "kind", ""), "fan (radiator fan)"),
    (lambda w: w.add(load="new", command="new", running_a="1 mA", kind="led"), ("loads", "running_a", "1 mA"), "in A"),
    (lambda w: w.add(load="new", command="new", running_a=1, kind="lamp"), ("loads", "kind", "lamp"), "filament"),
    (
        lambda w: w.add(load="new", command="new", running_a=1, plaice="x", kind="led"),
        ("loads", None, "plaice"),
        "'place'",
    ),
    (
        lambda w: w.add(load="new", command="new", running_a=1, place="x", kind="led"),
        ("loads", "place", "x"),
        "known: ",
    ),
    (lambda w: w.add(load="Horn", command="new", running_a=1, kind="led"), ("loads", "load", "Horn"), "another name"),
    (lambda w: w.add(load=" horn", command="new", running_a=1, kind="led"), ("loads", "load", " horn"), "another name"),
    (
        lambda w: w.add(load="new", command="new", running_a=1, duty=2, kind="led"),
        ("states", "ready", "2"),
        "from 0 to 1",
    ),
    (
        lambda w: w.add(load="new", command="new", running_a=1, duty={"rdy": 1}, kind="led"),
        ("states", None, "rdy"),
        "'ready'",
    ),
    (
        lambda w: w.add(load="new", command="horn", running_a=1, duty=1, kind="led"),
        ("states", "command", "horn"),
        ".duty(",
    ),
    (lambda w: w.without("map lmp"), ("loads", "load", "map lmp"), "'map lamp'"),
    (lambda w: w.change("map lmp", running_a=1), ("loads", "load", "map lmp"), "'map lamp'"),
    (lambda w: w.change("map lamp", load="horn"), ("loads", "load", "horn"), "another name"),
    (lambda w: w.change("map lamp", inrush_a=0.1), ("loads", "inrush_a", "0.1"), "peak of one item"),
    (lambda w: w.change("map lamp", running_a=None), ("loads", "running_a", ""), "above 0"),
    (lambda w: w.settings(headrom_pct=1), ("settings", None, "headrom_pct"), "'headroom_pct'"),
    (lambda w: w.settings(spare_channels=1.5), ("settings", "spare_channels", "1.5"), "whole number"),
    (lambda w: w.duty("hron", 1), ("states", "command", "hron"), "'horn'"),
]


@pytest.mark.parametrize(("make", "where", "remedy"), BAD)
def test_what_a_table_refuses_is_refused(car, make, where, remedy):
    """A bad value names its table, column and value, and says what would be right; no row, for there is no file."""
    found = faults(lambda: make(pa.what_if(car)))
    assert where in [(f.table, f.column, f.value or "") for f in found]
    assert all(f.row is None and "row" not in f.message.replace("the row of", "") for f in found)
    assert any(remedy in f"{f.remedy}" for f in found)


def test_all_faults_of_a_row_at_once(car):
    """A row with three bad cells brings three faults."""
    found = faults(
        lambda: pa.what_if(car).add(load="new", command="new", running_a=0, count=0, share="maybe", kind="led")
    )
    assert {f.column for f in found} == {"running_a", "count", "share"}


def test_without_states_a_command_is_always_on():
    """A vehicle without the table states cannot have a command that is on now and then."""
    bare = read_plain({"loads": [{"load": "a", "command": "x", "running_a": "1", "kind": "led"}]}, "bare")
    added = pa.what_if(bare).add(load="b", command="y", running_a=1, kind="led")
    assert added.vehicle.states[0].duty_ppm == {"x": PPM, "y": PPM}
    found = faults(lambda: pa.what_if(bare).add(load="b", command="y", running_a=1, duty=0.5, kind="led"))
    assert "table states" in found[0].message


@pytest.mark.parametrize("value", [1.001, 1.5, 0.125, 12.345, Fraction(1001, 1000), Fraction(1, 8)])
def test_a_number_is_never_taken_for_thousands(value):
    """Handed over as a number, 1.001 is one and a thousandth, whatever a cell of that text could mean."""
    row = {"load": "lamp", "command": "x", "running_a": value, "kind": "led"}
    car = pa.vehicle(loads=pd.DataFrame([row]))
    assert car.loads[0].running_ma == round(value * 1000)
    more = pa.what_if(car).add(load="other", command="x", running_a=value, kind="led").vehicle
    assert more.load("other").running_ma == round(value * 1000)


@settings(max_examples=examples(60, 600), suppress_health_check=list(HealthCheck), **QUIET)
@given(car=table_vehicles(), ma=st.integers(1, 9_000), command=st.sampled_from(("command 1", "brand new")))
def test_added_then_taken_out_is_as_before(car, ma, command):
    """Adding a load and taking it out again gives the original vehicle, new command and free column included."""
    before = what_if(read_plain(vehicle_plain(car), car.name))
    after = before.add(load="load 0", command=command, running_a=ma / 1000, x_label="here", kind="led")
    assert after.vehicle != before.vehicle
    assert after.vehicle.load("load 0").running_ma == ma
    assert after.without("load 0").vehicle == before.vehicle


@settings(max_examples=examples(60, 600), suppress_health_check=list(HealthCheck), **QUIET)
@given(car=table_vehicles(), data=st.data())
def test_changed_and_changed_back_is_as_before(car, data):
    """A current, a count and a name changed and changed back give the original vehicle."""
    before = what_if(read_plain(vehicle_plain(car), car.name))
    load = data.draw(st.sampled_from(before.vehicle.loads))
    row = {"running_a": load.running_ma / 1000, "count": load.count, "inrush_a": load.inrush_ma / 1000}
    row |= {"inrush_ms": load.inrush_ms} if load.inrush_ma > load.running_ma else {}
    there = before.change(load.name, load="other", running_a=0.05, inrush_a=None, count=7)
    back = there.change("other", load=load.name, **row)
    assert there.vehicle.load("other").count == 7
    assert back.vehicle == before.vehicle


def test_the_changes_read_as_a_list(car):
    """The object shows what was changed, one change a line."""
    shown = repr(WhatIf(car, ("one", "two"), start=car)).splitlines()
    assert shown == ["what if rally_coupe:", "  one", "  two"]


def test_a_change_can_be_judged_at_once():
    """The changed vehicle goes straight to a module or a catalogue, with the same answer as by hand."""
    from pdm_alloc.domain.module import Catalogue
    from tests.what_if.builds import lamp, module, tabled, vehicle

    car = tabled(vehicle(lamp("a", "x"), lamp("b", "y")))
    catalogue = Catalogue("two", (module(10, 10, name="two"), module(10, 10, 10, name="three")))
    more = pa.what_if(car).add(load="c", command="z", running_a=2, kind="solenoid")
    assert more.size(catalogue).smallest == "three"
    assert more.allocate(catalogue["three"]).circuits == pa.allocate(more.vehicle, catalogue["three"]).circuits
    assert pa.what_if(more).vehicle == more.vehicle and pa.what_if(more).changes == ()
