import random
from dataclasses import replace
from itertools import combinations, product

import pytest

from pdm_alloc.allocator import allocate_signals
from pdm_alloc.diagnose.signal_shortfall import signal_shortfall
from pdm_alloc.domain.module import Box, Signal, SignalPin, fitted
from pdm_alloc.verify.check import verify_signals
from tests.signals.cases import least_cost, random_case
from tests.signals.cp_sat import least_lost


@pytest.mark.parametrize("seed", range(20))
def test_the_assignment_equals_brute_force(seed):
    """Over 2,000 small cases: enough exactly when some assignment exists, and then at the least cost of all."""
    rng = random.Random(seed)
    for number in range(100):
        signals, boxes = random_case(rng)
        allocation = allocate_signals(signals, boxes)
        best = least_cost(signals, boxes)
        assert bool(allocation) == (best is not None), (seed, number)
        assert not allocation.findings
        if best is not None:
            assert allocation.costs == best, (seed, number)


def test_the_cases_are_of_both_kinds():
    """Neither nearly all enough nor nearly all not, or the comparison would say little."""
    rng = random.Random(0)
    enough = [bool(allocate_signals(*random_case(rng))) for _ in range(100)]
    assert 25 < sum(enough) < 75


@pytest.mark.parametrize("seed", range(12))
def test_larger_cases_equal_a_model_without_classes(seed):
    """CP-SAT with a binary per signal and pin finds the same verdict and the same least cost."""
    rng = random.Random(100 + seed)
    signals, boxes = random_case(rng, most_signals=14, most_pins=14, most_boxes=4)
    allocation = allocate_signals(signals, boxes)
    lost = least_lost(signals, boxes)
    assert bool(allocation) == (lost is not None)
    if allocation:
        assert allocation.costs[0] == lost


@pytest.mark.parametrize("seed", range(8))
def test_sorting_rows_or_renaming_a_signal_moves_nothing_else(seed):
    """Same table, same pin map, whatever the order of its rows."""
    rng = random.Random(200 + seed)
    signals, boxes = random_case(rng, most_signals=8, most_pins=12, most_boxes=3)
    uses = allocate_signals(signals, boxes).uses
    rng.shuffle(signals)
    shuffled = [replace(b, box=replace(b.box, pins=tuple(rng.sample(b.box.pins, len(b.box.pins))))) for b in boxes]
    assert len(allocate_signals(signals, shuffled[::-1]).uses) == len(uses)
    assert allocate_signals(signals, boxes[::-1]).uses == uses
    renamed = [replace(s, name="s0z") if s.name == "s0" else s for s in signals]
    assert [
        replace(use, signal="s0" if use.signal == "s0z" else use.signal)
        for use in allocate_signals(renamed, boxes).uses
    ] == list(uses)


def _analog(count, rating=50):
    pins = [SignalPin(str(n), "A", frozenset(("voltage_input",))) for n in range(count)]
    supplies = [SignalPin(w, "C", frozenset((w,)), rating) for w in ("supply_5v", "sensor_ground")]
    return fitted([Box("unit", (*pins, *supplies))])


def _sensors(count, current=10):
    return [Signal(f"s{n}", "voltage", needs=frozenset(("supply_5v",)), current_ma=current) for n in range(count)]


def test_a_supply_full_to_the_milliamp_is_enough_and_one_more_is_not():
    """5 x 10 mA on 50 mA hold; at 49 mA they do not."""
    assert allocate_signals(_sensors(5), _analog(5))
    assert allocate_signals(_sensors(5), _analog(5, 49)).outcome == "not enough"


def test_spare_pins_wanted_are_kept_free():
    """A row with the need spare takes a pin of its kind, no supply, and counts as free."""
    signals = [*_sensors(3), Signal("spare analog", "voltage", 2, needs=frozenset(("spare", "supply_5v")))]
    allocation = allocate_signals(signals, _analog(5, 30))
    assert allocation.free_pins == {"unit": 2}
    assert not allocate_signals(signals, _analog(4, 30))


def test_the_shortfall_is_complete_and_least():
    """Two pins and 20 mA of supply short: with them it is enough, with one pin or one mA fewer it is not."""
    short = signal_shortfall(_sensors(7), _analog(5))
    assert short.pins == (("unit", "voltage_input", 2),)
    assert short.supplies == (("unit", "supply_5v", 20),)
    assert short.allocation and not short.allocation.findings
    assert "2 voltage_input pins of unit, 20 mA of supply_5v of unit" in short.sentence
    [box] = short.allocation.boxes
    fewer = replace(box, box=replace(box.box, pins=tuple(p for p in box.box.pins if p.name != "voltage_input 1")))
    assert not allocate_signals(_sensors(7), [fewer])
    weaker = [replace(p, max_ma=19) if p.connector == "added" and p.max_ma == 20 else p for p in box.box.pins]
    assert not allocate_signals(_sensors(7), [replace(box, box=replace(box.box, pins=tuple(weaker)))])


@pytest.mark.parametrize("seed", range(60))
def test_the_growth_is_the_fewest_pins_brute_force_can_do_with(seed):
    """Fewest pins short equals the fewest pins of signals that brute force cannot place; a bridge may be split."""
    signals, boxes = random_case(random.Random(300 + seed), most_boxes=1)
    bare = [replace(s, needs=s.needs - {"supply_5v", "sensor_ground"}) for s in signals]
    signals = [s for s in bare if s.kind != "full_bridge"]
    short = signal_shortfall(signals, boxes)
    assert sum(n for _, _, n in short.pins) == _fewest_outside(signals, boxes)


