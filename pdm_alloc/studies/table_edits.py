"""Edits of a vehicle's tables of text: values and duties as cells, rows put in and taken out."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace

from pdm_alloc.domain.kinds import default_drop_pct
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.files.faults import Fault, InputError, hint
from pdm_alloc.files.grids import is_free
from pdm_alloc.files.numbers import clean
from pdm_alloc.files.plain import Plain, vehicle_plain
from pdm_alloc.files.tables.from_frames import cell_text
from pdm_alloc.files.tables.read_vehicle import read_plain

__all__ = [
    "Duty",
    "alter_load",
    "alter_settings",
    "cell_text",
    "drop_load",
    "forget_columns",
    "forget_commands",
    "put_load",
    "read_back",
    "row_named",
    "set_duty",
    "tables_of",
]


def tables_of(vehicle: Vehicle) -> Plain:
    """Tables of a vehicle to be edited.

    Parameters
    ----------
    vehicle : Vehicle
        Any.

    Returns
    -------
    dict of str to list of dict of str to str
        As `vehicle_plain`; every command has a row, so that one may lose its last load, and a voltage
        drop that is the usual one is left empty, so that it follows the importance.
    """
    tables = vehicle_plain(vehicle)
    tables.setdefault("commands", [{"command": command.name} for command in vehicle.commands])
    for load, row in zip(vehicle.loads, tables.get("loads", ()), strict=True):
        if load.max_drop_pct == default_drop_pct(load.importance):
            row["max_drop_pct"] = ""
    return tables


def row_named(tables: Plain, name: str) -> dict[str, str]:
    """The row of a load; InputError with the nearest name where there is none."""
    loads = {row["load"]: row for row in tables["loads"]}
    if clean(name) not in loads:
        raise _refused("load", name, "is not a load of this vehicle", hint(name, loads))
    return loads[clean(name)]


def put_load(tables: Plain, cells: Mapping[str, object]) -> None:
    """Put in a row for a load; columns as in the table ``loads``."""
    row = {column: cell_text(value) for column, value in cells.items()}
    _refuse_twin(tables, row["load"])
    tables["loads"].append(row)


def alter_load(tables: Plain, row: dict[str, str], cells: Mapping[str, object]) -> None:
    """Put values into the row of a load; under a new name it keeps its locks, concessions and colours."""
    old = row["load"]
    texts = {column: cell_text(value) for column, value in cells.items()}
    if clean(texts.get("load", old)).casefold() != old.casefold():
        _refuse_twin(tables, texts["load"])
    row.update(texts)
    for table, column in (("locked", "load"), ("concessions", "subject")):
        for other in tables.get(table, ()):
            if other[column] == old:
                other[column] = row["load"]
    for rule in tables.get("wire_colours", ()):
        if (rule["by"], rule["subject"]) == ("load", old):
            rule["subject"] = row["load"]


def drop_load(tables: Plain, row: dict[str, str]) -> None:
    """Take out the row of a load, with what is locked, conceded and coloured of it alone."""
    tables["loads"].remove(row)
    rules = tables.get("wire_colours", ())
    tables["wire_colours"] = [rule for rule in rules if (rule["by"], rule["subject"]) != ("load", row["load"])]
    tables["locked"] = [other for other in tables.get("locked", ()) if other["load"] != row["load"]]
    known = {"*", *(name["command"] for name in tables["commands"])}
    known.update(text for other in tables["loads"] for text in (other["load"], other.get("separate", "")))
    tables["concessions"] = [other for other in tables.get("concessions", ()) if other["subject"] in known]


def forget_commands(tables: Plain, keep: Iterable[str]) -> None:
    """Take out commands that switch nothing, but for those to be kept."""
    wanted = {*keep, *(row["command"] for row in tables["loads"])}
    for table in ("commands", "states"):
        tables[table] = [row for row in tables.get(table, ()) if row["command"] in wanted]
    rules = tables.get("wire_colours", ())
    tables["wire_colours"] = [rule for rule in rules if rule["by"] != "command" or rule["subject"] in wanted]


def forget_columns(tables: Plain, keep: Iterable[str]) -> None:
    """Take free columns (``x_...``) out of the loads that are empty in every row, but for those to be kept."""
    filled = {column for row in tables["loads"] for column, text in row.items() if text}
    wanted = {*keep, *filled}
    tables["loads"] = [{c: t for c, t in row.items() if c in wanted or not is_free(c)} for row in tables["loads"]]


def alter_settings(tables: Plain, values: Mapping[str, object]) -> None:
    """Give settings other values; None gives back the default."""
    rows = {row["setting"]: row["value"] for row in tables.get("settings", ())}
    rows.update({name: cell_text(value) for name, value in values.items()})
    tables["settings"] = [{"setting": name, "value": value} for name, value in rows.items() if value]


def read_back(tables: Plain, like: Vehicle) -> Vehicle:
    """The vehicle in edited tables.

    Parameters
    ----------
    tables : dict of str to list of dict of str to str
        All of them.
    like : Vehicle
        What they were before: its name stays, and it has fingerprints again only if it had any.

    Returns
    -------
    Vehicle

    Raises
    ------
    InputError
        With every fault. No file stands behind these tables, so faults name things and not rows.
    """
    try:
        vehicle = read_plain(tables, like.name)
    except InputError as error:
        raise InputError(_rowless(fault, tables) for fault in error.faults) from None
    return vehicle if like.table_hashes else replace(vehicle, table_hashes=())


def _rowless(fault: Fault, tables: Plain) -> Fault:
    def named(match: re.Match[str]) -> str:
        return f"the row of '{next(iter(tables[fault.table][int(match[1]) - 2].values()))}'"

    return replace(fault, row=None, message=re.sub(r"\brow (\d+)", named, fault.message))


def _refuse_twin(tables: Plain, name: str) -> None:
    twin = next((row["load"] for row in tables["loads"] if row["load"].casefold() == clean(name).casefold()), None)
    if twin is not None:
        spelled = "" if twin == clean(name) else f" (as '{twin}')"
        raise _refused("load", name, f"is already a load of this vehicle{spelled}", "give it another name")


def _refused(column: str, value: str, message: str, remedy: str) -> InputError:
    return InputError([Fault("loads", None, column, value, message, remedy)])


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
