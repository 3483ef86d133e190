"""A study that is stopped half-way ends at once and says only what it has proved."""

import itertools

import pytest

from pdm_alloc.diagnose.shortfall import first_short, shortfall
from pdm_alloc.program.solver import Clock
from pdm_alloc.result.refusals import arithmetic_shorts
from tests.shortfall.conftest import _alone, _together

CASES = [case[1:3] for case in _alone()] + [case[1:3] for case in _together()]


class Impatient(Clock):
    """Lets so many questions pass, and then the time is up for good."""

    def __init__(self, questions):
        self.asked = itertools.count()
        super().__init__(600, lambda: next(self.asked) >= questions)


def said(shorts):
    return {(s.kind, s.subject, s.sentence) for s in shorts}


@pytest.mark.parametrize("study", [first_short, shortfall])
@pytest.mark.parametrize("case", CASES, ids=range(len(CASES)))
def test_whatever_was_not_proved_is_left_out(case, study):
    """Wherever the clock stops it, a study ends, and nothing it says differs from the study in full."""
    vehicle, unit = case
    patient = Impatient(10**9)
    everything = said([*shortfall(vehicle, unit, patient), *arithmetic_shorts(vehicle, [unit])])
    for questions in (0, 1, 2, 3, 5, 8, 13, 21, 34, 55):
        assert said(study(vehicle, unit, Impatient(questions))) <= everything
