"""What a circuit draws at its worst and uses of a channel; its trip setting, wire and feed."""

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property, lru_cache
from itertools import combinations
from math import ceil
from typing import TypeVar

from pdm_alloc.circuits.classes import Rating, unit_ambient_c
from pdm_alloc.circuits.items import ItemType
from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.battery import FUSE_LOADING
from pdm_alloc.electrics.current import derating_factor, exact
from pdm_alloc.electrics.protection import TRIP_MARGIN, Demand, InrushUse, Protected, inrush_use, protect
from pdm_alloc.electrics.wire import RETURNS, Refused, Run, WireRules, mass_g_per_m
from pdm_alloc.harness.paths import Lengths, Part, Tree, lengths

__all__ = [
    "CircuitDraw",
    "Segments",
    "Wiring",
    "at_once_ma",
    "borne_for",
    "draws_ma",
    "feed_currents_ma",
    "for_at_once_ma",
    "rating_for",
    "stalled_ma",
    "usable_for",
    "wire_rules",
    "wiring_key",
    "worst_rise_ma",
]

ItemCounts = Sequence[tuple[ItemType, int]]


@lru_cache(maxsize=256)
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

    def passes(self, rating: Rating) -> bool:
        """Whether a channel's protection lets their inrush pass, at every voltage and with any tolerances."""
        return self.peak_ma <= rating.peak_ma and all(self._energy(moment, rating) <= 1 for moment in self._steepest)

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


Members = Sequence[tuple[ItemType, int]]

Segments = tuple[tuple[float, int], ...]  # ambient, deg C, and loaded wires of each part of a way

Key = TypeVar("Key")


def wire_rules(settings: Settings) -> WireRules:
    """What wires are chosen by where no place says otherwise."""
    return WireRules(
        settings.wire_sizes,
        settings.insulation_c,
        settings.wire_ambient_c,
        settings.bundle_wires,
        settings.return_path,
        settings.system_v,
        pack=settings.rules,
    )


def wiring_key(vehicle: Vehicle) -> tuple[Hashable, ...]:
    """All of a vehicle that `Wiring` depends on."""
    settings = vehicle.settings
    allowance = (settings.slack_pct, settings.end_allowance_m)
    return (wire_rules(settings), *allowance, vehicle.places, vehicle.routes)


class Wiring:
    """Wires of one vehicle.

    Parameters
    ----------
    vehicle : Vehicle
        For settings, places and routes.
    """

    def __init__(self, vehicle: Vehicle):
        self.lengths: Lengths = lengths(vehicle.settings, vehicle.places, vehicle.routes)
        self.rules = wire_rules(vehicle.settings)
        self._rules: dict[tuple[Hashable, ...], WireRules] = {}
        self._wire_m: dict[tuple[Hashable, ...], float] = {}

    def protect(
        self, members: Members, rating: Rating, running_ma: int, segments: Segments = ()
    ) -> Protected | Refused:
        """Setting and wire of a circuit, or why there is none, as of `pdm_alloc.electrics.protection.protect`.

        Parameters
        ----------
        some : sequence of (ItemType, int)
            What is in it, and how many of each.
        rating : Rating
            The kind of channel, and where it is.
        running_ma : int
            Largest draw, tolerance included, mA.
        segments : tuple of (float, int), optional
            As of `segments`; default: the hottest place passed, with the bundle of the setting.

        Returns
        -------
        Protected or Refused
        """
        demand = self.demand(members, running_ma, rating.place)
        return protect(demand, rating, self.rules_of(members, rating, segments))

    def demand(self, members: Members, running_ma: int, place: str | None) -> Demand:
        """What a circuit asks of any channel of a unit in a place; its largest draw, tolerance included, in mA."""
        return Demand(
            running_ma,
            [t.surge_ma * k / 1000 for t, k in members],
            [t.tau_ms for t, _ in members],
            stalled_ma(members, running_ma),
            self.runs(members, place),
            max(t.window_ms for t, _ in members),
        )

    def rules_of(self, members: Members, rating: Rating, segments: Segments = ()) -> WireRules:
        """What its wire is chosen by: hottest place, segments of its way; out and back by wire on a bridge."""
        key = (rating.place, rating.reversing, segments, *dict.fromkeys(t.place for t, _ in members))
        if key not in self._rules:
            ambient = self.lengths.hottest_c(rating.place, [t.place for t, _ in members])
            returned = "wire" if rating.reversing else self.rules.return_path
            self._rules[key] = replace(self.rules, ambient_c=ambient, return_path=returned, segments=segments)
        return self._rules[key]

    def segments(self, members: Members, place: str | None, together: Mapping[Part, int], upper: int) -> Segments:
        """Ambient and loaded wires, at most `upper`, along its way; what is apart from the routes lies as is set."""
        tree = self.lengths.tree(place)
        apart = [t.place for t, _ in members if not _reached(tree, t)]
        ways = {(self.lengths.part_c(part), min(number, upper)) for part, number in together.items()}
        if apart:
            ways.add((self.lengths.hottest_c(place, apart), self.rules.bundle_wires))
        return tuple(sorted(ways))

    def runs(self, members: Members, place: str | None) -> list[Run]:
        """Run to each load: its ampere-metres over its length, A; its length, m; drop allowed, per cent."""
        tree = self.lengths.tree(place)
        return [self._run(t, k, members, place, tree) for t, k in members]

    def _run(self, t: ItemType, k: int, members: Members, place: str | None, tree: Tree | None) -> Run:
        own_a = t.running_ma / 1000
        if not _reached(tree, t):
            return (own_a, t.length_m, t.max_drop_pct)
        length = self.lengths.wire_m(place, t.place)
        if tree is None or not length:  # at the module itself, with no allowance for ends
            return (own_a, length, t.max_drop_pct)
        return (self._amp_metres(t, members, tree) / length, length, t.max_drop_pct)

    def _amp_metres(self, t: ItemType, members: Members, tree: Tree) -> float:
        """Of the current in every part of the way: the trunk has what branches off later too; at the worst voltage."""
        slack, end = self.lengths.slack, self.lengths.end_m
        joined = [
            (o, k, tree.shared_m(str(t.place), str(o.place)) * slack + end) for o, k in members if _reached(tree, o)
        ]
        sums = (
            t.volt_ma[at] * end + sum(other.volt_ma[at] * k * m for other, k, m in joined)
            for at in range(len(t.volt_ma))
        )
        return max(sums) / 1000

    def wire_m(self, members: Members, place: str | None) -> float:
        """Wire of a circuit one way, as far as known, m: trunk and branches once, ends at the module and each item."""
        key = (place, *((t.place, t.length_m, k) for t, k in members))
        if key not in self._wire_m:
            self._wire_m[key] = self._measure(members, place)
        return self._wire_m[key]

    def _measure(self, members: Members, place: str | None) -> float:
        tree = self.lengths.tree(place)
        joined = [(str(t.place), k) for t, k in members if _reached(tree, t)]
        alone = sum((t.length_m or 0.0) * k for t, k in members if not _reached(tree, t))
        if tree is None or not joined:
            return alone
        ends = 1 + sum(k for _, k in joined)
        return alone + tree.joined_m(name for name, _ in joined) * self.lengths.slack + ends * self.lengths.end_m

    def placed(self, members: Members, place: str | None) -> list[str]:
        """Places its wire leads to along the routes."""
        tree = self.lengths.tree(place)
        return list(dict.fromkeys(str(t.place) for t, _ in members if _reached(tree, t)))

    def mass_g(self, members: Members, made: Protected, rating: Rating) -> float:
        """Mass of a circuit's wire as far as its length is known, with the way back where it is a wire, g."""
        one = mass_g_per_m(made.wire.size.area_mm2, self.rules.insulation_c)
        metres = self.laid_m(members, rating.place, "wire" if rating.reversing else self.rules.return_path)
        return metres * one * made.wire.parallel

    def laid_m(self, members: Members, place: str | None, return_path: str) -> float:
        """Wire of a circuit out, and back where returns are wires, as far as known, m.

        What a box switches to ground has its way back among the wires of that box.
        """
        out = self.wire_m(members, place)
        back = [(t, k) for t, k in members if not t.switched_low] if RETURNS[return_path] > 1 else []
        return out + (out if len(back) == len(members) else self.wire_m(back, place))


