"""Inputs and supply voltage: what is short is plain arithmetic, whatever the loads do."""

from pdm_alloc.allocation.arithmetic import arithmetic_shorts
from pdm_alloc.allocation.not_enough import Short
from pdm_alloc.allocation.shortfall.trial import Growth, Trial, with_module
from pdm_alloc.module import Unit

__all__ = ["INPUTS", "SUPPLY", "Inputs", "Supply"]

INPUTS, SUPPLY = "inputs", "supply voltage"


def _shorts(trial: Trial, unit: Unit, kind: str) -> list[Short]:
    return [s for s in arithmetic_shorts(trial.vehicle, [unit]) if s.kind == kind]


class Inputs:
    """More inputs for switches and senders."""

    name = INPUTS

    def relevant(self, trial: Trial, unit: Unit) -> bool:
        """Where there are too few."""
        return bool(_shorts(trial, unit, INPUTS))

    def opened(self, trial: Trial, unit: Unit) -> Unit:
        """Not judged."""
        return with_module(unit, inputs=None)

    def least(self, trial: Trial, unit: Unit) -> Growth | None:
        """As many as are wanted."""
        shorts = _shorts(trial, unit, INPUTS)
        return Growth(shorts[0], lambda other: with_module(other, inputs=int(shorts[0].need))) if shorts else None


class Supply:
    """A wider range of supply voltage."""

    name = SUPPLY

    def relevant(self, trial: Trial, unit: Unit) -> bool:
        """Where a state is outside the module's range."""
        return bool(_shorts(trial, unit, SUPPLY))

    def opened(self, trial: Trial, unit: Unit) -> Unit:
        """Any voltage."""
        return with_module(unit, supply_min_v=None, supply_max_v=None)

    def least(self, trial: Trial, unit: Unit) -> Growth | None:
        """The range all states need; told by the state farthest outside."""
        shorts = _shorts(trial, unit, SUPPLY)
        if not shorts:
            return None
        volts = [state.supply_v for state in trial.vehicle.states]
        low, high = unit.module.supply_min_v, unit.module.supply_max_v
        low = None if low is None else min(low, *volts)
        high = None if high is None else max(high, *volts)
        worst = max(shorts, key=lambda s: abs(s.need - s.have))
        return Growth(worst, lambda other: with_module(other, supply_min_v=low, supply_max_v=high))
