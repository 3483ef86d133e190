"""The textbook model in PuLP with HiGHS: a binary for each item and each output it could be wired to.

Running current and peak are rows of each output; whatever else keeps items off an output (inrush energy, trip setting,
wire, tolerance) forbids the sets it forbids, found beforehand. That time is not counted against the model.
"""

import time
import warnings
from collections import defaultdict
from dataclasses import dataclass
from itertools import combinations, product
from math import ceil

import highspy
import pulp

from pdm_alloc.verify.arithmetic import deviation, limit_ma
from pdm_alloc.verify.assignment import Recount
from tests.oracle.slots import borne_counts, placed, slots_of

PROVED, STOPPED, IMPOSSIBLE = "proved", "stopped by the clock", "not enough"


@dataclass(frozen=True)
class Run:
    """How the textbook model did: seconds of the solver alone; value and bound of the first objective."""

    verdict: str
    seconds: float
    value: int | None
    bound: float | None
    variables: int
    rows: int
    circuits: tuple = ()


def has_cbc() -> bool:
    """Whether PuLP brings CBC: before its version 4 it does."""
    return "PULP_CBC_CMD" in pulp.listSolvers(onlyAvailable=True)


class PulpTextbook:
    """The model of one vehicle on some units, for one strategy."""

    def __init__(self, vehicle, units, strategy):
        self.vehicle, self.units, self.strategy = vehicle, units, strategy
        self.slots, self.recount = slots_of(units), Recount(vehicle, units, ())
        self.loads = {load.name: load for load in vehicle.loads}
        self.items = [(load.name, n) for load in vehicle.loads for n in range(1, load.count + 1)]
        self.of_command = defaultdict(list)
        for name, n in self.items:
            self.of_command[self.loads[name].command].append((name, n))
        self.problem = pulp.LpProblem("textbook", pulp.LpMinimize)
        self.number = 0
        numbers = range(len(self.slots))
        self.used = [self._binary() for _ in numbers]
        self.on = {(item, s): self._binary() for item in self.items for s in numbers}
        self.has = {(command, s): self._binary() for command in self.of_command for s in numbers}
        for add in (self._items_once, self._channels_once, self._one_command, self._outputs, self._spares, self._sums):
            add()
        self.problem.setObjective(self._objective())

    def _binary(self):
        return self._variable(0, 1, "Integer")

    def _variable(self, low, high, kind):
        self.number += 1
        return self.problem.add_variable(f"x{self.number}", low, high, kind)

    def _add(self, row):
        self.problem += row

    def _objective(self):
        if self.strategy == "spare":
            return self._channels()
        return -pulp.lpSum(self.used)

    def _channels(self):
        return pulp.lpSum(len(slot.channels) * used for slot, used in zip(self.slots, self.used, strict=True))

    def _items_once(self):
        for item in self.items:
            self._add(pulp.lpSum(self.on[item, s] for s in range(len(self.slots))) == 1)

    def _channels_once(self):
        for unit in self.units:
            for channel in unit.module.channels:
                over = [s for s, slot in enumerate(self.slots) if slot.unit is unit and channel in slot.channels]
                self._add(pulp.lpSum(self.used[s] for s in over) <= 1)

    def _one_command(self):
        for s in range(len(self.slots)):
            self._add(pulp.lpSum(self.has[command, s] for command in self.of_command) == self.used[s])
            for command, items in self.of_command.items():
                for item in items:
                    self._add(self.on[item, s] <= self.has[command, s])
                self._add(pulp.lpSum(self.on[item, s] for item in items) >= self.has[command, s])

    def _spares(self):
        have = sum(len(unit.module.channels) for unit in self.units)
        self._add(self._channels() <= have - self.vehicle.settings.spare_channels)

    def _outputs(self):
        known = {}
        for s, slot in enumerate(self.slots):
            self._currents(s, slot)
            if slot.alike not in known:
                known[slot.alike] = list(self._forbidden(slot))
            for items, others in known[slot.alike]:
                inside = pulp.lpSum(self.on[item, s] for item in items)
                self._add(inside - pulp.lpSum(self.on[item, s] for item in others) <= len(items) - 1)

    def _currents(self, s, slot):
        times = 2 if slot.use == "pair" else 1
        rated = times * min(c.continuous_ma for c in slot.channels)
        headroom, factor = self.vehicle.settings.headroom_pct, self.recount.factor(slot.unit)
        own = {c.name: headroom if c.headroom_pct is None else c.headroom_pct for c in self.vehicle.commands}
        usable = {command: limit_ma(rated, factor, own[command]) for command in self.of_command}
        peak = times * min(c.peak_ma for c in slot.channels)
        running = pulp.lpSum(self._highest(i)[0] * self.on[i, s] for i in self.items)
        tall = pulp.lpSum(sum(self._highest(i)) * self.on[i, s] for i in self.items)
        self._add(running <= pulp.lpSum(ma * self.has[command, s] for command, ma in usable.items()))
        self._add(tall <= peak * self.used[s])

    def _highest(self, item):
        """Running current and excess at the voltage a channel is checked at, mA."""
        load = self.loads[item[0]]
        on = [state.supply_v for state in self.vehicle.states if state.is_on(load.command)]
        volts = max(on, default=self.vehicle.settings.reference_v)
        return self.recount.draw(load, volts), self.recount.cold_excess(load, volts)

    def _forbidden(self, slot):
        """Sets of items of one command that may not be together; and, where more on it would cure it, the others."""
        borne = set(borne_counts(self.vehicle, slot))
        for command, items in self.of_command.items():
            loads = [load for load in self.vehicle.loads if load.command == command]
            ranges = [range(load.count + 1) for load in loads]
            bad = {n for n in product(*ranges) if any(n) and self._counts(loads, n) not in borne}
            whole = {n for n in bad if all(m in bad for m in product(*ranges) if _covers(m, n))}
            least = [n for n in whole if not any(_covers(n, m) and m != n for m in whole)]
            for counts in least:
                yield from ((chosen, ()) for chosen in self._choices(loads, counts))
            for counts in bad - whole:
                for chosen in self._choices(loads, counts):
                    yield chosen, tuple(item for item in items if item not in chosen)

    def _counts(self, loads, numbers):
        count = {load.name: n for load, n in zip(loads, numbers, strict=True)}
        return tuple(count.get(load.name, 0) for load in self.vehicle.loads)

    def _choices(self, loads, counts):
        of_each = [
            combinations([(load.name, n) for n in range(1, load.count + 1)], k)
            for load, k in zip(loads, counts, strict=True)
        ]
        yield from (tuple(item for some in parts for item in some) for parts in product(*of_each))

    def _sums(self):
        """Everything a state allows on at once, one command switched on beside the rest; conditions are not known."""
        for unit in self.units:
            whole = {s: 2 for s, slot in enumerate(self.slots) if slot.unit is unit}
            limits = [(unit.module.total_ma, whole)]
            for bank, rated in unit.module.bank_ma.items():
                halves = {s: _halves(self.slots[s], bank) for s in whole}
                limits.append((rated, {s: h for s, h in halves.items() if h}))
            for state in self.vehicle.states:
                for volts in set(state.span_v):
                    for rated, halves in limits:
                        self._sum(state, volts, halves, self._usable(unit, rated), None)
                    for command in self.of_command:
                        self._sum(state, volts, whole, unit.module.total_peak_ma, command)

    def _usable(self, unit, rated_ma):
        return limit_ma(rated_ma, self.recount.factor(unit), self.vehicle.settings.module_headroom_pct)

    def _sum(self, state, volts, halves, limit, switched_on):
        terms, rises = [], []
        for load in self.vehicle.loads:
            if not state.is_on(load.command):
                continue
            running, excess = self.recount.running(load, volts), 0
            if load.command == switched_on:
                excess = self.recount.excess(load, volts)
            rise = deviation(running, load.tolerance_pct) + deviation(excess, load.tolerance_pct)
            there = [h * self.on[(load.name, n), s] for s, h in halves.items() for n in range(1, load.count + 1)]
            terms.append((running + excess) * pulp.lpSum(there))
            if rise:
                rises.append(rise * pulp.lpSum(there))
        self._add(pulp.lpSum(terms) + self._worst(rises) <= 2 * limit)

    def _worst(self, rises):
        """Largest sum of so many rises, by the dual of choosing them."""
        if not rises:
            return 0
        level = self._variable(0, None, "Continuous")
        over = [self._variable(0, None, "Continuous") for _ in rises]
        for rise, p in zip(rises, over, strict=True):
            self._add(level + p >= rise)
        return self.vehicle.settings.tolerance_loads * level + pulp.lpSum(over)

    def run(self, seconds) -> Run:
        """Solve within so many seconds."""
        start = time.perf_counter()
        solver = pulp.HiGHS(msg=False, threads=1, gapRel=0.0, gapAbs=0.999, timeLimit=seconds, random_seed=1)
        self.problem.solve(solver)
        took = time.perf_counter() - start
        model = self.problem.solverModel
        status, info = model.getModelStatus(), model.getInfo()
        size = (len(self.problem.variables()), model.getNumRow())
        if status == highspy.HighsModelStatus.kInfeasible:
            return Run(IMPOSSIBLE, took, None, None, *size)
        found = info.primal_solution_status == 2
        value = abs(round(info.objective_function_value)) if found else None
        proved = status == highspy.HighsModelStatus.kOptimal
        bound = float(value) if proved else abs(ceil(info.mip_dual_bound - 1e-6))
        circuits = tuple(self._circuits()) if found else ()
        return Run(PROVED if proved else STOPPED, took, value, bound, *size, circuits)

    def run_cbc(self, seconds) -> Run:
        """Solve with CBC, where PuLP brings it, within so many seconds."""
        with warnings.catch_warnings():  # PuLP 3 warns that version 4 brings no CBC, which is why `has_cbc` asks
            warnings.simplefilter("ignore", DeprecationWarning)
            solver = pulp.PULP_CBC_CMD(msg=False, threads=1, gapRel=0.0, gapAbs=0.999, timeLimit=seconds)
        start = time.perf_counter()
        self.problem.solve(solver)
        took = time.perf_counter() - start
        size = (len(self.problem.variables()), self.problem.numConstraints())
        found = self.problem.sol_status in (pulp.LpSolutionOptimal, pulp.LpSolutionIntegerFeasible)
        if self.problem.sol_status == pulp.LpSolutionInfeasible:
            return Run(IMPOSSIBLE, took, None, None, *size)
        value = abs(round(self.problem.objective.value())) if found else None
        proved = self.problem.sol_status == pulp.LpSolutionOptimal
        return Run(PROVED if proved else STOPPED, took, value, None, *size, tuple(self._circuits()) if found else ())

    def _circuits(self):
        for s, slot in enumerate(self.slots):
            items = [item for item in self.items if round(self.on[item, s].varValue)]
            if items:
                yield placed(slot, self.loads[items[0][0]].command, items)


def _covers(more, less):
    return all(m >= n for m, n in zip(more, less, strict=True))


def _halves(slot, bank):
    names = [channel.bank for channel in slot.channels]
    return names.count(bank) if slot.use == "pair" else 2 * (bank in names)
