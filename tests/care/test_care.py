"""Rules of care, each with a vehicle that breaks it and one that does not."""

from dataclasses import replace
from fractions import Fraction

import pytest

from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import Channel, Module, Unit
from pdm_alloc.domain.vehicle import Command, Load, Place, State, Vehicle
from pdm_alloc.result.allocation import Allocation, care
from pdm_alloc.result.care_rules import CAUTION, SEVERITIES, listed
from pdm_alloc.result.placed import PlacedCircuit
from tests.wiring import small

ON = {"run": 1_000_000, "beam": 1_000_000}
ECU = Load("ecu", "run", 4_000, importance="vital", min_v=7.0, length_m=1.0)
PUMP = Load("pump", "run", 6_000, kind="motor", volt_exponent=1, length_m=1.0)
LEFT = Load("beam left", "beam", 4_600, kind="filament", volt_exponent=0.55, length_m=1.0)
RIGHT = replace(LEFT, name="beam right")
VEHICLE = Vehicle(
    "test",
    (ECU, PUMP, LEFT, RIGHT),
    (Command("run"), Command("beam")),
    (State("ready", 12.0, ON),),
    states_given=True,
)
CHANNELS = tuple(Channel(str(n), 15_000, 90_000, 100.0, pair="p" if n < 3 else None) for n in range(1, 6))
UNIT = Unit("box", Module("box", 60_000, 200_000, CHANNELS, derating=((25.0, Fraction(1)), (85.0, Fraction(1, 2)))))


def circuit(channel, *loads, command="run", use="single"):
    items = tuple((name, 1 + loads[:n].count(name)) for n, name in enumerate(loads))
    return PlacedCircuit("box", tuple(channel.split("+")), use, command, items)


APART = (
    circuit("1", "ecu"),
    circuit("2", "pump"),
    circuit("3", "beam left", command="beam"),
    circuit("4", "beam right", command="beam"),
)


def with_load(load, **changes):
    loads = tuple(replace(one, **changes) if one is load else one for one in VEHICLE.loads)
    return replace(VEHICLE, loads=loads)


def with_settings(**changes):
    return replace(VEHICLE, settings=Settings(**changes))


def codes(vehicle=VEHICLE, units=(UNIT,), circuits=APART):
    return [warning.code for warning in care(vehicle, units, circuits)]


def one(code, *args, **kwargs):
    (found,) = [warning for warning in care(*args, **kwargs) if warning.code == code]
    return found


def test_a_careful_vehicle_has_one_warning():
    """Every load known and apart, one channel free, nothing hot: only retries of the vital load are to be set."""
    (warning,) = care(VEHICLE, (UNIT,), APART)
    assert (warning.code, warning.subject) == ("C23", "ecu")
    assert care(with_load(ECU, importance="needed"), (UNIT,), APART) == ()


def places(*pairs):
    return tuple(Place(name, compartment=where, contains=frozenset(what)) for name, where, what in pairs)


def test_battery_and_fuel_in_one_compartment():
    """C01: danger where one compartment holds both, silent where they are apart or the compartment has no name."""
    both = replace(VEHICLE, places=places(("box", "boot", ["battery"]), ("tank", "boot", ["fuel"])))
    assert (one("C01", both).severity, one("C01", both).subject) == ("danger", "boot")
    assert "C01" not in codes(replace(VEHICLE, places=places(("box", "nose", ["battery"]), ("tank", "boot", ["fuel"]))))
    assert "C01" not in codes(replace(VEHICLE, places=places(("box", "", ["battery"]), ("tank", "", ["fuel"]))))
    assert one("C01", replace(VEHICLE, places=places(("shelf", "", ["battery", "fuel"])))).subject == "shelf"


def test_battery_named_in_the_settings_counts():
    """C01 also where only battery_place says that the place has the battery."""
    where = places(("box", "boot", []), ("tank", "boot", ["fuel"]))
    assert "C01" in codes(replace(with_settings(battery_place="box"), places=where))
    assert "C01" not in codes(replace(VEHICLE, places=where))


def test_vital_load_shares():
    """C02 names the vital load; it alone on its channel, or two that are not vital together, are no matter."""
    shared = (circuit("1", "ecu", "pump"), *APART[2:])
    assert "ecu is vital" in one("C02", VEHICLE, (UNIT,), shared).sentence
    assert "C02" not in codes(with_load(ECU, importance="needed"), circuits=shared)


