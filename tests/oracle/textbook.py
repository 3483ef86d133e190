"""The textbook model in CP-SAT: how many items of each load on each slot, slot used or not.

Short enough to be believed. The sets a slot bears come from `slots`; sums over banks and the
whole module are written here a second time.
"""

from dataclasses import dataclass
from itertools import combinations

from ortools.sat.python import cp_model

from pdm_alloc.domain.vehicle import PPM
from pdm_alloc.verify.arithmetic import deviation, limit_ma, running_ma
from pdm_alloc.verify.recount import Recount
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
        for unit in self.units:
            whole = {s: 2 for s, slot in enumerate(self.slots) if slot.unit is unit}
            for state in self.vehicle.states:
                self._mean(unit, state, unit.module.total_ma, whole)
                self._peak(unit, state, whole)
                for bank, rated in unit.module.bank_ma.items():
                    shares = {s: _halves(self.slots[s], bank) for s in whole}
                    self._mean(unit, state, rated, {s: share for s, share in shares.items() if share})

    def _mean(self, unit, state, rated_ma, halves):
        """Any loads, as many as the tolerance guards against, may be at their top at once."""
        settings = self.vehicle.settings
        limit = limit_ma(rated_ma, self.recount.factor(unit), settings.module_headroom_pct)
        stated, over = 0, []
        for load in self.vehicle.loads:
            duty = state.duty_ppm[load.command]
            ma = self._running(load, state)
            halves_on = sum(share * self.count[load.name, s] for s, share in halves.items())
            stated += ma * duty * halves_on
            if load.tolerance_pct and duty:
                over.append(deviation(ma, load.tolerance_pct) * duty * halves_on)
        for worst in combinations(over, min(len(over), settings.tolerance_loads)):
            self.model.add(stated + sum(worst) <= 2 * PPM * limit)

    def _peak(self, unit, state, slots):
        on = [load for load in self.vehicle.loads if state.duty_ppm[load.command]]
        running = sum(self._running(load, state) * self.count[load.name, s] for load in on for s in slots)
        for s in slots:
            excess = sum(self._excess(load, state) * self.count[load.name, s] for load in on)
            self.model.add(running + excess <= unit.module.total_peak_ma)

    def _running(self, load, state):
        return running_ma(load.running_ma, load.volt_exponent, state.supply_v, self.vehicle.settings.reference_v)

    def _excess(self, load, state):
        return self.recount.excess(load, state.supply_v)

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


def _halves(slot, bank):
    names = [channel.bank for channel in slot.channels]
    return names.count(bank) if slot.use == "pair" else 2 * (bank in names)


def textbook(vehicle, units, strategy):
    """Best value by the textbook model: channels under ``spare``, circuits under ``isolate``; None: not enough."""
    return Textbook(vehicle, units).solve(strategy)
