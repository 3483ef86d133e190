"""What the vehicle would weigh wired the old way: a fuse and a relay for every command, a wire to every switch."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from pdm_alloc.circuits.items import ItemType, item_types
from pdm_alloc.circuits.wiring import Wiring, draws_ma, for_at_once_ma
from pdm_alloc.domain.condition import condition_names
from pdm_alloc.domain.module import natural_key
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.links import FUSE_LOADING, as_constant_s, main_fuse_a
from pdm_alloc.electrics.wire import mass_g_per_m, wire_sizes
from pdm_alloc.electrics.wire_choice import RETURNS, WireChoice, choose_wire
from pdm_alloc.harness.feed_cable import Feeder
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.supply_tables import switched_on

__all__ = ["ASSUMPTIONS", "LEDGER", "PARTS", "Conventional", "conventional", "weight_ledger"]

PARTS = ("part", "number", "mass_g")

# Masses in g, all common practice, no source: a fuse with its share of the holder, a relay with its socket, the main
# fuse with its holder.
FUSE_G, RELAY_G, MAIN_FUSE_G = 8.0, 35.0, 60.0

BLADE_A = 30.0  # largest blade fuse a relay of this kind switches; common practice, no source
CONTROL_WIRES = 2  # to a switch and back to the relay's coil

ASSUMPTIONS = (
    "Fuses and relays sit in one box, at the place where most switches are unless another is named.",
    "The battery feeds the box through one main fuse and one cable, sized as a module's feed.",
    f"Every command has a relay and a fuse of at most {BLADE_A:g} A; where its loads draw more than "
    f"{100 * FUSE_LOADING:.0f} % of that they are shared out over several, the largest first.",
    "Behind each fuse a trunk with branches leads to its loads along the shortest routes; its wire carries the fuse's "
    "rating and keeps the drops its loads allow.",
    f"{CONTROL_WIRES} wires of the thinnest size lead from the box to the switch of each command: of the inputs its "
    "condition names, the one the fewest commands share. Commands without a placed input have none.",
    "A load that reverses takes two relays and both its wires.",
    f"A fuse weighs {FUSE_G:g} g with its holder, a relay {RELAY_G:g} g with its socket, the main fuse "
    f"{MAIN_FUSE_G:g} g.",
    "Switches, the box itself, tape and connectors are counted on neither side.",
)


@dataclass(frozen=True)
class Conventional:
    """Mass of conventional wiring.

    Parameters
    ----------
    box : str
        Place of fuses and relays.
    parts : DataFrame
        A row a kind of part, in the columns `PARTS`: how many, g.
    assumptions : tuple of str
        To be printed beside every number.
    left_out : tuple of str
        Loads no fuse or wire was found for, or whose way is not known; they weigh nothing here.
    """

    box: str
    parts: pd.DataFrame
    assumptions: tuple[str, ...] = ASSUMPTIONS
    left_out: tuple[str, ...] = ()

    @property
    def mass_g(self) -> float:
        """All parts together, g."""
        return float(self.parts["mass_g"].sum())

    def summary(self) -> str:
        """One sentence, and the assumptions."""
        out = f" Left out: {', '.join(self.left_out)}." if self.left_out else ""
        head = f"Conventional wiring with its box at {self.box} would weigh {self.mass_g / 1000:.2f} kg.{out}"
        return "\n".join([head, *(f"- {line}" for line in self.assumptions)])


@dataclass(frozen=True)
class _Fused:
    """Items behind one fuse and relay."""

    members: tuple[tuple[ItemType, int], ...]
    fuse_a: float
    wire: WireChoice
    wire_g: float

    @property
    def relays(self) -> int:
        return 2 if self.members[0][0].reversing else 1


def conventional(vehicle: Vehicle, box: str | None = None) -> Conventional:
    """Weigh conventional wiring of the same loads on the same places.

    Parameters
    ----------
    vehicle : Vehicle
        With places and routes.
    box : str, optional
        Place of fuses and relays; default: where most inputs are.

    Returns
    -------
    Conventional

    Raises
    ------
    ValueError
        No input has a place, and none was named; or the vehicle has no such place.
    """
    box = _box(vehicle) if box is None else box
    if box not in {place.name for place in vehicle.places}:
        raise ValueError(f"the vehicle has no place {box}")
    wiring = Wiring(vehicle)
    groups: list[_Fused] = []
    left_out: list[str] = []
    for types in item_types(vehicle).values():
        for counts in _groups(types):
            fused = _fused(vehicle, wiring, counts, box)
            groups.append(fused) if fused else left_out.extend(t.items[0][0] for t, _ in counts)
    return Conventional(box, _parts(vehicle, groups, box), left_out=tuple(dict.fromkeys(left_out)))


def _box(vehicle: Vehicle) -> str:
    places = Counter(i.place for i in vehicle.inputs if i.place)
    if not places:
        raise ValueError("no input has a place: name the place of the fuse box")
    return min(places, key=lambda place: (-places[place], natural_key(str(place))))


def _groups(types: Sequence[ItemType]) -> list[tuple[tuple[ItemType, int], ...]]:
    """Items of a command shared out over fuses: largest first, each on the first fuse that has room."""
    room_ma = round(1000 * FUSE_LOADING * BLADE_A)
    groups: list[Counter[int]] = []
    for n in sorted((n for n, t in enumerate(types) for _ in t.items), key=lambda n: (-types[n].running_ma, n)):
        fits = (g for g in groups if _drawn(types, g) + types[n].running_ma <= room_ma and _alike(types, g, n))
        group = next(fits, None)
        if group is None:
            groups.append(group := Counter())
        group[n] += 1
    return [tuple((types[n], k) for n, k in sorted(group.items())) for group in groups]


def _drawn(types: Sequence[ItemType], group: Counter[int]) -> int:
    return sum(types[n].running_ma * k for n, k in group.items())


def _alike(types: Sequence[ItemType], group: Counter[int], n: int) -> bool:
    return types[next(iter(group))].reversing == types[n].reversing


def _fused(vehicle: Vehicle, wiring: Wiring, counts: Sequence[tuple[ItemType, int]], box: str) -> _Fused | None:
    running = sum(t.running_ma * k for t, k in counts) / 1000
    excess = sum(t.excess_ma * k for t, k in counts) / 1000
    fuse = main_fuse_a(running, running + excess, as_constant_s(max(t.tau_ms for t, _ in counts)))
    runs = wiring.runs(counts, box)
    if fuse is None or any(length is None for _, length, _ in runs):
        return None
    back = "wire" if counts[0][0].reversing else vehicle.settings.return_path
    ambient = wiring.lengths.hottest_c(box, [t.place for t, _ in counts])
    rules = replace(wiring.rules, ambient_c=ambient, return_path=back)
    wire = choose_wire(fuse, running, runs, rules)
    if isinstance(wire, str):
        return None
    one = mass_g_per_m(wire.size.area_mm2, rules.insulation_c)
    return _Fused(tuple(counts), fuse, wire, wiring.wire_m(counts, box) * one * wire.parallel * RETURNS[back])


def _parts(vehicle: Vehicle, groups: Sequence[_Fused], box: str) -> pd.DataFrame:
    relays = sum(group.relays for group in groups)
    feeder, every = Feeder(vehicle, switched_on(vehicle)), max(draws_ma(vehicle, _all_types(vehicle)), default=0)
    switches = list(_control_m(vehicle, feeder, box))
    thin = mass_g_per_m(wire_sizes(vehicle.settings.wire_sizes)[0].area_mm2, vehicle.settings.insulation_c)
    rows = [
        ("fuses", len(groups), len(groups) * FUSE_G),
        ("relays", relays, relays * RELAY_G),
        ("main fuse", 1, MAIN_FUSE_G),
        ("wires to loads", len(groups), sum(group.wire_g for group in groups)),
        ("wires to switches", CONTROL_WIRES * len(switches), CONTROL_WIRES * sum(switches) * thin),
        ("feed from the battery", 1, feeder.mass_g(for_at_once_ma(every), box) or 0.0),
    ]
    return pd.DataFrame([(part, number, round(g, 1)) for part, number, g in rows], columns=list(PARTS))


def _all_types(vehicle: Vehicle) -> list[ItemType]:
    return [t for types in item_types(vehicle).values() for t in types]


def _control_m(vehicle: Vehicle, feeder: Feeder, box: str) -> Iterator[float]:
    """Wire from the box to the switch of each command that has one at a place, m."""
    at = {i.name: i.place for i in vehicle.inputs if i.place}
    used = {load.command for load in vehicle.loads}
    names = {c.name: condition_names(c.condition) for c in vehicle.commands if c.name in used and c.condition}
    shared = Counter(name for inputs in names.values() for name in inputs)
    for inputs in names.values():
        placed = [name for name in inputs if name in at]
        if placed:
            switch = min(placed, key=lambda name: (shared[name], natural_key(name)))
            metres = feeder.lengths.wire_m(box, at[switch])
            if metres is not None:
                yield metres


LEDGER = ("part", "count", "mass_g", "note")


def weight_ledger(allocation: Allocation) -> pd.DataFrame:
    """What the wiring weighs in the end: all that is fitted less all that is removed.

    Parameters
    ----------
    allocation : Allocation
        With the tables ``removed`` and ``fitted`` of its vehicle, where it has them.

    Returns
    -------
    DataFrame
        Columns `LEDGER`, g, what is removed below 0: modules, wire of circuits, returns to ground points, battery
        cables, parts fitted and removed, and the sum of them as ``net``; last, outside the sum, the estimate of
        conventional wiring, where an input has a place. An empty mass is not known and counts as none.
    """
    vehicle = allocation.vehicle
    rows: list[tuple[str, int, float | None, str]] = [
        (unit.label, 1, unit.module.mass_g, "module") for unit in allocation.units
    ]
    rows += [(name, 1, mass, what) for name, mass, what in allocation.signals.masses] if allocation.signals else []
    rows += _wire_rows(allocation)
    rows += [(x.part, x.count, x.mass_g * x.count, x.note or "fitted") for x in vehicle.fitted]
    rows += [(x.part, x.count, -x.mass_g * x.count, x.note or "removed") for x in vehicle.removed]
    missing = [part for part, _, mass, _ in rows if mass is None]
    note = f"without {', '.join(missing)}: mass not known" if missing else ""
    net = ("net", 1, sum(mass or 0.0 for _, _, mass, _ in rows), note)
    return pd.DataFrame([*rows, net, *_conventional_row(vehicle)], columns=list(LEDGER))


def _wire_rows(allocation: Allocation) -> list[tuple[str, int, float | None, str]]:
    roles = {
        "wire of circuits": ("circuit", "return"),
        "returns to ground points": ("ground return", "sensor return"),
        "battery cables": ("feed", "feed return"),
        "wire of signals": ("signal", "5 V supply", "sensor ground"),
        "wire of the bus": ("bus",),
    }
    table = allocation.cut_list
    rows: list[tuple[str, int, float | None, str]] = []
    for name, words in roles.items():
        here = table[table["role"].isin(words)]
        unknown = int(here["mass_g"].isna().sum())
        note = f"{unknown} pieces without a length are not counted" if unknown else ""
        rows += [(name, len(here), float(here["mass_g"].sum()), note)] if len(here) else []
    return rows


def _conventional_row(vehicle: Vehicle) -> list[tuple[str, int, float | None, str]]:
    try:
        estimate = conventional(vehicle)
    except ValueError:
        return []
    return [("conventional wiring", 1, estimate.mass_g, f"estimate for comparison, its box at {estimate.box}")]
