"""The textbook model in CP-SAT: how many items of each load on each slot, slot used or not.

Short enough to be believed. The sets a slot bears come from `slots`; sums over banks and the
whole module are written here a second time.
"""

import math
from dataclasses import dataclass
from itertools import combinations, product

from ortools.sat.python import cp_model

from pdm_alloc.verify.arithmetic import deviation, limit_ma
from pdm_alloc.verify.assignment import Recount
from pdm_alloc.verify.strength import conditions_of
from tests.oracle.slots import borne_counts, slots_of, suits

# Even on one processor: one search alone can miss what another sees at once.
WORKERS = 8


@dataclass(frozen=True)
class Answer:
    """Best value, and the count of every load on every slot; None, none where it is not enough."""

    best: int | None
    counts: tuple = ()


class Textbook:
    """The model of one vehicle on some units."""

    def __init__(self, vehicle, units):
        self.vehicle, self.units = vehicle, units
        self.slots = slots_of(units)
        self.recount = Recount(vehicle, units, ())
        self.model = cp_model.CpModel()
        self.used = [self.model.new_bool_var("") for _ in self.slots]
        self.count = {
            (load.name, s): self.model.new_int_var(0, load.count, "")
            for load in vehicle.loads
            for s in range(len(self.slots))
        }
        for add in (
            self._every_item,
            self._channel_once,
            self._borne,
            self._spares,
            self._locked,
            self._sums,
            self._in_order,
        ):
            add()

    def _every_item(self):
        for load in self.vehicle.loads:
            self.model.add(sum(self.count[load.name, s] for s in range(len(self.slots))) == load.count)

    def _channel_once(self):
        for unit in self.units:
            for channel in unit.module.channels:
                over = [s for s, slot in enumerate(self.slots) if slot.unit is unit and channel in slot.channels]
                self.model.add(sum(self.used[s] for s in over) <= 1)

    def _borne(self):
        known = {}
        for s, slot in enumerate(self.slots):
            if slot.alike not in known:
                known[slot.alike] = borne_counts(self.vehicle, slot)
            items = sum(self.count[load.name, s] for load in self.vehicle.loads)
            self.model.add(self.used[s] <= items)
            row = [self.used[s], *(self.count[load.name, s] for load in self.vehicle.loads)]
            nothing = (0,) * len(row)
            self.model.add_allowed_assignments(row, [nothing, *((1, *counts) for counts in known[slot.alike])])

    def _no_more_circuits_than_items(self):
        """Implied, but the solver does not see it by itself."""
        self.model.add(sum(self.used) <= sum(load.count for load in self.vehicle.loads))

    def _spares(self):
        have = sum(len(unit.module.channels) for unit in self.units)
        self.model.add(self.channels() <= have - self.vehicle.settings.spare_channels)

    def channels(self):
        """How many channels are used."""
        return sum(len(slot.channels) * used for slot, used in zip(self.slots, self.used, strict=True))

    def _locked(self):
        for load in {lock.load for lock in self.vehicle.locked}:
            spots = {(lock.module, lock.channel) for lock in self.vehicle.locked if lock.load == load}
            for s, slot in enumerate(self.slots):
                if (slot.unit.label, "+".join(slot.names)) not in spots:
                    self.model.add(self.count[load, s] == 0)
            for label, name in spots:
                here = (label, name)
                there = [s for s, slot in enumerate(self.slots) if (slot.unit.label, "+".join(slot.names)) == here]
                self.model.add(sum(self.count[load, s] for s in there) >= 1)

    def _sums(self):
        """Every combination and every change of one input, at both ends of every state, written out."""
        for state in self.vehicle.states:
            combinations_on, changes = self._enumerated(state)
            for volts in {state.supply_v, state.supply_top_v or state.supply_v}:
                for unit in self.units:
                    self._sums_on(unit, volts, combinations_on, changes)

    def _sums_on(self, unit, volts, combinations_on, changes):
        whole = {s: 200 for s, slot in enumerate(self.slots) if slot.unit is unit}
        factor, headroom = self.recount.factor(unit), self.vehicle.settings.module_headroom_pct
        for rated_ma, bank in [(unit.module.total_ma, None), *((ma, b) for b, ma in unit.module.bank_ma.items())]:
            shares = whole if bank is None else {s: _halves(self.slots[s], bank) for s in whole}
            for on in combinations_on:
                self._within(limit_ma(rated_ma, factor, headroom), shares, self._effective(unit, volts, on))
        for stays, goes_on in changes:
            self._within(unit.module.total_peak_ma, whole, self._momentary(volts, stays, goes_on))

    def _enumerated(self, state):
        """Sets of commands that are on together, and (what stays on, what goes on) at changes of one input."""
        conditions = conditions_of(self.vehicle.commands)
        inputs = sorted({name for c, tree in conditions.items() for name in (_names(tree) if tree else {c})})
        on = {}
        for values in product((False, True), repeat=len(inputs)):
            setting = dict(zip(inputs, values, strict=True))
            holding = frozenset(c for c, tree in conditions.items() if _holds(tree or c, setting))
            if all(state.duty_ppm.get(c, 0) > 0 for c in holding):
                on[values] = holding
        flips = ((v, (*v[:n], not v[n], *v[n + 1 :])) for v in on for n in range(len(inputs)))
        changes = {(on[v] & on[w], on[w] - on[v]) for v, w in flips if w in on}
        return set(on.values()), changes | {(calm, frozenset()) for calm in on.values()}

    def _effective(self, unit, volts, on):
        """Current of each load that is on, less where its command comes and goes, and its rise, mA."""
        found = {}
        for load in self.vehicle.loads:
            command, tau = self.recount.commands[load.command], unit.module.settle_s
            share = 1.0
            if tau and command.on_s is not None and command.cycle_s not in (None, command.on_s):
                share = math.sqrt(math.expm1(-command.on_s / tau) / math.expm1(-command.cycle_s / tau))
            ma = self._running(load, volts)
            amounts = (ma, deviation(ma, load.tolerance_pct))
            if load.command in on:
                found[load.name] = amounts if share == 1 else tuple(math.ceil(each * share) for each in amounts)
        return found

    def _momentary(self, volts, stays, goes_on):
        """Current of each load, inrush of those that go on, and its rise, mA."""
        found = {}
        for load in self.vehicle.loads:
            running = self._running(load, volts)
            excess = self.recount.excess(load, volts) if load.command in goes_on else 0
            if load.command in stays | goes_on:
                rise = deviation(running, load.tolerance_pct) + deviation(excess, load.tolerance_pct)
                found[load.name] = running + excess, rise
        return found

    def _within(self, most_ma, halves, amounts):
        """Any loads, as many as the tolerance guards against, may be at their top at once."""
        at = {name: sum(share * self.count[name, s] for s, share in halves.items() if share) for name in amounts}
        stated = sum(ma * at[name] for name, (ma, _) in amounts.items())
        over = [rise * at[name] for name, (_, rise) in amounts.items() if rise]
        for worst in combinations(over, min(len(over), self.vehicle.settings.tolerance_loads)):
            self.model.add(stated + sum(worst) <= 200 * most_ma)

    def _running(self, load, volts):
        return self.recount.running(load, volts)

    def _in_order(self):
        """Single channels nothing tells apart are filled in falling order, or the solver permutes them at will."""
        digits = [4**n for n in range(len(self.vehicle.loads))]
        held = {(lock.module, name) for lock in self.vehicle.locked for name in lock.channel.split("+")}
        last = {}
        for s, slot in enumerate(self.slots):
            channel = slot.channels[0]
            if slot.use != "single" or channel.pair or channel.bridge or (slot.unit.label, channel.name) in held:
                continue
            key = sum(d * self.count[load.name, s] for d, load in zip(digits, self.vehicle.loads, strict=True))
            if (slot.alike, channel.bank) in last:
                self.model.add(key <= last[slot.alike, channel.bank])
            last[slot.alike, channel.bank] = key

    def solve(self, strategy):
        """Best value of a strategy: fewest channels, or most circuits."""
        if strategy == "spare":
            self.model.minimize(self.channels())
        else:
            self.model.maximize(sum(self.used))
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = WORKERS
        solver.parameters.max_time_in_seconds = 60
        status = solver.solve(self.model)
        if status == cp_model.INFEASIBLE or not suits(self.vehicle, self.units):
            return Answer(None)
        assert status == cp_model.OPTIMAL, solver.status_name(status)
        counts = tuple(((load, s), solver.value(var)) for (load, s), var in self.count.items())
        return Answer(round(solver.objective_value), counts)


def _names(tree):
    return {tree} if isinstance(tree, str) else set().union(*map(_names, tree[1:]))


def _holds(tree, setting):
    if isinstance(tree, str):
        return setting[tree]
    parts = [_holds(part, setting) for part in tree[1:]]
    return {"not": not parts[0], "and": all(parts), "or": any(parts)}[tree[0]]


def _halves(slot, bank):
    """Of hundredths of halves: over two banks a pair may put its larger share in either."""
    names = [channel.bank for channel in slot.channels]
    if slot.use == "pair" and names[0] != names[1]:
        return round(2 * max(channel.share_pct for channel in slot.channels)) * (bank in names)
    return 200 * (bank in names)


def textbook(vehicle, units, strategy):
    """Best value by the textbook model: channels under ``spare``, circuits under ``isolate``; None: not enough."""
    return Textbook(vehicle, units).solve(strategy)
