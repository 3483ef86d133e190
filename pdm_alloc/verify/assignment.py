"""What the rules look at, circuits tied to what they name; and who is where: channels, items, what may share."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import astuple, dataclass, fields
from fractions import Fraction
from typing import TypedDict, TypeVar

import pandas as pd

from pdm_alloc.domain.kinds import KINDS
from pdm_alloc.domain.module import Channel, Module, Unit
from pdm_alloc.domain.vehicle import Command, Load, State, Vehicle
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.verify import arithmetic
from pdm_alloc.verify.arithmetic import Ma

__all__ = [
    "COLUMNS",
    "Finding",
    "Recount",
    "Surge",
    "Where",
    "Wired",
    "alone_where_asked",
    "ambient_rated",
    "channels_exist",
    "channels_used_once",
    "each_item_once",
    "findings_table",
    "inputs_enough",
    "locked_stay",
    "one_command",
    "pwm_where_needed",
    "reversing_on_bridges",
    "separate_apart",
    "spares_kept",
    "supply_in_range",
    "together_where_joined",
    "twos_allowed",
]

_Ma = TypeVar("_Ma", int, Ma)


Surge = tuple[int, int, float]
"""Inrush excess of a load, how far its tolerance may lift it, mA, and its time constant, ms."""


class Where(TypedDict):
    """Label of a unit and its channel."""

    module: str
    channel: str


@dataclass(frozen=True, slots=True)
class Wired:
    """A circuit with the objects its names stand for; unknown loads are left out.

    Parameters
    ----------
    circuit : PlacedCircuit
        As allocated.
    unit : Unit
        The unit it is on.
    channels : tuple of Channel
        Its channels, one or two.
    counts : tuple of (Load, int)
        Its loads and how many items of each, sorted by name.
    """

    circuit: PlacedCircuit
    unit: Unit
    channels: tuple[Channel, ...]
    counts: tuple[tuple[Load, int], ...]

    @property
    def where(self) -> "Where":
        """Module and channel, as a finding names them."""
        return Where(module=self.unit.label, channel=self.circuit.channel)

    @property
    def shares(self) -> int:
        """Channels that share its current: two of a pair, one otherwise (a bridge carries all in both)."""
        return 2 if self.circuit.use == "pair" else 1

    @property
    def larger_pct(self) -> Fraction:
        """Largest share of its current that one channel carries, per cent."""
        return max(Fraction(c.share_pct) for c in self.channels) if self.circuit.use == "pair" else Fraction(100)

    @property
    def items(self) -> int:
        """How many items."""
        return sum(count for _, count in self.counts)


class Recount:
    """A vehicle, units and circuits, with every name looked up once.

    Parameters
    ----------
    vehicle : Vehicle
        The vehicle.
    units : tuple of Unit
        Units, labels unique.
    circuits : tuple of PlacedCircuit
        Where the items are said to be.

    Raises
    ------
    ValueError
        Two units with one label: nothing said about a label could then be checked.
    """

    def __init__(self, vehicle: Vehicle, units: tuple[Unit, ...], circuits: tuple[PlacedCircuit, ...]):
        self.vehicle, self.circuits = vehicle, circuits
        self.loads = {load.name: load for load in vehicle.loads}
        self.commands = {command.name: command for command in vehicle.commands}
        self.units = {unit.label: unit for unit in units}
        if len(self.units) != len(units):
            raise ValueError(f"unit labels must be unique, got {[unit.label for unit in units]}")
        self.channels = {(u.label, c.name): c for u in units for c in u.module.channels}
        self.wired = [self._wire(circuit) for circuit in circuits if self.is_known(circuit)]
        self.on_unit: dict[str, list[Wired]] = {unit.label: [] for unit in units}
        for wired in self.wired:
            self.on_unit[wired.unit.label].append(wired)
        self._voltages = {command: self._spans(command) for command in {load.command for load in vehicle.loads}}
        self._cold = arithmetic.cold(vehicle.settings.lowest_ambient_c)
        self._at_coldest: dict[str, tuple[int, int | Fraction]] = {}
        self._factor = {unit.label: self._derate(unit) for unit in units}

    def is_known(self, circuit: PlacedCircuit) -> bool:
        """Whether the unit and every channel of the circuit exist."""
        return bool(circuit.channels) and all((circuit.unit, name) in self.channels for name in circuit.channels)

    def _wire(self, circuit: PlacedCircuit) -> Wired:
        counts = Counter(name for name, _ in circuit.items if name in self.loads)
        channels = tuple(self.channels[circuit.unit, name] for name in circuit.channels)
        loads = tuple((self.loads[name], counts[name]) for name in sorted(counts))
        return Wired(circuit, self.units[circuit.unit], channels, loads)

    def _spans(self, command: str) -> set[float]:
        ends: set[float] = set()
        for state in self.vehicle.states:
            if state.is_on(command):
                ends |= {state.supply_v, state.supply_v if state.supply_top_v is None else state.supply_top_v}
        return ends

    def ambient_c(self, unit: Unit) -> float:
        """Temperature around a unit: that of its place where it is known, else the setting, deg C."""
        for place in self.vehicle.places:
            if place.name == unit.place and place.ambient_c is not None:
                return place.ambient_c
        return self.vehicle.settings.module_ambient_c

    def _derate(self, unit: Unit) -> tuple[Fraction, bool]:
        return arithmetic.derating_at(unit.module.derating, self.ambient_c(unit))

    def factor(self, unit: Unit) -> Fraction:
        """Derating factor of the unit where it sits."""
        return self._factor[unit.label][0]

    def is_rated(self, unit: Unit) -> bool:
        """Whether the ambient of the unit is within its derating table."""
        return self._factor[unit.label][1]

    def headroom_pct(self, wired: Wired) -> Fraction:
        """Least headroom of the circuit: its command's own, or the vehicle's, per cent."""
        command = self.commands.get(wired.circuit.command)
        wanted = None if command is None else command.headroom_pct
        return self.vehicle.settings.headroom_pct if wanted is None else wanted

    def states_on(self, wired: Wired) -> list[State]:
        """States in which the circuit may be on."""
        return [state for state in self.vehicle.states if state.is_on(wired.circuit.command)]

    def voltages(self, wired: Wired) -> list[float]:
        """Both ends of the span of every state in which one of the circuit's loads may be on, V."""
        volts = {v for load, _ in wired.counts for v in self._voltages[load.command]}
        return sorted(volts) or [self.vehicle.settings.reference_v]

    def running(self, load: Load, supply_v: float) -> int:
        """Running current of one item in a sum, as stated, mA."""
        return arithmetic.running_ma(load.running_ma, load.volt_exponent, supply_v, self.vehicle.settings.reference_v)

    def excess(self, load: Load, supply_v: float) -> int:
        """Inrush excess of one item in a sum, as stated, mA."""
        over = max(0, load.inrush_ma - load.running_ma)
        return arithmetic.excess_ma(over, supply_v, self.vehicle.settings.reference_v)

    def cold_excess(self, load: Load, supply_v: float) -> int:
        """Inrush excess of one item, copper at its coldest, mA."""
        return arithmetic.excess_ma(self._cold_ma(load)[1], supply_v, self.vehicle.settings.reference_v)

    def _cold_ma(self, load: Load) -> tuple[int, int | Fraction]:
        """Running current at the reference voltage, of a coil at its coldest, and the inrush above it, mA."""
        if load.name not in self._at_coldest:
            copper = KINDS[load.kind].copper
            running = arithmetic.ceiling(load.running_ma * (self._cold if copper == "running" else 1))
            over = load.inrush_ma * (self._cold if copper else 1) - running
            self._at_coldest[load.name] = running, max(0, over)
        return self._at_coldest[load.name]

    def draw(self, load: Load, supply_v: float) -> int:
        """What one item draws at most at a voltage, as stated: a coil at its coldest, mA."""
        return arithmetic.running_ma(
            self._cold_ma(load)[0], load.volt_exponent, supply_v, self.vehicle.settings.reference_v
        )

    def draw_at(self, wired: Wired, supply_v: float) -> int:
        """What the circuit draws at most at a voltage, with the tolerance that is guarded against, mA."""
        stated = {load.name: self.draw(load, supply_v) for load, _ in wired.counts}
        off = [arithmetic.deviation(stated[load.name], load.tolerance_pct) * k for load, k in wired.counts]
        return sum(stated[load.name] * k for load, k in wired.counts) + self.top(off)

    def largest_draw(self, wired: Wired) -> tuple[int, float]:
        """The largest of these, mA, and its voltage, V."""
        return max((self.draw_at(wired, volts), volts) for volts in self.voltages(wired))

    def surges(self, wired: Wired, supply_v: float) -> list[Surge]:
        """Inrush excess of each load of a circuit, how far its tolerance may lift it, mA, and its time constant, ms."""
        guarded = self.vehicle.settings.tolerance_loads > 0
        excesses = []
        for load, k in wired.counts:
            over = self.cold_excess(load, supply_v)
            lift = arithmetic.deviation(over, load.tolerance_pct) if guarded else 0
            excesses.append((over * k, lift * k, load.inrush_ms / 3))
        return excesses

    def top(self, values: Iterable[_Ma]) -> _Ma:
        """Sum of the largest deviations, as many as may come together."""
        return arithmetic.top(values, self.vehicle.settings.tolerance_loads)


