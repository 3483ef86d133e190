"""What a circuit draws at its worst, at any voltage of any state it may be on in, and what of a channel that uses."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import combinations

from pdm_alloc.circuits.classes import Rating
from pdm_alloc.circuits.items import ItemType
from pdm_alloc.electrics.inrush import InrushUse, inrush_use
from pdm_alloc.electrics.trip import TRIP_MARGIN

__all__ = ["CircuitDraw", "borne_for", "rating_for", "usable_for", "worst_rise_ma"]

ItemCounts = Sequence[tuple[ItemType, int]]


def rating_for(rating: Rating, headroom_pct: Fraction | None) -> Rating:
    """The kind of channel with the usable limit of `usable_for`."""
    return rating if headroom_pct is None else replace(rating, usable_ma=usable_for(rating, headroom_pct))


def usable_for(rating: Rating, headroom_pct: Fraction | None) -> int:
    """Usable limit of a kind of channel, mA, where a command wants a headroom of its own; None: it does not."""
    return rating.usable_ma if headroom_pct is None else rating.usable_at(headroom_pct)


def borne_for(rating: Rating, headroom_pct: Fraction | None) -> int:
    """Running current that no circuit on a kind of channel is above, mA: usable, and room for its trip setting."""
    highest = rating.rated_ma * rating.share // rating.trip_step_ma * rating.trip_step_ma / Fraction(rating.share)
    trips = highest * (1 - rating.trip_error_pct / 100) / TRIP_MARGIN
    return min(usable_for(rating, headroom_pct), math.floor(trips))


def worst_rise_ma(rises: Sequence[int], at_once: int) -> int:
    """Rise of a sum when the `at_once` loads that matter most are at the top of their tolerance, mA."""
    return sum(sorted(rises, reverse=True)[:at_once])


@dataclass(frozen=True, slots=True)
class _Moment:
    """A circuit at one voltage: largest running current, and each load's inrush as stated and at its top, mA."""

    draw_ma: int
    excess_ma: tuple[int, ...]
    surge_ma: tuple[int, ...]

    def reaches(self, other: "_Moment") -> bool:
        """Whether nothing of the other is above this."""
        mine = (self.draw_ma, *self.excess_ma, *self.surge_ma)
        return all(map(int.__le__, (other.draw_ma, *other.excess_ma, *other.surge_ma), mine))

    def peak_ma(self, at_once: int) -> int:
        """Largest current at switch-on, mA."""
        rises = [surge - excess for surge, excess in zip(self.surge_ma, self.excess_ma, strict=True)]
        return self.draw_ma + sum(self.excess_ma) + worst_rise_ma(rises, at_once)


_MOST_CHOICES = 500  # of loads at the top of their tolerance; beyond, all are


class CircuitDraw:
    """What items together draw at their worst: the same whichever channel they are on, so worked out once.

    Parameters
    ----------
    items : sequence of (ItemType, int)
        Of one command, and how many of each.
    at_once : int
        How many loads at once are taken at the top of their tolerance.
    """

    def __init__(self, items: ItemCounts, at_once: int):
        self.items, self.at_once = items, at_once

    @cached_property
    def running_ma(self) -> int:
        """Largest running current at any voltage they are checked at, as stated, mA."""
        return max(self._running_ma(at) for at in self._voltages())

    @cached_property
    def draw_ma(self) -> int:
        """Largest running current at any voltage they are checked at, tolerance included, mA."""
        return max(moment.draw_ma for moment in self._moments)

    @cached_property
    def peak_ma(self) -> int:
        """Largest peak at switch-on at any voltage they are checked at, running and tolerance included, mA."""
        return max(moment.peak_ma(self.at_once) for moment in self._moments)

    def inrush_use(self, rating: Rating) -> InrushUse:
        """How much of a channel's protection their inrush uses at the worst voltage and tolerances."""
        energy = max((self._energy(moment, rating) for moment in self._steepest), default=0.0)
        return InrushUse(self.peak_ma / rating.peak_ma, energy)

    def _voltages(self) -> range:
        return range(len(self.items[0][0].volt_ma))

    def _running_ma(self, at: int) -> int:
        return sum([t.volt_ma[at] * k for t, k in self.items])

    @cached_property
    def _moments(self) -> list[_Moment]:
        return [self._moment(at) for at in self._voltages()]

    def _moment(self, at: int) -> _Moment:
        rises = [t.volt_deviation_ma[at] * k for t, k in self.items]
        draw = self._running_ma(at) + worst_rise_ma(rises, self.at_once)
        excess = tuple([t.volt_excess_ma[at] * k for t, k in self.items])
        return _Moment(draw, excess, tuple([t.volt_surge_ma[at] * k for t, k in self.items]))

    @cached_property
    def _steepest(self) -> list[_Moment]:
        """Voltages that no other one exceeds in running current and in every excess: of these one is the worst."""
        moments = list(dict.fromkeys(self._moments))
        return [m for m in moments if not any(other is not m and other.reaches(m) for other in moments)]

    @cached_property
    def _tau_ms(self) -> list[float]:
        return [t.tau_ms for t, _ in self.items]

    def _energy(self, moment: _Moment, rating: Rating) -> float:
        """Overload over what the channel bears, the loads at the top of their tolerance chosen for the worst."""
        if moment.draw_ma + sum(moment.surge_ma) <= rating.usable_ma:
            return 0.0
        loose = [n for n, surge in enumerate(moment.surge_ma) if surge > moment.excess_ma[n]]
        use = self._overload(moment, loose, rating)
        if use <= 1 or len(loose) <= self.at_once or math.comb(len(loose), self.at_once) > _MOST_CHOICES:
            return use
        return max(self._overload(moment, raised, rating) for raised in combinations(loose, self.at_once))

    def _overload(self, moment: _Moment, raised: Sequence[int], rating: Rating) -> float:
        stated = enumerate(moment.excess_ma)
        excess_a = [(moment.surge_ma[n] if n in raised else excess) / 1000 for n, excess in stated]
        limits = (rating.usable_ma / 1000, rating.peak_ma / 1000, rating.peak_ms)
        return inrush_use(moment.draw_ma / 1000, excess_a, self._tau_ms, *limits).energy
