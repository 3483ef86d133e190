"""Conditions of commands checked against the inputs there are."""

from pdm_alloc.tables.condition import condition_names
from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.lines import Line
from pdm_alloc.tables.vehicle_lines import VehicleLines

__all__ = ["check_conditions"]


def check_conditions(tables: VehicleLines, faults: Faults) -> None:
    """Note conditions that cannot be read, or that name inputs there are not; without a table inputs, nothing.

    Parameters
    ----------
    tables : VehicleLines
        All rows.
    faults : Faults
        Where faults are noted.
    """
    inputs = tables.known("inputs", "input") or []
    for line in tables.rows["commands"] if inputs else ():
        if line.values.condition:
            _check(line, inputs, faults)


def _check(line: Line, inputs: list[str], faults: Faults) -> None:
    condition = line.values.condition
    try:
        names = condition_names(condition)
    except ValueError as error:
        remedy = "join names of inputs by and, or, not and brackets"
        faults.add("commands", line.number, "condition", condition, f"cannot be read ({error})", remedy)
        return
    for name in sorted(names - set(inputs)):
        message = f"names '{name}', which is not an input of the table inputs"
        faults.unknown_in("commands", line.number, "condition", condition, name, inputs, message)
