"""Conditions: what they mean, how faults are reported, how inputs are counted."""

import itertools
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pdm_alloc.domain.condition import (
    And,
    ConditionError,
    Not,
    Or,
    Undecided,
    Variable,
    condition_names,
    inputs_needed,
    inputs_turning_on,
    parse_condition,
    quoted_condition,
    walk,
)
from pdm_alloc.domain.vehicle import Command, Input, Load, State, Vehicle

NAMES = ("a", "b2", "high_beam", "fuel level", "ümlaut")


def _vehicle(conditions, inputs):
    commands = tuple(Command(f"c{i}", text) for i, text in enumerate(conditions))
    state = State("on", 12.0, {c.name: 1_000_000 for c in commands})
    return Vehicle("car", (Load("lamp", "c0", 1000),), commands, (state,), inputs=tuple(inputs))


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("ignition and start and clutch", {"ignition", "start", "clutch"}),
        ("a AND Not (b Or c)", {"a", "b", "c"}),
        ("a & ~b | !c && d || e", {"a", "b", "c", "d", "e"}),
        ("\"left door\" or 'rear-door' or “tail.gate”", {"left door", "rear-door", "tail.gate"}),
        ("not not a", {"a"}),
        ("4x4", {"4x4"}),
        ("", set()),
        ("   ", set()),
    ],
)
def test_names(text, names):
    """The names are the inputs and nothing else, whatever spelling of the operators is used."""
    assert condition_names(text) == names


@pytest.mark.parametrize(
    ("text", "position", "found", "expected"),
    [
        ("a and", 6, "the end", "name of an input"),
        ("a b", 3, "'b'", "'and', 'or'"),
        ("brake pedal and a", 7, "'pedal'", '"brake pedal"'),
        ("and a", 1, "'and'", "name of an input"),
        ("a and or b", 7, "'or'", "name of an input"),
        ("(a or b", 8, "the end", "'(' at character 1 is open"),
        ("a or b)", 7, "')'", "it closes nothing"),
        ("()", 2, "')'", "name of an input"),
        ("a and b not c", 9, "'not'", "'and', 'or'"),
        ("a and (b) c", 11, "'c'", "'and', 'or'"),
        ("a (b)", 3, "'('", "'and', 'or'"),
        ("rear-door", 5, "'-'", "quote a name"),
        ('a and "left', 7, "'\"'", "not closed"),
        ("a and ''", 8, "an empty name", "between the quotes"),
        ("a = b", 3, "'='", "parentheses"),
        ("not " * 200 + "a", 401, "'not'", "at most 100"),
    ],
)
def test_fault_is_located(text, position, found, expected):
    """A fault names its place, what stands there and what was expected."""
    with pytest.raises(ConditionError) as caught:
        condition_names(text)
    assert (caught.value.position, caught.value.found) == (position, found)
    assert f"at character {position}: found {found}, expected " in str(caught.value)
    assert expected in str(caught.value)


def _expressions():
    leaf = st.sampled_from(NAMES).map(lambda n: (f'"{n}"' if " " in n else n, lambda env, n=n: env[n]))

    def combine(children):
        both = st.tuples(children, children)
        return st.one_of(
            both.map(lambda p: (f"({p[0][0]} and {p[1][0]})", lambda e, p=p: p[0][1](e) and p[1][1](e))),
            both.map(lambda p: (f"({p[0][0]} | {p[1][0]})", lambda e, p=p: p[0][1](e) or p[1][1](e))),
            children.map(lambda c: (f"not {c[0]}", lambda e, c=c: not c[1](e))),
        )

    return st.recursive(leaf, combine, max_leaves=8)


@given(_expressions())
@settings(max_examples=150, deadline=None)
def test_meaning_agrees_with_python(expression):
    """The result equals that of the same expression computed by Python, for all settings of the inputs."""
    text, meaning = expression
    condition = parse_condition(text)
    for values in itertools.product((False, True), repeat=len(NAMES)):
        env = dict(zip(NAMES, values, strict=True))
        assert condition.evaluate({n for n, v in env.items() if v}) == meaning(env)


@pytest.mark.parametrize("values", list(itertools.product((False, True), repeat=4)))
def test_precedence_without_parentheses(values):
    """Not binds tighter than and, and tighter than or, as in Python."""
    on = {n for n, v in zip("abcd", values, strict=True) if v}
    a, b, c, d = values
    assert parse_condition("a or not b and c or not d").evaluate(on) == (a or (not b and c) or not d)


def test_names_keep_the_order_they_appear_in():
    """Test steps read in the order the condition was written."""
    assert parse_condition("start and (clutch or neutral) and not start").names == ("start", "clutch", "neutral")


def test_deep_but_allowed_condition_is_evaluated():
    """The deepest nest that is accepted does not exhaust the stack."""
    assert parse_condition("not (" * 50 + "a" + ")" * 50).evaluate({"a"})


