"""The worst combination and the worst change of one input, against enumeration, by hand and on the demo."""

import ast
import csv
import itertools
import random
from pathlib import Path

import numpy as np
import pytest

from pdm_alloc.program.combination import Combinations
from pdm_alloc.program.combination_group import Unanswered
from pdm_alloc.program.condition_rows import Contradiction, condition_tree, own_input
from pdm_alloc.program.solver import Clock
from pdm_alloc.verify.combinations import combination_can_have, largest_change, largest_sum

DEMO = Path(__file__).parents[2] / "data"


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
    """Every setting of the inputs; among equals the fewest inputs on, then the earliest."""

    def __init__(self, conditions, inputs, allowed):
        self.trees = {c: own_input(c) if t is None else t for c, t in conditions.items()}
        used = set().union(*map(names, self.trees.values()))
        self.order = [n for n in inputs if n in used] + [own_input(c) for c, t in conditions.items() if t is None]
        every = itertools.product((0, 1), repeat=len(self.order))
        settings = (frozenset(itertools.compress(self.order, bits)) for bits in every)
        ups = ((on, [c for c, tree in self.trees.items() if value(tree, on)]) for on in settings)
        self.up = {on: up for on, up in ups if set(up) <= allowed}

    def key(self, on):
        return len(on), tuple(at for at, name in enumerate(self.order) if name in on)

    def worst(self, amounts):
        return min(((-sum(amounts[c] for c in up), *self.key(on)) for on, up in self.up.items()), default=None)

    def change(self, running, inrush):
        entries = [(-sum(running[c] for c in up), *self.key(on), -1) for on, up in self.up.items()]
        for on, before in self.up.items():
            for at, name in enumerate(self.order):
                after = self.up.get(on ^ {name}, None)
                if after is not None:
                    amount = sum((running if c in before else inrush)[c] for c in after)
                    entries.append((-amount, *self.key(on), at))
        return min(entries, default=None)

    def shown(self, worst):
        """A result of the program as this class ranks it."""
        if worst is None:
            return None
        on = {*worst.inputs, *map(own_input, worst.own)}
        return -worst.amount_ma, *self.key(on)

    def shown_change(self, worst):
        if worst is None:
            return None
        changed = [at for at, n in enumerate(self.order) if worst.changed in (n, n[1] if isinstance(n, tuple) else n)]
        return *self.shown(worst), changed[0] if worst.changed is not None else -1


def random_tree(chance, inputs, depth=2):
    if depth == 0 or chance.random() < 0.3:
        name = chance.choice(inputs)
        return name if chance.random() < 0.75 else ("not", name)
    parts = [random_tree(chance, inputs, depth - 1) for _ in range(chance.randint(2, 3))]
    tree = (chance.choice(("and", "or")), *parts)
    return tree if chance.random() < 0.85 else ("not", tree)


def random_case(seed, most_inputs):
    chance = random.Random(seed)
    inputs = [f"i{n:02}" for n in range(chance.randint(1, most_inputs))]
    conditions = {
        f"c{n}": random_tree(chance, inputs) if chance.random() < 0.9 else None for n in range(chance.randint(1, 9))
    }
    allowed = {c for c in conditions if chance.random() < 0.8}
    amounts = {c: chance.choice((0, 5, 5, -5, chance.randint(1, 500))) for c in conditions}
    running = {c: chance.choice((0, 5, 5, chance.randint(1, 500))) for c in conditions}
    inrush = {c: ma + chance.choice((0, 5, chance.randint(0, 900))) for c, ma in running.items()}
    return conditions, inputs, allowed, amounts, running, inrush


def agree(seed, most_inputs, listed):
    conditions, inputs, allowed, amounts, running, inrush = random_case(seed, most_inputs)
    truth = Enumeration(conditions, inputs, allowed)
    solved = Combinations(conditions, inputs, listed)
    worst, change = truth.worst(amounts), truth.change(running, inrush)
    assert truth.shown(solved.worst(allowed, amounts)) == worst
    assert truth.shown_change(solved.worst_change(allowed, running, inrush)) == change
    for recount, expected in (
        (largest_sum(conditions, allowed, amounts), worst),
        (largest_change(conditions, allowed, running, inrush), change),
    ):
        assert (recount and recount[0]) == (expected and -expected[0])
        assert recount is None or recount[1] in truth.up
    for command in allowed:
        can = any(command in up for up in truth.up.values())
        assert (solved.can_be_on(allowed, command) is None) == combination_can_have(conditions, allowed, command) == can


