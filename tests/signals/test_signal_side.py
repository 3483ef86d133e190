import json
from dataclasses import replace

import openpyxl
import pandas as pd
import pypdf
import pytest

import pdm_alloc as pa
from pdm_alloc.cli import main
from pdm_alloc.domain.module import Box, Signal, SignalPin, Unit
from pdm_alloc.domain.vehicle import Command, Input, Load, Vehicle, WireColour, signal_colour
from pdm_alloc.electrics.wire import ampacity_a
from pdm_alloc.export.commissioning import commissioning, dead_checks
from pdm_alloc.export.lists import input_list, not_cut, signal_steps
from pdm_alloc.export.paperwork import write_documents
from pdm_alloc.export.sheets import sheets
from pdm_alloc.harness.paths import lengths_of
from pdm_alloc.studies.signal_places import control_places, signals_beside
from pdm_alloc.studies.signal_wiring import size_for
from pdm_alloc.verify.copper import bench
from tests.export.test_pdf import page_height
from tests.signals.test_size_signals import DATA, tables

__all__ = ["tables"]  # a fixture


@pytest.fixture(scope="module")
def catalogue():
    return pa.read_catalogue(DATA / "catalogue")


@pytest.fixture(scope="module")
def rally():
    return pa.read_vehicle(DATA / "rally_coupe")


@pytest.fixture(scope="module")
def side(rally, catalogue):
    units = (Unit("middle-36", catalogue["middle-36"], "glove box"),)
    return signals_beside(rally, catalogue, units, ["control-40"], ["bulkhead"])


def test_every_signal_is_on_the_pin_map_with_its_wire(side, rally):
    """Every item once, pairs twisted, the pickup screened, every length known and never short of the route."""
    pins = side.pin_map()
    wanted = {(s.name, n) for s in rally.signals for n in range(1, s.count + 1)}
    assert set(zip(pins["signal"], pins["item"], strict=True)) == wanted
    assert set(pins[pins["kind"] == "frequency_pair"]["wire"]) == {"twisted, screened"}
    assert set(pins[pins["kind"] == "bus"]["wire"]) == {"twisted"}
    route = lengths_of(rally).wire_m("bulkhead", "engine")
    engine = pins.set_index("place")["length_m"]["engine"]
    assert ((engine >= route - 1e-9) & (engine < route + 0.011)).all() and pins["length_m"].notna().all()


def test_a_wire_of_an_actuator_bears_its_current_and_a_smaller_one_would_not(side, rally):
    """The throttle motor takes 5 A: the size given bears it where it lies, and sensors have the usual thin wire."""
    pins = side.pin_map().set_index("signal")
    settings = rally.settings
    heat = (settings.insulation_c, settings.wire_ambient_c, settings.bundle_wires)
    size = pins.loc["throttle motor", "size_mm2"].iloc[0]
    assert ampacity_a(size, *heat) >= 5
    assert pins.loc["fuel pressure", "size_mm2"] == 0.35
    strong = [replace(s, current_ma=12_000) if s.name == "throttle motor" else s for s in rally.signals]
    pin = pa.signals(replace(rally, signals=tuple(strong)), _strong(side)).pin_map().set_index("signal")
    thicker = pin.loc["throttle motor", "size_mm2"].iloc[0]
    assert ampacity_a(thicker, *heat) >= 12 > ampacity_a(size, *heat)


def _strong(side):
    [fitted] = side.boxes
    pins = tuple(replace(p, max_ma=15_000) if "half_bridge" in p.functions else p for p in fitted.box.pins)
    return replace(fitted.box, pins=pins)


def test_the_cut_list_has_a_supply_and_a_ground_for_each_sensor_that_needs_one(side, rally):
    """One piece per pin in use; each item that needs them is reached by a supply and a ground; the bus is a pair."""
    cuts = side.cut_list()
    for role, word in (("5 V supply", "supply_5v"), ("sensor ground", "sensor_ground")):
        ends = cuts[(cuts["role"] == role) & (cuts["to_is"] == "input")]
        assert len(ends) == sum(s.count for s in rally.signals if word in s.needs)
    bus = side.pin_map()["kind"] == "bus"
    assert (cuts["role"] == "signal").sum() == (~bus).sum() and (cuts["role"] == "bus").sum() == 2 * (
        len(side.nodes) - 1
    )
    assert cuts["label"].is_unique and cuts["length_m"].notna().all()