@dataclass(frozen=True, slots=True)
class Finding:
    """One limit or rule that an allocation breaks.

    Parameters
    ----------
    rule : str
        Which rule, one word.
    module, channel, state, subject : str
        Label of the unit, its channel, the operating state, and the load, bank or input concerned; empty where the
        rule knows none.
    value, limit : float or None
        What was counted and what is allowed, in `unit`.
    unit : str
        ``A``, ``A2 ms``, ``V``, ``deg C`` or empty for plain numbers.
    message : str
        The same in one sentence.
    """

    rule: str
    module: str = ""
    channel: str = ""
    state: str = ""
    subject: str = ""
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    message: str = ""

    def __str__(self) -> str:
        """Where it is and what is wrong, in one line."""
        where = " of ".join(word for word in (self.channel and f"channel {self.channel}", self.module) if word)
        return f"{self.rule}: {where}: {self.message}" if where else f"{self.rule}: {self.message}"


COLUMNS = tuple(field.name for field in fields(Finding))


def findings_table(findings: Iterable[Finding]) -> pd.DataFrame:
    """Findings as a table, one row each.

    Parameters
    ----------
    findings : iterable of Finding
        What was found.

    Returns
    -------
    pandas.DataFrame
        Columns `COLUMNS`; no rows where nothing was found.
    """
    table = pd.DataFrame([astuple(finding) for finding in findings], columns=list(COLUMNS))
    return table.astype({"value": float, "limit": float})


