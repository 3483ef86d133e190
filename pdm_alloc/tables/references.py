"""Names in one table that refer to another: every one must exist, exactly as written there."""

from collections.abc import Iterable

from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.spelling import refuse_two_spellings
from pdm_alloc.tables.vehicle_lines import VehicleLines

__all__ = ["check_references"]

_PLACES = (("loads", "place"), ("inputs", "place"), ("signals", "place"), ("routes", "start"), ("routes", "end"))


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
    _refer(tables, faults, "locked", "load", tables.known("loads", "load"), "is not a load of the table loads")
    _check_subjects(tables, faults)
    for table, column in (("loads", "separate"), ("places", "compartment")):
        refuse_two_spellings(tables.rows[table], table, column, faults)


def _refer(tables, faults, table, column, known: Iterable[str] | None, message, otherwise=""):
    """Note values of a column that are not known; nothing where what is known cannot be told."""
    if known is None:
        return
    names = set(known)
    for line in tables.rows[table]:
        value = getattr(line.values, column)
        if value is not None and value not in names:
            header = {"start": "from", "end": "to"}.get(column, column)
            faults.unknown(table, line.number, header, value, known, message, otherwise)


def _check_commands(tables, faults):
    if tables.rows["commands"]:
        known, add = tables.known("commands", "command"), "add a row for it to the table commands"
        _refer(tables, faults, "loads", "command", known, "is not a command of the table commands", add)
    else:
        refuse_two_spellings(tables.rows["loads"], "loads", "command", faults)


def _check_matrix(tables, faults):
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


def _check_places(tables, faults):
    places = tables.known("places", "place")
    if places == []:
        _check_placeless(tables, faults)
    if not places:
        return
    message = "is not a place of the table places"
    for table, column in _PLACES:
        _refer(tables, faults, table, column, places, message)
    for setting, row, place in _setting_places(tables):
        if place is not None and place not in places:
            faults.unknown("settings", row, setting, place, places, message)


def _setting_places(tables):
    """Every setting that names a place, its row, the place or None."""
    names = ("battery_place", "isolator_place", "starter_place", "alternator_place")
    return [(name, tables.setting_rows.get(name), getattr(tables.settings, name)) for name in names]


def _check_placeless(tables, faults):
    """Without a table places nothing may name one; said once, not for every row."""
    rows = ((t, line.number, getattr(line.values, column)) for t, column in _PLACES for line in tables.rows[t])
    settings = [("settings", row, place) for _, row, place in _setting_places(tables)]
    named = next(((table, row, place) for table, row, place in (*rows, *settings) if place is not None), None)
    if named:
        message = f"is missing, but {named[0]} (row {named[1]}) names the place '{named[2]}'"
        faults.add("places", None, None, None, message, "add the table places, or name no places")


def _check_subjects(tables, faults):
    loads, commands = tables.known("loads", "load"), tables.commands()
    if loads is None or commands is None:
        return
    known = [*loads, *commands, *tables.names("loads", "separate"), "*"]
    message = "is not a load, a command or a separation label"
    _refer(tables, faults, "concessions", "subject", known, message, "leave it empty for all")
