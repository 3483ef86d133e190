"""Supply by state and battery duration."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.domain.kinds import CHEMISTRIES, Settings
from pdm_alloc.domain.module import Module, Unit
from pdm_alloc.domain.vehicle import Command, Load, State, Vehicle
from pdm_alloc.electrics.battery import battery_minutes
from pdm_alloc.harness.distribution import battery_of, state_supply, supply
from pdm_alloc.result.link_tables import always_on, parked_draws, parked_for_days

LAMP = Load("lamp", "lights", 5_000, count=2, kind="filament", inrush_ma=60_000, inrush_ms=60, volt_exponent=1)
ECU = Load("ecu", "run", 4_000, inrush_ma=12_000, inrush_ms=2, volt_exponent=-1)
FAN = Load("fan", "cool", 12_000, kind="motor", inrush_ma=72_000, inrush_ms=150, volt_exponent=1)


def vehicle(*states, loads=(LAMP, ECU, FAN), **settings):
    commands = tuple(Command(name) for name in dict.fromkeys(load.command for load in loads))
    return Vehicle("test", loads, commands, states, Settings(**settings))


def state(volts=12.0, charging=None, minutes=None, **duties):
    return State("s", volts, {name: round(duty * 1_000_000) for name, duty in duties.items()}, charging, minutes)


def test_by_hand():
    """10 A of lamps, 4 A of ECU, fan a quarter of the time: 17 A mean, 26 A running, lamps start with 110 A more."""
    night = state(charging=20.0, minutes=30, lights=1, run=1, cool=0.25)
    row = state_supply(vehicle(night, battery_ah=40.0), night)
    assert (row.mean_a, row.running_a, row.peak_a) == (17.0, 26.0, 136.0)
    assert row.balance_a == 3.0 and row.floor_minutes == math.inf and row.carried is True
    assert row.used_ah == pytest.approx(-1.5)


def test_voltage_counts():
    """At 15 V lamps and fan take a quarter more, constant power takes a fifth less, the lamps' inrush grows."""
    high = state(15.0, lights=1, run=1)
    row = state_supply(vehicle(high), high)
    assert row.running_a == 12.5 + 3.2
    assert row.peak_a == pytest.approx(12.5 + 3.2 + 2 * 68.75)


def test_engine_off_drains():
    """No charging stated counts as none: 14 A from 40 Ah to half is 85.7 min, too short for two hours."""
    parked = state(minutes=120, lights=1, run=1)
    row = state_supply(vehicle(parked, battery_ah=40.0, peukert=1.0), parked)
    assert row.charging_a is None and row.balance_a == -14.0
    assert row.floor_minutes == pytest.approx(20 * 60 / 14)
    assert row.carried is False and row.used_ah == pytest.approx(28)
    assert state_supply(vehicle(parked), parked).carried is None


def test_one_unit_alone():
    """Counting only the items of one unit leaves the others out."""
    night = state(lights=1, run=1, cool=1)
    (row,) = supply(vehicle(night), {"lamp": 1, "fan": 1})
    assert row.running_a == 17.0 and row.mean_a == 17.0


def test_nothing_on():
    """A state with nothing on takes nothing and drains nothing."""
    row = state_supply(vehicle(state(), battery_ah=40.0), state())
    assert (row.mean_a, row.running_a, row.peak_a, row.floor_minutes, row.carried) == (0, 0, 0, math.inf, True)


def test_published_battery_duration(published):
    """35 Ah of which 75 % count: 5 min at 43.5 A, 10 min at 48.1 A, then 25.8 min at 34 A, 40.8 min in all."""
    rows = published("battery_duration")
    value = {(row["quantity"], row["unit"]): row["value"] for row in rows}
    number = {key: float(text) for key, text in value.items() if text != "PASS"}
    first = number["time before load shed", "min"] * number["normal cruise current before load shed", "A"]
    landing = number["emergency landing time", "min"] * number["emergency landing current", "A"]
    assert (first, landing) == (
        number["consumption before shed", "A-min"],
        pytest.approx(number["emergency landing consumption", "A-min"]),
    )
    floor = 100 * (1 - number["capacity derating", "-"])
    ah = number["battery nameplate", "Ah"]
    cruise = battery_minutes(ah, floor, number["emergency cruise current", "A"], first + landing)
    assert cruise == pytest.approx(number["emergency cruise duration", "min"], abs=0.05)
    assert cruise + 15 == pytest.approx(number["total duration", "min"], abs=0.05)
    assert cruise + 15 >= number["required duration", "min"]
    assert battery_minutes(ah, floor, 1.0) == pytest.approx(number["usable capacity", "A-min"])


