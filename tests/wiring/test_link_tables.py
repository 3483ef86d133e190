"""Battery cables, heat and the parked vehicle: tables by hand, and each broken row found by the recount."""

import math
from dataclasses import replace

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import pdm_alloc as pa
from pdm_alloc.domain.vehicle import PPM, Command, Load, State
from pdm_alloc.electrics.battery import FUSE_RATINGS_A
from pdm_alloc.electrics.protection import damage_ms
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.link_tables import HEAT, LINKS, PARKED
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.result.supply_tables import laid_links
from pdm_alloc.result.worst import surges_of
from pdm_alloc.verify.assignment import Recount
from pdm_alloc.verify.battery_cables import cables_hold
from tests.strategies import examples
from tests.wiring import small

HEATER = Load("heater", "heat", 20_000, kind="heater", inrush_ma=20_000, place="left", volt_exponent=1.0)
ECU = Load("ecu", "run", 5_000, place="right", volt_exponent=0.0)
ON = {"heat": PPM // 2, "run": PPM}
STATES = (
    State("drive", 12.0, ON, 60.0, 60.0),
    State("crank", 10.0, {"heat": 0, "run": PPM}, None, 0.1, 12.6, 240_000),
)
PLACED = {"battery_place": "source", "isolator_place": "joint", "starter_place": "left", "alternator_place": "right"}
CAR = small.forked(HEATER, ECU, states=STATES, battery_ah=60.0, **PLACED)


def allocation(vehicle=CAR, **channel):
    """Heater and computer on two channels of a module at the right."""
    circuits = (
        PlacedCircuit("box", ("1",), "single", "heat", (("heater", 1),)),
        PlacedCircuit("box", ("2",), "single", "run", (("ecu", 1),)),
    )
    return Allocation(vehicle, (small.unit(place="right", **channel),), circuits)


def rows(vehicle=CAR):
    table = allocation(vehicle).links
    assert tuple(table.columns) == LINKS
    return table.set_index("link")


def test_every_cable_begins_at_the_isolator():
    """Battery to isolator, from there to module, starter and alternator; lengths are routes, 5 % and two ends."""
    table = rows()
    assert list(table.index) == ["battery to isolator", "module feed", "starter", "alternator"]
    assert table["from"].tolist() == ["source", "joint", "joint", "joint"]
    assert table["to"].tolist() == ["joint", "right", "left", "right"]
    assert table.length_m.tolist() == pytest.approx([2.4, 3.45, 1.35, 3.45])


def test_every_cable_is_cut_between_the_ends_it_is_measured_for():
    """Behind an isolator cables begin at it and their returns meet at its stud, not at a battery two metres away."""
    car = replace(CAR, settings=replace(CAR.settings, return_path="wire"))
    table = allocation(car).cut_list
    feeds = table[table.role.isin(["feed", "feed return"])]
    ways = rows(car)[["from", "to"]].itertuples(index=False)
    for there, (start, end) in zip(feeds[feeds.role == "feed"].itertuples(), ways, strict=True):
        back = feeds[feeds.label == f"{there.label}G"].iloc[0]
        assert (there.from_place, there.to_place) == (start, end)
        assert {back.from_place, back.to_place} == {start, end} and back.length_m == there.length_m
    named = feeds.set_index("label")
    assert named["from"]["F3"] == named["from"]["F4"] == "isolator" and named["to"]["F4G"] == "return stud"


def test_fuses_of_the_links():
    """25 A of loads take a 35 A fuse, 60 A of charging 80 A; what the starter flows through has none."""
    table = rows()
    assert table.fuse_a["module feed"] * 0.8 >= 20.0 and table.fuse_a["alternator"] == 80.0
    assert table.fuse_a[["battery to isolator", "starter"]].isna().all()
    assert (table.ampacity_a >= table.fuse_a)[["module feed", "alternator"]].all()
    assert table.fuse_within_m["module feed"] == 0.3 and "common practice" in table.note["module feed"]
    boat = rows(replace(CAR, settings=replace(CAR.settings, rules="boat")))
    assert boat.fuse_within_m["module feed"] == 0.178 and "33 CFR 183.455" in boat.note["module feed"]


def test_a_starter_cable_outlasts_the_turn_and_keeps_its_drop():
    """240 A for 6 s stay within the insulation's class; at most 4 % are lost on the way."""
    row = rows().loc["starter"]
    assert (row.running_a, row.seconds) == (240.0, 6.0) and row.drop_pct <= row.limit_pct <= 4.0
    assert damage_ms(240, row.area_mm2, 30, 105) >= 6_000
    assert "no fuse" in row.note


def test_the_starter_loses_no_more_than_is_allowed_over_both_its_cables():
    """4 % from the battery on: what the isolator's cable loses of it, with the loads that are on, its own may not."""
    table = rows()
    trunk, onward = table.loc["battery to isolator"], table.loc["starter"]
    # 50 mm2 has 0.386 ohm / km at 20 deg C (IEC 60228, class 5), warm at 105 deg C; the computer draws 5 A beside 240 A
    assert (trunk.area_mm2, trunk.length_m) == (50.0, pytest.approx(2.4))
    ohm = 0.386e-3 * 2.4 * (234.5 + 105) / 254.5
    assert onward.limit_pct == pytest.approx(4 - 245 * ohm * 100 / 12, abs=0.02)
    assert onward.drop_pct <= onward.limit_pct < 4 and "together with the cable to the isolator" in onward.note
    made = pa.allocate(CAR, small.unit(place="right"))
    broken = made.links.copy()
    broken.loc[broken.link == "starter", "area_mm2"] = 35.0  # alone it would lose 2 %
    made.__dict__["links"] = broken
    (message,) = pa.verify(made).message
    assert "with the cable to the isolator 4." in message


def test_what_is_charged_does_not_flow_through_the_cable_to_the_isolator():
    """60 A of charging feed 25 A of loads past the battery: only the feed loses voltage then; without it both do."""
    idle = replace(CAR, states=(replace(STATES[0], charging_a=None), *STATES[1:]))
    lost = []
    for car in (CAR, idle):
        made = allocation(car)
        ohms = {one.demand.name: one.link.hot_ohm for one in laid_links(car, made.units, made.wired) if one.link}
        volts = made.voltages[made.voltages.state == "drive"].module_v
        assert volts.nunique() == 1
        lost.append((12 - volts.iloc[0], ohms))
    (charged, ohms), (drained, dry) = lost
    assert charged == pytest.approx(25 * ohms["feed"], abs=2e-3)
    assert drained == pytest.approx(25 * (dry["feed"] + dry["isolator"]), abs=2e-3) and dry["isolator"] > 1e-4


@pytest.mark.parametrize(("kind", "least_ms"), [("solenoid", 20), ("coil", 10), ("heater", 0)])
def test_a_pulsed_load_is_set_to_let_its_pulse_pass(kind, least_ms):
    """An injector or a relay draws nothing above running, and its channel still has an inrush time above zero."""
    load = Load("l", "run", 2_000, kind=kind, inrush_ma=2_000, volt_exponent=1.0)
    circuits = (PlacedCircuit("box", ("1",), "single", "run", (("l", 1),)),)
    made = Allocation(small.vehicle(load), (small.unit(),), circuits)
    assert made.settings.window_ms.tolist() == [least_ms]


def test_fault_currents_shrink_on_the_way():
    """60 Ah are taken for 8.3 milliohm: 12.6 V drive 1512 A at the battery, less behind each cable."""
    table = rows()
    assert table.fault_a["battery to isolator"] == pytest.approx(12.6 / (0.5 / 60), abs=1)
    assert (table.fault_a[1:] == table.end_fault_a["battery to isolator"]).all()
    assert (table.end_fault_a < table.fault_a).all() and table.opens_s["module feed"] < 1
    stated = rows(replace(CAR, settings=replace(CAR.settings, battery_mohm=4.0)))
    assert stated.fault_a["battery to isolator"] == pytest.approx(12.6 / 0.004, abs=1)
    unknown = rows(replace(CAR, settings=replace(CAR.settings, battery_ah=None)))
    assert unknown.fault_a.isna().all() and "battery_mohm" in unknown.note["starter"]


def test_without_a_starter_the_isolator_cable_has_the_main_fuse():
    """Nothing flows past the modules: the cable to the isolator begins at a fuse that bears charging and loads."""
    calm = replace(CAR, states=STATES[:1], settings=replace(CAR.settings, starter_place=None))
    table = rows(calm)
    assert list(table.index) == ["battery to isolator", "module feed", "alternator"]
    assert table.fuse_a["battery to isolator"] == 80.0


def test_what_is_drawn_past_the_modules_while_driving_is_no_starter():
    """A winch with fuses of its own: the main fuse stays, bears it with the loads, and the recount asks for no less."""
    winch = replace(STATES[0], other_ma=50_000)
    calm = replace(CAR, states=(winch,), settings=replace(CAR.settings, starter_place=None))
    table = rows(calm)
    assert "starter" not in table.index
    assert table.running_a["battery to isolator"] == 75.0 and table.fuse_a["battery to isolator"] == 100.0
    assert "with 50 A drawn past the modules (other_a)" in table.note["battery to isolator"]
    made = pa.allocate(calm, small.unit(place="right"))
    broken = made.links.copy()
    broken.loc[broken.link == "battery to isolator", ["fuse_a", "running_a"]] = 80.0, 60.0
    made.__dict__["links"] = broken
    assert "the fuse is 80 A, it takes" in pa.verify(made).message.iloc[0]
    both = rows(replace(calm, states=(winch, STATES[1]))).loc[["battery to isolator", "starter"]]
    assert both.running_a["starter"] == 240.0 and "other_a of crank is taken for it" in both.note["starter"]
    assert both.fuse_a.isna().all()


@pytest.mark.parametrize(
    ("state", "starts"),
    [
        (State("crank", 9.6, ON, None, None, 12.6, 180_000), True),
        (State("crank", 9.6, ON, 0.0, None, None, 180_000), True),
        (State("short", 11.5, ON, None, 0.1, None, 180_000), True),
        (State("fridge", 11.5, ON, 0.0, 600.0, 12.8, 4_000), False),
        (State("winch", 12.5, ON, 60.0, 1.0, None, 300_000), False),
        (State("nothing", 9.6, ON, None, 0.1, 12.6), False),
    ],
)
def test_what_tells_a_starter(state, starts):
    """Nothing charges, and the battery sags to four fifths of its rest or the state lasts a minute at most."""
    car = replace(CAR, states=(state,))
    assert bool(car.starts) is starts and (car.beside_ma > 0) is (bool(state.other_ma) and not starts)


def test_a_current_nobody_stated_is_asked_for():
    """A starter or an alternator with a place and no current is a row that says which column to fill."""
    silent = replace(CAR, states=(State("drive", 12.0, ON),))
    table = rows(silent)
    assert table.running_a[["starter", "alternator"]].isna().all()
    assert "other_a" in table.note["starter"] and "charging_a" in table.note["alternator"]
    bare = small.forked(HEATER, ECU)
    assert list(rows(bare).index) == ["module feed"] and "length not known" in rows(bare).note["module feed"]


def test_a_cable_without_a_length_has_no_size():
    """240 A for 6 s ask for 6 mm2 by heat, but a starter cable is sized by its drop: no size is said or cut to."""
    car = replace(CAR, settings=replace(CAR.settings, starter_place=None))
    made = allocation(car)
    row = made.links.set_index("link").loc["starter"]
    assert row["size"] == "not known" and math.isnan(row["length_m"]) and math.isnan(row["drop_pct"])
    assert "length not known, drop not judged, at least 6 mm2 by its heating" in row["note"]
    cut = made.cut_list.set_index("to").loc["starter motor"]
    assert cut["size"] == "not known" and math.isnan(cut["mass_g"]) and not cut["to_part"]
    assert all(made.links["size"][made.links.length_m.notna()] != "not known")


def test_heat_by_hand():
    """20 A through 5 milliohm half of the time and 5 A all the time: 1.125 W on average, 2.125 W with both on."""
    table = allocation(on_mohm=5.0).heat.set_index("state")
    assert tuple(allocation().heat.columns) == HEAT
    assert (table.mean_w["drive"], table.top_w["drive"]) == (
        pytest.approx(1.12, abs=0.01),
        pytest.approx(2.12, abs=0.01),
    )
    unknown = allocation().heat.set_index("state")
    assert unknown.mean_w.isna().all() and unknown.unknown_channels["drive"] == 2


def test_parked_by_hand():
    """A module of 10 mA: 30 Ah above the floor last 125 days; one that states nothing leaves the days empty."""
    unit = small.unit(place="right")
    known = replace(unit, module=replace(unit.module, quiescent_ma=10.0))
    table = Allocation(CAR, (known,), ()).parked
    assert tuple(table.columns) == PARKED
    assert table.draws.tolist() == ["box", "all together"] and table.days.iloc[-1] == pytest.approx(125.0)
    silent = Allocation(CAR, (unit,), ()).parked.iloc[-1]
    assert pd.isna(silent.days) and "box" in silent.note


def test_nothing_wrong_before_a_cable_is_broken():
    """What is altered below is right as it is."""
    assert pa.verify(pa.allocate(CAR, small.unit(place="right"))).empty


@pytest.mark.parametrize(
    ("link", "column", "value", "words"),
    [
        ("module feed", "fuse_a", 20.0, "the fuse is 20 A"),
        ("module feed", "fuse_a", None, "it has no fuse"),
        ("module feed", "fuse_within_m", 0.5, "the rules allow 0.3 m"),
        ("module feed", "area_mm2", 1.0, "is to carry"),
        ("module feed", "area_mm2", 1.1, "no size"),
        ("alternator", "fuse_a", 70.0, "the fuse is 70 A"),
        ("alternator", "area_mm2", 4.0, "are allowed"),
        ("starter", "fuse_a", 250.0, "the starter would open"),
        ("starter", "area_mm2", 4.0, "the starter's current takes"),
        ("battery to isolator", "area_mm2", 2.5, "is to carry"),
        ("battery to isolator", "area_mm2", 10.0, "are allowed"),
    ],
)
def test_every_wrong_cable_is_found(link, column, value, words):
    """One number of one row is altered, and the recount says so for that cable."""
    made = pa.allocate(CAR, small.unit(place="right"))
    broken = made.links.copy()
    broken.loc[broken.link == link, column] = value
    made.__dict__["links"] = broken
    wrong = pa.verify(made)
    # behind a thinner cable the loads have less of that too, and to the isolator the starter
    wrong = wrong[(wrong.rule != "voltage") & ((wrong.subject == link) | (wrong.subject != "starter"))]
    assert set(wrong.rule) == {"battery cable"} and set(wrong.subject) == {link}
    assert wrong.message.str.contains(words).any(), wrong.message.tolist()


def test_a_cable_nobody_wrote_down_is_found():
    """An isolator, a starter or a module without its row cannot be wired."""
    made = pa.allocate(CAR, small.unit(place="right"))
    for link in made.links.link:
        made.__dict__["links"] = rows().reset_index().query("link != @link")
        assert link in set(pa.verify(made).subject)


@settings(max_examples=examples(25, 250), deadline=None)
@given(st.integers(1_000, 60_000), st.floats(5, 200), st.integers(0, 400_000), st.sampled_from(["metric", "awg"]))
def test_the_recount_agrees_on_random_vehicles(heater_ma, charging, other_ma, sizes):
    """Whatever loads, charging and starter draw: every cable that is found passes the recount."""
    states = (State("drive", 12.0, ON, charging, 60.0), State("crank", 10.0, ON, None, 0.1, 12.6, other_ma))
    car = replace(CAR, loads=(replace(HEATER, running_ma=heater_ma), ECU), states=states)
    car = replace(car, settings=replace(CAR.settings, wire_sizes=sizes))
    findings = pa.verify(allocation(car, continuous_ma=100_000))
    assert "battery cable" not in set(findings.rule), findings.message.tolist()


def test_one_switch_for_several_commands_is_one_inrush_in_the_feed():
    """A stalk for two lamps and a fan behind a key: the peak is what one change brings, and the fuse is made for it."""
    lamps = [Load(f"lamp {n}", f"lamp {n}", 10_000, kind="filament", inrush_ma=90_000, inrush_ms=60.0) for n in (1, 2)]
    fan = Load("fan", "fan", 10_000, kind="heater", inrush_ma=30_000, inrush_ms=600.0)
    conditions = {"lamp 1": "stalk and not dip", "lamp 2": "stalk", "fan": "stalk and key or dip and stalk"}
    states = (State("all", 12.0, dict.fromkeys(conditions, PPM)),)
    vehicle = small.forked(*lamps, fan, states=states)
    vehicle = replace(vehicle, commands=tuple(Command(name, text) for name, text in conditions.items()))
    most, warmest = surges_of(vehicle)
    assert most.excess_ma == warmest.excess_ma == 180_000
    assert most.seconds == pytest.approx((2 * 80 * 20 + 20 * 200) / 180 * 2 / 3 / 1000, rel=1e-4)
    circuits = tuple(
        PlacedCircuit("box", (str(n),), "single", x.command, ((x.name, 1),)) for n, x in enumerate(vehicle.loads, 1)
    )
    made = Allocation(vehicle, (small.unit(place="right"),), circuits)
    assert made.supply.peak_a.tolist() == [210.0] and made.links.peak_a.tolist() == [210.0]
    lower = made.links.assign(peak_a=209.0)
    assert [str(f) for f in cables_hold(Recount(vehicle, made.units, circuits), made.links)] == []
    assert "one change of one input" in str(*cables_hold(Recount(vehicle, made.units, circuits), lower))


def test_the_largest_peak_is_not_the_one_that_lasts():
    """A command counts for as long as its slowest load, and asks for a larger fuse than a larger, shorter peak."""
    lamp = Load("lamp", "fan", 2_000, kind="heater", inrush_ma=20_000, inrush_ms=75.0)
    fan = Load("fan", "fan", 4_000, kind="heater", inrush_ma=16_000, inrush_ms=480.0)
    quick = Load("quick", "heat", 5_000, kind="heater", inrush_ma=6_000, inrush_ms=210.0)
    vehicle = small.forked(lamp, fan, quick, states=(State("all", 12.0, {"fan": PPM, "heat": PPM}),))
    vehicle = replace(vehicle, commands=(Command("fan", "key"), Command("heat", "key")))
    circuits = tuple(
        PlacedCircuit("box", (str(n),), "single", x.command, ((x.name, 1),)) for n, x in enumerate(vehicle.loads, 1)
    )
    made = Allocation(vehicle, (small.unit(place="right"),), circuits)
    assert made.links.peak_a.tolist() == [42.0]
    assert [str(f) for f in cables_hold(Recount(vehicle, made.units, circuits), made.links)] == []


def test_a_fuse_that_an_inrush_opens_is_found():
    """Two lamps on one stalk draw 180 A, falling with 100 ms: a fuse a size less carries the 20 A but not this."""
    lamps = [Load(f"lamp {n}", "stalk", 10_000, kind="filament", inrush_ma=90_000, inrush_ms=300.0) for n in (1, 2)]
    vehicle = small.forked(*lamps, states=(State("all", 12.0, {"stalk": PPM}),))
    vehicle = replace(vehicle, settings=replace(vehicle.settings, battery_place="source", isolator_place="joint"))
    circuits = tuple(
        PlacedCircuit("box", (str(n),), "single", x.command, ((x.name, 1),)) for n, x in enumerate(vehicle.loads, 1)
    )
    made = Allocation(vehicle, (small.unit(place="right"),), circuits)
    recount = Recount(vehicle, made.units, circuits)
    table = made.links.set_index("link")
    assert [str(f) for f in cables_hold(recount, made.links)] == []
    for link in ("module feed", "battery to isolator"):
        made_for = table.fuse_a[link]
        smaller = max(a for a in FUSE_RATINGS_A if a < made_for)
        assert smaller * 0.8 >= 20.0, "a fuse that does not even carry what runs would be found anyway"
        (finding,) = cables_hold(
            recount, made.links.assign(fuse_a=made.links.fuse_a.where(made.links.link != link, smaller))
        )
        assert (finding.subject, finding.unit) == (link, "s") and f"may open the fuse of {smaller:g} A" in str(finding)