def test_every_wire_has_the_colour_of_the_nearest_rule_and_the_two_of_a_pair_differ(side):
    """A rule for one signal stands above its kind's; supplies, grounds and both wires of the bus have their own."""
    rules = (*side.vehicle.wire_colours, WireColour("signal", "fuel pressure", "pink"))
    pieces = replace(side, vehicle=replace(side.vehicle, wire_colours=rules)).cut_list()
    by_end = pieces[pieces["role"] == "signal"].groupby("to")["colour"].agg(list)
    assert (by_end["manifold pressure"], by_end["fuel pressure"]) == (["white"], ["pink"])
    assert by_end["crankshaft pickup"] == ["white", "blue"]
    shared = pieces.groupby("role")["colour"].unique()
    assert (list(shared["5 V supply"]), list(shared["sensor ground"])) == (["red/white"], ["black/white"])
    bus = pieces[pieces["role"] == "bus"]
    assert dict(zip(bus["label"].str[-1], bus["colour"], strict=True)) == {"H": "yellow", "L": "green"}
    assert (pieces["colour"] != "").all()
    sheet = side.bench_sheet()
    assert set(sheet.loc[sheet["loads"] == "crankshaft pickup", "colour"]) == {"white", "blue"}


def test_without_a_rule_of_its_own_a_signal_wire_has_the_colour_of_all(side):
    """The colour for all wires, in full where it is no pair's; nothing where there is no rule."""
    assert signal_colour([WireColour("all", "*", "grey")], "x", "bus", 1) == "grey"
    assert signal_colour([WireColour("return", "*", "black")], "", "sensor_ground") == ""
    bare = replace(side, vehicle=replace(side.vehicle, wire_colours=()))
    assert set(bare.cut_list()["colour"]) == {""}


def test_the_bench_sheet_lists_every_pin_of_the_box_once(side):
    """Those that stay empty too: three, and the shared ones point to the supplies."""
    sheet = side.bench_sheet()
    [fitted] = side.boxes
    assert len(sheet) == len(fitted.box.pins)
    assert (sheet["loads"] == "stays empty").sum() == 3
    assert (sheet["label"] != "").sum() == len(fitted.box.pins) - 3


def test_what_the_parked_vehicle_draws_is_the_sum_over_all_boxes(side, catalogue):
    """Module and control unit by hand; with a box that states nothing no days are given."""
    table = side.parked().set_index("draws")
    boxes = {box.name: box for box in catalogue.boxes}
    total = catalogue["middle-36"].quiescent_ma + boxes["control-40"].quiescent_ma
    total += sum(pad.quiescent_ma for _, _, pad in side.pads())
    assert table.loc["all together", "draw_ma"] == pytest.approx(total)
    assert table.loc["all together", "days"] > 0
    silent = pa.signals(side.vehicle, replace(boxes["control-40"], quiescent_ma=None), units=side.units)
    assert pd.isna(silent.parked().set_index("draws").loc["all together", "days"])


def test_the_bus_runs_between_module_and_control_unit(side):
    """Both are nodes beside the keypads, a terminator at both ends alone, every message timed."""
    ends = side.trunk()["terminator_ohm"]
    assert ends.iloc[[0, -1]].tolist() == [120, 120] and ends.iloc[1:-1].isna().all()
    assert {"middle-36", "control-40"} < set(side.trunk()["node"])
    assert len(side.messages()) == len(side.vehicle.messages)
    assert side.messages()["in_time"].all() and "every message in time" in side.summary()


def test_keypads_are_nodes_and_the_wires_they_save_are_told(rally, catalogue):
    """Eight keys at the dash are one keypad of eight keys, four wires instead of eight."""
    keys = tuple(Input(f"k{n}", "switch", "dash", read_by="keypad") for n in range(8))
    boxes = {box.name: box for box in catalogue.boxes}
    vehicle = replace(rally, inputs=keys)
    places = {"control-40": "bulkhead"}
    answer = pa.signals(vehicle, boxes["control-40"], places=places, keypads=catalogue.keypads)
    assert "4 wires saved: 4 wires to keypad-8 instead of one per key, 8." in answer.summary()
    assert set(answer.trunk()["node"]) == {"control-40", "keypad-8 K1"}
    assert "keypad-8 K1" in set(answer.parked()["draws"])


