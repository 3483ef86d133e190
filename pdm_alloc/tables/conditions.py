"""Conditions of commands checked against the inputs there are."""

from pdm_alloc.tables.condition import ConditionError, parse_condition
from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.lines import Line
from pdm_alloc.tables.vehicle_lines import VehicleLines

__all__ = ["check_conditions"]


def check_conditions(tables: VehicleLines, faults: Faults) -> None:
    """Note conditions that cannot be read, or that name inputs missing from the table inputs.

    Parameters
    ----------
    tables : VehicleLines
        All rows; without a table inputs the grammar alone is checked.
    faults : Faults
        Where faults are noted.
    """
    inputs = tables.known("inputs", "input")
    inputs_set = frozenset(inputs or ())
    for line in tables.rows["commands"]:
        if line.values.condition:
            _check(line, inputs, inputs_set, faults)


def _check(line: Line, inputs: list[str] | None, inputs_set: frozenset[str], faults: Faults) -> None:
    condition = line.values.condition
    try:
        names = parse_condition(condition, inputs_set).names
    except ConditionError as error:
        # Where inputs are at fault, one of them may be the name of several words.
        if inputs is not None or not error.two_names:
            remedy = "join names of inputs by and, or, not and brackets"
            faults.add("commands", line.number, "condition", condition, f"cannot be read ({error})", remedy)
        return
    for name in sorted(set(names) - inputs_set) if inputs else ():
        message = f"names '{name}', which is not an input of the table inputs"
        faults.unknown_in("commands", line.number, "condition", condition, name, inputs, message)
