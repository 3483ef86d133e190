"""Each rule of the recount broken by one unit, and found."""

import inspect
import random
import re
from collections import Counter
from dataclasses import replace

import pytest

from pdm_alloc.allocator import allocate_signals
from pdm_alloc.domain.module import SUPPLIES, Box, Signal, SignalPin, fitted
from pdm_alloc.verify import check
from pdm_alloc.verify.check import verify_signals
from tests.signals.cases import random_case


def _pin(name, words, rating=None, pair=None):
    return SignalPin(name, "A", frozenset(words.split()), rating, pair)


FED = frozenset(("supply_5v", "sensor_ground"))
SIGNALS = (
    Signal("pressure", "voltage", 2, importance="vital", needs=FED, current_ma=10),
    Signal("valve", "low_side", needs=frozenset(("pwm",)), current_ma=1000),
    Signal("wheel", "frequency_pair"),
    Signal("motor", "full_bridge", current_ma=3000),
    Signal("spare", "switch_to_ground", needs=frozenset(("spare",))),
)
UNIT = Box(
    "unit",
    (
        _pin("1", "voltage_input"),
        _pin("2", "voltage_input"),
        _pin("3", "low_side pwm", 1000),
        _pin("4", "low_side", 1000),
        _pin("5", "frequency_pair", None, "f"),
        _pin("6", "frequency_pair", None, "f"),
        _pin("7", "half_bridge", 3000),
        _pin("8", "half_bridge", 3000),
        _pin("9", "switch_to_ground"),
        _pin("10", "frequency_pair", None, "g"),
        _pin("11", "frequency_pair", None, "g"),
        _pin("12", "supply_5v", 20),
        _pin("13", "sensor_ground", 20),
    ),
)
BOXES = fitted([UNIT])
USES = allocate_signals(SIGNALS, BOXES).uses


def _rules(signals=SIGNALS, boxes=BOXES, uses=USES):
    return {finding.rule for finding in verify_signals(signals, boxes, uses)}


def _use(name, **changes):
    return [replace(use, **changes) if (use.signal, use.item) == (name, 1) else use for use in USES]


def _signal(name, **changes):
    return [replace(signal, **changes) if signal.name == name else signal for signal in SIGNALS]


def _pins(name, role="control_unit", **changes):
    pins = tuple(replace(pin, **changes) if pin.name == name else pin for pin in UNIT.pins)
    return fitted([replace(UNIT, pins=pins, role=role)])


def test_the_allocation_as_it_is_breaks_nothing():
    """What the program gives out is clean, so that each finding below is of the break alone."""
    assert USES and _rules() == set()


BREAKS = {
    "an item left out": ("placed", {"uses": USES[1:]}),
    "an item twice": ("placed", {"uses": (*USES, USES[0])}),
    "an item too many": ("placed", {"signals": _signal("pressure", count=1)}),
    "a signal of another table": ("stranger", {"uses": _use("valve", signal="valve 2")}),
    "a box that is not fitted": ("stranger", {"uses": _use("valve", box="unit 2")}),
    "a pin twice": ("pin", {"uses": _use("pressure", pins=("A-2",))}),
    "one half of a bridge": ("pins", {"uses": _use("motor", pins=("A-7",))}),
    "a pin that is not there": ("pins", {"uses": _use("valve", pins=("A-99",))}),
    "halves of two pairs": ("pair", {"uses": _use("wheel", pins=("A-5", "A-10"))}),
    "a pin without the function": ("function", {"uses": _use("spare", pins=("A-4",))}),
    "a pin without PWM": ("pwm", {"uses": _use("valve", pins=("A-4",))}),
    "one mA through a pin": ("current", {"boxes": _pins("3", max_ma=999)}),
    "one mA through half a bridge": ("current", {"boxes": _pins("8", max_ma=2999)}),
    "one mA of supply": ("shared", {"boxes": _pins("12", max_ma=19)}),
    "one mA of ground": ("shared", {"boxes": _pins("13", max_ma=19)}),
    "no supply": ("supply_5v", {"uses": _use("pressure", supply=None)}),
    "a ground for a supply": ("supply_5v", {"uses": _use("pressure", supply="A-13")}),
    "no ground": ("sensor_ground", {"uses": _use("pressure", ground=None)}),
    "a supply that is not needed": ("supply_5v", {"uses": _use("valve", supply="A-12")}),
    "another kind of box": ("reader", {"signals": _signal("valve", reader="module")}),
    "vital on an expander": ("vital", {"boxes": _pins("1", role="expander")}),
}


@pytest.mark.parametrize("name", BREAKS)
def test_each_rule_broken_by_one_unit_is_found(name):
    """The recount names the rule that was broken."""
    rule, changes = BREAKS[name]
    assert rule in _rules(**changes)


def test_pins_without_a_connector_go_by_their_name():
    """A box of bare pins: the label is the name alone."""
    bare = Box("bare", (SignalPin("1", "", frozenset(("voltage_input",))),))
    signals = (Signal("level", "voltage"),)
    boxes = fitted([bare])
    uses = allocate_signals(signals, boxes).uses
    assert [use.pins for use in uses] == [("1",)] and not verify_signals(signals, boxes, uses)


