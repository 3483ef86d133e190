"""Operating states: a matrix of duties, commands down and states across, and the supply in each."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from pdm_alloc.domain.condition import Condition
from pdm_alloc.domain.expression import Undecided, inputs_turning_on
from pdm_alloc.domain.vehicle import PPM, State
from pdm_alloc.files.cells import Name, Odd
from pdm_alloc.files.faults import Faults
from pdm_alloc.files.grids import Grid, is_free
from pdm_alloc.files.numbers import CellError, clean, has_controls, plain_header, read_number
from pdm_alloc.files.rows import Line

__all__ = ["ALL_ON", "Matrix", "build_states", "check_possible", "check_supply", "duty_ppm", "read_matrix"]

ALL_ON = "all on"
_TABLE = "states"
_LONGEST_SHOWN = 60


@dataclass
class Matrix:
    """Duties as read: states by name with the duty of each command, and the row each command stands in."""

    duties: dict[str, dict[str, int]] = field(default_factory=dict)
    rows: dict[str, int] = field(default_factory=dict)
    spelled: dict[str, str] = field(default_factory=dict)
    given: bool = False
    sure: bool = True


def read_matrix(grid: Grid | None, faults: Faults) -> Matrix:
    """The table ``states``.

    Parameters
    ----------
    grid : Grid or None
        None: no such table.
    faults : Faults
        Where faults are noted.

    Returns
    -------
    Matrix
        Empty where there is no table.
    """
    matrix = Matrix()
    if grid is None:
        return matrix
    before, matrix.given = len(faults), True
    _read_grid(matrix, grid, faults)
    matrix.sure = len(faults) == before
    return matrix


def _read_grid(matrix: Matrix, grid: Grid, faults: Faults) -> None:
    if not grid.rows:
        faults.add(_TABLE, None, None, None, "has no rows", "add a row for each command, or delete the table")
        return
    if plain_header(grid.header[0]) != "command":
        faults.add(
            _TABLE,
            grid.header_row,
            None,
            clean(grid.header[0]),
            "is not the first column of this table",
            "the first column is command, every other column a state",
        )
        return
    names = _state_names(grid, faults)
    matrix.duties = {name: {} for name in names.values()}
    for number, cells in grid.rows:
        _read_row(matrix, names, number, cells, faults)


def _state_names(grid, faults) -> dict[int, str]:
    names: dict[int, str] = {}
    for position, header in enumerate(grid.header[1:], 1):
        name = _name(header, grid.header_row, None, faults)
        if name is None or is_free(header):
            continue
        if plain_header(name) == "command":
            faults.add(
                _TABLE, grid.header_row, None, name, "is the first column already", "give the state another name"
            )
        elif name.casefold() in {other.casefold() for other in names.values()}:
            faults.add(_TABLE, grid.header_row, None, name, "appears twice", "give the state another name")
        else:
            names[position] = name
    if not names:
        faults.add(_TABLE, grid.header_row, None, None, "has no state", "add a column for each operating state")
    return names


def _name(text, row, column, faults):
    try:
        if isinstance(text, Odd):
            raise CellError(text.message, text.remedy)
        if not clean(text):
            raise CellError("is empty", "give the name of a command")
        if has_controls(text):
            raise CellError("has a control character in it", "retype the cell")
        return Name().read(text)
    except CellError as error:
        faults.add(_TABLE, row, column, clean(text), error.message, error.remedy)
        return None


def _read_row(matrix, names, number, cells, faults):
    command = _name(cells[0], number, "command", faults)
    if command is None:
        return
    first = matrix.spelled.setdefault(command.casefold(), command)
    if first in matrix.rows:
        faults.add(_TABLE, number, "command", command, f"is already in row {matrix.rows[first]}", "one row a command")
        return
    matrix.rows[command] = number
    for position, state in names.items():
        try:
            matrix.duties[state][command] = duty_ppm(cells[position])
        except CellError as error:
            faults.add(_TABLE, number, state, cells[position], error.message, error.remedy)


def duty_ppm(text: str) -> int:
    """A duty in parts per million, rounded up.

    Parameters
    ----------
    text : str
        0 to 1, or per cent with the sign; empty is 0.

    Returns
    -------
    int
        0 to 1,000,000.

    Raises
    ------
    CellError
        Anything else.
    """
    if isinstance(text, Odd):
        raise CellError(text.message, text.remedy)
    cell = clean(text)
    if not cell:
        return 0
    if cell.casefold() in ("x", "on", "yes", "true"):
        raise CellError("is not a duty", "write 1 for always on, 0.5 for half of the time, nothing for off")
    percent = cell.endswith("%")
    value = read_number(cell, "%" if percent else "", "0.5") / (100 if percent else 1)
    if value < 0:
        raise CellError("is negative", "give a duty from 0 to 1")
    if value > 1:
        raise CellError("is larger than 1", "give a duty from 0 to 1, or per cent with the sign, as 50 %")
    return math.ceil(value * PPM)


def check_supply(matrix: Matrix, supply: list[Line], faults: Faults) -> None:
    """Note states without supply and supply without state."""
    if supply and not matrix.given:
        faults.add("supply", None, None, None, "names states, but there is no table states", "add the table states")
        return
    if not matrix.sure:
        return
    given = {line.values.state for line in supply}
    for line in supply:
        if line.values.state is not None and line.values.state not in matrix.duties:
            faults.unknown("supply", line.number, "state", line.values.state, matrix.duties, "is not in table states")
    for state in matrix.duties if None not in given else ():
        if supply and state not in given:
            faults.add("supply", None, "state", state, "is missing", "add a row for this state")


def check_possible(matrix: Matrix, conditions: Mapping[str, Condition], faults: Faults) -> None:
    """Note commands that can never be on in a state that has them on, and states no setting of the inputs brings about.

    Parameters
    ----------
    matrix : Matrix
        Of which every command has a row.
    conditions : mapping of str to Condition
        Of each command that has one.
    faults : Faults
        Where faults are noted.
    """
    known: dict[tuple, frozenset[str] | None] = {}
    for state, duties in matrix.duties.items():
        kept_off = {name: condition for name, condition in conditions.items() if not duties.get(name, 0)}
        try:
            _check_state(matrix, state, kept_off, conditions, known, faults)
        except Undecided:
            continue


def _check_state(matrix, state, kept_off, conditions, known, faults) -> None:
    held_on = _hindrance(None, kept_off, known)
    if held_on is not None:
        first = next(iter(held_on))
        message, remedy = _held_on(held_on)
        duty = "0" if first in matrix.rows else None
        faults.add(_TABLE, matrix.rows.get(first), state, duty, message, remedy)
        return
    for command, condition in conditions.items():
        duty = matrix.duties[state].get(command, 0)
        hindrance = _hindrance(condition, kept_off, known) if duty else None
        if hindrance is not None:
            message, remedy = _never_on(command, condition.text, hindrance)
            faults.add(_TABLE, matrix.rows[command], state, f"{duty / PPM:g}", message, remedy)


def _hindrance(wanted, kept_off, known) -> list[str] | None:
    """Fewest commands that cannot all be off while the wanted one is on; None where all can be.

    Only those a setting turns on against the state are added to what must be off: few are ever needed.
    """
    off: dict[str, Condition] = {}
    while (on := _setting(wanted, off, known)) is not None:
        against = {name: condition for name, condition in kept_off.items() if condition.evaluate(on)}
        if not against:
            return None
        off |= against
    for name in list(off):
        without = {other: condition for other, condition in off.items() if other != name}
        if _setting(wanted, without, known) is None:
            off = without
    return list(off)


def _setting(wanted, off, known) -> frozenset[str] | None:
    key = (wanted and wanted.text, frozenset(off))
    if key not in known:
        required = [(wanted.expression, True)] if wanted else []
        known[key] = inputs_turning_on([*required, *((each.expression, False) for each in off.values())])
    return known[key]


def _held_on(commands) -> tuple[str, str]:
    names = " and ".join(f"'{name}'" for name in commands)
    which, them = ("is on", "it") if len(commands) == 1 else ("one of them is on", "one of them")
    message = f"cannot be: this state keeps {names} off, but {which} whatever the inputs are"
    return message, f"give {them} a duty in this state, or correct the condition in the table commands"


def _never_on(command, text, hindrance) -> tuple[str, str]:
    correct = f"leave this cell empty, or correct the condition of '{command}' in the table commands"
    if not hindrance:
        text = text if len(text) <= _LONGEST_SHOWN else f"{text[:_LONGEST_SHOWN]}..."
        return f"can never be, as the condition '{text}' contradicts itself", correct
    names = " or ".join(f"'{name}'" for name in hindrance)
    message = f"can never be: whatever turns '{command}' on also turns on {names}, which this state keeps off"
    return message, f"give {names} a duty in this state, or {correct}"


def build_states(matrix: Matrix, supply: list[Line], commands: Iterable[str], reference_v: float) -> tuple[State, ...]:
    """States of a vehicle; one with everything on where there is no table.

    Parameters
    ----------
    matrix : Matrix
        Without faults.
    supply : list of Line
        Of the table supply; may be empty.
    commands : iterable of str
        All of the vehicle's.
    reference_v : float
        Supply where the tables say nothing, V.

    Returns
    -------
    tuple of State
        In the order of the table's columns.
    """
    commands = tuple(commands)
    if not matrix.duties:
        return (State(ALL_ON, reference_v, dict.fromkeys(commands, PPM)),)
    rows = {line.values.state: line.values for line in supply}
    states = []
    for name, duties in matrix.duties.items():
        row = rows.get(name)
        duty = {command: duties.get(command, 0) for command in commands}
        states.append(_state(name, row, duty) if row else State(name, reference_v, duty))
    return tuple(states)


def _state(name: str, row, duty: dict[str, int]) -> State:
    """A top that is the sustained voltage says nothing, so that it reads back the same."""
    top = None if row.supply_top_v == row.supply_v else row.supply_top_v
    return State(name, row.supply_v, duty, row.charging_a, row.minutes, top, row.other_a)
