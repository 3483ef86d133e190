"""Tables of wires, settings, drops, supply, voltages, segments and feeds, worked out by hand on a small vehicle."""

import math
from dataclasses import replace
from fractions import Fraction

import pandas as pd
import pytest

import pdm_alloc as pa
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import PPM, Command, Load, Part, State
from pdm_alloc.electrics.wire import ampacity_a, mass_g_per_m
from pdm_alloc.electrics.wire_tables import CLASS_5_OHM_PER_KM
from pdm_alloc.export.lists import assumptions
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.channel_tables import SETTINGS
from pdm_alloc.result.link_tables import VOLTAGES
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.result.supply_tables import DROPS, SUPPLY, WIRES
from tests.tables.good import write_files
from tests.wiring import small

LAMP = Load("lamp", "light", 5_000, kind="heater", inrush_ma=5_000, place="left", volt_exponent=1.0, min_v=11.9)
MOTOR = Load("motor", "run", 4_000, kind="motor", inrush_ma=20_000, inrush_ms=90.0, place="right", volt_exponent=1.0)
TWO = small.forked(LAMP, MOTOR, battery_place="source", battery_ah=60.0)


def placed(vehicle, *circuits, unit=None):
    """An allocation as given, one load a channel unless told otherwise."""
    unit = unit or small.unit(place="source")
    return Allocation(vehicle, (unit,), tuple(circuits))


def on(channel, *loads, command="run", use="single", unit="box"):
    return PlacedCircuit(unit, tuple(channel.split("+")), use, command, tuple((name, 1) for name in loads))


def plain():
    return placed(TWO, on("1", "lamp", command="light"), on("2", "motor"))


def test_wires_by_hand():
    """5 A on 3.45 m: trip 6.3 A; 1.5 mm2 is the thinnest that keeps 3 per cent warm, and its mass is that of 3.45 m."""
    row = plain().wires.iloc[0]
    assert tuple(plain().wires.columns) == WIRES
    assert (row.channel, row.pins, row["size"], row.parallel, row.trip_a) == ("1", "X1", "1.5 mm2", 1, 6.3)
    assert row.length_m == 3.45 and row.mass_g == pytest.approx(3.45 * mass_g_per_m(1.5), abs=0.05)
    warm_c = 30 + 75 * math.sqrt(5 / row.ampacity_a)
    drop_v = 5 * 3.45 * 0.0133 * (230 + warm_c) / 250
    assert row.drop_pct == pytest.approx(100 * drop_v / 12, abs=2e-3) and row.drop_load == "lamp"
    warm_1_c = 30 + 75 * math.sqrt(5 / ampacity_a(1.0, 105.0))
    assert 100 * 5 * 3.45 * 0.0195 * (230 + warm_1_c) / 250 / 12 > 3


def test_settings_by_hand():
    """4 A of motor: 5 A, window 1.5 x 30 ms x ln(16 / 1) in whole tens; stuck it draws 20 A."""
    row = plain().settings.iloc[1]
    assert tuple(plain().settings.columns) == SETTINGS
    assert (row.trip_a, row.margin_pct, row.window_ms, row.stalled_a) == (5.0, 25.0, 130.0, 20.0)
    assert row.above_ms == pytest.approx(30 * math.log(16), abs=0.05) and row.above_ms * 1.5 <= row.window_ms
    assert row.stall_trip_ms < row.stall_damage_ms
    assert pd.isna(plain().settings.iloc[0].stalled_a)


def test_drops_by_hand():
    """A row a load: the volts are the per cents of 12 V, and the limit is the load's own."""
    table = plain().drops
    assert tuple(table.columns) == DROPS and list(table.load) == ["lamp", "motor"]
    assert table.drop_v.tolist() == pytest.approx((table.drop_pct * 0.12).tolist(), abs=1e-4)
    assert table.limit_pct.tolist() == [3.0, 3.0] and table.wire[0] == "1.5 mm2"