def test_a_keypad_without_a_supply_is_named(rally, catalogue):
    """Two of its four wires are the bus; the others are in no list until a load bears its name."""
    box = next(box for box in catalogue.boxes if box.name == "control-40")

    def unsupplied(*names):
        loads = tuple(Load(name, "always", 20, kind="electronics", place="dash") for name in names)
        vehicle = replace(rally, inputs=(Input("key", "switch", "dash", read_by="keypad"),), loads=loads)
        answer = pa.signals(vehicle, box, places={"control-40": "bulkhead"}, keypads=catalogue.keypads)
        return [one.subject for one in answer.care() if one.code == "S11"]

    assert unsupplied("lamp") == ["keypad-4 K1"]
    assert unsupplied("keypad-4") == unsupplied("keypad-4 K1") == []


@pytest.fixture(scope="module")
def papers(side, rally, tmp_path_factory):
    """An allocation with its signal side, and the folder its documents were written to."""
    folder = tmp_path_factory.mktemp("papers")
    allocation = pa.allocate(rally, side.units)
    write_documents(allocation, folder, signals=side)
    return allocation.with_signals(side), folder


@pytest.mark.once
def test_the_documents_carry_the_signal_side(side, papers):
    """One set: bench sheet, cut list, ground plan, ledger and shopping list of the main documents hold both sides."""
    _, folder = papers
    assert not list(folder.glob("*signals*"))
    pins = pd.read_csv(folder / "tables" / "signal_pin_map.csv")
    assert list(pins["signal"]) == list(side.pin_map()["signal"])
    book = openpyxl.load_workbook(folder / "rally_coupe.xlsx")
    assert {"Signal commissioning", "Bus"} <= set(book.sheetnames)
    front = pypdf.PdfReader(folder / "rally_coupe.pdf").pages[0].extract_text()
    assert "7 Bus; 8 Channel settings" in " ".join(front.split())
    held = {name: [[c.value for c in row] for row in book[name].iter_rows(min_row=2)] for name in book.sheetnames}
    assert sum("control-40" in row for row in held["Bench sheet"]) == len(side.boxes[0].box.pins)
    assert {cut.label for cut in side.cuts} <= {row[0] for row in held["Cut list"]}
    assert {"control-40 A", "control-40 B", "120 ohm"} <= {row[1] for row in held["Shopping list"]}
    assert {"control-40 B 20", "G10"} <= {cell for row in held["Ground plan"] for cell in row}
    ledger = pd.read_csv(folder / "tables" / "weight_ledger.csv").set_index("part")["mass_g"]
    assert ledger["control-40"] == 420 and ledger["wire of signals"] > 0 and ledger["wire of the bus"] > 0


def test_the_saved_allocation_reads_back_with_its_signal_side(side, papers, tmp_path):
    """From JSON, from tables and from the workbook; the recount follows, and a pin that was changed is named."""
    allocation, folder = papers
    for name in ("", "allocation.json", "rally_coupe_tables.xlsx"):
        back = pa.export.read_allocation(folder / name)
        assert back == allocation and back.signals == side
    document = json.loads((folder / "allocation.json").read_text())
    use = next(use for use in document["signals"]["uses"] if use["signal"] == "idle valve")
    use["pins"] = ["A-1"]
    (tmp_path / "moved.json").write_text(json.dumps(document))
    with pytest.raises(pa.InputError, match=r"pin A-1 has no low_side") as refused:
        pa.export.read_allocation(tmp_path / "moved.json")
    assert "pin A-1 is used 2 times" in str(refused.value)


