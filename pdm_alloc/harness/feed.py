"""The feed from the battery to a module: fuse, cable, mass, for what the module's loads draw."""

import math
from dataclasses import dataclass, replace

from pdm_alloc.electrics.choose_wire import WireChoice, WireRules
from pdm_alloc.electrics.drop import RETURNS
from pdm_alloc.electrics.feed import MainFeed, main_feed
from pdm_alloc.electrics.fuse import main_fuse_a
from pdm_alloc.electrics.supply import StateSupply
from pdm_alloc.electrics.voltage import inrush_excess_ma
from pdm_alloc.electrics.wire import mass_g_per_m
from pdm_alloc.harness.lengths import Lengths, lengths_of
from pdm_alloc.vehicle import Load, State, Vehicle

__all__ = ["Feeder", "as_constant_s", "feed_mass_g", "surges"]


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