@pytest.mark.parametrize("side", ["left right", "lh rh"])
def test_lamp_pair_by_name(side):
    """C03 where left and right, or lh and rh, of one lamp share; not for motors, comfort lamps or unlike names."""
    left, right = (f"lamp {word}" for word in side.split())
    vehicle = replace(VEHICLE, loads=(replace(LEFT, name=left), replace(LEFT, name=right)))
    together = (circuit("3", left, right, command="beam"),)
    assert one("C03", vehicle, (UNIT,), together).subject == "box 3"
    for changes in ({"kind": "motor"}, {"importance": "comfort"}):
        other = replace(vehicle, loads=tuple(replace(load, **changes) for load in vehicle.loads))
        assert "C03" not in codes(other, circuits=together)
    unlike = replace(VEHICLE, loads=(replace(LEFT, name="front left"), replace(LEFT, name="rear left")))
    assert "C03" not in codes(unlike, circuits=(circuit("3", "front left", "rear left", command="beam"),))


def test_lamp_pair_by_count():
    """C03 where both items of one load share; not where they are split, and not for a set of four."""
    two = replace(VEHICLE, loads=(replace(LEFT, name="spot", count=2),))
    assert one("C03", two, (UNIT,), (circuit("3", "spot", "spot", command="beam"),)).subject == "box 3"
    split = (circuit("3", "spot", command="beam"), circuit("4", "spot", command="beam"))
    assert "C03" not in codes(two, circuits=split)
    four = replace(VEHICLE, loads=(replace(LEFT, name="spot", count=4),))
    assert "C03" not in codes(four, circuits=(circuit("3", *["spot"] * 4, command="beam"),))


def test_kept_apart_and_sharing():
    """C04 where two loads with one label share, as after a concession."""
    vehicle = replace(VEHICLE, loads=(replace(ECU, separate="x"), replace(PUMP, separate="x"), LEFT, RIGHT))
    assert "label x" in one("C04", vehicle, (UNIT,), (circuit("1", "ecu", "pump"), *APART[2:])).sentence
    assert "C04" not in codes(vehicle)


def test_no_spare():
    """C05 when every channel of all units is used."""
    full = (*APART, circuit("5", "pump"))
    assert one("C05", VEHICLE, (UNIT,), full).subject == "box"
    assert "C05" not in codes(circuits=full, units=(UNIT, replace(UNIT, label="other")))


def test_hot_place():
    """C06 from the class of the insulation on, not below it or where the ambient is not known."""
    for ambient, expected in ((105.0, True), (104.0, False), (None, False)):
        assert ("C06" in codes(replace(VEHICLE, places=(Place("manifold", ambient_c=ambient),)))) is expected


def test_hot_unit():
    """C07 where a module's ratings end below the ambient of its place, allocated or not."""
    hot = replace(VEHICLE, places=(Place("manifold", ambient_c=90.0),))
    assert one("C07", hot, (replace(UNIT, place="manifold"),)).severity == "danger"
    assert "C07" not in codes(hot)


def test_assumed_inrush():
    """C08 is one note with what is assumed of every kind and for which loads; kinds without inrush have none."""
    note = one("C08", with_load(PUMP, inrush_assumed=True))
    assert note.subject == "motor" and note.sentence == (
        "The inrush of 1 load is estimated from its kind, not measured: motor, 6 times running for 150 ms (pump)."
    )
    lamps = tuple(replace(LEFT, name=f"lamp {n}", inrush_assumed=True) for n in range(4))
    both = one("C08", replace(VEHICLE, loads=(replace(PUMP, inrush_assumed=True), *lamps)))
    assert both.subject == "filament and motor" and "inrush of 5 loads is estimated from their kind" in both.sentence
    assert "filament, 12 times running for 60 ms (lamp 0, lamp 1 and 2 more); motor, 6 times" in both.sentence
    assert "C08" not in codes(with_load(PUMP, inrush_assumed=True, kind="coil"))


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"tolerance_pct": Fraction(15)}, True),
        ({"tolerance_pct": Fraction(14)}, False),
        ({"note": "guess from a similar motor"}, True),
        ({"note": "Estimated."}, True),
        ({"note": "guest speaker"}, False),
    ],
)
def test_guessed_current(changes, expected):
    """C09 where the tolerance is wide or the note says it is a guess."""
    assert ("C09" in codes(with_load(PUMP, **changes))) is expected