def test_actuators_driven_high_return_to_a_power_ground(papers, side, rally):
    """Each by a wire as thick as the one out, counted at its stud in every state; what is driven low has none."""
    allocation, _ = papers
    wanted = (
        Signal("purge valve", "high_side", 2, "engine", current_ma=4000),
        Signal("flap", "half_bridge", place="boot", current_ma=900),
        Signal("kept", "high_side", place="boot", needs=frozenset(("spare",)), current_ma=900),
        Signal("relay", "low_side", place="boot", current_ma=150),
    )
    words = ("high_side", "high_side", "high_side", "half_bridge", "low_side")
    pins = tuple(SignalPin(str(n), "A", frozenset((word,)), 5000) for n, word in enumerate(words, 1))
    vehicle = replace(rally, signals=wanted, inputs=())
    driven = pa.signals(vehicle, Box("unit", pins), places={"unit": "bulkhead"}, units=side.units)
    plain = replace(allocation, vehicle=vehicle, signals=None)
    both = plain.with_signals(driven)
    plan = both.ground_plan[both.ground_plan["module"] == "unit"].set_index("load")
    assert set(plan.index) == {"purge valve #1", "purge valve #2", "flap"} and set(plan["use"]) == {"power"}
    assert (plan["ground"] != "").all() and plan.loc["flap", "channel"] == "A 4" and plan.loc["flap", "worst_a"] == 0.9
    assert set(plan["size"].loc[["purge valve #1", "purge valve #2"]]) == {
        row.size for row in driven.cut_list().itertuples() if row.to.startswith("purge")
    }
    wires = both.cut_list[both.cut_list["label"].str.endswith(" G") & (both.cut_list["role"] == "ground return")]
    assert set(wires["from"]) == set(plan.index) and set(wires["colour"]) == {"black"}
    studs, before = (table.set_index("ground") for table in (both.ground_points, plain.ground_points))
    assert studs["returns"].sum() - before["returns"].sum() == 3
    assert not list(bench(both)) and not list(bench(plain))
    weak = tuple(replace(g, max_ma=int(1000 * studs.loc[g.name, "current_a"]) - 1) for g in vehicle.grounds)
    used = set(plan["ground"])

    class Weaker:
        """The tables as they are, with each stud one mA too weak."""

        vehicle = replace(both.vehicle, grounds=tuple(g for g in weak if g.name in used))
        circuits, ground_plan, cut_list = both.circuits, both.ground_plan, both.cut_list

    assert {f.subject for f in bench(Weaker) if f.rule == "ground current"} == used


def test_what_a_box_switches_to_ground_is_fed_by_the_channel_of_its_load(papers, side, rally):
    """The load's wire is its supply, its pin its return, on no stud; without a load its feed is said to be missing."""
    allocation = replace(papers[0], signals=None)
    wanted = (
        Signal("injectors", "injector", 4, "engine", current_ma=900, fed_by="injector"),
        Signal("horn", "low_side", 2, "boot", current_ma=3400),
        Signal("relay", "low_side", place="boot", current_ma=150),
    )
    pins = [SignalPin(str(n), "A", frozenset(("injector_driver", "low_side")), 5000) for n in range(1, 8)]
    vehicle = replace(rally, signals=wanted, inputs=())
    vehicle = replace(vehicle, settings=replace(vehicle.settings, control_unit_load="engine computer"))
    driven = pa.signals(vehicle, Box("unit", tuple(pins)), places={"unit": "bulkhead"}, units=side.units)
    both = replace(allocation, vehicle=vehicle, signals=None).with_signals(driven)
    plan, before = both.ground_plan, allocation.ground_plan
    fed = plan[plan["load"].isin(["injector", "horn"])]
    assert set(fed["module"]) == {"unit"} and len(fed) == 6 and fed["ground"].str.startswith("unit A ").all()
    assert before[before["load"].isin(["injector", "horn"])]["items"].sum() == 6
    studs, old = (table.set_index("ground")["returns"] for table in (both.ground_points, allocation.ground_points))
    assert old.loc[rally_studs(rally)].sum() - studs.loc[rally_studs(rally)].sum() == 6
    supply = both.cut_list[both.cut_list["loads"].str.contains("injector") & (both.cut_list["role"] != "return")]
    assert {f"injector #{n}" for n in range(1, 5)} <= set(supply["to"])
    assert dict(zip(driven.pin_map()["signal"], driven.pin_map()["fed_by"], strict=True)) == {
        "injectors": "load injector",
        "horn": "load horn",
        "relay": "not known",
    }
    care = {one.code: one for one in driven.care()}
    assert care["S08"].subject == "relay" and "S09" not in care
    assert {one.subject for one in driven.care() if one.code == "S10"} == {"horn", "unit"}
    assert not list(bench(both)) and {one.subject for one in side.care() if one.code == "S09"} == {"control-40"}
    told = {row.loads: row.remark for row in commissioning(both).itertuples() if row.expected_a > 0}
    low = [loads for loads, remark in told.items() if "in the output test of its box" in remark]
    assert low and all("injector" in loads or "horn" in loads for loads in low)
    assert not any("output test" in remark for remark in commissioning(allocation)["remark"].dropna())


