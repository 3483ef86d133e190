"""The worst combination and the worst change of one input, against enumeration and against the recount."""

import heapq
import itertools
import random
from dataclasses import replace

import pytest

import pdm_alloc as pa
from pdm_alloc.circuits.items import Scene
from pdm_alloc.domain.vehicle import Command, Input, Load
from pdm_alloc.program import largest
from pdm_alloc.program.condition_rows import fewest_on, own_input
from pdm_alloc.program.largest import Extremes
from pdm_alloc.program.solver import Clock
from pdm_alloc.program.sums import Limit, Sums
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.verify.arithmetic import largest_change, largest_sum
from tests.benchmarks.bench_combinations import vehicle
from tests.strategies import examples
from tests.wiring import small


def value(tree, on):
    """A second reading of a condition, by Python's own operators."""
    if isinstance(tree, str) or tree[0] == "command":
        return tree in on
    values = [value(part, on) for part in tree[1:]]
    return {"and": all(values), "or": any(values), "not": not values[0]}[tree[0]]


def names(tree):
    if isinstance(tree, str) or tree[0] == "command":
        return {tree}
    return set().union(*map(names, tree[1:]))


class Enumeration:
    """Every setting of the inputs under which no command is on that the state keeps off."""

    def __init__(self, conditions, allowed, at_once):
        self.trees = {c: own_input(c) if t is None else t for c, t in conditions.items()}
        self.order = sorted(set().union(*map(names, self.trees.values())), key=repr)
        every = itertools.product((0, 1), repeat=len(self.order))
        settings = (frozenset(itertools.compress(self.order, bits)) for bits in every)
        ups = ((on, {c for c, tree in self.trees.items() if value(tree, on)}) for on in settings)
        self.up, self.at_once = {on: up for on, up in ups if up <= allowed}, at_once

    def together(self, amounts):
        """Stated currents and the largest of the rises."""
        rises = [rise for _, own in amounts for rise in own]
        return sum(ma for ma, _ in amounts) + sum(heapq.nlargest(self.at_once, rises))

    def sums(self, amounts):
        return {on: self.together([amounts[c] for c in up]) for on, up in self.up.items()}

    def worst(self, amounts):
        return max(self.sums(amounts).values(), default=None)

    def change(self, running, inrush):
        sums = list(self.sums(running).values())
        for (on, before), name in itertools.product(self.up.items(), self.order):
            after = self.up.get(on ^ {name})
            if after is not None:
                sums.append(self.together([(running if c in before else inrush)[c] for c in after]))
        return max(sums, default=None)


def random_tree(chance, inputs, depth=2):
    if depth == 0 or chance.random() < 0.3:
        name = chance.choice(inputs)
        return name if chance.random() < 0.75 else ("not", name)
    parts = (random_tree(chance, inputs, depth - 1) for _ in range(chance.randint(2, 3)))
    return (chance.choice(("and", "or")), *parts)


def random_case(seed, most_inputs):
    """Conditions, what a state allows, running currents and inrush with their rises, and how many rise at once."""
    chance = random.Random(seed)
    inputs = [f"input {n}" for n in range(chance.randint(1, most_inputs))]
    commands = [f"command {n}" for n in range(chance.randint(1, 9))]
    conditions = {c: None if chance.random() < 0.1 else random_tree(chance, inputs) for c in commands}
    running = {
        c: (chance.randint(0, 12_000), tuple(chance.randint(0, 900) for _ in range(chance.randint(0, 2))))
        for c in commands
    }
    inrush = {
        c: (ma + chance.randint(0, 40_000), tuple(rise + chance.randint(0, 900) for rise in rises))
        for c, (ma, rises) in running.items()
    }
    return conditions, {c for c in commands if chance.random() < 0.8}, running, inrush, chance.randint(0, 3)


