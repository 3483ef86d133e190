"""Rules on what may be on one channel: one command, share, separate, pwm and reversing."""

from pdm_alloc.allocation.verify.finding import Finding

__all__ = [
    "alone_where_asked",
    "one_command",
    "pwm_where_needed",
    "reversing_on_bridges",
    "separate_apart",
    "together_where_joined",
]


def one_command(recount):
    """Every load of a circuit has the circuit's command."""
    for wired in recount.wired:
        for load, _ in wired.counts:
            if load.command != wired.circuit.command:
                message = f"{load.name} has command {load.command}, its channel {wired.circuit.command}"
                yield Finding("command", **wired.where, subject=load.name, message=message)


def alone_where_asked(recount):
    """An item of a load that does not share is alone."""
    for wired in recount.wired:
        for load, _ in wired.counts:
            if not load.share and wired.items > 1:
                message = f"{load.name} does not share and is on a channel with {wired.items - 1} other items"
                yield Finding("share", **wired.where, subject=load.name, value=wired.items, limit=1, message=message)


def together_where_joined(recount):
    """The loads of a command that was joined from two are on one channel."""
    for name in sorted(command.name for command in recount.vehicle.commands if command.together):
        on = [circuit for circuit in recount.circuits if circuit.command == name]
        if len(on) > 1:
            places = ", ".join(f"{circuit.channel} of {circuit.unit}" for circuit in on)
            message = f"{name} is joined on one channel and has {len(on)}: {places}"
            yield Finding("joined", subject=name, value=len(on), limit=1, message=message)


def separate_apart(recount):
    """Different loads with one label of the column separate are on different channels."""
    for wired in recount.wired:
        labels = [load.separate for load, _ in wired.counts if load.separate is not None]
        for label in sorted({label for label in labels if labels.count(label) > 1}):
            names = " and ".join(load.name for load, _ in wired.counts if load.separate == label)
            message = f"{names} are to be separate ({label}) and share a channel"
            yield Finding("separate", **wired.where, subject=label, value=labels.count(label), limit=1, message=message)


def pwm_where_needed(recount):
    """Loads that need pwm, or whose command does, are on channels that all have it."""
    for wired in recount.wired:
        if all("pwm" in channel.features for channel in wired.channels):
            continue
        for load, _ in wired.counts:
            if "pwm" in load.needs or _dims(recount.commands.get(load.command)):
                yield Finding("pwm", **wired.where, subject=load.name, message=f"{load.name} needs a channel with pwm")


def _dims(command):
    return command is not None and command.action == "pwm"


def reversing_on_bridges(recount):
    """Loads that reverse are on bridges, and no other load is."""
    for wired in recount.wired:
        bridge = wired.circuit.use == "bridge"
        for load, _ in wired.counts:
            if bridge != ("reversing" in load.needs):
                message = f"{load.name} {'does not reverse and is on' if bridge else 'reverses and needs'} a bridge"
                yield Finding("reversing", **wired.where, subject=load.name, message=message)
