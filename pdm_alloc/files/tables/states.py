"""Operating states: a matrix of duties, commands down and states across, and the supply in each."""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from pdm_alloc.domain.condition import Condition, Undecided, inputs_turning_on
from pdm_alloc.domain.vehicle import PPM, State
from pdm_alloc.files.cells import CellError, Name, Odd, clean, has_controls, plain_header, read_number
from pdm_alloc.files.faults import Faults
from pdm_alloc.files.grids import Grid, is_free
from pdm_alloc.files.rows import Line

__all__ = [
    "ALL_ON",
    "Matrix",
    "build_states",
    "check_possible",
    "check_supply",
    "contradicts_itself",
    "duty_ppm",
    "note_idle",
    "read_matrix",
]

ALL_ON = "all on"
_TABLE = "states"
_LONGEST_SHOWN = 60
_MOST_NAMED = 6


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


def _state_names(grid: Grid, faults: Faults) -> dict[int, str]:
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


def _name(text: str, row: int | None, column: str | None, faults: Faults) -> str | None:
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


def _read_row(matrix: Matrix, names: dict[int, str], number: int, cells: list[str], faults: Faults) -> None:
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


@lru_cache(maxsize=1024, typed=True)
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
    inputs = _settings(tuple(conditions.items()))
    for state in matrix.duties:
        try:
            _check_state(matrix, state, inputs, faults)
        except Undecided:
            continue


def note_idle(
    matrix: Matrix, conditions: Mapping[str, Condition], loads: Mapping[str, Sequence[str]], faults: Faults
) -> None:
    """Say of loads that are off in every state that no sum counts them, and in which states their commands could be on.

    Parameters
    ----------
    matrix : Matrix
        As for `check_possible`.
    conditions : mapping of str to Condition
        Of each command that has one.
    loads : mapping of str to sequence of str
        Loads by command.
    faults : Faults
        Where it is noted, once for all of them.
    """
    idle = [c for c in matrix.rows if c in loads and not any(duties.get(c, 0) for duties in matrix.duties.values())]
    if not matrix.duties or not idle:
        return
    names = [load for command in idle for load in loads[command]]
    others = f"and {len(idle) - 1} more {'command' if len(idle) == 2 else 'commands'} are" if idle[1:] else "is"
    count = "1 load counts" if len(names) == 1 else f"{len(names)} loads count"
    message = f"{others} off in every state: {count} in no bank, module or battery sum ({_few(names)})"
    could = _could_be_on(matrix, conditions, idle[0])
    states = f"; '{idle[0]}' could be on in {could}" if could else ""
    which = "them a duty in each state they" if idle[1:] else "it a duty in each state it"
    faults.note(_TABLE, matrix.rows[idle[0]], None, idle[0], message, f"give {which} may be on in{states}")


def _could_be_on(matrix: Matrix, conditions: Mapping[str, Condition], command: str) -> str:
    """States in which a setting of the inputs turns a command on, and on no other that is off there; as text."""
    inputs = _settings(tuple(conditions.items()))
    off = {s: frozenset(c for c in conditions if c != command and not d.get(c, 0)) for s, d in matrix.duties.items()}
    try:
        return _few([s for s in off if command not in conditions or inputs.hindrance(command, off[s]) is None])
    except Undecided:
        return ""


def _few(names: Sequence[str]) -> str:
    return ", ".join([*names[:_MOST_NAMED], *(["..."] if len(names) > _MOST_NAMED else [])])


@lru_cache(maxsize=256)
def contradicts_itself(condition: Condition) -> bool:
    """Whether no setting of the inputs makes a condition true; False too where the search would take too long."""
    try:
        return inputs_turning_on([(condition.expression, True)]) is None
    except Undecided:
        return False