def assert_equal_to_enumeration(seed, most_inputs):
    conditions, allowed, running, inrush, at_once = random_case(seed, most_inputs)
    every, extremes = Enumeration(conditions, allowed, at_once), Extremes(conditions)
    worst, change = extremes.sum(allowed, running, at_once), extremes.change(allowed, running, inrush, at_once)
    assert (worst and worst[0]) == every.worst(running)
    assert (change and change[0]) == every.change(running, inrush)
    recount = largest_sum(conditions, allowed, running, at_once)
    assert (recount and recount[0]) == every.worst(running)
    recount = largest_change(conditions, allowed, running, inrush, -1, at_once)
    assert (recount and recount[0]) == every.change(running, inrush)
    if worst:
        assert every.sums(running)[worst[1] & set(every.order)] == worst[0]
        above = worst[0] - 1
        found = extremes.change(allowed, running, inrush, at_once, above)
        assert found is not None and found[0] == change[0]


@pytest.mark.parametrize("part", range(10))
def test_worst_combination_equals_enumeration(part):
    """A sum that some combination passes and the program does not see is a module that trips in the rain.

    Load analyses of aircraft add up loads "in probable combinations and for probable durations" for the same reason
    (14 CFR 23.1351(a)(2), in force until 2017; ASTM F2490; from memory): a mean over duties hides the worst one.
    """
    for seed in range(20 * part, 20 * part + 20):
        assert_equal_to_enumeration(seed, 6)


@pytest.mark.nightly
@pytest.mark.parametrize("part", range(20))
def test_worst_combination_equals_enumeration_long(part):
    """2,000 random cases of up to 12 inputs."""
    for seed in range(1000 + 100 * part, 1100 + 100 * part):
        assert_equal_to_enumeration(seed, 12)


@pytest.mark.parametrize(("listed", "tried"), [(0, 0), (0, 3), (2, 6)])
def test_listing_trying_and_solving_agree(monkeypatch, listed, tried):
    """Whichever way a group of inputs is gone through, the worst is the worst."""
    monkeypatch.setattr(largest, "_LISTED_INPUTS", listed)
    monkeypatch.setattr(largest.curve_of, "__defaults__", (tried,))
    for seed in range(examples(12, 100)):
        assert_equal_to_enumeration(seed, 5)