def test_pins_kept_free_share_no_supply():
    """A spare that would need a supply is given none, and none is missed."""
    needs = frozenset(("spare", "supply_5v", "sensor_ground"))
    signals = _signal("spare", needs=needs)
    assert _rules(signals=signals) == set()
    assert _rules(signals=signals, uses=_use("spare", supply="A-12")) == {"supply_5v"}


def test_an_item_twice_is_not_placed_once():
    """Each item is placed once: not twice, not never."""
    twice = [f for f in verify_signals(SIGNALS, BOXES, (*USES, USES[0])) if f.rule == "placed"]
    assert [finding.subject for finding in twice] == [USES[0].signal]


def test_every_rule_has_a_break():
    """Each word by which the recount names a rule stands in the table above; a rule without a break fails here."""
    parts = (check.verify_signals, check._counted, check._twice, check._of_use, check._of_pin, check._fed)
    source = "".join(inspect.getsource(part) for part in (*parts, check._overdrawn))
    named = set(re.findall(r'inding\(\s*"(\w+)"', source))
    assert named | set(SUPPLIES) == {rule for rule, _ in BREAKS.values()} and len(named) == 11


def _any_use(uses, wanted, **changes):
    """The same uses, the first of those wanted changed; None: none is wanted."""
    use = next((one for one in uses if wanted(one)), None)
    return None if use is None else [replace(one, **changes) if one is use else one for one in uses]


def _any_box(boxes, wanted, change):
    """The same boxes, with the first pin of those wanted changed; None: none is wanted."""
    pin = next(((box, one) for box in boxes for one in box.box.pins if wanted(box, one)), None)
    if pin is None:
        return None
    pins = tuple(replace(one, **change(one)) if one is pin[1] else one for one in pin[0].box.pins)
    return [replace(box, box=replace(box.box, pins=pins)) if box is pin[0] else box for box in boxes]


def _breaks(signals, boxes, uses):
    """Rule, and signals, boxes and uses that break it by one step, of every rule there is something to break of."""
    by_name = {signal.name: signal for signal in signals}
    on = {(use.box, label): by_name[use.signal] for use in uses for label in use.pins}
    output = {key: s for key, s in on.items() if s.kind in ("low_side", "full_bridge")}
    draws = Counter()
    for use in uses:
        draws[use.box, use.supply] += by_name[use.signal].current_ma if use.supply else 0
    pwm = [key for key, s in on.items() if "pwm" in s.needs]
    pairs = [key for key, s in on.items() if s.kind == "frequency_pair"]
    words = {key: check._TAKES[s.kind][0] for key, s in on.items()}
    first = next(iter(by_name))
    changed = {
        "placed": {"uses": uses[1:]},
        "stranger": {"uses": _any_use(uses, lambda u: True, box="nowhere")},
        "pins": {"uses": _any_use(uses, lambda u: True, pins=("Z-1",))},
        "supply_5v": {"uses": _any_use(uses, lambda u: u.supply, supply=None)},
        "sensor_ground": {"uses": _any_use(uses, lambda u: u.ground, ground=None)},
        "reader": {"signals": [replace(by_name[first], reader="module"), *[s for s in signals if s.name != first]]},
        "function": {"boxes": _any_box(boxes, lambda b, p: (b.label, p.label) in on,
                                       lambda p: {"functions": p.functions - set(words.values())})},
        "current": {"boxes": _any_box(boxes, lambda b, p: (b.label, p.label) in output and p.max_ma,
                                      lambda p: {"max_ma": 399})},
        "shared": {"boxes": _any_box(boxes, lambda b, p: draws.get((b.label, p.label)),
                                     lambda p: {"max_ma": 9})},
        "pwm": {"boxes": _any_box(boxes, lambda b, p: (b.label, p.label) in pwm,
                                  lambda p: {"functions": p.functions - {"pwm"}})},
        "pair": {"boxes": _any_box(boxes, lambda b, p: (b.label, p.label) in pairs, lambda p: {"pair": "other"})},
        "vital": {"signals": [replace(s, importance="vital") for s in signals],
                  "boxes": [replace(b, box=replace(b.box, role="expander")) for b in boxes]},
    }  # fmt: skip
    if len(uses) > 1:
        changed["pin"] = {"uses": [replace(uses[0], box=uses[1].box, pins=uses[1].pins), *uses[1:]]}
    return {rule: change for rule, change in changed.items() if None not in change.values()}


@pytest.mark.once
def test_breaks_of_random_allocations_are_found_every_time():
    """As given out nothing is wrong; each rule broken by one step in 150 random cases is named, whatever the case."""
    seen = Counter()
    for seed in range(150):
        signals, boxes = random_case(random.Random(9_000 + seed))
        uses = list(allocate_signals(signals, boxes).uses)
        if not uses:
            continue
        assert not verify_signals(signals, boxes, uses)
        for rule, change in _breaks(signals, boxes, uses).items():
            told = {"signals": signals, "boxes": boxes, "uses": uses} | change
            assert rule in {one.rule for one in verify_signals(**told)}, (seed, rule)
            seen[rule] += 1
    assert set(seen) == {rule for rule, _ in BREAKS.values()} and seen["pwm"], seen