def test_the_drop_of_what_a_box_switches_counts_the_wire_back_to_its_pin(papers, rally):
    """Out over the channel's wire and back over the pin's, the latter by Ohm's law; warned where both are more
    than the load may lose, whatever the returns of other loads are.
    """
    allocation = replace(papers[0], signals=None)
    horn = next(load for load in rally.loads if load.name == "horn")
    signals = (Signal("horn", "low_side", horn.count, horn.place, current_ma=horn.running_ma),)
    pins = tuple(SignalPin(str(n), "A", frozenset(("low_side",)), 9000) for n in range(horn.count))
    out = allocation.drops.set_index("load").loc[["horn"], "drop_pct"].max()

    def told(limit_pct, place):
        loads = tuple(replace(one, max_drop_pct=limit_pct) if one.name == "horn" else one for one in rally.loads)
        vehicle = replace(rally, loads=loads, signals=signals, inputs=())
        beside = pa.signals(vehicle, Box("unit", pins), places={"unit": place})
        both = replace(allocation, vehicle=vehicle).with_signals(beside)
        row = both.ground_plan.set_index("load").loc["horn"]
        back = row["drop_pct"].max() if hasattr(row["drop_pct"], "max") else row["drop_pct"]
        return back, [one for one in both.warnings.itertuples() if one.code == "C27"]

    back, _ = told(10.0, "boot")
    metres, size = lengths_of(rally).wire_m("boot", horn.place), size_for(rally, horn.running_ma)
    ohm = size.ohm_per_m * (1 + 0.00393 * (rally.settings.insulation_c - 20))
    assert back == pytest.approx(100 * ohm * metres * horn.running_ma / 1000 / rally.settings.system_v, rel=0.03)
    assert not told(out + back + 0.05, "boot")[1]
    [warned] = told(out + back - 0.05, "boot")[1]
    assert warned.subject == "horn" and f"{back:.1f} % back" in warned.sentence


def rally_studs(vehicle):
    """Power grounds."""
    return [ground.name for ground in vehicle.grounds if ground.use == "power"]


def test_compare_tells_what_changed_on_the_signal_side_alone(side, papers, rally, catalogue):
    """A larger box elsewhere: it is fitted, the other removed, every item moves once; nothing where nothing changed."""
    allocation, _ = papers
    larger = signals_beside(rally, catalogue, side.units, ["control-76"], ["boot"])
    todo = pa.rework(allocation, allocation.with_signals(larger))
    boxes = todo[todo["action"].isin(["fit box", "remove box"])]
    assert set(zip(boxes["action"], boxes["subject"], strict=True)) == {
        ("remove box", "control-40"),
        ("fit box", "control-76"),
    }
    moved = todo[todo["action"] == "move wire"]
    assert moved["items"].sum() == sum(s.count for s in rally.signals)
    assert set(moved["from_module"]) == {"control-40"} and set(moved["to_module"]) == {"control-76"}
    assert set(todo["action"]) == {"fit box", "remove box", "move wire", "lay bus"}
    assert len(pa.rework(allocation, allocation)) == len(pa.compare(allocation, allocation)) == 0


