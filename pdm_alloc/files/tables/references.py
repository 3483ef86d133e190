"""Names in one table that refer to another, routes, a vehicle against a catalogue, tables left as they came."""

import re
from collections.abc import Iterable, Iterator, Mapping
from math import hypot
from typing import Any

from pdm_alloc.domain.module import Catalogue, Module
from pdm_alloc.domain.vehicle import Lock, Vehicle
from pdm_alloc.files.cells import clean, plain_header
from pdm_alloc.files.faults import Fault, Faults
from pdm_alloc.files.grids import Grid
from pdm_alloc.files.rows import Line, Row
from pdm_alloc.files.sources import Source
from pdm_alloc.files.tables.vehicle_rows import VehicleLines
from pdm_alloc.files.write_tables import example_row

__all__ = ["check_against", "check_references", "check_routes", "refuse_two_spellings", "refuse_untouched"]


def refuse_two_spellings(lines: list[Line], table: str, column: str, faults: Faults) -> None:
    """Note names of a column that differ from an earlier one in upper and lower case alone.

    Parameters
    ----------
    lines : list of Line
        Rows of the table.
    table, column : str
        Where the names stand.
    faults : Faults
        Where faults are noted.
    """
    seen: dict[str, tuple[str, int]] = {}
    for line in lines:
        name = getattr(line.values, column)
        if not name:
            continue
        first, row = seen.setdefault(name.casefold(), (name, line.number))
        if name != first:
            faults.add(table, line.number, column, name, f"is written '{first}' in row {row}", "spell a name one way")


_PLACES = (
    *(("loads", "place"), ("inputs", "place"), ("signals", "place"), ("grounds", "place")),
    *(("routes", "start"), ("routes", "end")),
)


def check_references(tables: VehicleLines, faults: Faults) -> None:
    """Note every name that refers to nothing.

    Parameters
    ----------
    tables : VehicleLines
        All rows.
    faults : Faults
        Where faults are noted.
    """
    _check_commands(tables, faults)
    _check_matrix(tables, faults)
    _check_places(tables, faults)
    _refer(tables, faults, "locked", "load", tables.known("loads", "load"), "is not in table loads")
    _check_subjects(tables, faults)
    for table, column in (("loads", "separate"), ("places", "compartment")):
        refuse_two_spellings(tables.rows[table], table, column, faults)


def _refer(
    tables: VehicleLines,
    faults: Faults,
    table: str,
    column: str,
    known: Iterable[str] | None,
    message: str,
    otherwise: str = "",
) -> None:
    """Note values of a column that are not known; nothing where what is known cannot be told."""
    if known is None:
        return
    names = set(known)
    for line in tables.rows[table]:
        value = getattr(line.values, column)
        if value is not None and value not in names:
            header = {"start": "from", "end": "to"}.get(column, column)
            faults.unknown(table, line.number, header, value, known, message, otherwise)


def _check_commands(tables: VehicleLines, faults: Faults) -> None:
    if tables.rows["commands"]:
        known, add = tables.known("commands", "command"), "add a row for it to the table commands"
        _refer(tables, faults, "loads", "command", known, "is not in table commands", add)
    else:
        refuse_two_spellings(tables.rows["loads"], "loads", "command", faults)


def _check_matrix(tables: VehicleLines, faults: Faults) -> None:
    known = tables.commands()
    names = set(known or ())
    for command, row in tables.matrix.rows.items():
        if known is not None and command not in names:
            message = "is not a command of any load or of the table commands"
            faults.unknown("states", row, "command", command, known, message)
    if tables.matrix.duties and "states" not in tables.broken:
        add = "add a row for it to the table states"
        # A name that is not in the table commands has been noted already.
        listed = set(tables.names("commands", "command"))
        noted = set(tables.names("loads", "command")) - listed if listed else set()
        rows = [*tables.matrix.rows, *noted]
        _refer(tables, faults, "loads", "command", rows, "has no row in the table states", add)


def _check_places(tables: VehicleLines, faults: Faults) -> None:
    places = tables.known("places", "place")
    if places == []:
        _check_placeless(tables, faults)
    if not places:
        return
    message = "is not in table places"
    for table, column in _PLACES:
        _refer(tables, faults, table, column, places, message)
    _check_supply_load(tables, faults)
    for setting, row, place in _setting_places(tables):
        if place is not None and place not in places:
            faults.unknown("settings", row, setting, place, places, message)


def _check_supply_load(tables: VehicleLines, faults: Faults) -> None:
    name, loads = tables.settings.control_unit_load, tables.known("loads", "load")
    if name is not None and loads is not None and name not in loads:
        row = tables.setting_rows.get("control_unit_load")
        faults.unknown("settings", row, "control_unit_load", name, loads, "is not in table loads")


def _setting_places(tables: VehicleLines) -> list[tuple[str, int | None, str | None]]:
    """Every setting that names a place, its row, the place or None."""
    names = ("battery_place", "isolator_place", "starter_place", "alternator_place")
    return [(name, tables.setting_rows.get(name), getattr(tables.settings, name)) for name in names]


