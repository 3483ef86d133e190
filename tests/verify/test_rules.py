"""Each rule is broken alone, and the recount finds that rule and no other, with the values worked out by hand."""

from dataclasses import replace

import pytest

from pdm_alloc.domain.module import Unit
from pdm_alloc.verify.assignment import Recount
from pdm_alloc.verify.check import RULES, violations
from tests.verify import case
from tests.verify.broken_limits import LIMITS, OFF
from tests.verify.broken_wires import WIRES
from tests.verify.broken_wiring import WIRING
from tests.verify.case import UNIT, VEHICLE, wired

BROKEN = WIRING + LIMITS + WIRES


@pytest.mark.parametrize(("rule", "value", "limit", "where", "broken"), BROKEN)
def test_finds_exactly_what_was_broken(rule, value, limit, where, broken):
    """One finding, of that rule, on that channel, with value and limit as worked out by hand."""
    found = violations(broken.vehicle, broken.units, broken.circuits)
    assert [finding.rule for finding in found] == [rule], [str(finding) for finding in found]
    if value is not None:
        assert (found[0].value, found[0].limit) == pytest.approx((value, limit), rel=1e-12)
    assert found[0].channel == where
    assert found[0].message


def test_nothing_wrong_with_the_case_itself():
    """What is broken above is whole before."""
    assert violations(VEHICLE, (UNIT,), wired()) == []


def test_every_rule_has_a_case():
    """A rule nobody breaks here could be empty and nobody would know."""
    silent = {rule.__name__ for rule in RULES}
    for case_of in BROKEN:
        inputs = case_of.values[4]
        recount = Recount(inputs.vehicle, inputs.units, inputs.circuits)
        silent -= {rule.__name__ for rule in RULES if any(True for _ in rule(recount))}
    assert not silent


def test_several_rows_let_a_locked_load_be_on_several_channels():
    """Rows for both channels of the markers are kept by the case as it is."""
    rows = [("marker", "compact", "1"), ("marker", "compact", "2")]
    assert violations(case.locked(*rows), (UNIT,), wired()) == []


def test_a_lock_on_one_channel_is_not_met_by_two_paralleled():
    """The heater is on 5+6: a row that names both is kept in either order, one that names 5 or 6 alone is not."""
    for name in ("5+6", "6+5"):
        assert violations(case.locked(("heater", "compact", name)), (UNIT,), wired()) == []
    for name in ("5", "6"):
        findings = violations(case.locked(("heater", "compact", name)), (UNIT,), wired())
        assert [(f.rule, f.channel) for f in findings] == [("locked", name), ("locked", "5+6")]
    marker = violations(case.locked(("marker", "compact", "1+2")), (UNIT,), wired())
    assert {f.rule for f in marker} == {"locked"}


def test_locks_of_other_modules_do_not_count():
    """A row that names a module which is not fitted says nothing about this one."""
    assert violations(case.locked(("marker", "large", "3")), (UNIT,), wired()) == []


def test_a_lock_names_a_unit_or_its_module():
    """With two units of one module a row means the unit of that label, or else the first."""
    two = (Unit("front", case.MODULE), Unit("rear", case.MODULE))
    front = tuple(replace(c, unit="front") for c in wired())
    assert violations(case.locked(("engine ECU", "compact", "9")), two, front) == []
    assert [f.rule for f in violations(case.locked(("engine ECU", "rear", "9")), two, front)] == ["locked", "locked"]


def test_two_units_with_one_label_are_refused():
    """A label that means two units could not be checked."""
    with pytest.raises(ValueError, match="unique"):
        violations(VEHICLE, (UNIT, UNIT), ())


def test_loads_that_may_not_be_off_together_are_not_added_up():
    """Of pump and radio one at a time is off: 60.7 kA2 ms within 61.0, though both together would bring 62.5."""
    assert violations(OFF, case.channels("3", continuous_ma=12_000, peak_ms=17.4), wired()) == []
