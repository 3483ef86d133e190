import random
import re
from dataclasses import replace
from itertools import pairwise, product

import pytest

from pdm_alloc.allocator import allocate_signals
from pdm_alloc.diagnose.signal_shortfall import signal_remedies
from pdm_alloc.domain.module import Box, Keypad, Signal, SignalPin, fitted
from pdm_alloc.studies.signal_sizing import ModuleOption, cheapest_keypads, choose_boxes


def _pins(words, count, rating=None):
    return [SignalPin(f"{words}{n}", "A", frozenset(words.split()), rating) for n in range(count)]


def _box(name="unit", role="control_unit", price=None, **counts):
    ratings = {"supply_5v": 100, "sensor_ground": 100, "low_side": 1000, "high_side": 1000}
    pins = [pin for words, count in counts.items() for pin in _pins(words, count, ratings.get(words))]
    return Box(name, tuple(pins), role, price, price)


def _switches(count, **more):
    return [Signal(f"key {n}", "switch_to_ground", place="dash", **more) for n in range(count)]


def _remedy(kind, signals, boxes, **more):
    return next((r for r in signal_remedies(signals, boxes, **more) if r.kind == kind), None)


def test_switches_go_to_a_free_analog_pin_through_a_ladder():
    """Four switches, two switch pins, one free resistance input: two move, as one ladder, and it is verified."""
    boxes = fitted([_box(switch_to_ground=2, resistance_input=1, sensor_ground=1)])
    remedy = _remedy("ladder", _switches(4), boxes)
    assert len(remedy.moved) == 2 and remedy.proved
    assert [len(names) for _, names, _ in remedy.ladders] == [2]
    assert remedy.ladders[0][2].gap > 0
    assert remedy.allocation and not remedy.allocation.findings


def test_no_ladder_without_a_free_analog_pin_or_for_vital_switches():
    """Nothing is promised that cannot be wired, and what is vital stays on its own pin."""
    assert _remedy("ladder", _switches(3), fitted([_box(switch_to_ground=2, sensor_ground=1)])) is None
    boxes = fitted([_box(switch_to_ground=2, resistance_input=1, sensor_ground=1)])
    assert _remedy("ladder", _switches(3, importance="vital"), boxes) is None


def test_the_cheapest_keypad_that_is_enough_is_taken():
    """Three keys too many: four keys for 100, not two for 50 nor eight for 150."""
    pads = [Keypad("two", 2, price=50), Keypad("eight", 8, price=150), Keypad("four", 4, price=100)]
    remedy = _remedy("keypad", _switches(5), fitted([_box(switch_to_ground=2)]), keypads=pads)
    assert (remedy.bought, len(remedy.moved)) == (("four",), 3)
    assert "key 0, key 1, key 2 to keys of one four at dash on the bus" in remedy.sentence


def test_one_keypad_sits_at_one_place():
    """Two switches too many: at the rear, where two of them are; where each place has one alone, a keypad each."""
    signals = [Signal("door", "switch_to_ground"), *(Signal(f"r {n}", "switch_to_ground", place="rear") for n in "ab")]
    signals[0] = replace(signals[0], place="front")
    boxes = fitted([_box(switch_to_ground=1)])
    remedy = _remedy("keypad", signals, boxes, keypads=[Keypad("k", 4)])
    assert remedy.sentence == "r a, r b to keys of one k at rear on the bus"
    both = _remedy("keypad", signals[:2], fitted([_box(voltage_input=1)]), keypads=[Keypad("k", 4)])
    assert both.bought == ("k", "k")
    assert both.sentence == "door to keys of one k at front, r a to keys of one k at rear on the bus"


def test_comfort_goes_before_needed():
    """Of two switches of a kind the one for comfort moves."""
    signals = [Signal("a", "switch_to_ground", importance="comfort"), Signal("b", "switch_to_ground")]
    remedy = _remedy("keypad", signals, fitted([_box(switch_to_ground=1)]), keypads=[Keypad("k", 4)])
    assert remedy.moved == ("a",)


