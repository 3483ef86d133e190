"""Names in one table that refer to another: every one must exist, exactly as written there."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.lines import Line
from pdm_alloc.tables.number import CellError
from pdm_alloc.tables.settings_row import SettingsRow
from pdm_alloc.tables.states import Matrix

__all__ = ["VehicleLines", "check_references"]


@dataclass
class VehicleLines:
    """All tables of a vehicle as rows, before they are a vehicle."""

    rows: dict[str, list[Line]]
    matrix: Matrix
    settings: SettingsRow
    setting_rows: dict[str, int | None] = field(default_factory=dict)

    def names(self, table: str, column: str) -> list[str]:
        """Values of a column, in order, those at fault or empty left out."""
        values = (getattr(line.values, column) for line in self.rows[table])
        return list(dict.fromkeys(value for value in values if value is not None))

    def commands(self) -> list[str]:
        """Every command known: of the table commands, and where there is none, of the loads."""
        return self.names("commands", "command") or self.names("loads", "command")


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
    _check_places(tables, faults)
    _refer(tables, faults, "locked", "load", tables.names("loads", "load"), "is not a load of the table loads")
    _check_subjects(tables, faults)
    _check_conditions(tables, faults)


def _refer(tables, faults, table, column, known: Iterable[str], message, otherwise=""):
    names = set(known)
    for line in tables.rows[table]:
        value = getattr(line.values, column)
        if value is not None and value not in names:
            header = {"start": "from", "end": "to"}.get(column, column)
            faults.unknown(table, line.number, header, value, known, message, otherwise)


def _check_commands(tables, faults):
    known = tables.commands()
    if tables.rows["commands"]:
        _refer(
            tables,
            faults,
            "loads",
            "command",
            known,
            "is not a command of the table commands",
            "add a row for it to the table commands",
        )
    else:
        _refuse_two_spellings(tables, faults)
    for command, row in tables.matrix.rows.items():
        if command not in known:
            faults.unknown(
                "states", row, "command", command, known, "is not a command of any load or of the table commands"
            )
    if tables.matrix.duties:
        _refer(
            tables,
            faults,
            "loads",
            "command",
            tables.matrix.rows,
            "has no row in the table states",
            "add a row for it to the table states",
        )


def _refuse_two_spellings(tables, faults):
    seen: dict[str, str] = {}
    for line in tables.rows["loads"]:
        name = line.values.command
        first = seen.setdefault(name.casefold(), name) if name else name
        if name != first:
            faults.add(
                "loads", line.number, "command", name, f"is written '{first}' elsewhere", "spell a command one way"
            )


def _check_places(tables, faults):
    places = tables.names("places", "place")
    message = "is not a place of the table places" if places else "is a place, but there is no table places"
    otherwise = "" if places else "add the table places, or leave the cell empty"
    for table, column in (("loads", "place"), ("inputs", "place"), ("routes", "start"), ("routes", "end")):
        _refer(tables, faults, table, column, places, message, otherwise)
    battery = tables.settings.battery_place
    if battery is not None and battery not in places:
        row = tables.setting_rows.get("battery_place")
        faults.unknown("settings", row, "battery_place", battery, places, message, otherwise)


def _check_subjects(tables, faults):
    known = [*tables.names("loads", "load"), *tables.commands(), *tables.names("loads", "separate"), "*"]
    message = "is not a load, a command or a separation label"
    _refer(tables, faults, "concessions", "subject", known, message, "leave it empty for all")


def _check_conditions(tables, faults):
    inputs = tables.names("inputs", "input")
    for line in tables.rows["commands"] if inputs else ():
        if line.values.condition:
            _check_condition(line, inputs, faults)


def _check_condition(line, inputs, faults):
    try:
        from pdm_alloc.tables.condition import condition_names
    except ImportError:
        return
    try:
        names = condition_names(line.values.condition)
    except (ValueError, CellError) as error:
        faults.add(
            "commands",
            line.number,
            "condition",
            line.values.condition,
            f"cannot be read ({error})",
            "write names of inputs joined by and, or, not and brackets",
        )
        return
    for name in sorted(set(names) - set(inputs)):
        faults.unknown("commands", line.number, "condition", name, inputs, "is not an input of the table inputs")
