"""Recount every limit of an allocation, and every signal on its pin, from the tables alone."""

from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Protocol, cast, runtime_checkable

import pandas as pd

from pdm_alloc.domain.module import FittedBox, Module, Signal, SignalPin, Unit, natural_key, units_of
from pdm_alloc.domain.vehicle import Load, Vehicle
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.verify import assignment, strength, wires
from pdm_alloc.verify.assignment import Finding, Recount, findings_table
from pdm_alloc.verify.battery_cables import cables_hold, voltages_hold
from pdm_alloc.verify.copper import BenchTables, bench
from pdm_alloc.verify.wires import written

__all__ = ["RULES", "PinUse", "Placed", "WithTables", "objections", "verify", "verify_signals", "violations"]


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
    strength.trip_exists,
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


# Of these a circuit misses a limit, or keeps it, whatever the other circuits are.
_BY_CIRCUIT = frozenset(
    {
        strength.running_current,
        strength.inrush_peak,
        strength.inrush_energy,
        strength.trip_exists,
        wires.wire_exists,
    }
)


def violations(
    vehicle: Vehicle, units: Iterable[Unit], circuits: Iterable[PlacedCircuit], since: Vehicle | None = None
) -> list[Finding]:
    """Everything that is wrong with circuits on units.

    Parameters
    ----------
    vehicle : Vehicle
        The vehicle.
    units : iterable of Unit
        Modules fitted, labels unique.
    circuits : iterable of PlacedCircuit
        Where the items are said to be.
    since : Vehicle, optional
        A vehicle with which nothing was wrong with the same circuits on the same units. Where only loads differ from
        it, limits that a circuit keeps by itself are recounted for circuits of these loads alone.

    Returns
    -------
    list of Finding
        Rule by rule; empty when nothing is wrong.

    Raises
    ------
    ValueError
        Two units with one label.
    """
    units, circuits = tuple(units), tuple(circuits)
    whole = Recount(vehicle, units, circuits)
    touched = circuits if since is None else _touched(since, vehicle, circuits)
    anew = whole if touched == circuits else Recount(vehicle, units, touched)
    return [finding for rule in RULES for finding in rule(anew if rule in _BY_CIRCUIT else whole)]


def _touched(since: Vehicle, vehicle: Vehicle, circuits: tuple[PlacedCircuit, ...]) -> tuple[PlacedCircuit, ...]:
    """Circuits of which a load is another than before; all where more than loads is."""
    if replace(since, loads=vehicle.loads, table_hashes=vehicle.table_hashes) != vehicle:
        return circuits
    before = {load.name: load for load in since.loads}
    same = {load.name for load in vehicle.loads if before.get(load.name) == load}
    return tuple(circuit for circuit in circuits if not same.issuperset(circuit.loads))


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
    alone = replace(vehicle, loads=loads, locked=())
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


class PinUse(Protocol):
    """One item of a signal, the box it is on, its pins, and the shared pins that feed it."""

    @property
    def signal(self) -> str:
        """Name of the signal."""

    @property
    def item(self) -> int:
        """Number of the item, from 1."""

    @property
    def box(self) -> str:
        """Label of the box."""

    @property
    def pins(self) -> tuple[str, ...]:
        """Labels of its pins."""

    @property
    def supply(self) -> str | None:
        """Label of the 5 V supply that it shares; None: it needs none."""

    @property
    def ground(self) -> str | None:
        """Label of the sensor ground that it shares; None: it needs none."""


_Pins = Mapping[tuple[str, str | None], SignalPin]  # by label of the box and of the pin


# Written out again on purpose: function and number of pins of each kind, whether a label must join them, whether the
# signal's current goes through its pin.
_TAKES = {
    "voltage": ("voltage_input", 1, False, False),
    "resistance": ("resistance_input", 1, False, False),
    "switch_to_ground": ("switch_to_ground", 1, False, False),
    "switch_to_battery": ("switch_to_battery", 1, False, False),
    "frequency": ("frequency", 1, False, False),
    "frequency_pair": ("frequency_pair", 2, True, False),
    "low_side": ("low_side", 1, False, True),
    "high_side": ("high_side", 1, False, True),
    "half_bridge": ("half_bridge", 1, False, True),
    "full_bridge": ("half_bridge", 2, False, True),
    "ignition_trigger": ("ignition_trigger", 1, False, True),
    "injector": ("injector_driver", 1, False, True),
    "bus": ("bus", 2, True, False),
}