def test_a_sensor_goes_to_an_expander_and_a_vital_one_does_not():
    """Fewest sensors move; where the only one that could is vital, there is no such remedy."""
    sensors = [Signal(f"s{n}", "voltage") for n in range(4)]
    expander = _box("expander", "expander", 120, voltage_input=4)
    remedy = _remedy("expander", sensors, fitted([_box(voltage_input=3)]), expanders=[expander])
    assert len(remedy.moved) == 1 and remedy.allocation.free_pins == {"unit": 0, "expander": 3}
    vital = [Signal("s", "voltage", 4, importance="vital")]
    assert _remedy("expander", vital, fitted([_box(voltage_input=3)]), expanders=[expander]) is None


def test_a_load_too_strong_for_its_pin_goes_through_a_relay():
    """2 A on pins of 1 A: a coil instead. With PWM a relay is no remedy."""
    boxes = fitted([_box(low_side=1)])
    remedy = _remedy("relay", [Signal("fan", "low_side", current_ma=2000)], boxes)
    assert remedy.moved == ("fan",) and remedy.allocation
    pwm = [Signal("fan", "low_side", needs=frozenset(("pwm",)), current_ma=2000)]
    assert _remedy("relay", pwm, fitted([_box(**{"low_side pwm": 1})])) is None


@pytest.mark.parametrize("seed", range(25))
def test_a_keypad_takes_exactly_what_is_too_many(seed):
    """Random counts: moved = switches - pins where the keypad has as many keys; none where it has not."""
    rng = random.Random(seed)
    switches, pins, keys = rng.randint(2, 9), rng.randint(0, 6), rng.randint(1, 5)
    boxes = fitted([_box(switch_to_ground=pins, frequency=1)])
    remedy = _remedy("keypad", _switches(switches), boxes, keypads=[Keypad("k", keys)])
    over = max(0, switches - pins)
    assert (remedy is None) == (over > keys)
    assert remedy is None or len(remedy.moved) == over


@pytest.mark.parametrize("seed", range(30))
def test_keypads_cost_as_little_as_any_set(seed):
    """Brute force over all sets of up to four of each."""
    rng = random.Random(seed)
    pads = [Keypad(f"k{n}", rng.randint(1, 6), price=rng.randint(20, 99)) for n in range(3)]
    keys = rng.randint(0, 4)
    sets = [c for c in product(range(5), repeat=3) if sum(n * p.keys for n, p in zip(c, pads, strict=True)) >= keys]
    least = min(sum(n * p.price for n, p in zip(c, pads, strict=True)) for c in sets)
    assert sum(pad.price for pad in cheapest_keypads(keys, pads)) == least
    assert cheapest_keypads(1, []) is None


@pytest.mark.parametrize("seed", range(12))
def test_the_choice_is_the_cheapest_of_all_sets(seed):
    """Modules, units and keypads together equal brute force over every set of up to two units."""
    rng = random.Random(seed)
    units = [_box(f"u{n}", "control_unit", rng.randint(100, 999), voltage_input=rng.randint(1, 6)) for n in range(3)]
    modules = [
        ModuleOption(f"m{n}", (_box(f"m{n}", "module", None, voltage_input=n),), rng.randint(300, 900))
        for n in range(3)
    ]
    signals = [Signal("s", "voltage", rng.randint(1, 9))]
    choice = choose_boxes(signals, units, modules, {"dash": 3}, [Keypad("k", 2, price=70)], most_units=2)
    sets = [(), *((a,) for a in units), *((a, b) for n, a in enumerate(units) for b in units[n:])]
    fits = [
        m.price + sum(u.price for u in chosen) + 140
        for m in modules
        for chosen in sets
        if allocate_signals(signals, fitted((*m.boxes, *chosen)))
    ]
    assert (choice.outcome == "proven best") == bool(fits)
    assert not fits or choice.cost == min(fits)


def test_the_choice_is_by_price_or_mass():
    """Another word is refused."""
    with pytest.raises(ValueError, match="price or mass"):
        choose_boxes([], [], by="looks")


