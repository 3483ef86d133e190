"""When a command is on: a number for every state, or one a state, put into the tables."""

from collections.abc import Iterator, Mapping

from pdm_alloc.tables.fault import Fault, InputError
from pdm_alloc.tables.nearest import hint
from pdm_alloc.tables.plain import Plain
from pdm_alloc.vehicle import Vehicle
from pdm_alloc.what_if.cell import cell_text

__all__ = ["Duty", "duty_words", "set_duty"]

Duty = float | str | Mapping[str, float | str] | None


def set_duty(tables: Plain, vehicle: Vehicle, command: str, duty: Duty) -> None:
    """Say when a command is on.

    Parameters
    ----------
    tables : dict of str to list of dict of str to str
        Edited in place.
    vehicle : Vehicle
        For its states.
    command : str
        Known or new.
    duty : number, str, mapping or None
        0 to 1 in every state; or by state, states left out being off; None: on in every state.

    Raises
    ------
    InputError
        A state is not known, or there is no table of states and the command is not to be on always.
    """
    cells = _cells(vehicle, duty)
    if not vehicle.states_given:
        _refuse_unless_on(command, cells)
        return
    rows = tables.setdefault("states", [])
    row = next((row for row in rows if row["command"] == command), None)
    if row is None:
        rows.append({"command": command, **cells})
    else:
        row.update(cells)


def _cells(vehicle: Vehicle, duty: Duty) -> dict[str, str]:
    states = [state.name for state in vehicle.states]
    if not isinstance(duty, Mapping):
        return dict.fromkeys(states, "1" if duty is None else cell_text(duty))
    faults = [
        Fault("states", None, None, name, "is not a state of this vehicle", hint(name, states))
        for name in duty
        if name not in states
    ]
    if faults:
        raise InputError(faults)
    return {state: cell_text(duty.get(state)) for state in states}


def _refuse_unless_on(command: str, cells: Mapping[str, str]) -> None:
    if any(text != "1" for text in cells.values()):
        message = "can only be on always, for this vehicle has no table states"
        raise InputError([Fault("states", None, "command", command, message, "leave duty out, or give the table")])


def duty_words(vehicle: Vehicle, command: str) -> str:
    """When a command is on, for a person: ``on in every state``, ``on in night (50 %) and rain``."""
    on = {state.name: state.duty_ppm[command] for state in vehicle.states if state.is_on(command)}
    if not on:
        return "on in no state"
    if len(on) == len(vehicle.states) and len(set(on.values())) == 1:
        share = _share(on.popitem()[1])
        return f"on in every state{share}"
    return "on in " + _listed(f"{name}{_share(ppm)}" for name, ppm in on.items())


def _share(ppm: int) -> str:
    return "" if ppm == 1_000_000 else f" ({ppm / 10_000:g} %)"


def _listed(words: Iterator[str]) -> str:
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last
