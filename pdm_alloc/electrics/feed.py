"""Main feed: fuse and wire from the battery to a module, for the worst operating state."""

from collections.abc import Sequence
from dataclasses import dataclass

from pdm_alloc.electrics.choose_wire import WireChoice, WireRules, choose_wire
from pdm_alloc.electrics.drop import RETURNS
from pdm_alloc.electrics.fuse import main_fuse_a
from pdm_alloc.electrics.supply import StateSupply
from pdm_alloc.electrics.wire import resistance_ohm_per_m

__all__ = ["FEED_DROP_PCT", "MainFeed", "main_feed"]

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
