"""What was read, in a few lines: enough to see that the tables say what was meant."""

from pdm_alloc.module import Catalogue
from pdm_alloc.vehicle import PPM, State, Vehicle

__all__ = ["vehicle_summary"]


def vehicle_summary(vehicle: Vehicle, catalogue: Catalogue | None = None) -> str:
    """A vehicle in a few lines.

    Parameters
    ----------
    vehicle : Vehicle
        As read.
    catalogue : Catalogue, optional
        As read.

    Returns
    -------
    str
        Several lines, without a line break at the end.
    """
    lines = [f"{vehicle.name}: no fault found.", _loads(vehicle), _assumed(vehicle), *_states(vehicle), _more(vehicle)]
    lines += [f"catalogue {catalogue.name}: {', '.join(module.name for module in catalogue)}"] if catalogue else []
    return "\n".join(line for line in lines if line)


def _loads(vehicle):
    items = sum(load.count for load in vehicle.loads)
    commands = len({load.command for load in vehicle.loads})
    total = sum(load.running_ma * load.count for load in vehicle.loads) / 1000
    return (
        f"{_number(len(vehicle.loads), 'load')} ({_number(items, 'item')}) on {_number(commands, 'command')}, "
        f"{total:.1f} A if all were on at {vehicle.settings.reference_v:g} V"
    )


def _number(count, word):
    return f"{count:,} {word}{'' if count == 1 else 's'}"


def _assumed(vehicle):
    assumed = sum(load.inrush_assumed for load in vehicle.loads)
    return f"inrush taken from the kind for {assumed} of {_number(len(vehicle.loads), 'load')}" if assumed else ""


def _states(vehicle):
    if not vehicle.states_given:
        return ["no table states: everything on at once"]
    return [_state(vehicle, state) for state in vehicle.states]


def _state(vehicle: Vehicle, state: State) -> str:
    on = sum(duty > 0 for duty in state.duty_ppm.values())
    mean = sum(load.running_ma * load.count * state.duty_ppm[load.command] for load in vehicle.loads) / PPM / 1000
    return (
        f"state {state.name}: {state.supply_v:g} V, {_number(on, 'command')} on, "
        f"{mean:.1f} A in the mean (at {vehicle.settings.reference_v:g} V)"
    )


def _more(vehicle):
    counts = {"input": vehicle.inputs, "place": vehicle.places, "route": vehicle.routes, "locked wire": vehicle.locked}
    known = [_number(len(things), word) for word, things in counts.items() if things]
    return ", ".join(known)
