"""By how much the channels' peak must rise."""

from dataclasses import replace

from pdm_alloc.allocation.arithmetic import amps
from pdm_alloc.allocation.not_enough import Short
from pdm_alloc.allocation.shortfall.trial import Growth, Trial, with_channels
from pdm_alloc.module import Unit

__all__ = ["INRUSH", "Inrush"]

INRUSH = "inrush"
_STEP_MA = 100
_MOST_MA = 100_000_000


class Inrush:
    """Every channel bears so much more peak for its peak_ms, all by the same amount."""

    name = INRUSH

    def relevant(self, trial: Trial, unit: Unit) -> bool:
        """Where a load has an inrush."""
        return any(t.excess_ma for t in trial.types())

    def opened(self, trial: Trial, unit: Unit) -> Unit:
        """Any peak."""
        return _higher(unit, _MOST_MA)

    def least(self, trial: Trial, unit: Unit) -> Growth | None:
        """Least rise in steps of 0.1 A."""
        if not trial.enough(self.opened(trial, unit)):
            return None
        low, high = 0, 1
        while not trial.enough(_higher(unit, high * _STEP_MA)):
            low, high = high, high * 4
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if trial.enough(_higher(unit, middle * _STEP_MA)) else (middle, high)
        return _growth(unit, high * _STEP_MA)


def _growth(unit: Unit, rise_ma: int) -> Growth:
    have = max(c.peak_ma for c in unit.module.channels)
    text = f"channels that bear {amps(rise_ma)} more inrush"
    short = Short(INRUSH, unit.label, "", have / 1000, (have + rise_ma) / 1000, "A", text)
    return Growth(short, lambda other: _higher(other, rise_ma))


def _higher(unit: Unit, rise_ma: int) -> Unit:
    return with_channels(unit, lambda c: replace(c, peak_ma=c.peak_ma + rise_ma))