def test_what_is_read_at_each_pin_is_on_the_commissioning_sheet(side):
    """Half of 120 ohm across the bus, 5 V within limits on each supply in use, a step for every signal."""
    steps = signal_steps(side)
    bus = steps[steps["pin"] == "bus"].iloc[0]
    assert (bus["least"], bus["most"], bus["unit"]) == (54, 66, "ohm")
    volts = steps[steps["signal"].str.startswith("5 V")]
    assert set(volts["pin"]) == {"B 18", "B 19"} and (volts["least"] < 5).all() and (volts["most"] > 5).all()
    valve = steps[(steps["signal"] == "idle valve") & steps["read"].str.startswith("unplugged")].iloc[0]
    assert valve["least"] < 12 / 0.8 < valve["most"]
    named = {name.split(" #")[0] for name in steps["signal"]}
    assert {s.name for s in side.signals_placed} - {"vehicle bus"} <= named


def test_connectors_of_a_control_unit_are_checked_with_bus_and_sensors_unplugged(papers):
    """A terminator left in would be read between the wires of the bus; every connector once, as many as there are."""
    checks = dead_checks(papers[0])["check"].tolist()
    of_unit = [check for check in checks if check.startswith("control-40, connector")]
    assert len(of_unit) == 4 and sum("nodes of the bus and terminators unplugged" in check for check in of_unit) == 2
    assert not any("load" in check for check in of_unit)


def test_the_shopping_list_is_sorted_thin_to_thick_and_names_what_has_no_length(papers):
    """Ends of each kind by size; wire of which no length is known has none, rather than 0 m."""
    places = [replace(p, x_m=None, y_m=None) for p in papers[0].vehicle.places]
    bare = replace(papers[0].vehicle, parts=())
    shop = replace(papers[0], vehicle=bare).shopping
    for item in ("load terminal", "ring", "seal", "terminal"):
        sizes = [float(text.split()[0]) for text in shop.loc[shop["item"] == item, "detail"] if text[0].isdigit()]
        assert len(sizes) > 1 and sizes == sorted(sizes)
    lost = replace(papers[0], vehicle=replace(bare, routes=(), places=tuple(places)), signals=None).shopping
    wire = lost[lost["item"] == "wire"]
    assert wire["length_m"].isna().sum() > 5 and (wire["length_m"].dropna() > 0).all()
    assert wire.loc[wire["length_m"].isna(), "note"].str.contains("of a length not known").all()


def test_the_cut_list_says_what_it_lacks(papers):
    """Inputs of a module whose pins have no names are no ends to cut a wire to; with a pin each nothing is lacking."""
    [note] = [sheet.note for sheet in sheets(papers[0]) if sheet.name == "Cut list"]
    bare = [i for i in papers[0].vehicle.inputs if i.kind != "bus" and i.read_by in (None, "module")]
    assert f"Without the wires to {len(bare)} inputs of the module" in note
    assert not_cut(input_list(papers[0].vehicle, {i.name: f"middle-36 in {n}" for n, i in enumerate(bare)})) == ""


@pytest.mark.once
def test_binder_with_signals_has_no_page_that_is_nearly_empty(papers):
    """Both sides in one binder: short, and every page holds a quarter at least."""
    pages = pypdf.PdfReader(papers[1] / "rally_coupe.pdf").pages
    assert len(pages) <= 25
    assert min(page_height(page) for page in pages[:-1]) > 1 / 4
    text = "".join(page.extract_text() for page in pages)
    for heading in ("Bench sheet: control-40 at bulkhead, connector B", "Bus limits", "Signal commissioning"):
        assert heading in text