def test_published_load_list(published):
    """28 loads at 12 V: 20.65 A continuous, 5.50 A avionics, 51.95 A short term, 78.10 A; 26.15 A is below 28 A."""
    rows = published("loads_12V")
    loads = tuple(
        Load(row["load"], row["category"], round(float(row["amps"]) * 1000))
        for row in rows
        if row["category"] in ("continuous", "avionics", "short_term")
    )
    total = {row["load"]: float(row["amps"]) for row in rows if row["category"] == "PUBLISHED_TOTAL"}
    assert len(loads) == 28

    def running(**duties):
        one = state(**duties)
        return state_supply(vehicle(one, loads=loads), one).running_a

    assert running(continuous=1) == total["total continuous"] == 20.65
    assert running(avionics=1) == total["total avionics"] == 5.5
    assert running(continuous=1, avionics=1) == total["total continuous incl avionics"] == 26.15
    assert running(short_term=1) == total["total short term"] == 51.95
    assert running(continuous=1, avionics=1, short_term=1) == total["total max load"] == 78.1
    (limit,) = [float(row["value"]) for row in published("source_capacity_rules") if row["unit"] == "%"][:1]
    charging = state(charging=35 * limit / 100, continuous=1, avionics=1)
    assert state_supply(vehicle(charging, loads=loads), charging).balance_a == pytest.approx(28 - 26.15)


def test_published_net_change(published):
    """Removed and added equipment: -2.305 A net, which is right; the printed subtotal of 1.91 A is not (2.11 A)."""

    def total(group):
        items = [row for row in published("net_load_change", group=group) if not row["item"].startswith("PUBLISHED")]
        loads = tuple(Load(row["item"], "on", round(float(row["amps"]) * 1000)) for row in items)
        one = state(on=1)
        return state_supply(vehicle(one, loads=loads), one).running_a

    (net,) = published("net_load_change", group="net")
    assert total("added") == 2.11 != 1.91
    assert total("added") - total("removed") == pytest.approx(float(net["amps"]))


def test_intermittent_loads_count_a_tenth(published):
    """1700 W of intermittent loads at a duty of 0.1 are 170 W on average."""
    rows = {row["rule"].split()[0]: float(row["value"]) for row in published("source_capacity_rules")}
    watts, duty = rows["implied"], rows["factor"]
    loads = (Load("all", "now and then", round(watts / 12 * 1000), volt_exponent=0),)
    one = state(**{"now and then": duty})
    assert state_supply(vehicle(one, loads=loads), one).mean_a * 12 == pytest.approx(rows["resulting"], rel=1e-4)


@given(st.floats(1, 200), st.floats(0, 99), st.floats(0.1, 100), st.floats(0, 1000))
def test_battery_is_a_count_of_ampere_hours(ah, floor, draw, spent):
    """What it gives while it lasts, and what it gave before, is what it had above its floor."""
    minutes = battery_minutes(ah, floor, draw, spent)
    usable = ah * (1 - floor / 100) * 60
    assert minutes * draw == pytest.approx(max(0.0, usable - spent), abs=1e-6)
    assert battery_minutes(ah, floor, 0.0) == math.inf


