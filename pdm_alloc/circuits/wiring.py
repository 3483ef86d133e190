"""Trip setting and wire of a circuit on a kind of channel: trunk and branches along the shortest routes."""

from collections.abc import Sequence
from dataclasses import replace
from typing import TypeVar

from pdm_alloc.circuits.classes import Rating
from pdm_alloc.circuits.items import ItemType
from pdm_alloc.electrics.choose_wire import Run, WireRules
from pdm_alloc.electrics.drop import RETURNS
from pdm_alloc.electrics.protect import Demand, Protected, protect
from pdm_alloc.electrics.wire import mass_g_per_m
from pdm_alloc.harness.lengths import Lengths, lengths
from pdm_alloc.harness.tree import Tree
from pdm_alloc.vehicle import Settings, Vehicle

__all__ = ["Wiring", "stalled_ma", "wire_rules", "wiring_key"]

Some = Sequence[tuple[ItemType, int]]
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
    )


def wiring_key(vehicle: Vehicle) -> tuple:
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
        self._rules: dict[tuple, WireRules] = {}
        self._wire_m: dict[tuple, float] = {}

    def protect(self, some: Some, rating: Rating, running_ma: int, bundle_wires: int | None = None) -> Protected | str:
        """Setting and wire of a circuit, or a reason word of `pdm_alloc.electrics.protect.protect`.

        Parameters
        ----------
        some : sequence of (ItemType, int)
            What is in it, and how many of each.
        rating : Rating
            The kind of channel, and where it is.
        running_ma : int
            Running current, tolerance included, mA.
        bundle_wires : int, optional
            Loaded wires in its bundle; default: the setting.

        Returns
        -------
        Protected or str
        """
        demand = Demand(
            running_ma,
            [t.excess_ma * k / 1000 for t, k in some],
            [t.tau_ms for t, _ in some],
            stalled_ma(some, running_ma),
            self.runs(some, rating.place),
        )
        return protect(demand, rating, self.rules_of(some, rating, bundle_wires))

    def rules_of(self, some: Some, rating: Rating, bundle_wires: int | None = None) -> WireRules:
        """What its wire is chosen by: the hottest place passed; out and back by wire on a bridge."""
        key = (rating.place, rating.reversing, bundle_wires, *dict.fromkeys(t.place for t, _ in some))
        if key not in self._rules:
            ambient = self.lengths.hottest_c(rating.place, [t.place for t, _ in some])
            own = replace(
                self.rules, ambient_c=ambient, return_path="wire" if rating.reversing else self.rules.return_path
            )
            self._rules[key] = own if bundle_wires is None else replace(own, bundle_wires=bundle_wires)
        return self._rules[key]

    def runs(self, some: Some, place: str | None) -> list[Run]:
        """Run to each load: its ampere-metres over its length, A; its length, m; drop allowed, per cent."""
        tree = self.lengths.tree(place)
        return [self._run(t, k, some, place, tree) for t, k in some]

    def _run(self, t: ItemType, k: int, some: Some, place: str | None, tree: Tree | None) -> Run:
        own_a = t.running_ma / 1000
        if not _reached(tree, t):
            return (own_a, t.length_m, t.max_drop_pct)
        length = self.lengths.wire_m(place, t.place)
        assert tree is not None and length
        return (self._amp_metres(t, some, tree) / length, length, t.max_drop_pct)

    def _amp_metres(self, t: ItemType, some: Some, tree: Tree) -> float:
        """Of the current in every part of the way: the trunk carries what branches off later too."""
        slack, end = self.lengths.slack, self.lengths.end_m
        total = t.running_ma * end
        for other, k in some:
            if _reached(tree, other):
                total += other.running_ma * k * (tree.shared_m(str(t.place), str(other.place)) * slack + end)
        return total / 1000

    def wire_m(self, some: Some, place: str | None) -> float:
        """Wire of a circuit one way, as far as known, m: trunk and branches once, ends at the module and each item."""
        key = (place, *((t.place, t.length_m, k) for t, k in some))
        if key not in self._wire_m:
            self._wire_m[key] = self._measure(some, place)
        return self._wire_m[key]

    def _measure(self, some: Some, place: str | None) -> float:
        tree = self.lengths.tree(place)
        joined = [(str(t.place), k) for t, k in some if _reached(tree, t)]
        alone = sum((t.length_m or 0.0) * k for t, k in some if not _reached(tree, t))
        if tree is None or not joined:
            return alone
        ends = 1 + sum(k for _, k in joined)
        return alone + tree.joined_m(name for name, _ in joined) * self.lengths.slack + ends * self.lengths.end_m

    def placed(self, some: Some, place: str | None) -> list[str]:
        """Places its wire leads to along the routes."""
        tree = self.lengths.tree(place)
        return list(dict.fromkeys(str(t.place) for t, _ in some if _reached(tree, t)))

    def mass_g(self, some: Some, made: Protected, rating: Rating) -> float:
        """Mass of a circuit's wire as far as its length is known, with the way back where it is a wire, g."""
        back = RETURNS["wire" if rating.reversing else self.rules.return_path]
        one = mass_g_per_m(made.wire.size.area_mm2, self.rules.insulation_c)
        return self.wire_m(some, rating.place) * one * made.wire.parallel * back


def _reached(tree: Tree | None, t: ItemType) -> bool:
    return tree is not None and t.place is not None and t.place in tree


def stalled_ma(some: Some, running_ma: int) -> int:
    """Current that flows for ever when every motor of a circuit stalls, mA; 0: none of it can."""
    over = sum(t.excess_ma * k for t, k in some if t.stalls)
    return running_ma + over if over else 0
