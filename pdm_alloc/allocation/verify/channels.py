"""Rules on channels: they exist, are used once, go in twos only where their labels say so, some stay free."""

from collections import Counter

from pdm_alloc.allocation.verify.finding import Finding

__all__ = ["channels_exist", "channels_used_once", "spares_kept", "twos_allowed"]


def channels_exist(recount):
    """The unit and channels of every circuit exist."""
    for circuit in recount.circuits:
        if not recount.is_known(circuit):
            message = f"there is no channel {circuit.channel} of {circuit.unit}"
            yield Finding("channel", circuit.unit, circuit.channel, message=message)


def channels_used_once(recount):
    """No channel has two circuits."""
    used = Counter((circuit.unit, name) for circuit in recount.circuits for name in circuit.channels)
    for (unit, name), value in used.items():
        if value > 1:
            message = f"channel {name} of {unit} is used by {value} circuits"
            yield Finding("used twice", unit, name, value=value, limit=1, message=message)


def twos_allowed(recount):
    """One channel alone, or two with one label of the kind the circuit uses them as."""
    for wired in recount.wired:
        if not _goes_together(wired.circuit.use, wired.channels):
            message = f"channels {wired.circuit.channel} of {wired.unit.label} cannot be used as a {wired.circuit.use}"
            yield Finding("together", **wired.where, subject=wired.circuit.use, message=message)


def _goes_together(use, channels):
    if use == "single":
        return len(channels) == 1
    if use not in ("pair", "bridge") or len(channels) != 2 or channels[0] == channels[1]:
        return False
    first, second = (getattr(channel, use) for channel in channels)
    return bool(first) and first == second


def spares_kept(recount):
    """As many channels stay free as are wanted."""
    wanted = recount.vehicle.settings.spare_channels
    free = len(recount.channels.keys() - {(c.unit, name) for c in recount.circuits for name in c.channels})
    if free < wanted:
        yield Finding("spare", value=free, limit=wanted, message=f"{free} channels stay free and {wanted} are wanted")
