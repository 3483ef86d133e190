from collections import Counter
from pathlib import Path

import pandas as pd
import pytest

import pdm_alloc as pa
from pdm_alloc.allocator import allocate_signals, signals_of_vehicle
from pdm_alloc.diagnose.signal_shortfall import signal_remedies
from pdm_alloc.domain.module import Signal, fitted
from pdm_alloc.harness.paths import lengths_of
from pdm_alloc.studies.signal_sizing import choose_boxes, plan_bus, signals_for

DATA = Path(__file__).resolve().parents[2] / "data"
VEHICLES = {"rally_coupe": "bulkhead", "expedition_truck": "dash"}


def read_by_units(vehicle):
    """Signals of control units: a module without signal pins counts its inputs on the power side."""
    return signals_for(signals_of_vehicle(vehicle), [])


@pytest.fixture(scope="module")
def boxes():
    return {box.name: box for box in pa.read_catalogue(DATA / "catalogue").boxes}


@pytest.fixture(scope="module", params=VEHICLES)
def vehicle(request):
    return pa.read_vehicle(DATA / request.param)


def test_the_small_control_unit_is_enough_with_three_pins_to_spare(vehicle, boxes):
    """The story of the demo, in both vehicles."""
    allocation = allocate_signals(read_by_units(vehicle), fitted([boxes["control-40"]]))
    assert allocation.outcome == "proven best"
    assert allocation.free_pins == {"control-40": 3}


def test_the_large_one_leaves_more_than_half_empty(vehicle, boxes):
    """76 pins for 37: 39 stay empty, at nearly twice the price."""
    allocation = allocate_signals(read_by_units(vehicle), fitted([boxes["control-76"]]))
    assert allocation.free_pins == {"control-76": 39}


def test_the_cheapest_choice_is_the_small_one(vehicle, boxes):
    """No expander alone is enough, and nothing dearer is taken."""
    choice = choose_boxes(read_by_units(vehicle), boxes.values())
    assert ([box.name for box in choice.boxes], choice.cost) == (["control-40"], 980)


def test_wire_is_taken_into_account_where_two_units_are_fitted(vehicle, boxes):
    """With lengths the wire is no longer than without, at the same pins lost."""
    place = VEHICLES[vehicle.name]
    units = fitted([boxes["control-40"], boxes["control-76"]], {"control-40": place, "control-76": "dash"})
    signals, length_m = read_by_units(vehicle), lengths_of(vehicle).wire_m
    plain, near = allocate_signals(signals, units), allocate_signals(signals, units, length_m)
    assert near.costs[:2] == plain.costs[:2]
    places, sites = {s.name: s.place for s in signals}, {u.label: u.place for u in units}
    wire = [sum(length_m(sites[u.box], places[u.signal]) * len(u.pins) for u in a.uses) for a in (plain, near)]
    assert wire[1] <= wire[0] + 0.01 * len(near.uses)
    assert near.costs[2] == pytest.approx(wire[1] * 100, abs=len(near.uses))


def test_fifteen_keys_sit_on_two_keypads(vehicle):
    """The story of the keys, in both vehicles: eight wires instead of fifteen, and every key has its place."""
    keypads = pa.read_catalogue(DATA / "catalogue").keypads
    side = pa.signals(vehicle, [], keypads=keypads)
    assert (side.saved_wires.one_per_switch, side.saved_wires.with_bus) == (15, 8)
    assert len(side.keys()) == len(set(side.keys().values())) == 15
    assert {pad.name for _, _, pad in side.pads()} <= {"keypad-4", "keypad-8", "keypad-15"} and len(side.pads()) == 2


def test_the_figure_draws_both_ways_of_wiring_at_each_place():
    """Bars as long as the table's numbers, and a title that says what is saved."""
    vehicle, keypads = pa.read_vehicle(DATA / "rally_coupe"), pa.read_catalogue(DATA / "catalogue").keypads
    table = pa.signals(vehicle, [], keypads=keypads).wires_by_place()
    axes = pa.figures.bus_wires(table)
    widths = [patch.get_width() for patch in axes.patches]
    assert widths == [*table["one_per_switch"], *table["with_bus"]]
    assert table.iloc[-1]["one_per_switch"] == 15 and axes.get_title(loc="left") == "The bus saves 7 wires"
    with pytest.raises(ValueError, match="with_bus"):
        pa.figures.bus_wires(table.drop(columns="with_bus"))


def test_more_buttons_than_pins_have_remedies(vehicle, boxes):
    """Four more buttons: a keypad and an expander each make it fit; each is verified."""
    catalogue = pa.read_catalogue(DATA / "catalogue")
    signals = [*read_by_units(vehicle), Signal("more buttons", "switch_to_ground", 4, "dash", "comfort")]
    units = fitted([boxes["control-40"]])
    assert allocate_signals(signals, units).outcome == "not enough"
    remedies = signal_remedies(signals, units, catalogue.keypads, [boxes["expander-12"]])
    assert {r.kind for r in remedies} >= {"keypad", "expander"}
    assert all(r.allocation and not r.allocation.findings for r in remedies)
    assert next(r for r in remedies if r.kind == "keypad").bought == ("keypad-4",)


def test_the_bus_of_the_rally_car_keeps_every_limit_and_deadline():
    """Module, control unit and keypads at their places, 500 kbit/s."""
    vehicle = pa.read_vehicle(DATA / "rally_coupe")
    nodes = {"module": "glove box", "control-40": "bulkhead", "keypad-8": "dash", "keypad-4": "roof"}
    plan = plan_bus(vehicle, nodes)
    assert plan.trunk.proved and not plan.warnings and not plan.unplaced
    assert 0 < plan.load < 0.3 and all(time.is_in_time for time in plan.times)


def test_the_units_have_the_pins_their_names_tell(boxes):
    """Supplies and grounds not counted."""
    shared = {"supply_5v", "sensor_ground"}
    pins = Counter(name for name, box in boxes.items() for pin in box.pins if not pin.functions & shared)
    assert pins == {"control-40": 40, "control-76": 76, "expander-12": 12}


@pytest.mark.parametrize(
    "table", ["rally_coupe/signals", "rally_coupe/messages", "expedition_truck/signals", "catalogue/control_units"]
)
def test_every_note_says_that_it_is_invented(table):
    """Nobody may take a number of the demo for one of a real device."""
    assert pd.read_csv(DATA / f"{table}.csv")["note"].str.startswith("invented").all()