def test_pages_of_a_control_unit_speak_of_signals_not_of_loads(papers, side):
    """Its bench pages name what leaves a control unit, its bus pins the next nodes; supplies in mA, wire as bought."""
    pages = [page.extract_text() for page in pypdf.PdfReader(papers[1] / "rally_coupe.pdf").pages]
    bench = [text for text in pages if "Bench sheet: control-40" in text]
    assert len(bench) == 2
    assert all("as it leaves the control unit" in text and "Inrush" not in text for text in bench)
    assert all("loads" not in text.split("\n") for text in bench)
    modules = [text for text in pages if "Bench sheet: middle-36" in text]
    assert modules and all("as it leaves the module" in text and "Inrush time" in text for text in modules)
    sheet = side.bench_sheet().set_index("loads")
    assert {"middle-36", "keypad-15 K2"} & set(sheet.loc["vehicle bus", "destination"].iloc[0].split(", "))
    tables = {one.name: one for one in sheets(papers[0])}
    supplies = tables["Sensor supplies"].table
    assert set(supplies["function"]) == {"5 V supply", "sensor ground"}
    drawn = sum(s.current_ma * s.count for s in side.vehicle.signals if "supply_5v" in s.needs)
    assert supplies[supplies["function"] == "5 V supply"]["current_ma"].sum() == drawn
    bought = papers[0].shopping
    wire = set(bought[bought["item"] == "wire"]["detail"])
    assert {"0.35 mm2 white, twisted, screened", "0.35 mm2 yellow, twisted", "0.35 mm2 white"} <= wire
    assert "a control unit, or a key of a keypad" in tables["Input list"].note


def test_without_messages_no_sheet_tells_of_them(papers):
    """An empty table would be taken for a fault."""
    allocation, _ = papers
    vehicle = replace(allocation.vehicle, messages=())
    quiet = replace(allocation.signals, vehicle=vehicle, bus=replace(allocation.signals.bus, times=(), load=None))
    names = {one.name for one in sheets(replace(allocation, vehicle=vehicle, signals=quiet))}
    assert "Bus limits" in names and "Bus messages" not in names


def _allocate(capsys, path, *more):
    code = main(["allocate", path, "--module", "M", *more])
    return code, capsys.readouterr()


def test_allocate_shows_both_sides_on_the_cheapest_boxes(tables, capsys):
    """Without a name the cheapest boxes that are enough are taken; JSON carries power and signals."""
    code, said = _allocate(capsys, tables())
    assert code == 0 and "Signals on small #1, small #2: proven best" in said.out
    code, said = _allocate(capsys, tables(), "--control-unit", "large", "--json")
    answer = json.loads(said.out)
    assert (code, answer["signals"]["outcome"], len(answer["channels"])) == (0, "proven best", 1)
    assert [row["signal"] for row in answer["signals"]["signal_pin_map"]] == ["button"] * 3


def test_allocate_ends_with_1_where_only_the_signals_are_too_many(tables, capsys, tmp_path):
    """Verdict and exit code follow both; the documents hold no signal pins that are not there."""
    code, said = _allocate(capsys, tables(), "--control-unit", "small", "--out", str(tmp_path / "out"))
    assert code == 1
    assert "small: not enough for the signals. Short: 1 switch_to_ground pin of small (for button)." in said.out
    assert not (tmp_path / "out" / "tables" / "signal_pin_map.csv").exists()
    assert "not enough for the signals" in (tmp_path / "out" / "tables" / "warnings.csv").read_text()


@pytest.mark.parametrize(
    "more",
    [("--control-unit", "tiny"), ("--control-unit", "large", "--control-place", "moon"), ("--control-place", "x")],
)
def test_a_box_or_place_that_is_not_there_is_refused(tables, capsys, tmp_path, more):
    """One clear message, exit code 2, nothing written."""
    code, said = _allocate(capsys, tables(), *more, "--out", str(tmp_path / "out"))
    assert code == 2 and more[-1] in said.err
    assert not (tmp_path / "out").exists()


def test_bit_rate_and_stubs_of_the_command_line_are_checked_against_published_limits(capsys):
    """A stub of 0.5 m is told, one of 0.3 m is not; what is no rate, no length and no node is refused with code 2."""
    words = ["allocate", str(DATA / "rally_coupe"), "--module", "middle-36", "--place", "glove box"]
    words += ["--control-unit", "control-40", "--control-place", "bulkhead", "--bus-kbit", "1000"]
    assert main([*words, "--bus-stub", "0.3", "--bus-stub", "control-40=0.5"]) == 0
    said = capsys.readouterr().out
    assert "Bus at 1000 kbit/s" in said and "The stub to control-40 is 0.50 m; at 1000 kbit/s at most 0.3 m." in said
    assert said.count("The stub to") == 1
    assert main([*words, "--bus-stub", "moon=0.2"]) == 2 and "'moon'" in capsys.readouterr().err
    for wrong in (("--bus-kbit", "2000"), ("--bus-stub", "far")):
        with pytest.raises(SystemExit):
            main([*words, *wrong])