Spot = tuple[str, str, frozenset[str]]
"""Label of a unit, its channel as the row writes it, and the names in that."""


def channels_exist(recount: Recount) -> Iterator[Finding]:
    """The unit and channels of every circuit exist."""
    for circuit in recount.circuits:
        if not recount.is_known(circuit):
            message = f"there is no channel {circuit.channel} of {circuit.unit}"
            yield Finding("channel", circuit.unit, circuit.channel, message=message)


def channels_used_once(recount: Recount) -> Iterator[Finding]:
    """No channel has two circuits."""
    used = Counter((circuit.unit, name) for circuit in recount.circuits for name in circuit.channels)
    for (unit, name), value in used.items():
        if value > 1:
            message = f"channel {name} of {unit} is used by {value} circuits"
            yield Finding("used twice", unit, name, value=value, limit=1, message=message)


def twos_allowed(recount: Recount) -> Iterator[Finding]:
    """One channel alone, or two with one label of the kind the circuit uses them as."""
    for wired in recount.wired:
        if not _goes_together(wired.circuit.use, wired.channels):
            message = f"channels {wired.circuit.channel} of {wired.unit.label} cannot be used as a {wired.circuit.use}"
            yield Finding("together", **wired.where, subject=wired.circuit.use, message=message)


def _goes_together(use: str, channels: Sequence[Channel]) -> bool:
    if use == "single":
        return len(channels) == 1
    if use not in ("pair", "bridge") or len(channels) != 2 or channels[0] == channels[1]:
        return False
    first, second = (getattr(channel, use) for channel in channels)
    return bool(first) and first == second