def _check_state(matrix: Matrix, state: str, inputs: "_Settings", faults: Faults) -> None:
    duties = matrix.duties[state]
    kept_off = frozenset(command for command in inputs.conditions if not duties.get(command, 0))
    held_on = inputs.hindrance(None, kept_off)
    if held_on is not None:
        row = matrix.rows.get(held_on[0])
        message, remedy = _held_on(held_on)
        faults.add(_TABLE, row, state, None if row is None else "0", message, remedy)
        return
    seen_on = inputs.on_at_once(kept_off)
    for command in sorted(inputs.conditions.keys() - kept_off - seen_on, key=matrix.rows.__getitem__):
        hindrance = inputs.hindrance(command, kept_off)
        if hindrance is not None:
            message, remedy = _never_on(command, inputs.conditions[command].text, hindrance)
            faults.add(_TABLE, matrix.rows[command], state, f"{duties[command] / PPM:g}", message, remedy)


@lru_cache(maxsize=8)
def _settings(conditions: tuple[tuple[str, Condition], ...]) -> "_Settings":
    """Kept from one reading to the next: whoever edits loads changes no condition."""
    return _Settings(dict(conditions))


class _Settings:
    """Settings of the inputs that put commands on and others off, each looked for once in all states."""

    def __init__(self, conditions: Mapping[str, Condition]):
        self.conditions = conditions
        self._known: dict[tuple[str | None, frozenset[str]], frozenset[str] | None] = {}
        self._values: dict[tuple[str, frozenset[str]], bool] = {}

    def on_at_once(self, kept_off: frozenset[str]) -> frozenset[str]:
        """Commands on while every input is, where that keeps the others off: most commands of most states."""
        inputs = frozenset(name for each in self.conditions.values() for name in each.names)
        on = frozenset(self._on_of(self.conditions, inputs))
        return frozenset() if on & kept_off else on

    def hindrance(self, wanted: str | None, kept_off: frozenset[str]) -> list[str] | None:
        """Commands, none too many, that cannot all be off while the wanted one is on; None where all can be.

        Only those a setting turns on against the state are added to what must be off: few are ever needed.
        """
        off: frozenset[str] = frozenset()
        while (on := self._setting(wanted, off)) is not None:
            against = frozenset(self._on_of(kept_off, on))
            if not against:
                return None
            off |= against
        for command in sorted(off):
            if self._setting(wanted, off - {command}) is None:
                off -= {command}
        return sorted(off)

    def _setting(self, wanted: str | None, off: frozenset[str]) -> frozenset[str] | None:
        if (wanted, off) not in self._known:
            required = [] if wanted is None else [(self.conditions[wanted].expression, True)]
            required += [(self.conditions[command].expression, False) for command in sorted(off)]
            self._known[wanted, off] = inputs_turning_on(required)
        return self._known[wanted, off]

    def _on_of(self, commands: Iterable[str], inputs: frozenset[str]) -> Iterator[str]:
        """Those of some commands that a setting turns on; of its inputs only those count that a condition names."""
        for command in commands:
            condition = self.conditions[command]
            key = (command, inputs.intersection(condition.names))
            if key not in self._values:
                self._values[key] = condition.evaluate(inputs)
            if self._values[key]:
                yield command


def _held_on(commands: Sequence[str]) -> tuple[str, str]:
    names = " and ".join(f"'{name}'" for name in commands)
    which, them = ("is on", "it") if len(commands) == 1 else ("one of them is on", "one of them")
    message = f"cannot be: this state keeps {names} off, but {which} whatever the inputs are"
    return message, f"give {them} a duty in this state, or correct the condition in the table commands"


def _never_on(command: str, text: str, hindrance: Sequence[str]) -> tuple[str, str]:
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


def _state(name: str, row: Any, duty: dict[str, int]) -> State:
    """A top that is the sustained voltage says nothing, so that it reads back the same."""
    top = None if row.supply_top_v == row.supply_v else row.supply_top_v
    return State(name, row.supply_v, duty, row.charging_a, row.minutes, top, row.other_a)
