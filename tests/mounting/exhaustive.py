"""Every way of wiring a tiny vehicle on some units, each circuit weighed with the arithmetic of the recount alone."""

import math

from pdm_alloc.circuits.draws import at_once_ma, feed_currents_ma
from pdm_alloc.electrics.wire_tables import COPPER_DENSITY, INSULATION_DENSITY, STRAND_FILL, WALL_MM
from pdm_alloc.harness.distribution import Feeder
from pdm_alloc.result.supply_tables import switched_on
from pdm_alloc.verify import wires
from pdm_alloc.verify.assignment import Recount
from pdm_alloc.verify.check import violations
from tests.oracle.slots import RULES_OF_A_CIRCUIT, placed, slots_of


def grams_per_m(area_mm2, insulation_c):
    """Copper of the nominal area and a tube of insulation around strands that fill their circle by 0.75."""
    inner = math.sqrt(4 * area_mm2 / math.pi / STRAND_FILL)
    wall = next(mm for most, mm in WALL_MM if area_mm2 <= most)
    density = next(g for most, g in INSULATION_DENSITY if insulation_c <= most)
    return area_mm2 * COPPER_DENSITY + math.pi * (inner + wall) * wall * density


def wire_m(asked, wired):
    """Trunk and branches once with slack, an end at the module and one an item; stated lengths item by item."""
    settings, edges = asked.settings, asked._edges
    joined = [(load, k) for load, k in wired.counts if edges[load.name] is not None]
    metres = sum((load.length_m or 0.0) * k for load, k in wired.counts if edges[load.name] is None)
    if joined:
        route = sum(m for _, _, m in frozenset().union(*(edges[load.name] for load, _ in joined)))
        metres += route * (1 + settings.slack_pct / 100) + settings.end_allowance_m * (1 + sum(k for _, k in joined))
    return metres


class Weighing:
    """Mass of circuits on the slots of some units, tenths of a gram; None: not allowed there."""

    def __init__(self, vehicle, units):
        self.vehicle, self.units, self.slots = vehicle, units, slots_of(units)
        self.command = {load.name: load.command for load in vehicle.loads}
        self._known = {}

    def mass(self, s, items):
        key = (s, tuple(sorted(name for name, _ in items)))
        if key not in self._known:
            self._known[key] = self._weigh(self.slots[s], items)
        return self._known[key]

    def _weigh(self, slot, items):
        circuit = placed(slot, self.command[items[0][0]], items)
        recount = Recount(self.vehicle, (slot.unit,), (circuit,))
        if any(True for rule in RULES_OF_A_CIRCUIT for _ in rule(recount)):
            return None
        (wired,) = recount.wired
        asked = wires.asked_of(recount, wired, {})
        parallel, conductor = next((n, c) for n, c in wires._choices(wired, asked) if asked.served_by(n, c))
        one = grams_per_m(conductor.area_mm2, asked.settings.insulation_c)
        return round(round(1000 * wire_m(asked, wired) * one * parallel * asked.back) / 100)


def lightest_dg(vehicle, units):
    """Least mass of wires and feeds over all wirings that break no rule, tenths of a gram; None where all do."""
    feeder, every = (
        Feeder(vehicle, switched_on(vehicle)),
        _draws(vehicle, [(load, load.count) for load in vehicle.loads]),
    )
    carried = feed_currents_ma(vehicle, units, max(every))
    feeds = sum(round(10 * (feeder.mass_g(ma, unit.place) or 0.0)) for ma, unit in zip(carried, units, strict=True))
    best = _Best(Weighing(vehicle, units), carried)
    best.extend([(load, n) for load in vehicle.loads for n in range(1, load.count + 1)], {}, {})
    return None if best.mass is None else best.mass + feeds


def _draws(vehicle, counts):
    recount = Recount(vehicle, (), ())
    return [
        sum(recount.draw(load, s.supply_v) * k for load, k in counts if s.is_on(load.command)) for s in vehicle.states
    ]


class _Best:
    def __init__(self, weighing, carried):
        self.weighing, self.carried, self.mass = weighing, carried, None

    def extend(self, items, chosen, taken):
        if len(chosen) == len(items):
            self._judge(chosen)
            return
        load, n = items[len(chosen)]
        for s in range(chosen.get((load.name, n - 1), 0), len(self.weighing.slots)):
            slot = self.weighing.slots[s]
            places = {(slot.unit.label, name): s for name in slot.names}
            if all(taken.get(place, s) == s for place in places):
                self.extend(items, {**chosen, (load.name, n): s}, taken | places)

    def _judge(self, chosen):
        circuits = {s: [item for item, at in chosen.items() if at == s] for s in set(chosen.values())}
        masses = [self.weighing.mass(s, items) for s, items in circuits.items()]
        if None in masses or (self.mass is not None and sum(masses) >= self.mass):
            return
        if self._within_feeds(circuits) and not self._broken(circuits):
            self.mass = sum(masses)

    def _within_feeds(self, circuits):
        vehicle, units = self.weighing.vehicle, self.weighing.units
        for unit, ma in zip(units, self.carried, strict=True):
            names = [n for s, items in circuits.items() if self.weighing.slots[s].unit is unit for n, _ in items]
            drawn = _draws(vehicle, [(load, names.count(load.name)) for load in vehicle.loads])
            if max(drawn) > at_once_ma(ma):
                return False
        return True

    def _broken(self, circuits):
        slots, command = self.weighing.slots, self.weighing.command
        wired = [placed(slots[s], command[items[0][0]], items) for s, items in circuits.items()]
        return violations(self.weighing.vehicle, self.weighing.units, wired)