def spares_kept(recount: Recount) -> Iterator[Finding]:
    """As many channels stay free as are wanted."""
    wanted = recount.vehicle.settings.spare_channels
    free = len(recount.channels.keys() - {(c.unit, name) for c in recount.circuits for name in c.channels})
    if free < wanted:
        yield Finding("spare", value=free, limit=wanted, message=f"{free} channels stay free and {wanted} are wanted")


def each_item_once(recount: Recount) -> Iterator[Finding]:
    """Every item of every load is on exactly one channel, and nothing else is."""
    placed = Counter(item for circuit in recount.circuits for item in circuit.items)
    wanted = {(load.name, n): 1 for load in recount.vehicle.loads for n in range(1, load.count + 1)}
    for load, item in sorted(wanted.keys() | placed.keys()):
        value, limit = placed[load, item], wanted.get((load, item), 0)
        if value != limit:
            message = f"{load} item {item} is on {value} channels and should be on {limit}"
            yield Finding("item", subject=load, value=value, limit=limit, message=message)
    for circuit in recount.circuits:
        if not circuit.items:
            message = f"channel {circuit.channel} of {circuit.unit} is taken by a circuit without loads"
            yield Finding("item", circuit.unit, circuit.channel, value=0, limit=1, message=message)


def locked_stay(recount: Recount) -> Iterator[Finding]:
    """A locked load is on the channels its rows name and on no other, with something on each.

    Two channels used together are where a row says if it names both as ``3+4``, not if it names either. Rows that
    name no unit here are of no concern here.
    """
    wanted: dict[str, list[Spot]] = defaultdict(list)
    for lock in recount.vehicle.locked:
        label = _label(recount, lock.module)
        if label is not None:
            names = _names(lock.channel, recount.units[label].module)
            wanted[lock.load].append((label, lock.channel, names))
    for load, spots in wanted.items():
        circuits = [circuit for circuit in recount.circuits if load in circuit.loads]
        yield from _not_there(load, spots, circuits)
        yield from _elsewhere(load, spots, circuits)


def _label(recount: Recount, module: str) -> str | None:
    """Label of the unit a row means: by its label, or else the first of that module."""
    labels = [label for label, unit in recount.units.items() if unit.module.name == module]
    return module if module in recount.units else next(iter(labels), None)


def _not_there(load: str, spots: Iterable[Spot], circuits: Iterable[PlacedCircuit]) -> Iterator[Finding]:
    taken = {(circuit.unit, frozenset(circuit.channels)) for circuit in circuits}
    for label, channel, names in spots:
        if (label, names) not in taken:
            message = f"{load} is locked to channel {channel} of {label} and nothing of it is there"
            yield Finding("locked", label, channel, subject=load, message=message)


def _elsewhere(load: str, spots: Sequence[Spot], circuits: Iterable[PlacedCircuit]) -> Iterator[Finding]:
    for c in circuits:
        if (c.unit, frozenset(c.channels)) not in {(label, names) for label, _, names in spots}:
            places = ", ".join(f"channel {channel} of {label}" for label, channel, _ in spots)
            message = f"{load} is on channel {c.channel} of {c.unit} and locked to {places}"
            yield Finding("locked", c.unit, c.channel, subject=load, message=message)


def _names(channel: str, module: Module) -> frozenset[str]:
    """The channel of that name, or else those that it joins with a plus sign."""
    is_one = any(each.name == channel for each in module.channels)
    return frozenset([channel] if is_one else [part.strip() for part in channel.split("+")])


def one_command(recount: Recount) -> Iterator[Finding]:
    """Every load of a circuit has the circuit's command."""
    for wired in recount.wired:
        for load, _ in wired.counts:
            if load.command != wired.circuit.command:
                message = f"{load.name} has command {load.command}, its channel {wired.circuit.command}"
                yield Finding("command", **wired.where, subject=load.name, message=message)


def alone_where_asked(recount: Recount) -> Iterator[Finding]:
    """An item of a load that does not share is alone."""
    for wired in recount.wired:
        for load, _ in wired.counts:
            if not load.share and wired.items > 1:
                message = f"{load.name} does not share and is on a channel with {wired.items - 1} other items"
                yield Finding("share", **wired.where, subject=load.name, value=wired.items, limit=1, message=message)


