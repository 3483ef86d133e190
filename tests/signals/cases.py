"""Small random signals and boxes, and two oracles that share nothing with the program."""

from itertools import combinations, permutations

from pdm_alloc.domain.module import Box, Signal, SignalPin, fitted

KINDS = ("voltage", "switch_to_ground", "frequency_pair", "full_bridge", "low_side", "frequency", "voltage", "low_side")
FUNCTIONS = (
    ("voltage_input",),
    ("switch_to_ground", "voltage_input"),
    ("switch_to_ground",),
    ("low_side",),
    ("low_side", "pwm"),
    ("half_bridge", "low_side"),
    ("half_bridge",),
    ("frequency", "voltage_input"),
)


def random_case(rng, most_signals=3, most_pins=5, most_boxes=2):
    """Signals and fitted boxes from a random.Random."""
    boxes = [_box(rng, f"box {n}", rng.randint(2, most_pins)) for n in range(rng.randint(1, most_boxes))]
    signals = [_signal(rng, f"s{n}") for n in range(rng.randint(1, most_signals))]
    return signals, fitted(boxes)


def _signal(rng, name):
    kind = rng.choice(KINDS)
    needs = {"supply_5v", "sensor_ground"} & set(rng.sample(("supply_5v", "sensor_ground", "x"), 2))
    needs = needs if kind in ("voltage", "frequency") and rng.random() < 0.8 else set()
    needs |= {"pwm"} if kind == "low_side" and rng.random() < 0.3 else set()
    current = rng.choice((400, 900, 1600)) if kind in ("low_side", "full_bridge") else rng.choice((10, 15, 25))
    return Signal(name, kind, 1, needs=frozenset(needs), current_ma=current)


def _box(rng, name, count):
    pins = [_pin(rng, f"{n}") for n in range(count)]
    if rng.random() < 0.6:
        words = frozenset(("frequency_pair", *rng.choice(((), ("frequency",), ("voltage_input",)))))
        pins += [SignalPin(f"f{side}", "B", words, None, "f") for side in "+-"]
    for word in ("supply_5v", "sensor_ground"):
        pins += [
            SignalPin(f"{word}{n}", "C", frozenset((word,)), rng.choice((15, 25, 40))) for n in range(rng.randint(1, 2))
        ]
    return Box(name, tuple(pins))


def _pin(rng, name):
    words = rng.choice(FUNCTIONS)
    rating = rng.choice((500, 1000, 2000)) if {"low_side", "half_bridge"} & set(words) else None
    return SignalPin(name, "A", frozenset(words), rating)


def least_cost(signals, boxes):
    """The least (functions lost, rating beyond need) over every assignment there is; None: there is none."""
    costs = [_cost(taken) for taken in _assignments(list(signals), boxes, ()) if _can_feed(taken, boxes)]
    return min(costs, default=None)


def _assignments(signals, boxes, taken):
    if not signals:
        yield taken
        return
    used = {(label, pin) for _, label, pins in taken for pin in pins}
    for box in boxes:
        free = [pin for pin in box.box.pins if (box.label, pin) not in used]
        for pins in _choices(signals[0], free):
            yield from _assignments(signals[1:], boxes, (*taken, (signals[0], box.label, pins)))


def _choices(signal, free):
    """Every set of free pins that one signal may take."""
    if signal.kind == "frequency_pair":
        return [c for c in combinations(free, 2) if c[0].pair and c[0].pair == c[1].pair and _can(c, "frequency_pair")]
    if signal.kind == "full_bridge":
        return [c for c in combinations(free, 2) if _can(c, "half_bridge") and _bears(c, signal)]
    function = {"voltage": "voltage_input"}.get(signal.kind, signal.kind)
    fitting = [(pin,) for pin in free if function in pin.functions and signal.needs & {"pwm"} <= pin.functions]
    return [c for c in fitting if signal.kind != "low_side" or _bears(c, signal)]


def _can(pins, function):
    return all(function in pin.functions for pin in pins)


def _bears(pins, signal):
    return all(pin.max_ma is None or pin.max_ma >= signal.current_ma for pin in pins)


def _can_feed(taken, boxes):
    """Whether the sensors of each box fit on its supplies, and on its grounds: every order, first fit."""
    for box in boxes:
        for word in ("supply_5v", "sensor_ground"):
            limits = [pin.max_ma for pin in box.box.pins if word in pin.functions]
            currents = [s.current_ma for s, label, _ in taken if label == box.label and word in s.needs]
            if not any(_first_fit(order, limits) for order in permutations(currents)):
                return False
    return True


def _first_fit(currents, limits):
    left = list(limits)
    for current in currents:
        at = next((n for n, room in enumerate(left) if room >= current), None)
        if at is None:
            return False
        left[at] -= current
    return True


def _cost(taken):
    lost = beyond = 0
    for signal, _, pins in taken:
        for pin in pins:
            lost += len(pin.functions) - 1 + (pin.pair is not None and signal.kind != "frequency_pair")
            if pin.max_ma is not None and signal.kind in ("low_side", "full_bridge"):
                beyond += (pin.max_ma - signal.current_ma) // 100
    return lost, beyond
