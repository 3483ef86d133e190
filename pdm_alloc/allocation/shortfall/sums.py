"""By how much a bank, the whole module or its peak must grow."""

import math
from fractions import Fraction

from pdm_alloc.allocation.arithmetic import amps, arithmetic_shorts
from pdm_alloc.allocation.not_enough import Short
from pdm_alloc.allocation.shortfall.trial import Growth, Trial, with_module
from pdm_alloc.circuits.classes import unit_ambient_c
from pdm_alloc.circuits.limits import bank_limit_ma
from pdm_alloc.electrics.derating import derating_factor
from pdm_alloc.module import Unit, natural_key
from pdm_alloc.program.partition import partition

__all__ = ["BANK", "PEAK", "WHOLE", "Banks", "Peak", "Whole"]

BANK, WHOLE, PEAK = "bank", "whole module", "whole module peak"
_MOST_MA = 10_000_000_000


def rating_for(trial: Trial, unit: Unit, usable_ma: int) -> int:
    """Least rating that leaves a usable limit after derating and the module headroom, mA."""
    factor = derating_factor(unit.module.derating, unit_ambient_c(trial.vehicle, unit))
    return math.ceil(Fraction(usable_ma) / (factor * (1 - trial.vehicle.settings.module_headroom_pct / 100)))


class Banks:
    """One bank where one will do; otherwise the least in all of them together."""

    name = BANK

    def relevant(self, trial: Trial, unit: Unit) -> bool:
        """Where there are banks."""
        return bool(unit.module.bank_ma)

    def opened(self, trial: Trial, unit: Unit) -> Unit:
        """Banks without limit."""
        return _banks(unit, dict.fromkeys(unit.module.bank_ma, _MOST_MA))

    def least(self, trial: Trial, unit: Unit) -> Growth | None:
        """Least growth of the usable limit, and the rating it takes."""
        banks = sorted(unit.module.bank_ma, key=natural_key)
        alone = [g for bank in banks if (g := self._least(trial, unit, [bank]))]
        if alone:
            return min(alone, key=lambda g: g.share)
        return self._least(trial, unit, banks) if len(banks) > 1 else None

    def _least(self, trial: Trial, unit: Unit, banks: list[str]) -> Growth | None:
        task = trial.task(unit)
        first = len(task.columns)
        cost = {first + n: 1.0 for n in range(len(banks))}
        solution = trial.best(partition(task, [(0, bank) for bank in banks]), cost)
        if solution is None:
            return None
        grown = {b: round(solution.values[first + n]) for n, b in enumerate(banks)}
        return self._growth(trial, unit, {b: g for b, g in grown.items() if g})

    def _growth(self, trial: Trial, unit: Unit, grown: dict[str, int]) -> Growth | None:
        if not grown:
            return None
        usable = {b: bank_limit_ma(trial.vehicle, unit, b) for b in grown}
        need = {b: rating_for(trial, unit, usable[b] + g) for b, g in grown.items()}
        have = sum(unit.module.bank_ma[b] for b in grown)
        text = " and ".join(
            f"{amps(g)} more in bank {b} ({amps(usable[b] + g)} against {amps(usable[b])})" for b, g in grown.items()
        )
        short = Short(BANK, ", ".join(grown), "", have / 1000, sum(need.values()) / 1000, "A", text)
        return Growth(short, lambda other: _banks(other, need))


def _banks(unit: Unit, limits: dict[str, int]) -> Unit:
    return with_module(unit, bank_ma={**unit.module.bank_ma, **limits})


class Whole:
    """Whole-module current: a matter of arithmetic on one module."""

    name = WHOLE

    def relevant(self, trial: Trial, unit: Unit) -> bool:
        """Where arithmetic says so."""
        return any(s.kind == WHOLE for s in arithmetic_shorts(trial.vehicle, [unit]))

    def opened(self, trial: Trial, unit: Unit) -> Unit:
        """No limit."""
        return with_module(unit, total_ma=_MOST_MA)

    def least(self, trial: Trial, unit: Unit) -> Growth | None:
        """The worst state decides."""
        shorts = [s for s in arithmetic_shorts(trial.vehicle, [unit]) if s.kind == WHOLE]
        worst = max(shorts, key=lambda s: s.need, default=None)
        if worst is None:
            return None
        rating = rating_for(trial, unit, round(1000 * worst.need))
        have = unit.module.total_ma / 1000
        short = Short(WHOLE, unit.label, worst.state, have, rating / 1000, "A", worst.sentence, worst.needed_by)
        return Growth(short, lambda other: with_module(other, total_ma=rating))


class Peak:
    """Whole-module peak: running of a state and its largest inrush."""

    name = PEAK

    def relevant(self, trial: Trial, unit: Unit) -> bool:
        """Where everything at once with the largest inrush passes the limit."""
        types = trial.types()
        every = sum(t.count * (t.excess_ma + max(t.state_ma, default=0)) for t in types)
        return every > unit.module.total_peak_ma

    def opened(self, trial: Trial, unit: Unit) -> Unit:
        """No limit."""
        return _peak(unit, _MOST_MA)

    def least(self, trial: Trial, unit: Unit) -> Growth | None:
        """Least peak in whole milliamps, by bisection."""
        low = unit.module.total_peak_ma
        high = low + sum(t.count * (t.excess_ma + max(t.state_ma, default=0)) for t in trial.types())
        if not trial.enough(_peak(unit, high)):
            return None
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if trial.enough(_peak(unit, middle)) else (middle, high)
        have = unit.module.total_peak_ma
        text = f"{amps(high - have)} more peak of the whole module ({amps(high)} against {amps(have)})"
        short = Short(PEAK, unit.label, "", have / 1000, high / 1000, "A", text)
        return Growth(short, lambda other: _peak(other, high))


def _peak(unit: Unit, peak_ma: int) -> Unit:
    return with_module(unit, total_peak_ma=peak_ma)