def test_what_conditions_exclude_is_not_added_in_the_supply():
    """Lamp and motor never on together: running is the larger of the two, the peak what one of them brings."""
    dark = (Command("light", "key and stalk"), Command("run", "key and not stalk"))
    together = placed(replace(TWO, commands=(Command("light", "key"), Command("run", "key and stalk")))).supply.iloc[0]
    apart = placed(replace(TWO, commands=dark)).supply.iloc[0]
    draws = [x.running_ma * x.count / 1000 for x in TWO.loads]
    peaks = [x.inrush_ma * x.count / 1000 for x in TWO.loads]
    assert (together.running_a, apart.running_a) == (sum(draws), max(draws))
    assert apart.peak_a == max(peaks)


def test_supply_by_hand():
    """9 A in a state of half duty for the motor: 7 A mean, which Peukert counts as 7 x (7 / 3)**0.25 A."""
    states = (State("day", 12.0, {"light": PPM, "run": PPM // 2}, None, 60.0),)
    row = placed(replace(TWO, states=states)).supply.iloc[0]
    assert tuple(placed(TWO).supply.columns) == SUPPLY
    assert (row.mean_a, row.running_a, row.peak_a, row.balance_a) == (7.0, 9.0, 25.0, -7.0)
    assert (row.used_ah, row.floor_minutes) == (
        7.0,
        pytest.approx(30 / (7 * (7 / 3) ** 0.25) * 60, abs=0.05),
    ) and row.carried
    assert pd.isna(placed(TWO).supply.iloc[0].carried)


def test_voltages_by_hand():
    """What the wire drops is missing at the lamp, so its 11.9 V are not there, and a warning says so."""
    table = plain().voltages
    lamp = table[table.load == "lamp"].iloc[0]
    assert tuple(table.columns) == VOLTAGES
    drop_v, feed_v = plain().drops.drop_v[0], 9 * _hot_ohm(1.0, 0.3, 1)
    assert lamp.load_v == pytest.approx(12 - feed_v - drop_v, abs=0.01) and lamp.enough is not pd.NA and not lamp.enough
    warning = plain().warnings.set_index("code").loc["C18"]
    assert "so that its wire is thicker" in warning.remedy
    assert warning.severity == "warning" and "lamp needs 11.9 V" in warning.sentence
    vital = placed(replace(TWO, loads=(replace(LAMP, importance="vital"), MOTOR)), on("1", "lamp", command="light"))
    assert vital.warnings.set_index("code").loc["C18"].severity == "danger"
    assert pd.isna(table[table.load == "motor"].iloc[0].enough)


def test_segments_and_wires_weigh_the_same():
    """Routes hold all of the wire but its ends: three ends of 0.15 m a circuit, at the module and each load."""
    allocation = plain()
    segments = allocation.segments.set_index(["start", "end"])
    assert segments.loc[("joint", "source"), "wires"] == 2 and segments.loc[("joint", "left"), "wires"] == 1
    ends = sum(0.3 * mass_g_per_m(area) for area in allocation.wires.area_mm2)
    assert segments.mass_g.sum() + ends == pytest.approx(allocation.wires.mass_g.sum(), abs=0.3)
    assert segments.length_m.tolist() == [1.0, 3.0, 2.0]


def test_a_pair_is_set_channel_by_channel():
    """Two channels in parallel: each is set for 60 % of 40 A, the wire carries both, and has a conductor for each."""
    unit = small.unit(place="source")
    channels = tuple(replace(c, pair="p") for c in unit.module.channels[:2])
    unit = replace(unit, module=replace(unit.module, channels=channels))
    strong = replace(LAMP, running_ma=40_000, inrush_ma=40_000)
    allocation = placed(small.forked(strong), on("1+2", "lamp", command="light", use="pair"), unit=unit)
    assert allocation.settings.trip_a.tolist() == [30.0] and allocation.settings.running_a.tolist() == [24.0]
    row = allocation.wires.iloc[0]
    assert (row.trip_a, row.pins) == (60.0, "X1 X2") and row.parallel == 2 and row.ampacity_a >= 60


def test_unknown_lengths_are_said_to_be_unknown():
    """A load without place or length: no size and no mass is stated, the note and C11 name it, verify agrees."""
    vehicle = small.vehicle(replace(LAMP, place=None), replace(MOTOR, place=None, length_m=2.0))
    allocation = placed(vehicle, on("1", "lamp", command="light"), on("2", "motor"), unit=small.unit())
    row, known = allocation.wires.iloc[0], allocation.wires.iloc[1]
    assert row["size"] == "not known" and row.trip_a == 6.3 and known["size"] == "0.75 mm2"
    assert row[["length_m", "mass_g", "drop_pct", "area_mm2", "ampacity_a"]].isna().all()
    assert row.note == "length to lamp not known, drop not judged; no thinner than 0.5 mm2"
    assert allocation.drops.drop_pct.isna().tolist() == [True, False] and allocation.drops.wire[0] == "not known"
    (note,) = allocation.warnings[allocation.warnings.code == "C11"].sentence
    assert note == "The wire size of 1 load is not known: no length is known to lamp."
    assert allocation.voltages.judged.tolist() == [False, True]
    cuts, sheet = _circuit_cut(allocation), allocation.bench_sheet.iloc[0]
    assert (cuts.size, sheet["size"]) == ("not known", "not known") and pd.isna(cuts.mass_g)
    bought = [f"{row['item']} {row.detail}" for _, row in allocation.shopping.iterrows()]
    assert "wire size not known" in bought and "load terminal size not known" in bought
    assert pa.verify(allocation).empty


def test_a_size_is_not_hidden_where_every_length_is_known():
    """Verify refuses a table that leaves out a size it could state."""
    allocation = plain()
    hidden = allocation.wires.copy()
    hidden.loc[0, "size"] = "not known"
    allocation.__dict__["wires"] = hidden
    assert pa.verify(allocation).message.tolist() == ["every length is known, its size is not"]


def test_parts_wait_for_a_size_that_is_not_known():
    """No terminal is picked by the area of the thinnest wire."""
    parts = tuple(Part(item, "*", None, None, f"any {item}") for item in ("terminal", "load_terminal"))
    bare = replace(small.vehicle(replace(LAMP, place=None)), parts=parts)
    unsized = placed(bare, on("1", "lamp", command="light"), unit=small.unit())
    sized = placed(replace(TWO, parts=parts), on("1", "lamp", command="light"))
    assert [_circuit_cut(one).from_part for one in (sized, unsized)] == ["any terminal", ""]


def _circuit_cut(allocation):
    return next(row for row in allocation.cut_list.itertuples() if row.role == "circuit")


def test_a_circuit_that_cannot_be_wired_says_why():
    """Circuits given by hand may be impossible: the row has a reason in place of a wire, and C17 warns of danger."""
    allocation = placed(TWO, on("1", "lamp", command="light"), unit=small.unit(place="source", max_wire_mm2=0.5))
    row = allocation.wires.iloc[0]
    assert pd.isna(row["size"]) and row.note == "the terminal does not take the wire it needs"
    assert allocation.warnings.set_index("code").loc["C17"].severity == "danger"
    assert len(allocation.settings) == len(allocation.drops) == 0
    with pytest.raises(pa.NotEnough):
        pa.allocate(TWO, small.unit(place="source", max_wire_mm2=0.5))


def test_bundles_are_counted_and_fed_back():
    """Eight loads of one command on eight channels fill the trunk: each wire is chosen for eight loaded wires."""
    loads = tuple(Load(f"h{n}", "run", 9_000, kind="heater", inrush_ma=9_000, place="left") for n in range(8))
    vehicle = small.forked(*loads, bundle_wires=1)
    unit = small.unit(number=8, place="source")
    allocation = placed(vehicle, *(on(str(n + 1), f"h{n}") for n in range(8)), unit=unit)
    alone = placed(vehicle, on("1", "h0"), unit=unit)
    assert set(allocation.wires.bundle_wires) == {8} and set(alone.wires.bundle_wires) == {1}
    assert allocation.wires.ampacity_a[0] / alone.wires.ampacity_a[0] == pytest.approx(0.5 * _ratio(allocation, alone))
    assert allocation.segments.set_index(["start", "end"]).loc[("joint", "source"), "loaded_wires"] == 8


def _ratio(one, other):
    """Ampacity of two sizes alone, by the plain function."""
    return ampacity_a(one.wires.area_mm2[0], 105.0) / ampacity_a(other.wires.area_mm2[0], 105.0)


HOT = (*small.PLACES[:3], replace(small.PLACES[3], ambient_c=85.0))


def test_every_segment_has_its_own_ambient_and_bundle():
    """Nine wires lie in a trunk at 30 deg C, one of them goes on alone to 85 deg C: half of 29 A, not half of 0.52."""
    heater = Load("", "run", 9_000, kind="heater", inrush_ma=9_000, place="left", max_drop_pct=20.0)
    loads = [*(replace(heater, name=f"h{n}") for n in range(8)), replace(heater, name="far", place="right")]
    unit = small.unit(number=9, place="source")
    vehicle = replace(small.forked(*loads), places=HOT)
    allocation = placed(vehicle, *(on(str(n + 1), load.name) for n, load in enumerate(loads)), unit=unit)
    far = allocation.wires.iloc[8]
    assert (far["size"], far.ambient_c, far.bundle_wires) == ("2.5 mm2", 85.0, 9)
    assert (far.ampacity_a, far.ampacity_at) == (14.5, "joint to source: 30 deg C, 9 loaded wires")
    assert 29 * 0.5 * math.sqrt(20 / 75) < 11.3  # what the hottest place and the fullest bundle would leave
    assert pa.verify(allocation).empty


def test_a_hot_segment_decides_where_it_carries_least():
    """Two wires in the trunk, one on to 85 deg C, which leaves sqrt(20 / 75) of 29 A; its trunk is cool."""
    vehicle = replace(TWO, places=HOT)
    allocation = placed(vehicle, on("1", "lamp", command="light"), on("2", "motor"))
    motor = allocation.wires.iloc[1]
    assert (motor["size"], motor.ampacity_at) == ("2.5 mm2", "joint to right: 85 deg C, 1 loaded wire")
    assert motor.ampacity_a == pytest.approx(29 * math.sqrt(20 / 75), abs=0.006)
    assert allocation.wires.iloc[0].ampacity_at.endswith(": 30 deg C, 1 loaded wire")


def test_lightly_loaded_wires_are_left_out_of_the_bundle():
    """Six heaters of 9 A and four lights of 0.5 A on 0.5 mm2, of which 11 A x 0.6 x 30 % is 1.98 A: six count, not ten.

    Set to 11.3 A, 1.5 mm2 carries 12.7 A among six; among ten it would carry 10.6 A and be too thin.
    """
    heater = Load("", "run", 9_000, kind="heater", inrush_ma=9_000, place="left", max_drop_pct=20.0)
    light = replace(heater, running_ma=500, inrush_ma=500)
    loads = [*(replace(heater, name=f"h{n}") for n in range(6)), *(replace(light, name=f"s{n}") for n in range(4))]
    unit = small.unit(number=10, place="source")
    allocation = placed(small.forked(*loads), *(on(str(n + 1), load.name) for n, load in enumerate(loads)), unit=unit)
    assert allocation.wires.bundle_wires.tolist() == [6] * 6 + [7] * 4
    assert allocation.wires["size"].tolist() == ["1.5 mm2"] * 6 + ["0.5 mm2"] * 4
    assert allocation.wires.ampacity_a[0] == pytest.approx(16.5 * (29 / 16.5) ** (math.log(1.5, 2.5)) * 0.6, abs=0.006)
    assert pa.verify(allocation).empty


def test_wires_that_stay_at_the_module_lie_apart():
    """Four heaters where the module is: each has its own short way, for the tables and for verify alike."""
    heater = Load("", "run", 6_000, kind="heater", inrush_ma=6_000, place="source")
    loads = [replace(heater, name=f"h{n}") for n in range(4)]
    allocation = placed(small.forked(*loads), *(on(str(n + 1), f"h{n}") for n in range(4)))
    assert allocation.wires.ampacity_at.tolist() == ["source: 30 deg C, 1 loaded wire"] * 4
    assert pa.verify(allocation).empty


FED = [replace(LAMP, running_ma=20_000, inrush_ma=20_000, max_drop_pct=10.0, min_v=11.2), MOTOR]


def fed(**more):
    """The module is 2 m from the battery and 1 m from its loads; the lamp heats, the motor runs besides."""
    loads = (FED[0], replace(MOTOR, place="left"))
    vehicle = small.forked(*loads, battery_place="source", battery_ah=60.0, **more)
    circuits = (on("1", "lamp", command="light"), on("2", "motor"))
    return placed(vehicle, *circuits, unit=small.unit(place="joint"))


def test_the_feed_takes_its_share_of_the_voltage():
    """24 A on 2.4 m of cable, its copper at 105 deg C: what that loses is missing at the module and at both loads."""
    allocation = fed()
    feed = allocation.links[allocation.links.link == "module feed"].iloc[0]
    lost = 24 * _hot_ohm(feed.area_mm2, 2.4, feed.parallel)
    table = allocation.voltages.set_index("load")
    assert table.supply_v.tolist() == [12, 12]
    assert table.module_v.tolist() == pytest.approx([12 - lost] * 2, abs=2e-3)
    assert allocation.drops.feed_drop_v.tolist() == pytest.approx([lost] * 2, abs=2e-3)
    lamp_ohm = allocation.drops.drop_v[0] / 20
    assert table.load_v["lamp"] == pytest.approx((12 - lost) / (1 + lamp_ohm * 20 / 12), abs=2e-3)
    assert pa.verify(allocation).empty


def test_a_feed_may_be_what_a_load_lacks():
    """The lamp works from a voltage that the module has when the feed is not counted, and not when it is: C18."""
    wire_only = 12 / (1 + fed().drops.drop_v[0] / 12)
    floor = round(float(wire_only) - 0.05, 2)
    loads = (replace(FED[0], min_v=floor), replace(MOTOR, place="left"))
    allocation = fed()
    lacking = replace(allocation, vehicle=replace(allocation.vehicle, loads=loads))
    assert lacking.voltages.set_index("load").enough["lamp"] is not pd.NA
    assert not lacking.voltages.set_index("load").enough["lamp"] and "C18" in set(lacking.warnings.code)


def test_no_thicker_wire_is_proposed_where_the_feed_alone_leaves_too_little():
    """C18: a lamp for 11.99 V behind a feed that leaves less of 12 V is not helped by the wire to it."""
    allocation = fed()
    loads = (replace(FED[0], min_v=11.99), replace(MOTOR, place="left"))
    lacking = replace(allocation, vehicle=replace(allocation.vehicle, loads=loads))
    assert (lacking.voltages.module_v < 11.99).all()
    assert "No wire behind the module cures that" in lacking.warnings.set_index("code").remedy["C18"]


def test_isolator_cable_and_starter_count_too():
    """150 A of starter and 24 A of loads flow through the isolator's cable before the feed begins."""
    states = (State("cranking", 12.0, {"light": PPM, "run": PPM}, other_ma=150_000, minutes=0.1),)
    loads = (FED[0], replace(MOTOR, place="left"))
    vehicle = small.forked(*loads, states=states, battery_place="right", isolator_place="source", battery_ah=60.0)
    circuits = (on("1", "lamp", command="light"), on("2", "motor"))
    allocation = placed(vehicle, *circuits, unit=small.unit(place="joint"))
    rows = allocation.links.set_index("link")
    trunk, feed = rows.loc["battery to isolator"], rows.loc["module feed"]
    assert (trunk["from"], trunk["to"]) == ("right", "source")
    hot = [_hot_ohm(row.area_mm2, row.length_m, row.parallel) for row in (trunk, feed)]
    lost = 174 * hot[0] + 24 * hot[1]
    assert allocation.voltages.module_v.tolist() == pytest.approx([12 - lost] * 2, abs=5e-3)
    assert pa.verify(allocation).empty


@pytest.mark.parametrize(("column", "row"), [("module_v", 0), ("load_v", 0), ("load_v", 1)])
def test_a_voltage_that_is_not_there_is_found(column, row):
    """A table that gives a load 10 mV more than battery, feed and wire leave it is refused by verify."""
    allocation = fed()
    better = allocation.voltages.copy()
    better.loc[row, column] += 0.01
    allocation.__dict__["voltages"] = better
    wrong = pa.verify(allocation)
    assert wrong.rule.tolist() == ["voltage"] and wrong.subject.tolist() == [("lamp", "motor")[row]]


def _hot_ohm(area_mm2, length_m, parallel):
    return CLASS_5_OHM_PER_KM[area_mm2] / 1000 * 335 / 250 * length_m / parallel


def test_more_conductors_fill_bundles_further_until_it_settles():
    """Terminals that take 2.5 mm2: two conductors a circuit make sixteen of eight, and that is what wires are for."""
    loads = tuple(Load(f"h{n}", "run", 14_000, kind="heater", inrush_ma=14_000, place="left") for n in range(8))
    unit = small.unit(number=8, place="source", max_wire_mm2=2.5)
    pins = tuple(replace(c, pins=(f"{c.name}a", f"{c.name}b")) for c in unit.module.channels)
    unit = replace(unit, module=replace(unit.module, channels=pins))
    allocation = placed(small.forked(*loads), *(on(str(n + 1), f"h{n}") for n in range(8)), unit=unit)
    assert set(allocation.wires.parallel) == {2} and set(allocation.wires.bundle_wires) == {16}
    assert (allocation.wires.ampacity_a >= allocation.wires.trip_a).all()


def test_a_bundle_too_full_is_to_be_split():
    """With one pin of 2.5 mm2 no wire bears eight together: it is chosen for six, and C16 says to split the bundle."""
    heater = Load("", "run", 13_600, kind="heater", inrush_ma=13_600, place="left", max_drop_pct=10.0)
    loads = tuple(replace(heater, name=f"h{n}") for n in range(8))
    unit = small.unit(number=8, place="source", max_wire_mm2=2.5)
    allocation = placed(small.forked(*loads), *(on(str(n + 1), f"h{n}") for n in range(8)), unit=unit)
    assert set(allocation.wires.bundle_wires) == {6}
    assert allocation.wires.note[0] == "split its bundle: no more than 6 loaded wires together"
    (warning,) = allocation.warnings[allocation.warnings.code == "C16"].itertuples()
    assert warning.sentence.startswith("8 circuits lie in fuller bundles") and "box 8" in warning.sentence


def test_feeds_by_hand():
    """One unit carries all 9 A at once: 0.8 of that is less than its rating, so the feed is made for 9 A."""
    row = plain().feeds.iloc[0]
    assert (row.module, row.place, row.state, row.running_a, row.carries_a) == ("box", "source", "all on", 9.0, 9.0)
    assert row.fuse_a == 15.0 and row.length_m == 0.3 and row.note == ""
    nowhere = placed(replace(TWO, settings=replace(TWO.settings, battery_place=None)), on("2", "motor")).feeds.iloc[0]
    assert pd.isna(nowhere.mass_g) and nowhere.note == "length from the battery not known, drop not judged"


def test_two_units_share_the_feed_by_their_ratings():
    """Units of 6 A and 8 A for 9 A in all: each feed is made for its unit, as both together bear 17.5 A at once."""
    units = [small.unit(2, "source", "a"), small.unit(2, "right", "b")]
    units = [replace(u, module=replace(u.module, total_ma=ma)) for u, ma in zip(units, (6_000, 8_000), strict=True)]
    circuits = (on("1", "lamp", command="light", unit="a"), on("1", "motor", unit="b"))
    table = Allocation(TWO, tuple(units), circuits).feeds
    assert table.carries_a.tolist() == [6.0, 8.0] and table.running_a.tolist() == [5.0, 4.0]
    weak = tuple(Unit(u.label, replace(u.module, total_ma=4_000), u.place) for u in units)
    assert Allocation(TWO, weak, circuits).feeds.carries_a.tolist() == [7.2, 7.2]


BOAT = {
    "loads.csv": "load,command,running_a,kind,place\nanchor lamp,anchor,0.2,led,mast\nhorn,horn,4,solenoid,bow\n"
    "bilge pump,bilge,8,motor,bow\nspare lamp,spare,0.3,led,\n",
    "places.csv": "place,x_m,y_m,ambient_c,mount,contains\nhelm,3,0,30,yes,\nbow,0,0,60,no,\nmast,1.5,0,30,no,\n"
    "battery,4,0,30,no,battery\n",
    "routes.csv": "from,to\nhelm,mast\nmast,bow\nhelm,battery\n",
}
CATALOGUE = {
    "modules.csv": "module,total_a,total_peak_a,mass_g\nsix,60,600,400\n",
    "channels.csv": "module,channel,pins,continuous_a,peak_a,peak_ms,max_wire_mm2,contact_a\n"
    + "".join(f"six,{n},a{n} b{n},20,200,60,4,7\n" for n in range(1, 6)),
}


@pytest.mark.parametrize(("sizes", "least", "horn"), [("awg", "16 AWG", "16 AWG"), ("metric", "1 mm2", "1.5 mm2")])
def test_wires_of_a_boat_from_its_tables(sizes, least, horn, tmp_path):
    """Least size by 33 CFR 183.425 (d), (e) and ISO 10133 7.7; two pins for 10 A of 7 A each; no length, no size.

    The horn's wire, by hand: 6 A at 60 deg C among three loaded wires, and 3 % of 12 V on 3.45 m.
    """
    settings = f'rules = "boat"\nwire_sizes = "{sizes}"\nbattery_place = "battery"\nbattery_ah = 60\n'
    vehicle = pa.read_vehicle(write_files(tmp_path / "boat", BOAT | {"settings.toml": settings}))
    module = pa.read_catalogue(write_files(tmp_path / "catalogue", CATALOGUE))["six"]
    allocation = pa.allocate(vehicle, Unit("six", module, "helm"))
    wires = allocation.wires.set_index("loads")
    assert wires["size"].to_dict() == {
        "anchor lamp": least,
        "bilge pump": least,
        "horn": horn,
        "spare lamp": "not known",
    }
    assert wires.parallel.to_dict() == {"anchor lamp": 1, "bilge pump": 2, "horn": 1, "spare lamp": 1}
    assert wires.note["spare lamp"].endswith(f"drop not judged; no thinner than {least}")
    assert math.isnan(wires.ampacity_a["spare lamp"]) and math.isnan(wires.mass_g["spare lamp"])
    assert wires.ampacity_at["horn"] == "bow to mast: 60 deg C, 3 loaded wires"
    area = {"1.5 mm2": 1.5, "16 AWG": 1.3088}[horn]
    alone = 16.5 * (29 / 16.5) ** (math.log(area) / math.log(2.5))  # between the sheet's 1 and 2.5 mm2
    assert wires.ampacity_a["horn"] == pytest.approx(alone * math.sqrt(45 / 75) * 0.7, abs=0.02)
    pins = allocation.bench_sheet.set_index(["loads", "pin"])
    first, second = wires.pins["bilge pump"].split()
    assert pins["size"]["bilge pump", first] == pins["size"]["bilge pump", second] == least
    one, other = wires.pins["horn"].split()
    assert pins["size"]["horn", one] == horn and not pins["size"]["horn", other]
    assert pins.note["horn", other] == f"leaves by {one}"
    feed = allocation.links.set_index("link").loc["module feed"]
    assert feed.fuse_within_m == 0.178 and "33 CFR 183.455" in feed.note


def test_loads_as_uncertain_as_each_other_are_one_line():
    """Of the assumptions: one line a tolerance, the loads in the order of their table."""
    lamps = [replace(LAMP, name=f"lamp {n}", tolerance_pct=Fraction(pct)) for n, pct in enumerate((10, 5, 0, 10))]
    table = assumptions(placed(small.forked(*lamps)))
    table = table[table.subject == "running current"]
    assert table.assumed.tolist() == ["may be off by 5 %", "may be off by 10 %"]
    assert table.applies_to.tolist() == ["lamp 1", "lamp 0; lamp 3"]
