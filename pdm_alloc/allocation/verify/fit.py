"""Rules on whether the units suit the vehicle at all: supply voltage, ambient temperature, inputs."""

from pdm_alloc.allocation.verify.finding import Finding

__all__ = ["ambient_rated", "inputs_enough", "supply_in_range"]


def supply_in_range(recount):
    """Every unit works at the voltage of every state."""
    for unit in recount.units.values():
        low, high = unit.module.supply_min_v, unit.module.supply_max_v
        for state in recount.vehicle.states:
            if low is not None and state.supply_v < low:
                yield _out_of_range(unit, state, "from", low)
            if high is not None and state.supply_v > high:
                yield _out_of_range(unit, state, "to", high)


def _out_of_range(unit, state, word, limit):
    message = f"{state.supply_v:g} V in {state.name}, the module works {word} {limit:g} V"
    return Finding("supply", unit.label, "", state.name, "", state.supply_v, limit, "V", message)


def ambient_rated(recount):
    """The ambient of every unit is within its derating table."""
    for unit in recount.units.values():
        if not recount.is_rated(unit):
            ambient, rows = recount.ambient_c(unit), [at for at, _ in unit.module.derating]
            limit = rows[0] if ambient < rows[0] else rows[-1]
            message = f"{ambient:g} deg C, the module's derating is known from {rows[0]:g} to {rows[-1]:g} deg C"
            yield Finding("derating", unit.label, "", "", unit.place or "", ambient, limit, "deg C", message)


def inputs_enough(recount):
    """The units together have an input for every switch and sender of the vehicle."""
    have = [unit.module.inputs for unit in recount.units.values()]
    if None in have:
        return
    wired = sorted(item.name for item in recount.vehicle.inputs if item.kind != "bus")
    if len(wired) > sum(have):
        message = f"{len(wired)} switches and senders need an input, there are {sum(have)}"
        yield Finding("inputs", subject=" ".join(wired), value=len(wired), limit=sum(have), message=message)