def _check_placeless(tables: VehicleLines, faults: Faults) -> None:
    """Without a table places nothing may name one; said once, not for every row."""
    rows = ((t, line.number, getattr(line.values, column)) for t, column in _PLACES for line in tables.rows[t])
    settings = [("settings", row, place) for _, row, place in _setting_places(tables)]
    named = next(((table, row, place) for table, row, place in (*rows, *settings) if place is not None), None)
    if named:
        message = f"is missing, but {named[0]} (row {named[1]}) names the place '{named[2]}'"
        faults.add("places", None, None, None, message, "add the table places, or name no places")


def _check_subjects(tables: VehicleLines, faults: Faults) -> None:
    loads, commands = tables.known("loads", "load"), tables.commands()
    if loads is None or commands is None:
        return
    known = [*loads, *commands, *tables.names("loads", "separate"), *tables.names("places", "place"), "*"]
    message = "is not a load, a command, a separation label or a place"
    _refer(tables, faults, "concessions", "subject", known, message, "leave it empty for all")


_CLOSE_M = 0.001


def check_routes(tables: VehicleLines, faults: Faults) -> None:
    """Note places and routes that no vehicle can have.

    Parameters
    ----------
    tables : VehicleLines
        All rows.
    faults : Faults
        Where faults are noted.
    """
    for line in tables.rows["places"]:
        _check_coordinates(line, faults)
    places = {line.values.place: line.values for line in tables.rows["places"] if line.values.place}
    seen: dict[frozenset[str], int] = {}
    before = len(faults)
    joined = [line for line in tables.rows["routes"] if {line.values.start, line.values.end} <= set(places)]
    for line in joined:
        _check_ends(line, seen, faults)
        _check_length(line, places[line.values.start], places[line.values.end], faults)
    # Where a route is at fault, a place it should have reached is no fault of its own.
    if len(faults) == before and len(joined) == len(tables.rows["routes"]):
        _check_reach(tables, places, faults)


def _check_coordinates(line: Line, faults: Faults) -> None:
    row = line.values
    if (row.x_m is None) != (row.y_m is None):
        empty, given = ("x_m", "y_m") if row.x_m is None else ("y_m", "x_m")
        faults.add("places", line.number, empty, None, f"is empty although {given} is given", "give both or neither")


def _check_ends(line: Line, seen: dict[frozenset[str], int], faults: Faults) -> None:
    start, end = line.values.start, line.values.end
    ends = frozenset((start, end))
    if start == end:
        faults.add("routes", line.number, "to", end, "is the place it starts from", "name another place")
    elif ends in seen:
        message = f"is joined to {start} in row {seen[ends]} already"
        faults.add("routes", line.number, "to", end, message, "delete one of the two rows")
    seen.setdefault(ends, line.number)


def _check_length(line: Line, start: Any, end: Any, faults: Faults) -> None:
    length = line.values.length_m
    bare = next((place for place in (start, end) if None in (place.x_m, place.y_m)), None)
    if bare is not None and length is None:
        message, remedy = (
            f"is empty, and {bare.place} has no coordinates",
            "give the length, or x_m and y_m of both places",
        )
        faults.add("routes", line.number, "length_m", None, message, remedy)
    elif bare is None and start is not end:
        _check_straight(line, hypot(start.x_m - end.x_m, start.y_m - end.y_m), faults)


def _check_straight(line: Line, straight: float, faults: Faults) -> None:
    length = line.values.length_m
    if length is None and straight == 0:
        message = "is empty, and both places are at one point"
        faults.add("routes", line.number, "length_m", None, message, "give the length")
    elif length is not None and length < straight - _CLOSE_M:
        message = f"is shorter than the straight distance ({straight:.3f} m)"
        remedy = "measure it again, or leave it empty for the straight distance"
        faults.add("routes", line.number, "length_m", f"{length:g}", message, remedy)


def _check_reach(tables: VehicleLines, places: Mapping[str, Any], faults: Faults) -> None:
    """Places of loads that no routes join to a place where a module can be mounted."""
    mounts = [name for name, row in places.items() if row.mount]
    if not tables.rows["routes"] or not mounts:
        return
    reached = _reached(tables, mounts)
    for line in tables.rows["loads"]:
        place = line.values.place
        if place in places and place not in reached:
            message = "is joined by no routes to a place where a module can be mounted"
            faults.add("loads", line.number, "place", place, message, "add the routes that are missing")


def _reached(tables: VehicleLines, mounts: Iterable[str]) -> set[str]:
    neighbours: dict[str, list[str]] = {}
    for line in tables.rows["routes"]:
        start, end = line.values.start, line.values.end
        neighbours.setdefault(start, []).append(end)
        neighbours.setdefault(end, []).append(start)
    reached, todo = set(mounts), list(mounts)
    while todo:
        fresh = [place for place in neighbours.get(todo.pop(), ()) if place not in reached]
        reached.update(fresh)
        todo.extend(fresh)
    return reached


_NUMBERED = re.compile(r" #\d+$")