@pytest.mark.parametrize("seed", [6, 9])
def test_sixty_commands_over_forty_inputs_need_no_integer_program(monkeypatch, seed):
    """What a state forbids settles inputs before any is tried: the two slowest of the benchmark, as the recount."""
    _, conditions, running, inrush, _, states = vehicle(seed)
    monkeypatch.setattr(largest, "_solved", None)
    extremes = Extremes(conditions)
    amounts = {name: (ma, (ma // 10,)) for name, ma in running.items()}
    peaks = {name: (ma, (ma // 10,)) for name, ma in inrush.items()}
    for allowed in states:
        worst, change = extremes.sum(allowed, amounts, 3), extremes.change(allowed, amounts, peaks, 3)
        assert (worst and worst[0]) == (largest_sum(conditions, allowed, amounts, 3) or [None])[0]
        assert change is None or change[0] >= worst[0]


def test_what_must_stay_off_settles_its_inputs():
    """A key that alone would switch on what the state forbids is off, whatever else it would bring."""
    conditions = {"horn": ("or", "key", ("not", "door")), "lamp": ("and", "key", "switch"), "fan": ("and", "door", "b")}
    amounts = dict.fromkeys(conditions, (1000, ()))
    assert Extremes(conditions).sum({"lamp", "fan"}, amounts, 0) == (1000, {"door", "b"})
    assert Extremes(conditions | {"pump": "door"}).sum({"lamp", "fan"}, amounts, 0) is None


def test_fewest_inputs_of_equal_combinations():
    """Of equally bad combinations the builder reads the one with the fewest switches to set."""
    for seed in range(60):
        conditions, allowed, running, _, at_once = random_case(seed, 5)
        every = Enumeration(conditions, allowed, at_once)
        if not every.up:
            continue
        worst = every.worst(running)
        parts = [(every.trees[c], *running[c]) for c in conditions if c in allowed]
        forbidden = [every.trees[c] for c in conditions if c not in allowed]
        inputs = fewest_on(every.order, parts, forbidden, at_once, worst, Clock(60))
        sums = every.sums(running)
        assert sums[inputs] == worst
        assert len(inputs) == min(len(on) for on, ma in sums.items() if ma == worst)


def test_exclusive_commands_do_not_add_up():
    """Dipped and main beam are never on together; the dearer one is what counts."""
    conditions = {"dipped": ("and", "head", ("not", "stalk")), "main": ("and", "head", "stalk"), "horn": None}
    amounts = {"dipped": (9_000, ()), "main": (11_000, ()), "horn": (4_000, ())}
    ma, on = Extremes(conditions).sum(set(conditions), amounts, 0)
    assert ma == 15_000
    assert on == {"head", "stalk", own_input("horn")}


def test_one_input_may_switch_several_commands():
    """One flick of the stalk brings main, spot and wide lamps at once, all in their inrush."""
    lamps = ("main", "spot", "wide")
    conditions = dict.fromkeys(lamps, ("and", "head", "stalk")) | {"side": "head"}
    running = dict.fromkeys(lamps, (10_000, ())) | {"side": (2_000, ())}
    inrush = dict.fromkeys(lamps, (100_000, ())) | {"side": (2_000, ())}
    ma, before, changed = Extremes(conditions).change(set(conditions), running, inrush, 0)
    assert (ma, changed) == (302_000, "stalk") or (ma, changed) == (302_000, "head")
    assert changed not in before


def trimmed_one_by_one(sums, worst):
    """Each input left off in turn where the cut stays the same, every condition evaluated anew."""
    kept = worst.inputs
    for name in sorted(worst.inputs - {worst.changed}, key=str, reverse=True):
        fewer = sums._named(worst.limit, worst.scene, worst.portions, kept - {name}, worst.changed)
        kept = fewer.inputs if fewer.cut == worst.cut else kept
    return sums._named(worst.limit, worst.scene, worst.portions, kept, worst.changed)


@pytest.mark.parametrize("seed", range(20))
def test_inputs_that_switch_nothing_are_left_off(seed):
    """As leaving each off and looking at every command would have it, before a change and after."""
    chance = random.Random(seed)
    names = [f"i{n}" for n in range(6)]
    conditions = {f"c{n}": random_tree(chance, names) for n in range(5)}
    sums = Sums.__new__(Sums)
    sums.extremes = Extremes(conditions)
    limit = {is_peak: Limit(0, None, is_peak, 1, 0.0, 1) for is_peak in (False, True)}
    scene = Scene(0, "s", 12.0, frozenset(conditions))
    for _ in range(20):
        inputs = frozenset(name for name in sums.extremes.inputs if chance.random() < 0.6)
        changed = chance.choice([None, *sums.extremes.inputs])
        worst = sums._named(limit[changed is not None], scene, 1, inputs, changed)
        assert sums.trimmed(worst) == trimmed_one_by_one(sums, worst)


TEXTS = (
    *("(a and b) or c", "c or d", "(b and d) or not a"),
    *("not b or (c and e)", "a or (d and e)", "(a or b) and (c or d)"),
)


@pytest.mark.parametrize("seed", range(12))
def test_of_equal_combinations_the_one_told_has_the_fewest_inputs_on(seed):
    """What `pa.worst` says of the whole module, against every setting of five inputs: the sum, and how many are on."""
    chance = random.Random(f"told {seed}")
    texts = chance.sample(TEXTS, 3)
    loads = [Load(f"l{n}", f"c{n}", 1000 * (n + 1), kind="heater", inrush_ma=1000 * (n + 1)) for n in range(3)]
    commands = tuple(Command(f"c{n}", text) for n, text in enumerate(texts))
    car = replace(small.vehicle(*loads), commands=commands, inputs=tuple(Input(name) for name in "abcde"))
    circuits = [PlacedCircuit("box", (str(n + 1),), "single", f"c{n}", ((f"l{n}", 1),)) for n in range(3)]
    told = pa.worst(Allocation(car, (small.unit(),), tuple(circuits)))
    row = told.table[told.table.limit == "whole module"].index[0]
    ups = [dict(zip("abcde", on, strict=True)) for on in itertools.product((False, True), repeat=5)]
    sums = {
        frozenset(name for name in up if up[name]): sum(n + 1 for n, text in enumerate(texts) if eval(text, dict(up)))
        for up in ups
    }
    most = max(sums.values())
    assert told.table.current_a[row] == pytest.approx(most)
    assert sums[told.settings[row].inputs] == most
    assert len(told.settings[row].inputs) == min(len(on) for on, amps in sums.items() if amps == most)