@pytest.mark.parametrize(("listed", "cases"), [(0, 12), (7, 150)])
def test_worst_equals_enumeration_on_few_inputs(listed, cases):
    """Program and list alike name the very combination that enumeration names, ties included."""
    for seed in range(cases):
        agree(seed, 6, listed)


@pytest.mark.parametrize("seed", range(8))
def test_worst_equals_enumeration_up_to_twelve_inputs(seed):
    """The same with up to twelve inputs, as it is used."""
    agree(10_000 + seed, 12, 5)


@pytest.mark.nightly
@pytest.mark.parametrize("block", range(20))
def test_worst_equals_enumeration_on_two_thousand(block):
    """Two thousand random sets of conditions of up to twelve inputs."""
    for seed in range(100 * block, 100 * block + 100):
        agree(seed, 12, seed % 8)


def test_a_stalk_that_switches_three_commands_is_one_change():
    """By hand: main, spot and wide beam go on with one stalk while dipped goes off, and does not count."""
    conditions = {
        "dipped": ("and", "head", ("not", "stalk")),
        "main": ("and", "head", "stalk"),
        "spot": ("and", "head", "stalk", "spot key"),
        "wide": ("and", "head", "stalk", "wide key"),
        "fan": None,
    }
    running = {"dipped": 9000, "main": 10_000, "spot": 15_000, "wide": 16_000, "fan": 20_000}
    inrush = {name: 12 * ma for name, ma in running.items()}
    inputs = ("head", "stalk", "spot key", "wide key")
    solved = Combinations(conditions, inputs).worst_change(conditions, running, inrush)
    assert (solved.amount_ma, solved.changed, solved.goes_on) == (12 * 41_000 + 20_000, "stalk", True)
    assert (solved.inputs, solved.own) == (("head", "spot key", "wide key"), ("fan",))
    assert (solved.stays, solved.switched_on) == (("fan",), ("main", "spot", "wide"))


def test_exclusive_commands_are_never_added():
    """By hand: dipped and main beam cannot be on together; the larger counts, and the fan beside it."""
    conditions = {"dipped": ("and", "head", ("not", "stalk")), "main": ("and", "head", "stalk"), "fan": "hot"}
    solved = Combinations(conditions, ("head", "stalk", "hot"))
    worst = solved.worst(conditions, {"dipped": 9, "main": 10, "fan": 4})
    assert (worst.amount_ma, worst.inputs, worst.commands) == (14, ("head", "stalk", "hot"), ("main", "fan"))
    assert solved.worst(conditions, {"dipped": 10, "main": 10, "fan": 0}).inputs == ("head",)


def test_a_limit_is_broken_by_one_milliamp_and_not_by_none():
    """A sum equal to the limit is within it."""
    solved = Combinations({"a": "x", "b": ("not", "x"), "c": "y"}, ("x", "y"))
    amounts, peak = {"a": 7, "b": 8, "c": 5}, {"a": 70, "b": 80, "c": 5}
    assert solved.exceeding("abc", amounts, 13) is None
    assert solved.exceeding("abc", amounts, 12).commands == ("b", "c")
    assert solved.exceeding_change("abc", amounts, peak, 85) is None
    assert solved.exceeding_change("abc", amounts, peak, 84).changed == "x"
    conditions = {"a": "x", "b": ("not", "x"), "c": "y"}
    assert largest_change(conditions, "abc", amounts, peak, 85) is None
    assert largest_change(conditions, "abc", amounts, peak, 84)[0] == 85


