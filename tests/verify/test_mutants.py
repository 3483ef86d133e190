"""Faults that once slipped past the recount's tests, put back by hand: each blinds the check that now finds it."""

import inspect
import textwrap

import pytest

from pdm_alloc.verify import strength, wires
from pdm_alloc.verify.check import violations
from tests.verify.test_rules import BROKEN
from tests.verify.test_written import on_two, rules_after


def broken(words):
    """Rules found in the case of `test_rules` of that name."""
    (inputs,) = (one.values[4] for one in BROKEN if words in one.id)
    return {finding.rule for finding in violations(inputs.vehicle, inputs.units, inputs.circuits)}


MUTANTS = {
    "a pair within one bank at half": (
        strength,
        "_banks",
        "len(banks) == 2 and ",
        "",
        lambda: broken("a pair within one bank"),
        "bank",
    ),
    "no return on a bridge": (
        wires.Asked,
        "__init__",
        'wired.circuit.use == "bridge" or ',
        "",
        lambda: broken("there and back on a bridge"),
        "wire",
    ),
    "no return in the bundle": (
        wires.Asked,
        "__init__",
        'wired.circuit.use == "bridge" or ',
        "",
        lambda: rules_after(on_two("bridge"), "bundle_wires", 1),
        "bundle",
    ),
    "an odd number on a pair": (
        wires._Row,
        "_fits",
        "parallel % self.wired.shares or ",
        "",
        lambda: rules_after(on_two("pair"), "parallel", 3),
        "terminal",
    ),
}


@pytest.mark.parametrize("name", MUTANTS)
def test_a_fault_put_back_is_noticed(name, monkeypatch):
    """The finding is there with the recount as it is, and gone with the fault in it."""
    place, function, text, other, findings, rule = MUTANTS[name]
    assert rule in findings()
    source = textwrap.dedent(inspect.getsource(getattr(place, function)))
    assert source.count(text) == 1
    space = dict(vars(strength if place is strength else wires))
    exec(source.replace(text, other), space)
    monkeypatch.setattr(place, function, space[function])
    assert rule not in findings()
