"""Recount every limit of an allocation from the vehicle and the units."""

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Protocol, cast, runtime_checkable

import pandas as pd

from pdm_alloc.domain.module import Module, Unit, natural_key, units_of
from pdm_alloc.domain.vehicle import Load, Vehicle
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.verify import assignment, strength, trips, wires
from pdm_alloc.verify.battery_cables import cables_hold, voltages_hold
from pdm_alloc.verify.copper import BenchTables, bench
from pdm_alloc.verify.recount import Finding, Recount, findings_table
from pdm_alloc.verify.wires import written

__all__ = ["RULES", "Placed", "WithTables", "objections", "verify", "violations"]


@runtime_checkable
class Placed(Protocol):
    """What is verified at the least: circuits on the units of a vehicle."""

    @property
    def vehicle(self) -> Vehicle:
        """The vehicle."""

    @property
    def units(self) -> Sequence[Unit]:
        """Modules fitted."""

    @property
    def circuits(self) -> Sequence[PlacedCircuit]:
        """Where the items are said to be."""


class WithTables(Placed, BenchTables, Protocol):
    """An allocation with its tables of wires, settings, battery cables and voltages."""

    @property
    def wires(self) -> pd.DataFrame:
        """One row per circuit: its wire."""

    @property
    def settings(self) -> pd.DataFrame:
        """One row per circuit: what its channel is set to."""

    @property
    def links(self) -> pd.DataFrame:
        """One row per battery cable."""

    @property
    def voltages(self) -> pd.DataFrame:
        """One row per state and load that is on."""


# Each takes a Recount and yields findings. A new limit is one more line here, and one more test that breaks it.
RULES: tuple[Callable[[Recount], Iterator[Finding]], ...] = (
    assignment.each_item_once,
    assignment.channels_exist,
    assignment.channels_used_once,
    assignment.twos_allowed,
    assignment.one_command,
    assignment.alone_where_asked,
    assignment.separate_apart,
    assignment.together_where_joined,
    assignment.pwm_where_needed,
    assignment.reversing_on_bridges,
    strength.running_current,
    strength.inrush_peak,
    strength.inrush_energy,
    trips.trip_exists,
    wires.wire_exists,
    strength.bank_current,
    strength.total_current,
    strength.total_peak,
    assignment.supply_in_range,
    assignment.ambient_rated,
    assignment.inputs_enough,
    assignment.spares_kept,
    assignment.locked_stay,
)


def violations(vehicle: Vehicle, units: Iterable[Unit], circuits: Iterable[PlacedCircuit]) -> list[Finding]:
    """Everything that is wrong with circuits on units.

    Parameters
    ----------
    vehicle : Vehicle
        The vehicle.
    units : iterable of Unit
        Modules fitted, labels unique.
    circuits : iterable of PlacedCircuit
        Where the items are said to be.

    Returns
    -------
    list of Finding
        Rule by rule; empty when nothing is wrong.

    Raises
    ------
    ValueError
        Two units with one label.
    """
    recount = Recount(vehicle, tuple(units), tuple(circuits))
    return [finding for rule in RULES for finding in rule(recount)]


def objections(vehicle: Vehicle, units: Iterable[Unit], circuit: PlacedCircuit) -> list[Finding]:
    """What speaks against a circuit on its channel whatever else is wired.

    Parameters
    ----------
    vehicle : Vehicle
        With the loads of the circuit.
    units : iterable of Unit
        Modules fitted.
    circuit : PlacedCircuit
        Loads on a channel.

    Returns
    -------
    list of Finding
        As `violations` of these loads alone, nothing locked and no channel kept free; empty where it can be wired so.
    """
    loads = tuple(load for load in vehicle.loads if load.name in circuit.loads)
    alone = replace(vehicle, loads=loads, locked=(), settings=replace(vehicle.settings, spare_channels=0))
    return [finding for finding in violations(alone, units, [circuit]) if finding.channel == circuit.channel]


def verify(
    subject: Placed | Vehicle,
    modules: Module | Unit | Iterable[Module | Unit] | None = None,
    assignments: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Recount every limit, with nothing taken from the solver or from what it was given.

    Parameters
    ----------
    subject : Allocation or Vehicle
        An allocation; or a vehicle, and then `modules` and `assignments` too.
    modules : Module, Unit, or iterable of these, optional
        What is fitted.
    assignments : pandas.DataFrame, optional
        Columns load, item, module (label of the unit), channel (``3+4`` for two channels used together).

    Returns
    -------
    pandas.DataFrame
        One row for each thing that is wrong: rule, module, channel, state, subject, value, limit, unit, message.

    Raises
    ------
    ValueError
        A column is missing, or two units have one label.
    TypeError
        Neither an allocation nor a vehicle with modules and assignments.
    """
    if isinstance(subject, Placed):
        return findings_table([*violations(subject.vehicle, subject.units, subject.circuits), *_written(subject)])
    if modules is None or assignments is None:
        raise TypeError("verify takes an allocation, or a vehicle with modules and assignments")
    units = units_of(modules)
    return findings_table(violations(subject, units, _circuits(subject, units, assignments)))


def _written(allocation: Placed) -> list[Finding]:
    """What is wrong with its tables of wires and settings; an allocation without them has none to be wrong."""
    recount = Recount(allocation.vehicle, tuple(allocation.units), tuple(allocation.circuits))
    named = {name for circuit in allocation.circuits for name in circuit.loads}
    if len(recount.wired) < len(allocation.circuits) or not named <= set(recount.loads):
        return []  # names that mean nothing have findings of their own, and no wire
    if not hasattr(allocation, "wires"):
        return []
    tables = cast(WithTables, allocation)
    findings = [*written(recount, tables.wires, tables.settings), *cables_hold(recount, tables.links)]
    return [*findings, *voltages_hold(recount, tables.voltages, tables.links, tables.wires), *bench(tables)]


def _circuits(vehicle: Vehicle, units: Iterable[Unit], assignments: pd.DataFrame) -> Iterator[PlacedCircuit]:
    missing = {"load", "item", "module", "channel"} - set(assignments.columns)
    if missing:
        raise ValueError(f"assignments lack the columns {', '.join(sorted(missing))}")
    table = assignments.assign(item=assignments["item"].astype(int), channel=assignments["channel"].astype(str))
    loads = {load.name: load for load in vehicle.loads}
    modules = {unit.label: unit.module for unit in units}
    for (module, channel), rows in table.groupby(["module", "channel"], sort=False):
        label = str(module)
        items = tuple(sorted(zip(rows["load"], rows["item"], strict=True)))
        names = _split(modules.get(label), str(channel))
        known = [loads[name] for name, _ in items if name in loads]
        yield PlacedCircuit(label, names, _use(modules.get(label), names, known), _command(known), items)


def _split(module: Module | None, channel: str) -> tuple[str, ...]:
    """Names of the one or two channels: a name may have a plus of its own."""
    names = {c.name for c in module.channels} if module else set()
    parts = channel.split("+")
    for at in range(1, len(parts)):
        two = ("+".join(parts[:at]), "+".join(parts[at:]))
        if channel not in names and names.issuperset(two):
            return tuple(sorted(two, key=natural_key))
    return (channel,)


def _use(module: Module | None, names: Collection[str], loads: Iterable[Load]) -> str:
    if module is None or len(names) == 1:
        return "single"
    bridges = {module.channel(name).bridge for name in names}
    reversing = any("reversing" in load.needs for load in loads)
    return "bridge" if reversing and len(bridges) == 1 and None not in bridges else "pair"


def _command(loads: Iterable[Load]) -> str:
    return min((load.command for load in loads), default="")
