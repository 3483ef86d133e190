"""Outputs of the units one can wire a circuit to, and which sets of items each bears.

A circuit is judged with the rules of `pdm_alloc.verify` on that circuit alone; those rules share nothing
with the parts that build an allocation.
"""

from dataclasses import dataclass
from itertools import product

from pdm_alloc.domain.module import Unit
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.verify import assignment, strength, wires
from pdm_alloc.verify.assignment import Recount

RULES_OF_A_CIRCUIT = (
    assignment.one_command,
    assignment.alone_where_asked,
    assignment.separate_apart,
    assignment.pwm_where_needed,
    assignment.reversing_on_bridges,
    strength.running_current,
    strength.inrush_peak,
    strength.inrush_energy,
    strength.trip_exists,
    wires.wire_exists,
)
RULES_OF_THE_VEHICLE = (assignment.supply_in_range, assignment.ambient_rated, assignment.inputs_enough)


@dataclass(frozen=True)
class Slot:
    """One channel, or two used together, of one unit."""

    unit: Unit
    channels: tuple
    use: str

    @property
    def names(self):
        return tuple(channel.name for channel in self.channels)

    @property
    def alike(self):
        """What a circuit's own rules see of it."""
        ratings = tuple(
            (c.continuous_ma, c.peak_ma, c.peak_ms, "pwm" in c.features, c.max_wire_mm2, len(c.pins))
            for c in self.channels
        )
        return self.unit.label, self.use, ratings


def slots_of(units):
    """Every channel alone, every pair and every bridge."""
    found = []
    for unit in units:
        found += [Slot(unit, (channel,), "single") for channel in unit.module.channels]
        for use in ("pair", "bridge"):
            labels = dict.fromkeys(getattr(c, use) for c in unit.module.channels if getattr(c, use))
            found += [Slot(unit, tuple(c for c in unit.module.channels if getattr(c, use) == x), use) for x in labels]
    return found


def joined_kept(vehicle, counts):
    """Whether a command that is joined on one channel is all there."""
    joined = {command.name for command in vehicle.commands if command.together}
    return all(
        not n or load.command not in joined or _whole(vehicle, counts, load.command)
        for load, n in zip(vehicle.loads, counts, strict=True)
    )


def _whole(vehicle, counts, command):
    return all(n == load.count for load, n in zip(vehicle.loads, counts, strict=True) if load.command == command)


def placed(slot, command, items):
    """A circuit on a slot."""
    return PlacedCircuit(slot.unit.label, slot.names, slot.use, command, tuple(sorted(items)))


def bears(vehicle, slot, counts):
    """Whether the slot bears so many items of each load, looking at this circuit only."""
    items = [(load.name, n) for load, count in zip(vehicle.loads, counts, strict=True) for n in range(1, count + 1)]
    command = next(load.command for load, count in zip(vehicle.loads, counts, strict=True) if count)
    recount = Recount(vehicle, (slot.unit,), (placed(slot, command, items),))
    return not any(True for rule in RULES_OF_A_CIRCUIT for _ in rule(recount))


def borne_counts(vehicle, slot):
    """Every vector of counts, one a load, that the slot bears."""
    found = []
    for command in dict.fromkeys(load.command for load in vehicle.loads):
        ranges = [range(load.count + 1) if load.command == command else (0,) for load in vehicle.loads]
        found += [
            counts
            for counts in product(*ranges)
            if any(counts) and joined_kept(vehicle, counts) and bears(vehicle, slot, counts)
        ]
    return found


def suits(vehicle, units):
    """Whether the units suit the vehicle at all, whatever is wired where."""
    recount = Recount(vehicle, units, ())
    return not any(True for rule in RULES_OF_THE_VEHICLE for _ in rule(recount))
