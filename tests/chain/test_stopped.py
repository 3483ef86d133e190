"""A study that is stopped half-way ends at once and says only what it has proved."""

import itertools

import pytest

import pdm_alloc as pa
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.diagnose.shortfall import shortfall
from pdm_alloc.program.solver import Clock
from tests.shortfall.conftest import _alone, _together

CASES = [case[1:3] for case in _alone()] + [case[1:3] for case in _together()]


class Impatient(Clock):
    """Lets so many questions pass, and then the time is up for good."""

    def __init__(self, questions):
        self.asked = itertools.count()
        super().__init__(600, lambda: next(self.asked) >= questions)


@pytest.mark.parametrize("case", CASES, ids=range(len(CASES)))
def test_whatever_was_not_proved_is_left_out(case):
    """Wherever the clock stops it, a study ends, and all it says is allocated."""
    vehicle, unit = case
    for questions in (0, 1, 2, 3, 5, 8, 13, 21, 34, 55):
        study = shortfall(vehicle, (unit,), Impatient(questions), CircuitBook(vehicle.settings.tolerance_loads))
        assert bool(study.parts) == (study.allocation is not None)
        assert study.allocation is None or pa.verify(study.allocation).empty