def test_a_command_that_can_never_be_on_says_which_conditions_contradict():
    """The commands named are a smallest set: without any one of them there is no contradiction."""
    conditions = {
        "starter": ("and", "key", "start"),
        "engine": "key",
        "lamp": "head",
        "odd": ("and", "x", ("not", "x")),
    }
    solved = Combinations(conditions)
    assert solved.can_be_on({"starter", "odd"}, "starter") == Contradiction("starter", ("engine",))
    assert solved.can_be_on({"starter", "engine"}, "starter") is None
    assert solved.can_be_on(conditions, "odd") == Contradiction("odd", ())
    never = Combinations({"a": "x", "b": ("not", "x"), "c": "y"})
    assert never.can_be_on({"c"}) == Contradiction(None, ("a", "b"))
    assert never.worst({"c"}, {"c": 1}) is None


def test_a_stopped_clock_is_no_answer():
    """A group too large to list without time is unanswered, never 'no combination'."""
    solved = Combinations({"a": ("and", "x", "y")}, ("x", "y"), listed_inputs=0)
    with pytest.raises(Unanswered, match="was not found"):
        solved.worst("a", {"a": 1}, Clock(0))


def test_a_parsed_condition_becomes_plain_data():
    """The one adapter between a parser's nodes and plain data."""
    node = type("Variable", (), {"name": "x"})()
    both = type("And", (), {"operands": (node, type("Not", (), {"operand": node})())})()
    assert condition_tree(both) == ("and", "x", ("not", "x"))
    assert condition_tree(None) is None
    assert condition_tree(("or", "x", "y")) == ("or", "x", "y")


def plain(node):
    """Python's tree of a condition as plain data."""
    if isinstance(node, ast.BoolOp):
        return (type(node.op).__name__.lower(), *map(plain, node.values))
    return ("not", plain(node.operand)) if isinstance(node, ast.UnaryOp) else node.id


def rows(vehicle, table):
    with (DEMO / vehicle / f"{table}.csv").open(newline="") as file:
        return list(csv.DictReader(file))


def grouped(conditions):
    """Inputs that stand in one condition, directly or through others, with their commands."""
    groups = []
    for command, tree in conditions.items():
        apart, inside, members = [], names(tree), [command]
        for others, more in groups:
            if others & inside:
                inside, members = inside | others, members + more
            else:
                apart.append((others, more))
        groups = [*apart, (inside, members)]
    return groups


def truth_tables(inside, trees):
    """Every condition under all settings of some inputs at once, an array each."""
    number = np.arange(2 ** len(inside))
    bits = {name: (number >> at) & 1 == 1 for at, name in enumerate(sorted(inside))}

    def table(tree):
        if isinstance(tree, str):
            return bits[tree]
        parts = [table(part) for part in tree[1:]]
        return ~parts[0] if tree[0] == "not" else {"and": np.logical_and, "or": np.logical_or}[tree[0]].reduce(parts)

    return {command: table(tree) for command, tree in trees.items()}


@pytest.mark.parametrize("vehicle", ["rally_coupe", "expedition_truck"])
def test_the_demo_equals_enumeration(vehicle):
    """Every state of the demo vehicles, with currents as the table states them."""
    conditions = {r["command"]: plain(ast.parse(r["condition"], mode="eval").body) for r in rows(vehicle, "commands")}
    amounts = dict.fromkeys(conditions, 0)
    for row in rows(vehicle, "loads"):
        amounts[row["command"]] += round(1000 * float(row["running_a"])) * int(row["count"] or 1)
    solved, states = Combinations(conditions), rows(vehicle, "states")
    columns = [name for name in states[0] if name != "command"]
    allowed = {state: {row["command"] for row in states if float(row[state] or 0) > 0} for state in columns}
    largest = dict.fromkeys(columns, 0)
    for inside, members in grouped(conditions):
        tables = truth_tables(inside, {c: conditions[c] for c in members})
        for state in columns:
            valid = ~np.logical_or.reduce(
                [tables[c] for c in members if c not in allowed[state]] or [tables[members[0]] & False]
            )
            largest[state] += int(np.where(valid, sum(amounts[c] * tables[c] for c in members), -1).max())
    for state in columns:
        worst = solved.worst(allowed[state], amounts)
        assert worst.amount_ma == largest[state] == largest_sum(conditions, allowed[state], amounts)[0]
        assert set(worst.commands) <= allowed[state]