def test_paralleled_channels_are_noted():
    """C14: a paralleled pair is noted for its wires."""
    paralleled = (circuit("1+2", "pump", use="pair"), *APART[2:])
    assert codes(with_load(PUMP, running_ma=20_000), circuits=paralleled) == ["C14"]


def test_drop_not_judged():
    """C11 for loads without a length, unless both load and module have a place; silent without a module."""
    loose = with_load(PUMP, length_m=None)
    assert one("C11", loose, (UNIT,)).subject == "1 of 4 loads"
    placed = replace(with_load(PUMP, length_m=None, place="nose"), places=(Place("nose"),))
    assert "C11" not in codes(placed, units=(replace(UNIT, place="nose"),))
    assert "C11" in codes(placed)
    assert "C11" not in [warning.code for warning in care(loose)]


def cranking(volts, **duties):
    return replace(VEHICLE, states=(*VEHICLE.states, State("cranking", volts, duties or ON)))


def test_supply_below_what_a_load_needs():
    """C12, danger for vital loads, only in states the load is on in."""
    assert one("C12", cranking(6.5)).severity == "danger"
    assert "cranking" in one("C12", cranking(6.5)).sentence
    needed = replace(cranking(6.5), loads=(replace(ECU, importance="needed"), PUMP))
    assert one("C12", needed).severity == "warning"
    assert "C12" not in codes(cranking(7.0)) + codes(cranking(6.5, beam=1_000_000))


def test_state_not_carried():
    """C13 where battery and charging do not last the state, or charging falls short and the rest is not known."""

    def parked(charging, minutes, **settings):
        return replace(with_settings(**settings), states=(State("parked", 12.0, ON, charging, minutes),))

    assert "of 180 min" in one("C13", parked(0.0, 180, battery_ah=60.0, peukert=1.0)).sentence
    assert "C13" not in codes(parked(0.0, 60, battery_ah=60.0, peukert=1.0))
    assert "loads draw 9.2 A more than charging" in one("C13", parked(10.0, None)).sentence
    assert "C13" not in codes(parked(None, None)) + codes(parked(20.0, 600, battery_ah=1.0))


def test_state_that_begins_with_the_battery_at_its_floor():
    """C13 says so, and not that it lasts 0 of its minutes; what is drawn past the modules is not called loads."""
    states = (State("camp", 12.0, ON, 0.0, 600), State("crank", 12.0, ON, 0.0, 1, other_ma=200_000))
    told = care(replace(with_settings(battery_ah=60.0), states=states))
    camp, crank = (w.sentence for w in told if w.code == "C13")
    assert "at its floor after" in camp
    assert crank.startswith("In crank loads, and what is drawn past the modules, draw 219.2 A more")
    assert crank.endswith(", and the battery is at its floor when it begins.")


def test_states_that_begin_with_the_battery_at_its_floor_are_one_warning():
    """Each with what it draws too much, in their order; the state that empties the battery stays a line of its own."""
    names = ("camp", "night", "dawn")
    states = tuple(State(name, 12.0, ON, 0.0 if n == 0 else 1.0 * n, 600) for n, name in enumerate(names))
    told = [w for w in care(replace(with_settings(battery_ah=60.0), states=states)) if w.code == "C13"]
    camp, rest = sorted(told, key=lambda w: w.subject != "camp")
    assert camp.subject == "camp" and "at its floor after" in camp.sentence
    assert rest.subject == "night and dawn"
    assert rest.sentence == (
        "In 2 states more is drawn than charging supplies, and the battery is at its floor when they begin: "
        "night (18.2 A) and dawn (17.2 A)."
    )


def test_lowest_voltage_unknown():
    """C15 where a vital load is on in the state with the lowest supply and nobody said what it needs."""
    unknown = replace(cranking(9.6), loads=(replace(ECU, min_v=None), PUMP))
    assert "9.6 V" in one("C15", unknown).sentence
    assert "C15" not in codes(cranking(9.6))
    assert "C15" not in [w.code for w in care(replace(unknown, states=VEHICLE.states))]


