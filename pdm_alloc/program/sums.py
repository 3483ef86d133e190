"""Limits of banks and whole modules over every combination: what is broken, and by which combination.

Air standards judge a supply by "probable combinations" of loads for "probable durations" (ASTM F2490; 14 CFR
23.1351(a)(2), in force until 2017; from memory): what a module must bear is what the conditions let be on at once,
not a mean over duties.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial

from pdm_alloc.circuits.items import ItemType, Scene, bank_limit_ma, scenes_of, total_limit_ma
from pdm_alloc.domain.condition import parse_condition
from pdm_alloc.domain.module import Unit, portions_of
from pdm_alloc.domain.vehicle import Command, Vehicle
from pdm_alloc.electrics.current import effective_ma
from pdm_alloc.program.condition_rows import Tree, condition_tree
from pdm_alloc.program.largest import Amount, Extremes, Inputs, Part
from pdm_alloc.program.solver import Clock

__all__ = ["Cut", "Limit", "Sums", "Worst", "amounts_of", "conditions_of", "everything", "item_ma", "limits_of"]

Types = Mapping[str, tuple[ItemType, ...]]

Loading = Mapping[tuple[str, int], int]
"""Halves of an item's current on a limit, by command and number of the item type: 2 an item that counts in full."""

_SCALE = 1000  # of milliamps, so that what counts in no limit here can break ties
_FULL_COMMANDS = 150  # of a vehicle: above, a cut names only commands that are on the limit it was found for


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit on a sum of currents.

    Parameters
    ----------
    unit : int
        Number of the unit.
    bank : str or None
        Bank; None: the whole module.
    is_peak : bool
        Whether momentary currents count and not what they heat.
    most_ma : int
        mA, derated and less the module headroom; a peak as it stands.
    settle_s, whole : float, int
        Time constant of the unit's heating, s; portions of a milliamp in sums, the same for all limits of the units.
    """

    unit: int
    bank: str | None
    is_peak: bool
    most_ma: int
    settle_s: float
    whole: int = 2

    @property
    def kind(self) -> str:
        """``bank``, ``total`` or ``peak``."""
        return "peak" if self.is_peak else "total" if self.bank is None else "bank"


@dataclass(frozen=True, slots=True)
class Cut:
    """Commands that can be on together in a scene.

    Parameters
    ----------
    scene : int
        Number of the scene.
    on : frozenset of str
        Commands on; at a change of one input those that stay on.
    switched_on : frozenset of str or None
        Commands that the change switches on; None: no change, effective currents count.
    """

    scene: int
    on: frozenset[str]
    switched_on: frozenset[str] | None = None


@dataclass(frozen=True, slots=True)
class Worst:
    """The worst combination of a scene for a limit.

    Parameters
    ----------
    limit : Limit
        The limit.
    scene : Scene
        Where.
    portions : int
        The sum, portions of a milliamp as the limit counts them.
    cut : Cut
        The commands.
    inputs : frozenset
        Inputs that are on (before the change).
    changed : Any
        Input that changes; None: none does.
    """

    limit: Limit
    scene: Scene
    portions: int
    cut: Cut
    inputs: Inputs
    changed: Tree | None = None

    @property
    def amount_ma(self) -> int:
        """The sum, rounded up, mA."""
        return -(-self.portions // self.limit.whole)


def item_ma(t: ItemType, cut: Cut, settle_s: float) -> tuple[int, int]:
    """What one item adds to a sum under a combination, and what at the top of its tolerance, mA."""
    if cut.switched_on is None:
        return effective(t, cut.scene, settle_s) if t.command in cut.on else (0, 0)
    if t.command in cut.switched_on:
        return inrush(t, cut.scene)
    return running(t, cut.scene) if t.command in cut.on else (0, 0)


def effective(t: ItemType, scene: int, settle_s: float) -> tuple[int, int]:
    """Effective current of an item and its rise, each rounded up, mA."""
    draw = t.draws[scene]
    if settle_s == 0 or t.cycle_s is None:
        return draw.running_ma, draw.rise_ma
    cycle = (t.on_s, t.cycle_s, settle_s)
    return effective_ma(draw.running_ma, *cycle), effective_ma(draw.rise_ma, *cycle)


def running(t: ItemType, scene: int) -> tuple[int, int]:
    """Running current of an item and its rise, mA."""
    return t.draws[scene].running_ma, t.draws[scene].rise_ma


def inrush(t: ItemType, scene: int) -> tuple[int, int]:
    """Current of an item at its switch-on and its rise, mA."""
    draw = t.draws[scene]
    return draw.running_ma + draw.excess_ma, draw.rise_ma + draw.excess_rise_ma


def everything(types: Types, whole: int = 2) -> dict[tuple[str, int], int]:
    """The loading of a limit on which every item counts in full."""
    return {(command, n): whole * t.count for command, each in types.items() for n, t in enumerate(each)}


def amounts_of(types: Types, loading: Loading, measure: Callable[[ItemType], tuple[int, int]]) -> dict[str, Amount]:
    """Stated current and rises of each command on a limit, in portions of a milliamp."""
    stated: dict[str, int] = defaultdict(int)
    rises: dict[str, list[int]] = defaultdict(list)
    for (command, n), portions in loading.items():
        ma, rise = measure(types[command][n])
        stated[command] += portions * ma
        if rise:
            rises[command].append(portions * rise)
    return {command: (ma, tuple(rises[command])) for command, ma in stated.items()}


@lru_cache(maxsize=64)
def _extremes(commands: tuple[Command, ...]) -> Extremes:
    return Extremes(conditions_of(commands))


def conditions_of(commands: Iterable[Command]) -> dict[str, Tree | None]:
    """Condition of every command as plain data, None where it has none."""
    texts = ((c.name, c.condition) for c in commands)
    return {name: condition_tree(parse_condition(text).expression) if text else None for name, text in texts}


class Sums:
    """Limits of banks and modules of a vehicle on units, and the combinations known to matter.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : sequence of Unit
        What is fitted.
    types : dict of str to tuple of ItemType
        Its item types by command.
    """

    def __init__(self, vehicle: Vehicle, units: Sequence[Unit], types: Types):
        self.vehicle, self.units, self.types = vehicle, tuple(units), types
        self.scenes = tuple(_undominated(scenes_of(vehicle)))
        self.extremes = _extremes(vehicle.commands)
        self.at_once = vehicle.settings.tolerance_loads
        self.limits = limits_of(vehicle, units)
        self.cuts: dict[Cut, set[Limit]] = {}
        self._small = self._ties()
        self.seeds = self._seeds()

    def _ties(self) -> dict[str, int]:
        """What a command is worth where it counts nothing, so that a cut names all that can be on: below `_SCALE`."""
        if len(self.vehicle.commands) > _FULL_COMMANDS:
            return {}
        whole = {name: sum(t.count * t.running_ma for t in each) for name, each in self.types.items()}
        total = max(1, sum(whole.values()))
        return {name: 1 + (_SCALE // 2) * ma // total for name, ma in whole.items()}

    def _seeds(self) -> list[Worst]:
        """The worst combinations of everything together, for each kind of limit the tightest."""
        tightest: dict[tuple[bool, float], Limit] = {}
        for limit in self.limits:
            key = limit.is_peak, limit.settle_s
            if key not in tightest or limit.most_ma < tightest[key].most_ma:
                tightest[key] = limit
        loading = everything(self.types, portions_of(unit.module.portions for unit in self.units))
        seeds = [w for limit in tightest.values() for w in self.broken_by(limit, loading)]
        for worst in seeds:
            self.add(worst)
        return seeds

    def missed(self) -> list[Worst]:
        """What a whole module misses if everything is on it, as on one unit it is: by limit and scene."""
        whole = [limit for limit in self.limits if limit.bank is None]
        return [
            replace(seed, limit=limit)
            for limit in whole
            for seed in self.seeds
            if seed.limit.is_peak == limit.is_peak and seed.limit.settle_s == limit.settle_s
            if seed.amount_ma > limit.most_ma
        ]

    def add(self, worst: Worst) -> None:
        """Note a combination for the limits of its kind, on many units only for the one it broke."""
        alike = [limit for limit in self.limits if limit.is_peak == worst.limit.is_peak]
        few = len(self.units) <= 4 or worst.limit not in self.limits
        self.cuts.setdefault(worst.cut, set()).update(alike if few else [worst.limit])

    def broken_by(self, limit: Limit, loading: Loading, clock: Clock | None = None) -> list[Worst]:
        """Worst combination of every scene in which a loading breaks a limit."""
        every = (self.worst(limit, loading, scene, limit.most_ma, clock) for scene in self.scenes)
        return [worst for worst in every if worst is not None]

    def worst(
        self, limit: Limit, loading: Loading, scene: Scene, above_ma: int = -1, clock: Clock | None = None
    ) -> Worst | None:
        """The worst combination of a scene for a loading; None: no sum is above `above_ma`, or there is none at all.

        `Unanswered` is raised where the time was over or the solver failed.
        """
        here = {key: portions for key, portions in loading.items() if portions and key[0] in scene.allowed}
        if limit.is_peak:
            return self._worst_change(limit, here, scene, above_ma, clock)
        amounts = amounts_of(self.types, here, lambda t: effective(t, scene.number, limit.settle_s))
        if _all_on(amounts, self.at_once) <= limit.whole * above_ma:
            return None
        extreme = self.extremes.sum(scene.allowed, self._scaled(amounts, scene), self.at_once, clock)
        if extreme is None or extreme[0] // _SCALE <= limit.whole * above_ma:
            return None
        return self._named(limit, scene, extreme[0] // _SCALE, extreme[1])

    def _worst_change(
        self, limit: Limit, loading: Loading, scene: Scene, above_ma: int, clock: Clock | None
    ) -> Worst | None:
        before = amounts_of(self.types, loading, lambda t: running(t, scene.number))
        new = amounts_of(self.types, loading, lambda t: inrush(t, scene.number))
        if _all_on(new, self.at_once) <= limit.whole * above_ma:
            return None
        extreme = self.extremes.change(
            scene.allowed,
            self._scaled(before, scene),
            self._scaled(new, scene),
            self.at_once,
            (limit.whole * above_ma + 1) * _SCALE - 1,
            clock,
        )
        if extreme is None:
            return None
        return self._named(limit, scene, extreme[0] // _SCALE, *extreme[1:])

    def _scaled(self, amounts: dict[str, Amount], scene: Scene) -> dict[str, Amount]:
        scaled: dict[str, Amount] = {name: (small, ()) for name, small in self._small.items() if name in scene.allowed}
        for name, (ma, rises) in amounts.items():
            small = self._small.get(name, 0)
            scaled[name] = (ma * _SCALE + small, tuple(rise * _SCALE for rise in rises))
        return scaled

    def problem(self, worst: Worst, loading: Loading) -> tuple[list[Tree], list[Part], list[Tree], int, int]:
        """Inputs, parts, forbidden conditions, rises at once and the sum of a worst combination, for `fewest_on`."""
        scene, limit = worst.scene, worst.limit
        here = {key: portions for key, portions in loading.items() if portions and key[0] in scene.allowed}
        measure = running if limit.is_peak else partial(effective, settle_s=limit.settle_s)
        amounts = amounts_of(self.types, here, lambda t: measure(t, scene.number))
        new = amounts_of(self.types, here, lambda t: inrush(t, scene.number))
        goes_on = worst.changed not in worst.inputs
        parts, forbidden = self.extremes.changed(scene.allowed, amounts, new, worst.changed, goes_on)
        order: dict[Tree, int] = {item.name: n for n, item in enumerate(self.vehicle.inputs)}
        inputs = [name for name in self.extremes.inputs if name != worst.changed]
        inputs.sort(key=lambda name: (order.get(name, len(order)), str(name)))
        loose = [part for part in parts if part[0] is not False and (part[1] or part[2])]
        return inputs, loose, [tree for tree in forbidden if tree is not False], self.at_once, worst.portions

    def under(self, worst: Worst, inputs: Inputs) -> Worst:
        """The same sum with other inputs on than those it was found with."""
        before = inputs | {worst.changed} if worst.changed in worst.inputs else inputs
        return self._named(worst.limit, worst.scene, worst.portions, before, worst.changed)

    def trimmed(self, worst: Worst) -> Worst:
        """The same commands with inputs left off that switch nothing."""
        kept = worst.inputs
        for name in sorted(worst.inputs - {worst.changed}, key=str, reverse=True):
            kept = kept if self.extremes.differs(kept, kept - {name}, name, worst.changed) else kept - {name}
        return self._named(worst.limit, worst.scene, worst.portions, kept, worst.changed)

    def _named(self, limit: Limit, scene: Scene, portions: int, inputs: Inputs, changed: Tree | None = None) -> Worst:
        first = self.extremes.on(inputs)
        if not limit.is_peak:
            return Worst(limit, scene, portions, Cut(scene.number, first), inputs)
        then = first if changed is None else self.extremes.on(inputs ^ {changed})
        return Worst(limit, scene, portions, Cut(scene.number, first & then, then - first), inputs, changed)

    def broken(self, loadings: Mapping[Limit, Loading], clock: Clock | None = None) -> list[Worst]:
        """What given loadings break: one combination for each limit and scene; each is noted. Raises as `worst`."""
        broken = [w for limit in self.limits for w in self.broken_by(limit, loadings.get(limit, {}), clock)]
        for worst in broken:
            self.add(worst)
        return broken


def _all_on(amounts: Mapping[str, Amount], at_once: int) -> int:
    rises = sorted((r for _, each in amounts.values() for r in each), reverse=True)
    return sum(ma for ma, _ in amounts.values()) + sum(rises[:at_once])


def limits_of(vehicle: Vehicle, units: Sequence[Unit]) -> tuple[Limit, ...]:
    """Limits of all banks and whole modules, unit by unit."""
    limits, whole = [], portions_of(unit.module.portions for unit in units)
    for n, unit in enumerate(units):
        more, banks = (unit.module.settle_s, whole), unit.module.bank_ma
        limits += [Limit(n, bank, False, bank_limit_ma(vehicle, unit, bank), *more) for bank in banks]
        limits.append(Limit(n, None, False, total_limit_ma(vehicle, unit), *more))
        limits.append(Limit(n, None, True, unit.module.total_peak_ma, *more))
    return tuple(limits)


def _undominated(scenes: Sequence[Scene]) -> list[Scene]:
    """Scenes whose combinations no other scene of the same voltage has all of."""
    kept: list[Scene] = []
    for scene in sorted(scenes, key=lambda each: (-len(each.allowed), each.number)):
        if not any(other.volts == scene.volts and scene.allowed <= other.allowed for other in kept):
            kept.append(scene)
    return sorted(kept, key=lambda each: each.number)
