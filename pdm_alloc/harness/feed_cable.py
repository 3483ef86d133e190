"""The feed from the battery to a module: fuse, cable, mass."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from pdm_alloc.domain.vehicle import Load, State, Vehicle
from pdm_alloc.electrics.links import main_fuse_a
from pdm_alloc.electrics.voltage import inrush_excess_ma
from pdm_alloc.electrics.wire import mass_g_per_m, resistance_ohm_per_m
from pdm_alloc.electrics.wire_choice import RETURNS, WireChoice, WireRules, choose_wire
from pdm_alloc.harness.paths import Lengths, lengths_of
from pdm_alloc.harness.supply import StateSupply

__all__ = ["FEED_DROP_PCT", "Feeder", "MainFeed", "as_constant_s", "feed_mass_g", "main_feed", "surges"]

# Drop allowed in a main feed, per cent: ABYC E-11, panel and switchboard main feeders.
FEED_DROP_PCT = 3.0


@dataclass(frozen=True, slots=True)
class MainFeed:
    """Fuse and wire between battery and module.

    Parameters
    ----------
    state : str
        The operating state that asks most of it.
    running_a, peak_a : float
        Running and largest current in it, A.
    fuse_a : float or None
        Main fuse, A; None: no standard fuse is large enough.
    wire : WireChoice or str
        Its wire; or a reason word of `choose_wire`, or ``fuse`` where there is no fuse.
    ohm : float or None
        Resistance of the feed at its hottest, way back included, ohm; None: no length or no wire.
    """

    state: str
    running_a: float
    peak_a: float
    fuse_a: float | None
    wire: WireChoice | str
    ohm: float | None


def main_feed(
    states: Sequence[StateSupply], peak_s: float, length_m: float | None, rules: WireRules, conductors: int = 1
) -> MainFeed:
    """Fuse and wire for the worst of the operating states.

    The worst has the largest running current, all duties taken as 1. The fuse protects the wire, so
    the wire's ampacity is at least its rating (a fuse opens within 10 min at 1.35 times its rating,
    below the 1.45 times ampacity of IEC 60364-4-43 section 433.1).

    Parameters
    ----------
    states : sequence of StateSupply, at least one
        The operating states.
    peak_s : float
        How long the largest inrush lasts, s.
    length_m : float or None
        Battery to module, m; None: the drop is not judged.
    rules : WireRules
        Sizes, insulation, ambient, bundle, return and voltage of the feed.
    conductors : int
        Most conductors side by side.

    Returns
    -------
    MainFeed

    Raises
    ------
    ValueError
        There is no state, or the rules are outside the tables of wire.
    """
    worst = max(states, key=lambda one: (one.running_a, one.peak_a))
    peak = max(one.peak_a for one in states)
    fuse = main_fuse_a(worst.running_a, peak, peak_s)
    if fuse is None:
        return MainFeed(worst.state, worst.running_a, peak, None, "fuse", None)
    runs = [(worst.running_a, length_m, FEED_DROP_PCT)]
    wire = choose_wire(fuse, worst.running_a, runs, rules, pins=conductors)
    return MainFeed(worst.state, worst.running_a, peak, fuse, wire, _ohm(wire, length_m, rules))


def _ohm(wire, length_m, rules):
    if length_m is None or isinstance(wire, str):
        return None
    hot = resistance_ohm_per_m(wire.size, rules.insulation_c)
    return hot * length_m * RETURNS[rules.return_path] / wire.parallel


@dataclass(eq=False)
class Feeder:
    """Sizes feeds in one vehicle.

    The inrush of any command of the vehicle may come on any module: a load that is moved later must
    not ask for a new feed. Feeds are laid apart from the bundles of the harness.

    Parameters
    ----------
    vehicle : Vehicle
        Its states, places, routes and settings.
    """

    vehicle: Vehicle

    def __post_init__(self):
        self.lengths: Lengths = lengths_of(self.vehicle)
        settings = self.vehicle.settings
        self.rules = WireRules(
            settings.wire_sizes,
            settings.insulation_c,
            settings.wire_ambient_c,
            1,
            settings.return_path,
            settings.system_v,
        )
        self.surges = surges(self.vehicle)

    def length_m(self, place: str | None) -> float | None:
        """Battery to a place along the shortest route, allowances in, m; None: not known."""
        return self.lengths.wire_m(self.vehicle.settings.battery_place, place)

    def feed(self, running_ma: int, place: str | None, state: str = "") -> MainFeed:
        """Fuse and cable for a running current.

        Parameters
        ----------
        running_ma : int
            In the state in which the module's loads draw most, all duties taken as 1, mA.
        place : str or None
            Where the module sits.
        state : str
            That state, for the record.

        Returns
        -------
        MainFeed
        """
        running, (excess, seconds) = running_ma / 1000, self._worst_surge(running_ma)
        one = StateSupply(state, 0.0, running, running, running + excess / 1000, None, 0.0, None, None)
        return main_feed([one], seconds, self.length_m(place), self._rules(place))

    def _worst_surge(self, running_ma: int) -> tuple[int, float]:
        """The inrush that asks for the largest fuse; of those the largest."""

        def fuse(surge):
            rating = main_fuse_a(running_ma / 1000, (running_ma + surge[0]) / 1000, surge[1])
            return (math.inf if rating is None else rating, *surge)

        return max(self.surges, key=fuse, default=(0, 0.0))

    def _rules(self, place: str | None) -> WireRules:
        hottest = self.lengths.hottest_c(self.vehicle.settings.battery_place, [place])
        return replace(self.rules, ambient_c=hottest)

    def mass_g(self, running_ma: int, place: str | None) -> float | None:
        """Mass of the feed's cable, the way back where it is a wire included, g; None: no length or no cable."""
        return feed_mass_g(self.feed(running_ma, place).wire, self.length_m(place), self.rules)


def feed_mass_g(wire: WireChoice | str, length_m: float | None, rules: WireRules) -> float | None:
    """Mass of a cable, the way back where it is a wire included, g; None: no length or no cable."""
    if length_m is None or isinstance(wire, str):
        return None
    one = mass_g_per_m(wire.size.area_mm2, rules.insulation_c)
    return one * length_m * wire.parallel * RETURNS[rules.return_path]


def surges(vehicle: Vehicle) -> tuple[tuple[int, float], ...]:
    """Inrush of every command: the most it brings above running in any state, mA, and for how long, s."""
    found: dict[str, tuple[int, float]] = {}
    for load in vehicle.loads:
        ma, seconds = found.get(load.command, (0, 0.0))
        excess = max((_excess_ma(load, state, vehicle) for state in vehicle.states), default=0)
        if excess:
            found[load.command] = (ma + excess * load.count, max(seconds, as_constant_s(load.inrush_ms / 3)))
    return tuple(found.values())


def as_constant_s(tau_ms: float) -> float:
    """Time for which the peak of a decaying inrush, held, heats a fuse at least as much as the inrush does, s.

    With running r and excess e the inrush brings 2 r e tau + e**2 tau / 2 more than running does; over
    (r + e)**2 that is 2/3 of tau at most, at r = e / 2.
    """
    return 2 / 3 * tau_ms / 1000


def _excess_ma(load: Load, state: State, vehicle: Vehicle) -> int:
    if not state.is_on(load.command):
        return 0
    return inrush_excess_ma(load.inrush_ma, load.running_ma, state.supply_v, vehicle.settings.reference_v)
