"""Rules on who is where: channels, items, what may share a channel, units that suit the vehicle."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence

from pdm_alloc.domain.module import Channel, Module, Unit
from pdm_alloc.domain.vehicle import Command, State
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.verify.recount import Finding, Recount

__all__ = [
    "alone_where_asked",
    "ambient_rated",
    "channels_exist",
    "channels_used_once",
    "each_item_once",
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