def _reached(tree: Tree | None, t: ItemType) -> bool:
    return tree is not None and t.place is not None and t.place in tree


def stalled_ma(members: Members, running_ma: int) -> int:
    """Current that flows for ever when every motor of a circuit stalls, copper cold, mA; 0: none of it can."""
    over = sum(t.surge_ma * k for t, k in members if t.stalls)
    return running_ma + over if over else 0


_SPARE = Fraction(6, 5)  # what feeds bear at once over what the vehicle draws, for loads to be shared out freely; ours


def draws_ma(vehicle: Vehicle, types: Sequence[ItemType]) -> list[int]:
    """What items draw in each state, all duties taken as 1, mA."""
    return [sum(t.count * t.state_ma[number] for t in types) for number in range(len(vehicle.states))]


def at_once_ma(carried_ma: int) -> int:
    """What loads on a feed may draw at once, all duties taken as 1: the least rating of its fuse, mA."""
    return int(carried_ma / exact(FUSE_LOADING))


def feed_currents_ma(vehicle: Vehicle, units: Sequence[Unit], most_ma: int) -> tuple[int, ...]:
    """Current each unit's feed carries for long: its derated total, and no more than all the vehicle draws.

    The mean current of its loads never exceeds that. All on at once, they draw no more than
    `at_once_ma` of it, so that the fuse never opens; a single unit's feed, and those of units that
    together are too weak to share the loads out so, are made to bear the whole vehicle at once.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : sequence of Unit
        What is fitted.
    most_ma : int
        What all the vehicle draws in its worst state, all duties taken as 1, mA.

    Returns
    -------
    tuple of int
        mA, one a unit.

    Raises
    ------
    ValueError
        A unit's ambient is outside its module's derating table.
    """
    made = [min(most_ma, int(_rated_ma(vehicle, unit))) for unit in units]
    if len(units) > 1 and sum(map(at_once_ma, made)) >= _SPARE * most_ma:
        return tuple(made)
    return tuple(max(ma, for_at_once_ma(most_ma)) for ma in made)


def for_at_once_ma(drawn_ma: int) -> int:
    """Least current a feed is made for that bears so much at once, mA."""
    return ceil(drawn_ma * exact(FUSE_LOADING))


def _rated_ma(vehicle: Vehicle, unit: Unit) -> Fraction:
    return unit.module.total_ma * derating_factor(unit.module.derating, unit_ambient_c(vehicle, unit))