def test_a_ladder_built_as_the_sentence_says_reads_each_combination_apart():
    """Resistors out of the sentence, every one at either end of its 1 %: Ohm's law tells all combinations apart."""
    boxes = fitted([_box(switch_to_ground=1, resistance_input=1, sensor_ground=1)])
    signals = _switches(3)
    assert not allocate_signals(signals, boxes)
    remedy = _remedy("ladder", signals, boxes)
    told = re.search(
        r"(.*) on one analog pin .* resistor of ([\d, ]+) ohm, 1 %.* pull-up in the pin of (\d+) ohm", remedy.sentence
    )
    keys, ohms, pull_up = told[1].split(", "), [float(x) for x in told[2].split(", ")], float(told[3])
    assert len(keys) == len(ohms) == len(remedy.moved) == 2
    bands = []
    for closed in product((False, True), repeat=len(ohms)):
        readings = []
        for ends in product((0.99, 1.01), repeat=len(ohms) + 1):
            siemens = sum(1 / (ohm * end) for ohm, end, shut in zip(ohms, ends, closed, strict=False) if shut)
            readings.append(1 / (1 + pull_up * ends[-1] * siemens))
        bands.append((min(readings), max(readings)))
    bands.sort()
    gaps = [100 * (high[0] - low[1] - 2 * 0.005) for low, high in pairwise(bands)]
    assert min(gaps) == pytest.approx(float(re.search(r"at least ([\d.]+) %", remedy.sentence)[1]), abs=0.051)
    kept = [s for s in signals if s.name not in keys]
    by_hand = Signal("ladder", "resistance", place="dash", needs=frozenset(("sensor_ground",)), current_ma=5)
    assert allocate_signals([*kept, by_hand], boxes).outcome == "proven best"


def test_a_ladder_on_a_pin_without_a_pull_up_names_the_one_to_fit():
    """A voltage input has none: the sentence says where it goes, and the sensors' supply has the current for it."""
    boxes = fitted([_box(switch_to_ground=1, voltage_input=1, supply_5v=1, sensor_ground=1)])
    remedy = _remedy("ladder", _switches(2), boxes)
    assert "with 1000 ohm to the 5 V" in remedy.sentence
    [use] = [use for use in remedy.allocation.uses if use.signal.startswith("ladder")]
    assert use.supply and use.ground


@pytest.mark.parametrize("kind", ["keypad", "expander"])
def test_what_comes_over_the_bus_needs_a_connection_of_its_box(kind):
    """Bus pins that are free are taken for it; where a pickup needs them, there is no such remedy."""
    pins = [SignalPin(f"b{n}", "B", frozenset(("bus", "frequency_pair")), None, "b") for n in (1, 2)]
    unit = Box("unit", (*_pins("switch_to_ground", 1), *pins))
    more = {"keypads": [Keypad("k", 4)], "expanders": [_box("e", "expander", 9, switch_to_ground=4)]}
    remedy = _remedy(kind, _switches(3), fitted([unit]), **more)
    assert [use.pins for use in remedy.allocation.uses if use.signal == "bus connection"] == [("B-b1", "B-b2")]
    assert "bus connection" not in remedy.moved
    pickup = Signal("pickup", "frequency_pair", importance="vital")
    assert _remedy(kind, [*_switches(3), pickup], fitted([unit]), **more) is None
    listed = Signal("vehicle bus", "bus")
    again = _remedy(kind, [*_switches(3), listed], fitted([unit]), **more)
    assert {use.signal for use in again.allocation.uses} >= {"vehicle bus"} and len(again.moved) == 2


def test_a_relay_put_in_by_hand_is_enough():
    """A coil of 150 mA in place of the load of 2 A, on the same pin; the load itself is on no pin any more."""
    boxes = fitted([_box(low_side=1)])
    load = Signal("fan", "low_side", current_ma=2000)
    assert not allocate_signals([load], boxes)
    remedy = _remedy("relay", [load], boxes)
    assert "fan through a relay each, its coil (150 mA) on a low-side pin" in remedy.sentence
    assert allocate_signals([Signal("relay of fan", "low_side", current_ma=150)], boxes).outcome == "proven best"
    assert [use.signal for use in remedy.allocation.uses] == ["relay of fan 1"]
