"""Test steps: complete, fewest, and readable."""

import itertools
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import LinearConstraint, milp

from pdm_alloc.domain.condition import parse_condition
from pdm_alloc.export.commissioning import StepsError, steps_of

NAMES = "abcdef"
# Found by trying random conditions; about one in two thousand functions of five inputs is like this.
TWO_GROUPS = "(b and not c and not d and not e) or (a and c and d and e)"


def _truth(condition):
    """The result for every setting, as a dict; made by asking for one setting at a time."""
    settings_ = [frozenset(c) for n in range(len(NAMES) + 1) for c in itertools.combinations(condition.names, n)]
    return {on: condition.evaluate(on) for on in settings_}


def _edges(truth, names):
    """For each input that matters, all pairs of settings that show it."""
    found = {n: [(on, on | {n}) for on in truth if n not in on and truth[on] != truth[on | {n}]] for n in names}
    return {n: pairs for n, pairs in found.items() if pairs}


def _fewest_by_trying(truth, edges):
    """Fewest settings with a pair for every input, by trying every set of settings."""
    for size in range(len(truth) + 1):
        for chosen in itertools.combinations(truth, size):
            kept = set(chosen)
            if all(any(a in kept and b in kept for a, b in pairs) for pairs in edges.values()):
                return size
    raise AssertionError


def _fewest_by_program(truth, edges):
    """The same as an integer program: a variable for each setting and each pair."""
    corners = {on: i for i, on in enumerate(truth)}
    pairs = [(n, a, b) for n, both in edges.items() for a, b in both]
    rows, low = [], []
    for j, (_, a, b) in enumerate(pairs):
        for end in (a, b):
            row = np.zeros(len(corners) + len(pairs))
            row[corners[end]], row[len(corners) + j] = 1, -1
            rows.append(row)
            low.append(0)
    for n in edges:
        rows.append(np.r_[np.zeros(len(corners)), [float(p[0] == n) for p in pairs]])
        low.append(1)
    if not edges:
        return 0
    cost = np.r_[np.ones(len(corners)), np.zeros(len(pairs))]
    answer = milp(
        cost, constraints=LinearConstraint(np.array(rows), low), integrality=np.ones_like(cost), bounds=(0, 1)
    )
    return round(answer.fun)


def _check(text):
    condition = parse_condition(text)
    made, truth = steps_of(condition), _truth(condition)
    edges = _edges(truth, condition.names)
    assert made.inputs == tuple(n for n in condition.names if n in edges)
    assert made.idle == tuple(n for n in condition.names if n not in edges)
    assert all(step.result == truth[step.on] for step in made.steps)
    for name, (i, j) in zip(made.inputs, made.pairs, strict=True):
        assert made.steps[i].on ^ made.steps[j].on == {name}
        assert made.steps[i].result != made.steps[j].result
    fewest = _fewest_by_trying if len(condition.names) <= 3 else _fewest_by_program
    assert len(made.steps) == len(set(made.steps)) == fewest(truth, edges)


def _text(rng, leaves):
    """A random condition with that many names in it."""
    if leaves == 1:
        return rng.choice(["", "", "not "]) + rng.choice(NAMES)
    left = rng.randint(1, leaves - 1)
    word = rng.choice(["and", "or"])
    return rng.choice(["", "", "not "]) + f"({_text(rng, left)} {word} {_text(rng, leaves - left)})"


@pytest.mark.parametrize("leaves", range(1, 13))
def test_random_conditions(leaves):
    """Complete, right and fewest for random conditions of up to six inputs."""
    rng = random.Random(leaves)
    for _ in range(15):
        _check(_text(rng, leaves))


@given(st.integers(2, 4), st.data())
@settings(max_examples=60, deadline=None)
def test_random_functions(n, data):
    """The same for functions drawn at random, which conditions people write seldom reach."""
    table = data.draw(st.integers(1, 2**2**n - 1))
    terms = [v for v in range(2**n) if table >> v & 1]
    literal = lambda v, i: NAMES[i] if v >> i & 1 else f"not {NAMES[i]}"  # noqa: E731
    _check(" or ".join("(" + " and ".join(literal(v, i) for i in range(n)) + ")" for v in terms[:12]))


def test_inputs_whose_pairs_share_no_step():
    """Where the pairs fall into two groups one step more than usual is needed, and found."""
    condition = parse_condition(TWO_GROUPS)
    assert len(steps_of(condition).steps) == len(condition.names) + 2
    _check(TWO_GROUPS)


@pytest.mark.parametrize(
    ("text", "groups"),
    [
        # A tree grown greedily fails, though there is one.
        ("(not a and b and c) or (b and e) or (not d and e) or (not b and c and e)", 1),
        # Two groups, one of which hangs together only by a corner with pairs in three directions.
        (
            "(a and b and c and (d or not d) and e and f) or (not b and c and d and not (e or f))"
            " or (not a and b and not (c or d or e))",
            2,
        ),
    ],
)
def test_functions_on_which_simple_searches_fail(text, groups):
    """Found by search: here growing greedily, or joining pairs to chains only, gives too many steps."""
    condition = parse_condition(text)
    assert len(steps_of(condition).steps) == len(condition.names) + groups
    _check(text)


def test_trying_and_program_agree():
    """The two oracles of this file agree with each other."""
    condition = parse_condition("a and (b or not c) or d and not a")
    truth = _truth(condition)
    edges = _edges(truth, condition.names)
    assert _fewest_by_trying(truth, edges) == _fewest_by_program(truth, edges) == 5


def test_starter_stays_off_with_the_clutch_released():
    """The steps of a starter hold the one a builder must try: key and start, clutch released, starter off."""
    made = steps_of(parse_condition("ignition and start and clutch"))
    assert len(made.steps) == 4
    assert any(step.on == {"ignition", "start"} and not step.result for step in made.steps)


def test_idle_input_is_named_and_left_off():
    """An input that never changes the result is reported, and no step switches it on."""
    made = steps_of(parse_condition("a or (a and b)"))
    assert (made.inputs, made.idle) == (("a",), ("b",))
    assert all("b" not in step.on for step in made.steps)


@pytest.mark.parametrize("text", ["a or not a", "a and not a"])
def test_constant_condition_has_no_steps(text):
    """Where nothing matters there is nothing to show."""
    made = steps_of(parse_condition(text))
    assert (made.inputs, made.idle, made.steps) == ((), ("a",), ())


def test_table_reads_like_a_sheet():
    """The table has a column an input, a row a step, and says what each step shows."""
    table = steps_of(parse_condition("key and not door")).table
    assert list(table.columns) == ["step", "key", "door", "result", "shows"]
    assert table["shows"].tolist() == ["", "key (against step 1)", "door (against step 2)"]
    assert table["result"].tolist() == ["off", "on", "off"]


def test_fifteen_alternatives():
    """A warning lamp on fifteen doors needs sixteen steps, found at once."""
    assert len(steps_of(parse_condition(" or ".join(f"door{i}" for i in range(15)))).steps) == 16


def test_too_many_inputs_is_said():
    """Beyond the limit there is a message, not an endless search."""
    with pytest.raises(StepsError, match="19 inputs in one condition"):
        steps_of(parse_condition(" or ".join(f"i{n}" for n in range(19))))
