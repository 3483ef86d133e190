"""By how much banks, totals, peaks, terminals, inputs and supply voltage must grow."""

import math
from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from pdm_alloc.circuits.classes import Rating, channel_classes, unit_ambient_c
from pdm_alloc.circuits.columns import rating_for
from pdm_alloc.circuits.items import ItemType, bank_limit_ma
from pdm_alloc.diagnose.short_trial import Growth, Trial, with_channels, with_module
from pdm_alloc.domain.module import Unit, natural_key
from pdm_alloc.electrics.thermal import derating_factor
from pdm_alloc.electrics.wire import WireSize, wire_sizes
from pdm_alloc.program.partition import partition
from pdm_alloc.result.refusals import Short, amps, arithmetic_shorts

__all__ = [
    "BANK",
    "INPUTS",
    "INRUSH",
    "PEAK",
    "SUPPLY",
    "TERMINALS",
    "WHOLE",
    "WIRE",
    "Banks",
    "Inputs",
    "Inrush",
    "Peak",
    "Supply",
    "Terminals",
    "Whole",
    "unwired",
]

BANK, WHOLE, PEAK = "bank", "whole module", "whole module peak"

_SUMS_MOST_MA = 10_000_000_000


def limit_for(trial: Trial, unit: Unit, usable_ma: int) -> int:
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
        return _banks(unit, dict.fromkeys(unit.module.bank_ma, _SUMS_MOST_MA))

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
        need = {b: limit_for(trial, unit, usable[b] + g) for b, g in grown.items()}
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
        return with_module(unit, total_ma=_SUMS_MOST_MA)

    def least(self, trial: Trial, unit: Unit) -> Growth | None:
        """The worst state decides."""
        shorts = [s for s in arithmetic_shorts(trial.vehicle, [unit]) if s.kind == WHOLE]
        worst = max(shorts, key=lambda s: s.need, default=None)
        if worst is None:
            return None
        rating = limit_for(trial, unit, round(1000 * worst.need))
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
        return _peak(unit, _SUMS_MOST_MA)

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


INRUSH = "inrush"
_STEP_MA = 100
_INRUSH_MOST_MA = 100_000_000


class Inrush:
    """Every channel bears so much more peak for its peak_ms, all by the same amount."""

    name = INRUSH

    def relevant(self, trial: Trial, unit: Unit) -> bool:
        """Where a load has an inrush."""
        return any(t.excess_ma for t in trial.types())

    def opened(self, trial: Trial, unit: Unit) -> Unit:
        """Any peak."""
        return _higher(unit, _INRUSH_MOST_MA)

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
        return _inrush_growth(unit, high * _STEP_MA)


def _inrush_growth(unit: Unit, rise_ma: int) -> Growth:
    have = max(c.peak_ma for c in unit.module.channels)
    text = f"channels that bear {amps(rise_ma)} more inrush"
    short = Short(INRUSH, unit.label, "", have / 1000, (have + rise_ma) / 1000, "A", text)
    return Growth(short, lambda other: _higher(other, rise_ma))


def _higher(unit: Unit, rise_ma: int) -> Unit:
    return with_channels(unit, lambda c: replace(c, peak_ma=c.peak_ma + rise_ma))


TERMINALS = "terminals"


class Terminals:
    """The terminals of all channels take a wire of at least so much."""

    name = TERMINALS

    def relevant(self, trial: Trial, unit: Unit) -> bool:
        """Where a terminal sets a limit."""
        return any(c.max_wire_mm2 is not None for c in unit.module.channels)

    def opened(self, trial: Trial, unit: Unit) -> Unit:
        """Any wire of the tables."""
        return _wider(unit, wire_sizes(trial.vehicle.settings.wire_sizes)[-1].area_mm2)

    def least(self, trial: Trial, unit: Unit) -> Growth | None:
        """The thinnest size that will do."""
        sizes = wire_sizes(trial.vehicle.settings.wire_sizes)
        if not trial.enough(self.opened(trial, unit)):
            return None
        n = bisect_left(range(len(sizes) - 1), True, key=lambda n: trial.enough(_wider(unit, sizes[n].area_mm2)))
        return _terminals_growth(unit, sizes[n])


def _terminals_growth(unit: Unit, size: WireSize) -> Growth:
    have = min((c.max_wire_mm2 for c in unit.module.channels if c.max_wire_mm2 is not None), default=0.0)
    text = f"terminals that take {size.name} of wire on every channel (the smallest takes {have:g} mm2)"
    short = Short(TERMINALS, unit.label, "", have, size.area_mm2, "mm2", text)
    return Growth(short, lambda other: _wider(other, size.area_mm2), lambda other: _terminals_growth(other, size))


def _wider(unit: Unit, area_mm2: float) -> Unit:
    def wider(c):
        return c if c.max_wire_mm2 is None else replace(c, max_wire_mm2=max(c.max_wire_mm2, area_mm2))

    return with_channels(unit, wider)


WIRE = "wire"


def unwired(trial: Trial, opened: Unit) -> list[Short]:
    """Loads that cannot be wired even alone and on the best of channels.

    Parameters
    ----------
    trial : Trial
        The vehicle.
    opened : Unit
        With no limit of its own.

    Returns
    -------
    list of Short
        One a load, in the order of the loads; `have` and `need` count wires.
    """
    classes, _ = channel_classes(trial.vehicle, [opened])
    ratings = list(dict.fromkeys(c.rating for c in classes))
    return [short for t in trial.types() for short in _short(trial, t, ratings)]


def _short(trial: Trial, t: ItemType, ratings: list[Rating]) -> Iterator[Short]:
    wiring = trial.book.wiring(trial.vehicle)
    highest = t.running_ma + (t.deviation_ma if trial.book.tolerance_loads else 0)
    own = [rating_for(r, t.headroom_pct) for r in ratings if r.reversing == t.reversing and highest <= r.usable_ma]
    made = [wiring.protect([(t, 1)], rating, highest) for rating in own]
    reasons = [reason for reason in made if isinstance(reason, str)]
    if reasons and len(reasons) == len(made):
        text = f"{t.load} has no wire: {_because(trial, t, own, reasons)}"
        yield Short(WIRE, t.load, "", 0, 1, "wires", text, t.load)


def _because(trial: Trial, t: ItemType, ratings: list[Rating], reasons: list[str]) -> str:
    """Why, by the channel on which it comes nearest to having one."""
    reason, rating = reasons[-1], ratings[-1]
    wiring = trial.book.wiring(trial.vehicle)
    if reason == "drop":
        ((_, length_m, most_pct),) = wiring.runs([(t, 1)], rating.place)
        return f"no size keeps the drop within {most_pct:g} % over {length_m or 0:.3g} m"
    rules = wiring.rules_of([(t, 1)], rating)
    if reason == "heat":
        return f"its way passes {rules.ambient_c:g} °C, and its insulation bears {rules.insulation_c:g} °C"
    return f"no size bears what flows before the channel trips, at {rules.ambient_c:g} °C"


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
