"""CP-SAT on tiny vehicles: items of each load on each slot, every limit of DESIGN written out over all combinations."""

import itertools
from dataclasses import dataclass

from ortools.sat.python import cp_model

from tests.attack.check import cases, changes, module_faults, shares_in, sums_of
from tests.attack.physics import at_once, circuit_faults, slots_of
from tests.attack.tables import Allocation, Circuit, milliamps

__all__ = ["Answer", "oracle"]

_WHOLE = 100  # parts of a milliamp: paralleled channels share in whole per cent, and no half is rounded up twice


@dataclass(frozen=True)
class Answer:
    """Least number of channels and an allocation with it; None, None where the module is not enough."""

    channels: int | None
    allocation: Allocation | None


class _Model:
    def __init__(self, situation):
        self.situation, self.slots = situation, slots_of(situation)
        self.model = cp_model.CpModel()
        self.used = [self.model.new_bool_var("") for _ in self.slots]
        self.count = {
            (name, s): self.model.new_int_var(0, load.count, "")
            for name, load in situation.loads.items()
            for s in range(len(self.slots))
        }
        self.items()
        self.borne()
        self.locks()
        self.sums()

    def items(self):
        for name, load in self.situation.loads.items():
            self.model.add(sum(self.count[name, s] for s in range(len(self.slots))) == load.count)
        for channel in self.situation.channels:
            over = [self.used[s] for s, slot in enumerate(self.slots) if channel in slot.channels]
            self.model.add(sum(over) <= 1)
        spare = int(self.situation.settings.get("spare_channels", 0))
        self.model.add(self.channels() <= len(self.situation.channels) - spare)

    def channels(self):
        return sum(len(slot.channels) * used for slot, used in zip(self.slots, self.used, strict=True))

    def borne(self):
        """Only sets of items that the slot bears, one command a slot."""
        names = list(self.situation.loads)
        for s, slot in enumerate(self.slots):
            rows = [(0,) * (len(names) + 1), *((1, *counts) for counts in self._borne_by(slot, names))]
            self.model.add_allowed_assignments([self.used[s], *(self.count[name, s] for name in names)], rows)

    def _borne_by(self, slot, names):
        loads = self.situation.loads
        for command in self.situation.commands:
            ranges = [range(loads[name].count + 1) if loads[name].command == command else (0,) for name in names]
            for counts in itertools.product(*ranges):
                if any(counts) and not circuit_faults(self.situation, slot, list(zip(names, counts, strict=True))):
                    yield counts

    def locks(self):
        spots = {}
        for row in self.situation.tables.table("locked"):
            if row["module"] == self.situation.module["module"]:
                spots.setdefault(row["load"], set()).add(frozenset(row["channel"].split("+")))
        for load, wanted in spots.items():
            for s, slot in enumerate(self.slots):
                if frozenset(slot.channels) not in wanted:
                    self.model.add(self.count[load, s] == 0)
            for spot in wanted:
                there = [s for s, slot in enumerate(self.slots) if frozenset(slot.channels) == spot]
                self.model.add(sum(self.count[load, s] for s in there) >= 1)

    def sums(self):
        situation = self.situation
        for bank, rated in situation.bank_ma.items():
            for case in cases(situation):
                self._within(bank, case, None, situation.usable_ma(rated))
        for case in cases(situation):
            self._within(None, case, None, situation.usable_ma(milliamps(situation.module, "total_a")))
        for *case, new in changes(situation):
            self._within(None, case, new, situation.total_peak_ma)

    def _within(self, bank, case, inrush, limit):
        """Stated currents and any so many deviations are within the limit."""
        stated, rises = [], {}
        for (name, s), count in self.count.items():
            one = shares_in(self.situation, [(self.slots[s], [(name, 1)])], bank)
            total, rise = sums_of(self.situation, one, *case, inrush)
            if total:
                stated.append(int(total * _WHOLE) * count)
            if rise[name]:
                rises.setdefault(name, []).append(int(rise[name] * _WHOLE) * count)
        k = min(len(rises), at_once(self.situation))
        for worst in itertools.combinations(rises, k):
            self.model.add(sum(stated) + sum(term for name in worst for term in rises[name]) <= _WHOLE * limit)

    def solve(self):
        self.model.minimize(self.channels())
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.max_time_in_seconds = 60
        status = solver.solve(self.model)
        if status == cp_model.INFEASIBLE:
            return Answer(None, None)
        assert status == cp_model.OPTIMAL, solver.status_name(status)
        return Answer(round(solver.objective_value), self._allocation(solver))

    def _allocation(self, solver):
        circuits = []
        for s, slot in enumerate(self.slots):
            items = tuple((name, solver.value(self.count[name, s])) for name in self.situation.loads)
            if solver.value(self.used[s]):
                circuits.append(Circuit(slot.channels, slot.use, tuple((name, n) for name, n in items if n)))
        return Allocation(self.situation.module["module"], tuple(circuits))


def oracle(situation):
    """Whether the module is enough, by the least number of channels."""
    return Answer(None, None) if any(module_faults(situation)) else _Model(situation).solve()