def test_long_flat_condition_is_evaluated():
    """A long list of alternatives is no deep nest."""
    assert parse_condition(" or ".join(f"i{n}" for n in range(3000))).evaluate({"i2999"})


def test_inputs_needed_counts_switches_and_senders_once():
    """Bus inputs take no input of the module; names met in several places count once."""
    inputs = [Input("key"), Input("fuel", kind="analog"), Input("rain", kind="bus"), Input("unused")]
    assert inputs_needed(_vehicle(["key and rain", "key or fuel", ""], inputs)) == 3


def test_inputs_needed_counts_names_without_an_inputs_table():
    """A name no table describes is taken for a switch, the worse case."""
    assert inputs_needed(_vehicle(["key and not door"], [])) == 2


def test_no_library_is_needed():
    """Names, tree and value come from one parser; neither boolean.py nor pandas is asked for."""
    code = "import sys; from pdm_alloc.domain.condition import parse_condition as p"
    code += "; assert p('a and b').evaluate({'a', 'b'})"
    code += "; assert not {'boolean', 'pandas', 'scipy'} & set(sys.modules)"
    subprocess.run([sys.executable, "-c", code], check=True)


def test_tree_is_plain_data():
    """And, or and not are nodes with their operands in order; a chain is one node; walking ends at the root."""
    tree = parse_condition("a and b and not (c or d)").expression
    assert tree == And((Variable("a"), Variable("b"), Not(Or((Variable("c"), Variable("d"))))))
    nodes = list(walk(tree))
    assert [node.name for node in nodes if isinstance(node, Variable)] == ["a", "b", "c", "d"]
    assert nodes[-1] == tree


@pytest.mark.parametrize(
    ("text", "inputs", "tree"),
    [
        ("head switch and ignition", ("head switch", "ignition"), And((Variable("head switch"), Variable("ignition")))),
        ("head switch", ("head", "switch", "head switch"), Variable("head switch")),
        ("not head switch 2", ("head switch", "head switch 2"), Not(Variable("head switch 2"))),
        ("rear-door|tail.gate", ("rear-door", "tail.gate"), Or((Variable("rear-door"), Variable("tail.gate")))),
        ("not used", ("not used",), Variable("not used")),
        ("not (used)", ("not used", "used"), Not(Variable("used"))),
        ('"not used" or used', ("not used", "used"), Or((Variable("not used"), Variable("used")))),
        ("(head switch)", ("head switch",), Variable("head switch")),
    ],
)
def test_name_with_a_space_needs_no_quotes_where_inputs_are_known(text, inputs, tree):
    """The longest input that fits counts, and with quotes put round it the text means the same without the list."""
    assert parse_condition(text, inputs).expression == tree
    assert parse_condition(quoted_condition(text, inputs)).expression == tree


@pytest.mark.parametrize(("text", "inputs"), [("not used", ("not used", "used")), ("a and b", ("a and b", "a", "b"))])
def test_name_that_is_a_condition_too_is_refused(text, inputs):
    """Where an input's name reads as a condition over other inputs, nothing is guessed."""
    with pytest.raises(ConditionError, match="two ways"):
        parse_condition(text, inputs)


def test_part_of_a_word_is_no_name():
    """A name ends where its word ends."""
    with pytest.raises(ConditionError) as caught:
        parse_condition("head switches", ("head switch",))
    assert caught.value.two_names


@given(st.lists(st.tuples(_expressions(), st.booleans()), min_size=1, max_size=4))
@settings(max_examples=200, deadline=None)
def test_search_over_the_inputs_agrees_with_trying_them_all(wanted):
    """A setting is returned if and only if one of all settings gives every expression its value, and it does so."""
    conditions = [(parse_condition(text), value) for (text, _), value in wanted]
    on = inputs_turning_on([(condition.expression, value) for condition, value in conditions])
    every = itertools.chain.from_iterable(itertools.combinations(NAMES, n) for n in range(len(NAMES) + 1))
    fits = [set(names) for names in every if all(c.evaluate(names) is value for c, value in conditions)]
    assert on in fits if fits else on is None


def test_search_over_very_many_inputs_ends():
    """A long chain is solved without branching twice; a puzzle too hard to decide is given up and not sat out."""
    chain = ["i0", *(f"not i{n} or i{n + 1}" for n in range(200))]
    assert len(inputs_turning_on([(parse_condition(text).expression, True) for text in chain])) == 201
    # Nine pigeons, eight holes (the classic hard case of this search).
    homes = [" or ".join(f"p{p}_{h}" for h in range(8)) for p in range(9)]
    apart = [f"not (p{p}_{h} and p{q}_{h})" for h in range(8) for q in range(9) for p in range(q)]
    with pytest.raises(Undecided):
        inputs_turning_on([(parse_condition(text).expression, True) for text in homes + apart])
