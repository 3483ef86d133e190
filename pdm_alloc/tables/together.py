"""Commands whose loads are all to share one channel, though their own rows forbid it."""

from collections import defaultdict

from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.vehicle_lines import VehicleLines

__all__ = ["check_together"]

_REMEDY = "say no to together, or correct one row"


def check_together(tables: VehicleLines, faults: Faults) -> None:
    """Note every row that contradicts ``together`` of its command.

    Parameters
    ----------
    tables : VehicleLines
        All rows.
    faults : Faults
        Where faults are noted.
    """
    wanted = {line.values.command for line in tables.rows["commands"] if line.values.together} - {None}
    members = defaultdict(list)
    for line in tables.rows["loads"]:
        if line.values.command in wanted:
            members[line.values.command].append(line)
    for command, lines in members.items():
        _check_share(command, lines, faults)
        _check_separate(command, lines, faults)
        _check_reversing(command, lines, faults)
    _check_locked(tables, {line.values.load: line.values.command for own in members.values() for line in own}, faults)


def _check_share(command, lines, faults):
    if sum(line.values.count or 1 for line in lines) < 2:
        return
    for line in lines:
        if line.values.share is False:
            message = f"forbids what together of the command {command} wants: all its loads on one channel"
            faults.add("loads", line.number, "share", "no", message, _REMEDY)


def _check_separate(command, lines, faults):
    first: dict[str, int] = {}
    for line in lines:
        label = line.values.separate
        if label and first.setdefault(label, line.number) != line.number:
            message = f"keeps it from the load in row {first[label]}, and together of the command {command} joins them"
            faults.add("loads", line.number, "separate", label, message, _REMEDY)


def _check_reversing(command, lines, faults):
    reversing = ["reversing" in (line.values.needs or ()) for line in lines]
    if len(set(reversing)) > 1:
        line = lines[reversing.index(True)]
        message = f"takes a bridge, and together of the command {command} joins it with loads that do not"
        faults.add("loads", line.number, "needs", "reversing", message, _REMEDY)


def _check_locked(tables, commands, faults):
    places: dict[str, tuple] = {}
    for line in tables.rows["locked"]:
        row = line.values
        command = commands.get(row.load)
        if command is None or None in (row.module, row.channel):
            continue
        if places.setdefault(command, (row.module, row.channel)) != (row.module, row.channel):
            message = (
                f"is not where another load of {command} is locked, and together of that command wants one channel"
            )
            faults.add("locked", line.number, "channel", row.channel, message, _REMEDY)