def check_against(vehicle: Vehicle, catalogue: Catalogue) -> tuple[Fault, ...]:
    """Faults that show only with vehicle and catalogue side by side.

    Parameters
    ----------
    vehicle : Vehicle
        As read.
    catalogue : Catalogue
        As read.

    Returns
    -------
    tuple of Fault
        Empty where they go together. Rows are not known any more; the names tell.
    """
    faults = Faults()
    for lock in vehicle.locked:
        _check_lock(lock, catalogue, faults)
    for module in catalogue:
        _check_ambient(vehicle, module, faults)
    return faults.all()


def _check_lock(lock: Lock, catalogue: Catalogue, faults: Faults) -> None:
    modules = {module.name: module for module in catalogue}
    # Of two modules of one name the first is "name #1", the second "name #2".
    name = lock.module if lock.module in modules else _NUMBERED.sub("", lock.module)
    if name not in modules:
        faults.unknown(
            "locked", None, "module", lock.module, modules, f"is not a module of the catalogue (for {lock.load})"
        )
        return
    known = [channel.name for channel in modules[name].channels]
    if lock.channel in known or _is_joined(lock.channel, modules[name]):
        return
    faults.unknown(
        "locked", None, "channel", lock.channel, known, f"is not a channel of {lock.module} (for {lock.load})"
    )


def _is_joined(name: str, module: Module) -> bool:
    """Whether a name such as 3+4 is a pair or a bridge of the module."""
    channels = {channel.name: channel for channel in module.channels}
    parts = [part.strip() for part in name.split("+")]
    if len(parts) != 2 or not set(parts) <= set(channels):
        return False
    one, other = (channels[part] for part in parts)
    return any(label and label == theirs for label, theirs in ((one.pair, other.pair), (one.bridge, other.bridge)))


def _check_ambient(vehicle: Vehicle, module: Module, faults: Faults) -> None:
    if not module.derating:
        return
    low, high = module.derating[0][0], module.derating[-1][0]
    for table, column, subject, ambient in _ambients(vehicle):
        if not low <= ambient <= high:
            faults.add(
                table,
                None,
                column,
                f"{ambient:g}",
                f"{subject}is outside the temperatures {module.name} is rated at ({low:g} to {high:g} °C)",
                "add rows to the table derating of the catalogue, or give another temperature",
            )


def _ambients(vehicle: Vehicle) -> Iterator[tuple[str, str, str, float]]:
    """Temperatures a module may be at: the setting's, and those of the places it can be mounted at."""
    yield "settings", "module_ambient_c", "", vehicle.settings.module_ambient_c
    for place in vehicle.places:
        if place.mount and place.ambient_c is not None:
            yield "places", "ambient_c", f"at {place.name} ", place.ambient_c


def refuse_untouched(source: Source, faults: Faults, rows: Mapping[str, type[Row]], table: str) -> None:
    """Note once all tables left as they came, and leave them out, so that nothing else is said of them.

    Parameters
    ----------
    source : Source
        Tables of a vehicle or a catalogue; beside rows of the user's own, tables left as they came are taken out.
    faults : Faults
        Where that is noted.
    rows : mapping of str to type of Row
        Row models by table.
    table : str
        The table nothing can do without: loads or modules.
    """
    first = source.grids.get(table)
    examples = _example_rows(first, rows[table]) if first is not None else []
    if first is None or len(examples) == len(first.rows):
        if examples:
            remedy = "write yours in their place, since every answer is for the example"
            faults.note(table, None, None, None, "holds only the example rows it came with", remedy)
        return
    name, thing = rows[table].key[0], table.removesuffix("s")
    for number in examples:
        remedy = f"delete the row, or make it a {thing} of your own"
        faults.add(table, number, name, example_row(rows[table])[name], "is the example row", remedy)
    _leave_out(source, [name for name, grid in source.grids.items() if _is_untouched(grid, name, rows, table)], faults)


def _leave_out(source: Source, untouched: list[str], faults: Faults) -> None:
    for table in untouched:
        source.broken.add(table)
        del source.grids[table]
    if untouched:
        first, *others = sorted(untouched)
        more = f", and so do {', '.join(others)}" if others else ""
        faults.add(
            first, None, None, None, f"holds only the example rows it came with{more}", "fill them in or delete them"
        )


def _is_untouched(grid: Grid, table: str, rows: Mapping[str, type[Row]], first: str) -> bool:
    if table == "states":
        header = [plain_header(cell) for cell in grid.header]
        return header == ["command", "running"] and [cells for _, cells in grid.rows] == [["ignition", "1"]]
    if table not in rows or table == first or not grid.rows:
        return False
    examples = len(_example_rows(grid, rows[table]))
    # The places come with a second row, for the load of the example.
    places = [clean(cells[0]) for _, cells in grid.rows] == ["dash", "tank"] if table == "places" else False
    return examples == len(grid.rows) or (places and examples == 1)


def _example_rows(grid: Grid, model: type[Row]) -> list[int]:
    """Numbers of the rows that say in every cell what the example says."""
    example = example_row(model)
    wanted = [example.get(plain_header(header), "") for header in grid.header]
    full = set(map(plain_header, grid.header)) >= {column for column, cell in example.items() if cell}
    return [number for number, cells in grid.rows if full and [clean(cell) for cell in cells] == wanted]