@pytest.mark.parametrize("place", ["tank", "shelf"])
def test_module_in_a_compartment_with_fuel(place):
    """C19: danger at the tank's place and anywhere in its compartment (33 CFR 183.410, from memory); not elsewhere."""
    where = places(("tank", "boot", ["fuel"]), ("shelf", "boot", []), ("dash", "cabin", []), ("hook", "", []))
    vehicle = replace(VEHICLE, places=where)
    warning = one("C19", vehicle, (replace(UNIT, place=place),))
    assert (warning.severity, warning.subject) == ("danger", "box") and "boot" in warning.sentence
    assert "C19" not in codes(vehicle, (replace(UNIT, place="dash"),)) + codes(vehicle, (replace(UNIT, place="hook"),))


SLOW = replace(PUMP, name="wiper, slow winding", command="slow", place="scuttle")


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"name": "wiper, fast winding"}, True),
        ({"name": "Wiper high speed", "kind": "fan"}, True),
        ({"name": "wiper, fast winding", "place": "tail"}, False),
        ({"name": "wiper, fast winding", "command": "slow"}, False),
        ({"name": "wiper, fast winding", "kind": "heater"}, False),
        ({"name": "rear wiper, fast winding"}, False),
        ({"name": "wiper"}, False),
    ],
)
def test_a_motor_of_two_windings(changes, expected):
    """C20 where kind, place and the rest of the name agree and commands differ; the warning says what it rests on."""
    vehicle = replace(VEHICLE, loads=(SLOW, replace(SLOW, **{"command": "fast", **changes})))
    found = [warning for warning in care(vehicle) if warning.code == "C20"]
    assert bool(found) is expected
    assert all("names that differ by a word of speed" in warning.sentence for warning in found)


VALVE = replace(PUMP, name="valve", kind="solenoid", running_ma=3_000)


def test_inductive_turn_off():
    """C21: 12 V x 3 A rising in 20 ms give back about 120 mJ; a note where the catalogue is silent, none for lamps.

    At -20 deg C the winding carries 254.5 / 214.5 of that current through the same inductance: 169 mJ.
    """
    vehicle = replace(with_settings(lowest_ambient_c=20.0), loads=(ECU, VALVE, LEFT, RIGHT))
    circuits = (circuit("2", "valve"),)

    def box(mj):
        channels = tuple(replace(channel, turn_off_mj=mj) for channel in CHANNELS)
        return (replace(UNIT, module=replace(UNIT.module, channels=channels)),)

    warning = one("C21", vehicle, box(119.0), circuits)
    assert warning.severity == "warning" and "120 mJ" in warning.sentence
    assert "C21" not in codes(vehicle, box(120.0), circuits)
    frost = replace(vehicle, settings=Settings(lowest_ambient_c=-20.0))
    assert "169 mJ" in one("C21", frost, box(168.0), circuits).sentence
    assert "C21" not in codes(frost, box(169.0), circuits)
    note = one("C21", vehicle, (UNIT,), circuits)
    assert note.severity == "note" and "valve" in note.sentence
    assert "C21" not in codes(circuits=APART)


def test_parked_for_less_than_two_weeks():
    """C25: 30 Ah above the floor at 100 mA are 12.5 days; at 50 mA it is silent, and so without a battery."""

    def box(ma):
        return (replace(UNIT, module=replace(UNIT.module, quiescent_ma=ma)),)

    flat = with_settings(battery_ah=60.0)
    assert "12.5 days" in one("C25", flat, box(100.0)).sentence
    assert "C25" not in codes(flat, box(50.0)) + codes(VEHICLE, box(100.0)) + codes(flat, (UNIT,))


def test_equal_lines_are_one():
    """Eleven guesses are one warning with the count and every name; two severities of one rule stay apart."""
    guesses = tuple(replace(PUMP, name=f"pump {n}", tolerance_pct=Fraction(20)) for n in range(11))
    warning = one("C09", replace(VEHICLE, loads=guesses))
    assert "of 11 loads" in warning.sentence and all(load.name in warning.sentence for load in guesses)
    mixed = replace(cranking(6.5), loads=(ECU, replace(PUMP, min_v=9.0), replace(ECU, name="spare ecu")))
    found = [w for w in care(mixed) if w.code == "C12"]
    assert [w.severity for w in found] == ["danger", "warning"]
    assert "2 loads" in found[0].sentence and "spare ecu (7 V, in cranking)" in found[0].sentence


