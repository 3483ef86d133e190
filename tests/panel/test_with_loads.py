"""From the panel's table to a vehicle, by the same rules as a file."""

from dataclasses import replace
from pathlib import Path

import pytest

import pdm_alloc as pa
from pdm_alloc.domain.vehicle import PPM, Lock
from pdm_alloc.files.plain import vehicle_plain
from pdm_alloc.panel.answers import new_commands
from pdm_alloc.panel.tables import Tables

DATA = Path(__file__).parents[2] / "data"
CATALOGUE = pa.read_catalogue(DATA / "catalogue")


@pytest.fixture(scope="module")
def coupe():
    return pa.read_vehicle(DATA / "rally_coupe")


def rows(vehicle):
    return list(enumerate(vehicle_plain(vehicle)["loads"], start=1))


def with_loads(vehicle, numbered):
    """The vehicle with other loads."""
    tables = Tables(vehicle.name, vehicle_plain(vehicle), CATALOGUE)
    tables.put("loads", [texts for _, texts in numbered])
    return tables.vehicle


@pytest.mark.parametrize("name", ["rally_coupe", "expedition_truck"])
def test_untouched_table_is_the_same_vehicle(name):
    """Every column survives the way into the table and back, free columns included."""
    vehicle = pa.read_vehicle(DATA / name)
    assert with_loads(vehicle, rows(vehicle)) == vehicle


def test_order_of_rows_does_not_matter(coupe):
    """A new row in the middle or at the end makes the same vehicle."""
    assert with_loads(coupe, rows(coupe)[::-1]) == coupe


def test_new_command_is_on_all_the_time(coupe):
    """Where no table says when a command is on, it is taken as on in every state: the careful guess."""
    more = (99, {"load": "seat heater", "command": "seat heat", "running_a": "4", "kind": "heater"})
    changed = with_loads(coupe, [*rows(coupe), more])
    assert new_commands(coupe, changed) == ("seat heat",)
    assert {state.duty_ppm["seat heat"] for state in changed.states} == {PPM}
    assert changed.load("seat heater").running_ma == 4000


def test_what_is_locked_or_conceded_for_a_load_goes_with_it(coupe):
    """Deleting a load that other tables name is no fault."""
    horn = coupe.load("horn")
    tied = replace(coupe, locked=(Lock("horn", "middle-42", "1"), Lock("lift pump", "middle-42", "2")))
    left = [(number, texts) for number, texts in rows(tied) if texts["load"] != horn.name]
    assert [lock.load for lock in with_loads(tied, left).locked] == ["lift pump"]


def test_fault_names_the_row_of_the_panel(coupe):
    """Rows are counted as the panel counts them."""
    spoiled = [(n, {**texts, "inrush_a": "0.1", "inrush_ms": "5"} if n == 7 else texts) for n, texts in rows(coupe)]
    with pytest.raises(pa.InputError) as refused:
        with_loads(coupe, spoiled)
    assert [(fault.table, fault.row, fault.column) for fault in refused.value.faults] == [("loads", 7, "inrush_a")]