def test_the_charge_is_carried_from_state_to_state():
    """40 Ah: an hour of 14 A leaves 26, half an hour of 6 A stores 85 % of 3 Ah, then 8.55 Ah last 36.6 min."""
    states = (
        replace(state(minutes=60, lights=1, run=1), name="camp"),
        replace(state(charging=20.0, minutes=30, lights=1, run=1), name="road"),
        replace(state(minutes=60, lights=1, run=1), name="camp again"),
    )
    rows = supply(vehicle(*states, battery_ah=40.0, peukert=1.0))
    assert [row.end_ah for row in rows] == pytest.approx([26.0, 28.55, 14.55])
    assert [row.start_ah for row in rows] == pytest.approx([40.0, 26.0, 28.55])
    assert rows[2].floor_minutes == pytest.approx(8.55 / 14 * 60) and rows[2].carried is False
    assert rows[0].carried and rows[1].carried


def test_peukert_shortens_what_a_battery_gives():
    """40 Ah over 20 h are 2 A: 14 A with an exponent of 1.2 count as 14 x 7**0.2 A; the default is by chemistry."""
    camp = state(minutes=60, lights=1, run=1)
    row = state_supply(vehicle(camp, battery_ah=40.0, peukert=1.2), camp)
    assert row.floor_minutes == pytest.approx(20 * 60 / (14 * 7**0.2))
    assert row.end_ah == pytest.approx(40 - 14 * 7**0.2)
    agm = Settings(battery_ah=40.0, battery_chemistry="agm")
    assert battery_of(agm).exponent == CHEMISTRIES["agm"] and battery_of(replace(agm, peukert=1.3)).exponent == 1.3
    assert battery_of(Settings()) is None


def test_the_starter_motor_counts_past_the_modules():
    """180 A of starter beside 4 A: the battery gives 184 A, the modules carry 4 A."""
    crank = State("crank", 10.0, {"run": 1_000_000}, None, 0.2, None, 180_000)
    row = state_supply(vehicle(crank, loads=(replace(ECU, volt_exponent=0),), battery_ah=60.0, peukert=1.0), crank)
    assert (row.running_a, row.mean_a, row.other_a, row.balance_a) == (4.0, 4.0, 180.0, -184.0)
    assert row.end_ah == pytest.approx(60 - 184 * 0.2 / 60)


def test_both_ends_of_the_span_count():
    """At 9 to 12 V lamps and fan draw most at the top, an engine computer at the bottom; the mean is at 9 V."""
    span = State("s", 9.0, {"lights": 1_000_000, "run": 1_000_000}, None, None, 12.0)
    row = state_supply(vehicle(span), span)
    assert row.running_a == pytest.approx(14.0) and row.mean_a == pytest.approx(7.5 + 16 / 3, abs=1e-3)
    ecu = state_supply(vehicle(span, loads=(ECU,)), span)
    assert ecu.running_a == pytest.approx(16 / 3, abs=1e-3)


BOX = Module("box", 60_000, 200_000, (), quiescent_ma=8.0)


def test_days_parked_from_modules_and_loads_always_on():
    """8 mA of module and 4 mA of an alarm that is on with every input off: 20 Ah last 69 days at 12 mA."""
    alarm = Load("alarm", "watch", 4, volt_exponent=0)
    loads = (alarm, ECU)
    car = vehicle(state(run=1), loads=loads, battery_ah=40.0)
    car = replace(car, commands=(Command("watch", "not disarm"), Command("run", "key")))
    draws = parked_draws(car, (Unit("box", BOX),))
    assert [(one.name, one.draw_ma) for one in draws] == [("box", 8.0), ("alarm", 4)]
    assert parked_for_days(car, (Unit("box", BOX),)) == pytest.approx(20 / 0.012 / 24)
    assert parked_for_days(car, (Unit("box", replace(BOX, quiescent_ma=None)),)) is None
    assert parked_for_days(vehicle(state(), loads=loads), (Unit("box", BOX),)) is None


def test_what_counts_as_always_on():
    """What a condition keeps on with every input off; a command without a condition is a switch, off when parked."""
    commands = (Command("run", "not (key or door)"), Command("lights"), Command("cool", "key and not door"))
    car = replace(vehicle(state(run=1, lights=1, cool=1)), commands=commands, states_given=True)
    assert [load.name for load in always_on(car)] == ["ecu"]