def test_pins_there_are_and_pins_like_them_that_are_short_are_told_apart():
    """A bus pair and two of four switches are there, on a connector sorted behind the added ones: two are short."""
    pins = [SignalPin(str(n), "C", frozenset(("switch_to_ground",))) for n in (1, 2)]
    pins += [SignalPin(str(n), "C", frozenset(("bus",)), pair="b") for n in (3, 4)]
    signals = [Signal("key", "switch_to_ground", 4), Signal("trunk", "bus")]
    short = signal_shortfall([replace(s, current_ma=0) for s in signals], fitted([Box("unit", tuple(pins))]))
    assert short.pins == (("unit", "switch_to_ground", 2),) and short.signals == ("key",)


def _fewest_outside(signals, boxes):
    """Every set of signals left out, cheapest first."""
    sizes = {kept: sum(s.rule.pins for s in signals if s not in kept) for kept in _subsets(signals)}
    return min(size for kept, size in sizes.items() if least_cost(kept, boxes) is not None)


def _subsets(signals):
    return [kept for count in range(len(signals) + 1) for kept in combinations(signals, count)]


def test_an_output_that_is_short_says_what_it_must_bear():
    """A free low-side pin of 1 A is no pin for 2.4 A: the sentence says so, or the user would take it."""
    boxes = fitted([Box("unit", (SignalPin("1", "A", frozenset(("low_side",)), 1000),))])
    short = signal_shortfall([Signal("stop", "low_side", current_ma=2400)], boxes)
    assert short.sentence == "Short: 1 low_side pin of unit that bears 2.4 A (for stop)."


def test_nothing_is_short_where_it_is_enough():
    """No growth, no sentence."""
    short = signal_shortfall(_sensors(5), _analog(5))
    assert (short.pins, short.supplies, short.sentence) == ((), (), "")


def test_a_signal_for_a_box_that_is_not_fitted_cannot_be_grown_for():
    """A reader that is not there is no matter of pins."""
    assert not signal_shortfall([Signal("key", "switch_to_ground", reader="module")], _analog(1)).allocation


def test_verify_agrees_with_every_allocation_given_out():
    """The recount of what the program gives out finds nothing."""
    rng = random.Random(5)
    for _ in range(50):
        signals, boxes = random_case(rng, 8, 10, 3)
        allocation = allocate_signals(signals, boxes)
        assert not allocation or verify_signals(signals, boxes, allocation.uses) == []


@pytest.mark.parametrize("seed", range(40))
def test_tracks_share_a_supply_only_where_they_must(seed):
    """Vital sensors of one or two items on two or three supplies: wherever brute force finds a way for no two items of
    a sensor to share one, none does; each supply within its current either way.
    """
    rng = random.Random(seed)
    counts = [rng.choice((1, 1, 2, 2)) for _ in range(rng.randint(2, 4))]
    needs = frozenset(("supply_5v",))
    sensors = [Signal(f"s{n}", "voltage", count, None, "vital", needs, 10) for n, count in enumerate(counts)]
    limits = [10 * rng.randint(1, 4) for _ in range(rng.randint(2, 3))]
    pins = [SignalPin(str(n), "A", frozenset(("voltage_input",))) for n in range(sum(counts))]
    pins += [SignalPin(f"5V{n}", "B", frozenset(("supply_5v",)), limit) for n, limit in enumerate(limits)]
    allocation = allocate_signals(sensors, fitted([Box("unit", tuple(pins))]))
    items = [name for name, count in enumerate(counts) for _ in range(count)]
    ways = [
        way
        for way in product(range(len(limits)), repeat=len(items))
        if all(10 * way.count(n) <= limit for n, limit in enumerate(limits))
    ]
    assert bool(allocation) == bool(ways)
    apart = any(len(set(zip(items, way, strict=True))) == len(items) for way in ways)
    fed = [(use.signal, use.supply) for use in allocation.uses]
    assert not apart or len(set(fed)) == len(fed)
    assert not allocation.findings


@pytest.mark.parametrize("seed", range(20))
def test_supplies_are_evened_out_where_one_is_nearly_full(seed):
    """Sensors of 5 to 20 mA on two supplies: no limit broken, and above 80 % of one no way to deal them out by giving
    each to the emptier supply, largest first, does better.
    """
    rng = random.Random(seed)
    sensors = [replace(s, current_ma=rng.choice((5, 10, 15, 20))) for s in _sensors(rng.randint(4, 9))]
    pins = [SignalPin(str(n), "A", frozenset(("voltage_input",))) for n in range(len(sensors))]
    pins += [SignalPin(w, "C", frozenset(("supply_5v",)), 100) for w in ("one", "two")]
    allocation = allocate_signals(sensors, fitted([Box("unit", tuple(pins))]))
    loads = sorted(allocation.shared()["current_a"] * 1000)
    assert allocation and not allocation.findings and loads[1] <= 100
    even = [0, 0]
    for current in sorted((s.current_ma for s in sensors), reverse=True):
        even[even.index(min(even))] += current
    assert loads[1] <= max(80, *even)