HEATERS = tuple(
    Load(f"h{n}", "run", 14_000, kind="heater", inrush_ma=14_000, place="left", volt_exponent=1.0) for n in range(2)
)


def fitted(contact_c=None, **settings):
    """Two heaters on two channels whose contacts bear a temperature."""
    circuits = tuple(PlacedCircuit("box", (str(n + 1),), "single", "run", ((f"h{n}", 1),)) for n in range(2))
    return Allocation(
        small.forked(*HEATERS, battery_place="source", **settings),
        (small.unit(place="source", contact_c=contact_c),),
        circuits,
    )


def test_contact_cooler_than_its_wire():
    """C22 names both contacts whose wire runs hotter, once; silent where the contact bears it or states nothing."""
    table = fitted(60.0).warnings.set_index("code")
    assert table.severity["C22"] == "warning" and "2 wires" in table.sentence["C22"]
    assert "contact to 60" in table.sentence["C22"]
    for contact_c in (105.0, None):
        assert "C22" not in set(fitted(contact_c).warnings.code)
    nowhere = replace(fitted(60.0), units=tuple(replace(unit, place=None) for unit in fitted(60.0).units))
    assert set(nowhere.wires["size"]) == {"not known"} and "C22" not in set(nowhere.warnings.code)


def test_a_short_that_opens_no_fuse():
    """C24: a battery of 100 milliohm drives 120 A, too little to open a fuse of 35 A within 5 s behind long cable."""
    weak = fitted(battery_ah=60.0, battery_mohm=300.0).warnings.set_index("code")
    assert weak.severity["C24"] == "danger" and "within 5 s" in weak.sentence["C24"]
    assert "C24" not in set(fitted(battery_ah=60.0).warnings.code)


def test_a_cable_that_cannot_be_had():
    """C26: 600 A take more than the largest standard fuse."""
    huge = fitted()
    vehicle = replace(huge.vehicle, loads=tuple(replace(x, running_ma=300_000) for x in huge.vehicle.loads))
    table = replace(huge, vehicle=vehicle).warnings.set_index("code")
    assert "480 A, no standard fuse is large enough" in table.sentence["C26"]
    assert "C26" not in set(huge.warnings.code)


def test_order_and_shape():
    """Gravest first, every warning with all five fields, and the same whatever order the tables have."""
    vehicle = replace(cranking(6.5), places=places(("box", "boot", ["battery"]), ("tank", "boot", ["fuel"])))
    vehicle = replace(vehicle, loads=tuple(replace(load, inrush_assumed=True, length_m=None) for load in vehicle.loads))
    shared = (circuit("1", "ecu", "pump"), circuit("3", "beam left", "beam right", command="beam"))
    found = care(vehicle, (UNIT,), shared)
    ranks = [SEVERITIES.index(warning.severity) for warning in found]
    assert ranks == sorted(ranks) and set(ranks) == {0, 1, 2}
    assert all(w.code and w.subject and w.sentence.endswith(".") and w.remedy.endswith(".") for w in found)
    turned = replace(vehicle, places=vehicle.places[::-1], states=vehicle.states[::-1])
    assert [(w.code, w.subject) for w in care(turned, (UNIT,), shared[::-1])] == [(w.code, w.subject) for w in found]


def test_caution_is_whole():
    """The caution names measurement, local rules, main fuse and isolator, and what a trip setting protects."""
    text = " ".join(CAUTION)
    assert all(word in text for word in ("measurement", "qualified", "regulations", "main fuse", "isolator", "wire"))


@pytest.mark.parametrize(
    ("names", "text"),
    [
        ((), ""),
        (("a",), "a"),
        (("a", "b"), "a and b"),
        (tuple("abcdef"), "a, b, c, d, e and f"),
        (tuple("abcdefgh"), "a, b, c, d, e and 3 more"),
    ],
)
def test_lists(names, text):
    """Lists read as a person writes them and do not run on."""
    assert listed(names) == text
