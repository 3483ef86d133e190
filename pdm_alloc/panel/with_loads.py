"""A vehicle with the loads that stand in the panel's table, checked by the same rules as a file."""

from collections.abc import Iterable, Mapping

from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.grid import Grid
from pdm_alloc.tables.plain import Plain, headers, vehicle_plain
from pdm_alloc.tables.read_vehicle import vehicle_of
from pdm_alloc.tables.source import Source
from pdm_alloc.vehicle import Vehicle

__all__ = ["new_commands", "with_loads"]

Rows = Iterable[tuple[int, Mapping[str, str]]]


def with_loads(vehicle: Vehicle, rows: Rows) -> Vehicle:
    """The vehicle with other loads.

    Parameters
    ----------
    vehicle : Vehicle
        Everything else comes from it.
    rows : iterable of (int, mapping)
        Number of the row and its texts, column to text.

    Returns
    -------
    Vehicle
        A command that only a new load names is on all the time in every state, the careful guess. What was
        locked or conceded for a load that is gone is gone as well.

    Raises
    ------
    InputError
        With every fault, by the row numbers given.
    """
    numbered = [(number, dict(texts)) for number, texts in rows]
    tables = _fitting(vehicle, [texts for _, texts in numbered])
    grids = {table: _grid(table, list(enumerate(lines, 2))) for table, lines in tables.items() if table != "loads"}
    grids["loads"] = _grid("loads", numbered)
    return vehicle_of(Source(vehicle.name, grids), Faults())


def new_commands(vehicle: Vehicle, changed: Vehicle) -> tuple[str, ...]:
    """Commands of a changed vehicle that the first does not know, so that their states are a guess."""
    known = {command.name for command in vehicle.commands}
    return tuple(command.name for command in changed.commands if command.name not in known)


def _grid(table: str, numbered: list[tuple[int, dict[str, str]]]) -> Grid:
    columns = headers(texts for _, texts in numbered)
    return Grid(table, 1, columns, [(number, [texts.get(c, "") for c in columns]) for number, texts in numbered])


def _fitting(vehicle: Vehicle, loads: list[dict[str, str]]) -> Plain:
    """The other tables, made to fit loads that came or went."""
    tables = vehicle_plain(vehicle)
    names = {texts["load"] for texts in loads}
    gone = {texts["load"] for texts in tables["loads"]} - names
    for table, column in (("locked", "load"), ("concessions", "subject")):
        tables[table] = [texts for texts in tables.get(table, []) if texts[column] not in gone]
    for table, cells in (("commands", {}), ("states", dict.fromkeys((s.name for s in vehicle.states), "1"))):
        if tables.get(table):
            fresh = _unknown(tables[table], loads)
            tables[table] = [*tables[table], *({"command": name, **cells} for name in fresh)]
    return {table: lines for table, lines in tables.items() if lines}


def _unknown(lines: list[dict[str, str]], loads: list[dict[str, str]]) -> list[str]:
    known = {texts["command"] for texts in lines}
    return [name for name in dict.fromkeys(texts["command"] for texts in loads) if name not in known]
