from itertools import pairwise

import pytest

from pdm_alloc.electrics.signal_lines import E24, design_ladder, ladder_steps


def test_two_switches_read_what_the_divider_rule_gives():
    """Worked by hand: 1 kohm pull-up, 1 kohm and 2 kohm: 1, 2/3, 1/2 and 2/5 of full scale."""
    steps = ladder_steps((1000, 2000), 1000).steps
    assert [step.closed for step in steps] == [(), (1,), (0,), (0, 1)]
    assert [step.nominal for step in steps] == pytest.approx([1, 2 / 3, 1 / 2, 2 / 5])


def test_single_switches_read_what_a_published_ladder_does():
    """2.5, 3.33, 3.75 and 4.0 V of 5 V: 1 kohm pull-up, 1 to 4 kohm to ground.

    Source: "The perfect multi-button input resistor ladder", web article of 2018, readings of its buttons 2 to 5.
    """
    steps = ladder_steps((1000, 2000, 3000, 4000), 1000).steps
    alone = {step.closed[0]: 5 * step.nominal for step in steps if len(step.closed) == 1}
    assert [alone[n] for n in range(4)] == pytest.approx([2.5, 3.33, 3.75, 4.0], abs=0.005)


def test_tolerances_widen_a_step_to_the_worst_of_both_resistors():
    """1 kohm to ground below 1 kohm, both 1 %: 0.99 / 2 to 1.01 / 2 of full scale, without reading error."""
    [_, closed] = ladder_steps((1000,), 1000, reading_error_pct=0).steps
    assert (closed.low, closed.high) == pytest.approx((0.99 / (0.99 + 1.01), 1.01 / (0.99 + 1.01)))


@pytest.mark.parametrize("switches", [1, 2, 3])
def test_a_designed_ladder_tells_every_combination_apart(switches):
    """No two of the 2^n steps come nearer than the gap, with every resistor and the reading at its worst."""
    ladder = design_ladder(switches)
    assert len(ladder.steps) == 2**switches
    assert all(above.low - below.high >= 0.005 for above, below in pairwise(ladder.steps))
    assert all(ohm / 10 ** (len(str(int(ohm))) - 2) in E24 for ohm in ladder.resistors_ohm)


def test_too_many_switches_and_too_wide_tolerances_are_refused():
    """Five switches on one pin, or three with resistors of 20 %, cannot be told apart."""
    assert design_ladder(5) is None
    assert design_ladder(3, tolerance_pct=20) is None
    with pytest.raises(ValueError, match="at least one switch"):
        design_ladder(0)
    with pytest.raises(ValueError, match="above 0 ohm"):
        ladder_steps((0,), 1000)