def verify_signals(signals: Sequence[Signal], boxes: Sequence[FittedBox], uses: Iterable[PinUse]) -> list[Finding]:
    """Every rule that signals on pins break.

    Parameters
    ----------
    signals : sequence of Signal
        What must be placed.
    boxes : sequence of FittedBox
        Where.
    uses : iterable of PinUse
        What is where.

    Returns
    -------
    list of Finding
        Empty where every item has its pins, no pin is used twice, every pin can do what it must and bear it, and every
        shared supply and ground is within its limit.
    """
    uses = list(uses)
    by_name = {signal.name: signal for signal in signals}
    pins: _Pins = {(box.label, _label(pin)): pin for box in boxes for pin in box.box.pins}
    roles = {box.label: box.box.role for box in boxes}
    known = [use for use in uses if use.signal in by_name and use.box in roles]
    strangers = [use for use in uses if use.signal not in by_name or use.box not in roles]
    findings = [_finding("stranger", use, f"{use.signal} or {use.box} is not in the tables") for use in strangers]
    findings += _counted(signals, uses)
    findings += _twice(uses)
    for use in known:
        findings += _of_use(by_name[use.signal], use, pins, roles[use.box])
    return findings + list(_overdrawn(by_name, known, pins))


def _label(pin: SignalPin) -> str:
    return pin.name if pin.connector == "" else pin.connector + "-" + pin.name


def _finding(
    rule: str, use: PinUse, message: str, value: float | None = None, limit: float | None = None, unit: str = ""
) -> Finding:
    where = ", ".join(use.pins)
    return Finding(rule, use.box, where, "", use.signal, value, limit, unit, message)


def _counted(signals: Iterable[Signal], uses: Iterable[PinUse]) -> Iterator[Finding]:
    """Every item of every signal once."""
    times = Counter((use.signal, use.item) for use in uses)
    for signal in signals:
        for item in range(1, signal.count + 1):
            if times.pop((signal.name, item), 0) != 1:
                message = f"item {item} of {signal.name} is not placed exactly once"
                yield Finding("placed", subject=signal.name, message=message)
    for name, item in times:
        yield Finding("placed", subject=name, message=f"there is no item {item} of {name}")


def _twice(uses: Iterable[PinUse]) -> Iterator[Finding]:
    taken = Counter((use.box, pin) for use in uses for pin in use.pins)
    for (box, pin), times in taken.items():
        if times > 1:
            yield Finding("pin", box, pin, value=times, limit=1, message=f"pin {pin} is used {times} times")


def _of_use(signal: Signal, use: PinUse, pins: _Pins, role: str) -> Iterator[Finding]:
    function, count, joined, loaded = _TAKES[signal.kind]
    taken = [pins[use.box, label] for label in use.pins if (use.box, label) in pins]
    if len(use.pins) != count or len(taken) != count:
        yield _finding("pins", use, f"a {signal.kind} takes {count} pins of the box", len(taken), count)
    if signal.reader is not None and signal.reader != role:
        yield _finding("reader", use, f"{signal.name} is to be read by a {signal.reader}, not a {role}")
    if signal.importance == "vital" and role == "expander":
        yield _finding("vital", use, f"{signal.name} is vital and {use.box} depends on the bus")
    if joined and (len({pin.pair for pin in taken}) != 1 or any(pin.pair is None for pin in taken)):
        yield _finding("pair", use, f"the pins of {signal.name} are not a pair")
    for pin in taken:
        yield from _of_pin(signal, use, pin, function, loaded)
    yield from _fed(signal, use, pins)


def _of_pin(signal: Signal, use: PinUse, pin: SignalPin, function: str, loaded: bool) -> Iterator[Finding]:
    if function not in pin.functions:
        yield _finding("function", use, f"pin {_label(pin)} has no {function}")
    if "pwm" in signal.needs and "pwm" not in pin.functions:
        yield _finding("pwm", use, f"pin {_label(pin)} has no PWM")
    if loaded and pin.max_ma is not None and signal.current_ma > pin.max_ma:
        message = f"{signal.name} takes {signal.current_ma} mA, pin {_label(pin)} bears {pin.max_ma} mA"
        yield _finding("current", use, message, signal.current_ma / 1000, pin.max_ma / 1000, "A")


def _fed(signal: Signal, use: PinUse, pins: _Pins) -> Iterator[Finding]:
    """Shared pins are there where they are needed, of the same box and the right function."""
    spare = "spare" in signal.needs
    for word, label in (("supply_5v", use.supply), ("sensor_ground", use.ground)):
        wanted = word in signal.needs and not spare
        pin = pins.get((use.box, label))
        if wanted != (label is not None):
            yield _finding(word, use, f"{signal.name} {'has no' if wanted else 'needs no'} {word}")
        elif wanted and (pin is None or word not in pin.functions):
            yield _finding(word, use, f"{label} is not a {word} of {use.box}")


def _overdrawn(signals: Mapping[str, Signal], uses: Iterable[PinUse], pins: _Pins) -> Iterator[Finding]:
    drawn: dict[tuple[str, str], int] = defaultdict(int)
    for use in uses:
        for label in (use.supply, use.ground):
            if label is not None:
                drawn[use.box, label] += signals[use.signal].current_ma
    for (box, label), current in drawn.items():
        limit = pins[box, label].max_ma if (box, label) in pins else None
        if limit is not None and current > limit:
            message = f"sensors take {current} mA from {label}, which bears {limit} mA"
            yield Finding("shared", box, label, "", "", current / 1000, limit / 1000, "A", message)
