"""The input list: every switch, sender and bus message, and the commands that ask for it."""

import pandas as pd

from pdm_alloc.tables.condition import condition_names
from pdm_alloc.vehicle import Vehicle

__all__ = ["INPUTS", "input_list"]

INPUTS = ("input", "kind", "place", "module_input", "used_by", "note")


def input_list(vehicle: Vehicle) -> pd.DataFrame:
    """Every input of a vehicle.

    Parameters
    ----------
    vehicle : Vehicle
        Its table ``inputs``, and names only its conditions have, which count as switches.

    Returns
    -------
    DataFrame
        Columns `INPUTS`; ``module_input`` says whether it takes an input of a module.
    """
    commands = {command.name: condition_names(command.condition) for command in vehicle.commands}
    listed = [(item.name, item.kind, item.place or "", item.note) for item in vehicle.inputs]
    known = {name for name, *_ in listed}
    others = sorted({name for names in commands.values() for name in names} - known)
    rows = [
        (name, kind, place, kind != "bus", "; ".join(c for c, names in commands.items() if name in names), note)
        for name, kind, place, note in [*listed, *((name, "switch", "", "") for name in others)]
    ]
    return pd.DataFrame(rows, columns=list(INPUTS))