def test_the_control_unit_sits_where_its_wires_are_lightest(rally, catalogue, side):
    """Each place worked out anew from scratch weighs what the table says, and the first is the one taken by itself."""
    table = control_places(side)
    sites = [place.name for place in rally.places if place.mount]
    assert sorted(table["places"]) == sorted(sites) and table["mass_g"].is_monotonic_increasing
    for row in table.itertuples():
        there = signals_beside(rally, catalogue, side.units, ["control-40"], [row.places])
        assert there.cut_list()["mass_g"].sum() == pytest.approx(row.mass_g, abs=0.01)
    assert signals_beside(rally, catalogue, side.units).boxes[0].place == table["places"].iloc[0]


def test_a_vehicle_without_signals_has_no_signal_side(tables, capsys, tmp_path):
    """Nothing printed, nothing written, nothing in the JSON."""
    path = tables()
    (tmp_path / "car" / "signals.csv").unlink()
    code, said = _allocate(capsys, path, "--out", str(tmp_path / "out"), "--json")
    assert code == 0 and "signals" not in json.loads(said.out)
    assert not [file for file in (tmp_path / "out").rglob("*") if "signal" in file.name]


def _tracked(supplies, **more):
    """Pedal and throttle of two tracks each and four sensors more of 10 mA, on so many supplies of 80 mA in all."""
    pins = [SignalPin(f"v{n}", "A", frozenset(["voltage_input"])) for n in range(8)]
    pins += [SignalPin(f"s{n}", "B", frozenset(["supply_5v"]), 80 // supplies) for n in range(supplies)]
    pins += [SignalPin(f"g{n}", "B", frozenset(["sensor_ground"]), 50) for n in range(2)]
    needs = frozenset(("supply_5v", "sensor_ground"))
    sensors = [Signal(n, "voltage", 2, None, "vital", needs, 10, **more) for n in ("pedal", "throttle")]
    sensors += [Signal(n, "voltage", 1, None, "vital", needs, 10, **more) for n in ("air", "oil", "rail", "fuel")]
    vehicle = Vehicle("car", (Load("lamp", "on", 100),), (Command("on"),), (), signals=tuple(sensors))
    return pa.signals(vehicle, Box("unit", tuple(pins)))


def test_tracks_of_one_sensor_hang_on_two_supplies_and_two_grounds():
    """Two tracks of a pedal share neither where the box has two, and no signal is kept off its pin for it."""
    side = _tracked(2)
    fed = {name: [use for use in side.allocation.uses if use.signal == name] for name in ("pedal", "throttle")}
    for one, two in fed.values():
        assert one.supply != two.supply and one.ground != two.ground
    assert not [warning for warning in side.care() if warning.code == "S12"]


def test_tracks_that_share_the_only_supply_are_pointed_out():
    """One 5 V pin: both tracks of both sensors hang on it, and the sentence says which pin."""
    warned = [warning for warning in _tracked(1).care() if warning.code == "S12"]
    assert [warning.subject for warning in warned] == ["pedal", "throttle"]
    assert "pedal: both hang on one sensor 5 V supply, pin B-s0 of unit" in warned[0].sentence


def test_a_load_named_like_a_box_that_is_not_fitted_is_pointed_out(rally, catalogue):
    """The supply of a control unit stayed in the table when another was taken; with that one fitted it is fine."""
    feed = replace(rally.loads[0], name="control-40", count=1)
    actuator = next(signal for signal in rally.signals if signal.kind == "low_side" and signal.count == 1)
    fed = tuple(replace(s, fed_by="control-40") if s.name == actuator.name else s for s in rally.signals)
    vehicle = replace(rally, loads=(*rally.loads, feed), signals=fed)

    def strangers(unit):
        side = signals_beside(vehicle, catalogue, (), [unit])
        return [(one.subject, one.sentence) for one in side.care() if one.code == "S13"]

    assert not strangers("control-40")
    [(name, sentence)] = strangers("control-76")
    assert name == "control-40" and "fitted: control-76" in sentence and f"feed {actuator.name}" in sentence