def together_where_joined(recount: Recount) -> Iterator[Finding]:
    """The loads of a command that was joined from two are on one channel."""
    for name in sorted(command.name for command in recount.vehicle.commands if command.together):
        on = [circuit for circuit in recount.circuits if circuit.command == name]
        if len(on) > 1:
            places = ", ".join(f"{circuit.channel} of {circuit.unit}" for circuit in on)
            message = f"{name} is joined on one channel and has {len(on)}: {places}"
            yield Finding("joined", subject=name, value=len(on), limit=1, message=message)


def separate_apart(recount: Recount) -> Iterator[Finding]:
    """Different loads with one label of the column separate are on different channels."""
    for wired in recount.wired:
        labels = [load.separate for load, _ in wired.counts if load.separate is not None]
        for label in sorted({label for label in labels if labels.count(label) > 1}):
            names = " and ".join(load.name for load, _ in wired.counts if load.separate == label)
            message = f"{names} are to be separate ({label}) and share a channel"
            yield Finding("separate", **wired.where, subject=label, value=labels.count(label), limit=1, message=message)


def pwm_where_needed(recount: Recount) -> Iterator[Finding]:
    """Loads that need pwm, or whose command does, are on channels that all have it."""
    for wired in recount.wired:
        if all("pwm" in channel.features for channel in wired.channels):
            continue
        for load, _ in wired.counts:
            if "pwm" in load.needs or _dims(recount.commands.get(load.command)):
                yield Finding("pwm", **wired.where, subject=load.name, message=f"{load.name} needs a channel with pwm")


def _dims(command: Command | None) -> bool:
    return command is not None and command.action == "pwm"


def reversing_on_bridges(recount: Recount) -> Iterator[Finding]:
    """Loads that reverse are on bridges, and no other load is."""
    for wired in recount.wired:
        bridge = wired.circuit.use == "bridge"
        for load, _ in wired.counts:
            if bridge != ("reversing" in load.needs):
                message = f"{load.name} {'does not reverse and is on' if bridge else 'reverses and needs'} a bridge"
                yield Finding("reversing", **wired.where, subject=load.name, message=message)


def supply_in_range(recount: Recount) -> Iterator[Finding]:
    """Every unit works at the voltage of every state."""
    for unit in recount.units.values():
        low, high = unit.module.supply_min_v, unit.module.supply_max_v
        for state in recount.vehicle.states:
            if low is not None and state.supply_v < low:
                yield _out_of_range(unit, state, "from", low)
            if high is not None and state.supply_v > high:
                yield _out_of_range(unit, state, "to", high)


def _out_of_range(unit: Unit, state: State, word: str, limit: float) -> Finding:
    message = f"{state.supply_v:g} V in {state.name}, the module works {word} {limit:g} V"
    return Finding("supply", unit.label, "", state.name, "", state.supply_v, limit, "V", message)


def ambient_rated(recount: Recount) -> Iterator[Finding]:
    """The ambient of every unit is within its derating table."""
    for unit in recount.units.values():
        if not recount.is_rated(unit):
            ambient, rows = recount.ambient_c(unit), [at for at, _ in unit.module.derating]
            limit = rows[0] if ambient < rows[0] else rows[-1]
            message = f"{ambient:g} deg C, the module's derating is known from {rows[0]:g} to {rows[-1]:g} deg C"
            yield Finding("derating", unit.label, "", "", unit.place or "", ambient, limit, "deg C", message)


def inputs_enough(recount: Recount) -> Iterator[Finding]:
    """The units together have an input for every switch and sender of the vehicle."""
    have = [unit.module.inputs for unit in recount.units.values() if unit.module.inputs is not None]
    if len(have) < len(recount.units):
        return
    inputs = [item for item in recount.vehicle.inputs if item.read_by not in ("keypad", "control_unit")]
    wired = sorted(item.name for item in inputs if item.kind != "bus")
    if len(wired) > sum(have):
        message = f"{len(wired)} switches and senders need an input, there are {sum(have)}"
        yield Finding("inputs", subject=" ".join(wired), value=len(wired), limit=sum(have), message=message)
