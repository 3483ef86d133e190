"""Rows of the table locked that contradict each other or the loads they name."""

from collections import defaultdict
from itertools import pairwise

from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.lines import Line, refuse_twins
from pdm_alloc.tables.vehicle_lines import VehicleLines

__all__ = ["check_locks"]

_ONE_COMMAND = "a channel has one command: correct one row"
_ALONE = "give one of them another channel, or say yes to share"
_JOINED = "a channel is wired alone or joined with another, not both: correct one row"


def check_locks(tables: VehicleLines, faults: Faults) -> None:
    """Note every row of the table locked that another row, or its own load, forbids.

    Parameters
    ----------
    tables : VehicleLines
        All rows.
    faults : Faults
        Where faults are noted.
    """
    refuse_twins(tables.rows["locked"], ("load", "module", "channel"), "locked", faults)
    loads = {line.values.load: line.values for line in tables.rows["loads"]}
    rows = [
        line
        for line in tables.rows["locked"]
        if line.values.load in loads and None not in (line.values.module, line.values.channel)
    ]
    _check_counts(rows, loads, faults)
    _check_joined(rows, faults)
    by_channel: dict[tuple, list[Line]] = defaultdict(list)
    for line in rows:
        by_channel[line.values.module, _parts(line)].append(line)
    for lines in by_channel.values():
        _check_commands(lines, loads, faults)
        _check_alone(lines, loads, faults)


def _parts(line: Line) -> frozenset[str]:
    """Channels a row names: 1+2 and 2+1 are the same two."""
    return frozenset(part.strip() for part in line.values.channel.split("+"))


def _check_counts(rows, loads, faults):
    """One item at least on each channel; and of items that are each alone, one at most."""
    channels: dict[str, list[Line]] = defaultdict(list)
    for line in rows:
        channels[line.values.load].append(line)
    for load, lines in channels.items():
        count = loads[load].count
        here = list({(line.values.module, _parts(line)): line for line in reversed(lines)}.values())[::-1]
        if count is not None and len(here) > count:
            message = f"is locked to more channels than it has items ({count})"
            faults.add("locked", here[count].number, "load", load, message, "delete the rows too many")
        if count is not None and loads[load].share is False and len(here) < count:
            message = f"has {count} items with share = no, each alone on a channel, and is locked to {len(here)}"
            faults.add(
                "locked", lines[-1].number, "load", load, message, "add a row for each item, or say yes to share"
            )


def _check_joined(rows, faults):
    """A channel alone in one row and joined with another in a second."""
    users: dict[tuple[str, str], Line] = {}
    for line in rows:
        clash = next(
            (
                users[line.values.module, part]
                for part in sorted(_parts(line))
                if (line.values.module, part) in users and _parts(users[line.values.module, part]) != _parts(line)
            ),
            None,
        )
        if clash is not None:
            message = f"has a channel in it that row {clash.number} names as {clash.values.channel}"
            faults.add("locked", line.number, "channel", line.values.channel, message, _JOINED)
        for part in _parts(line):
            users.setdefault((line.values.module, part), line)


def _check_commands(lines, loads, faults):
    """A channel has one command, so loads locked to it must have the same."""
    first = lines[0]
    theirs = loads[first.values.load].command
    for line in lines[1:]:
        command = loads[line.values.load].command
        if None not in (theirs, command) and theirs != command:
            message = f"has the command {command}, but the load in row {first.number} on this channel has {theirs}"
            faults.add("locked", line.number, "load", line.values.load, message, _ONE_COMMAND)


def _check_alone(lines, loads, faults):
    """An item that never shares, and another load on its channel."""
    for before, line in pairwise(lines):
        alone = next((each for each in (line, before) if loads[each.values.load].share is False), None)
        same = loads[before.values.load].command == loads[line.values.load].command
        if alone is not None and same and before.values.load != line.values.load:
            name = alone.values.load
            message = f"is on one channel with the load in row {before.number}, and {name} has share = no"
            faults.add("locked", line.number, "load", line.values.load, message, _ALONE)
