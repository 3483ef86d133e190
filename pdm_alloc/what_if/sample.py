"""The load that room is asked for: a typical one of a kind, one more like another, or one described by its columns."""

from collections.abc import Mapping

from pdm_alloc.kinds import KINDS
from pdm_alloc.tables.fault import Fault, InputError
from pdm_alloc.tables.nearest import hint
from pdm_alloc.vehicle import Vehicle
from pdm_alloc.what_if import edit
from pdm_alloc.what_if.change import what_if
from pdm_alloc.what_if.duty import Duty
from pdm_alloc.what_if.typical import typical

__all__ = ["NEW", "Sample", "sampled"]

Sample = str | Mapping[str, object]
NEW = "something new"


def sampled(vehicle: Vehicle, sample: Sample, command: str | None, duty: Duty) -> tuple[str, Vehicle, str]:
    """The vehicle with one item of the sample.

    Parameters
    ----------
    vehicle : Vehicle
        Without it.
    sample : str or mapping
        A kind, the name of a load, or columns of the table ``loads``.
    command : str or None
        What switches it; None: a new command.
    duty : number, str, mapping or None
        When a new command is on.

    Returns
    -------
    word : str
        What it is.
    vehicle : Vehicle
        With one item of it.
    load : str
        Name of its load.

    Raises
    ------
    InputError
        The sample is at fault.
    """
    word, columns = _described(vehicle, sample)
    name = _free(f"one more {word}", [load.name for load in vehicle.loads])
    commands = [known.name for known in vehicle.commands]
    row = {**columns, "load": name, "command": command or _free(NEW, commands), "count": 1}
    return word, what_if(vehicle).add(duty=duty, **row).vehicle, name  # type: ignore[arg-type]


def _described(vehicle: Vehicle, sample: Sample) -> tuple[str, Mapping[str, object]]:
    if not isinstance(sample, str):
        return str(sample.get("load") or sample.get("kind") or "load"), sample
    if sample in KINDS:
        return sample, typical(vehicle, sample)
    loads = [load.name for load in vehicle.loads]
    if sample not in loads:
        remedy = hint(sample, [*KINDS, *loads])
        raise InputError([Fault("loads", None, None, sample, "is neither a kind of load nor a load", remedy)])
    return sample, {**edit.row_named(edit.tables_of(vehicle), sample), "separate": ""}


def _free(name: str, taken: list[str]) -> str:
    folded = {other.casefold() for other in taken}
    return next(n for n in (name, *(f"{name} {k}" for k in range(2, len(taken) + 3))) if n.casefold() not in folded)
