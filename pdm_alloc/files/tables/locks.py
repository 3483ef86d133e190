"""Locked rows that contradict each other, and values that no table could have given."""

import math
import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Any

from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import Channel, Module
from pdm_alloc.domain.vehicle import Command, Concession, Input, Load, Place, Route, State
from pdm_alloc.files.cells import Number, Word
from pdm_alloc.files.faults import Fault, Faults
from pdm_alloc.files.rows import Line, Row, cell_of, columns_of, refuse_twins
from pdm_alloc.files.tables.catalogue_rows import ChannelRow, ModuleRow
from pdm_alloc.files.tables.settings_rows import SettingsRow
from pdm_alloc.files.tables.vehicle_rows import (
    CommandRow,
    ConcessionRow,
    InputRow,
    LoadRow,
    PlaceRow,
    RouteRow,
    SupplyRow,
    VehicleLines,
)

__all__ = ["check_locks", "huge_exponents", "out_of_range"]

_ONE_COMMAND = "a channel has one command: correct one row"
_ALONE = "give one of them another channel, or say yes to share"
_APART = "give one of them another channel, or another label"
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
    by_channel: dict[tuple[str, frozenset[str]], list[Line]] = defaultdict(list)
    for line in rows:
        by_channel[line.values.module, _parts(line)].append(line)
    for lines in by_channel.values():
        _check_commands(lines, loads, faults)
        _check_alone(lines, loads, faults)
        _check_separate(lines, loads, faults)


def _parts(line: Line) -> frozenset[str]:
    """Channels a row names: 1+2 and 2+1 are the same two."""
    return frozenset(part.strip() for part in line.values.channel.split("+"))


def _check_counts(rows: list[Line], loads: Mapping[str, Any], faults: Faults) -> None:
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


def _check_joined(rows: list[Line], faults: Faults) -> None:
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


def _check_commands(lines: list[Line], loads: Mapping[str, Any], faults: Faults) -> None:
    """A channel has one command, so loads locked to it must have the same."""
    first = lines[0]
    theirs = loads[first.values.load].command
    for line in lines[1:]:
        command = loads[line.values.load].command
        if None not in (theirs, command) and theirs != command:
            message = f"has the command {command}, but the load in row {first.number} on this channel has {theirs}"
            faults.add("locked", line.number, "load", line.values.load, message, _ONE_COMMAND)


def _check_alone(lines: list[Line], loads: Mapping[str, Any], faults: Faults) -> None:
    """An item that never shares, and another load on its channel."""
    for before, line in pairwise(lines):
        alone = next((each for each in (line, before) if loads[each.values.load].share is False), None)
        same = loads[before.values.load].command == loads[line.values.load].command
        if alone is not None and same and before.values.load != line.values.load:
            name = alone.values.load
            message = f"is on one channel with the load in row {before.number}, and {name} has share = no"
            faults.add("locked", line.number, "load", line.values.load, message, _ALONE)


def _check_separate(lines: list[Line], loads: Mapping[str, Any], faults: Faults) -> None:
    """Two loads of one label separate on one channel."""
    labelled: dict[str, Line] = {}
    for line in lines:
        label = loads[line.values.load].separate
        before = labelled.setdefault(label, line) if label else line
        if before.values.load != line.values.load:
            message = f"is on one channel with the load in row {before.number}, and both have separate = {label}"
            faults.add("locked", line.number, "load", line.values.load, message, _APART)


LARGEST = 10**12

_HUGE = re.compile(r"\s*[+-]?[\d_.]+[eE][+-]?[\d_]{3,}\s*|\s*[+-]?[\d_.]{40,}\s*")

_ROWS: dict[type, type[Row]] = {
    Channel: ChannelRow,
    Command: CommandRow,
    Concession: ConcessionRow,
    Input: InputRow,
    Load: LoadRow,
    Module: ModuleRow,
    Place: PlaceRow,
    Route: RouteRow,
    Settings: SettingsRow,
    State: SupplyRow,
}


def out_of_range(thing: Any, name: str, path: str = "") -> Iterator[Fault]:
    """A fault for each number and each word of a choice that could not have been read from a table.

    Parameters
    ----------
    thing : dataclass, mapping, sequence or value
        Walked down to its numbers.
    name : str
        Of the file, for faults.
    path : str
        Where the thing stands in the document.

    Yields
    ------
    Fault
        With the path as its column.
    """
    if is_dataclass(thing) and not isinstance(thing, type):
        columns = columns_of(_ROWS[type(thing)]) if type(thing) in _ROWS else {}
        for field in fields(thing):
            value, here = getattr(thing, field.name), _under(path, field.name)
            kind = cell_of(columns[field.name]) if field.name in columns else None
            if isinstance(kind, Number) and isinstance(value, (float, Fraction)):
                yield from _of_column(value, kind, name, here)
            elif isinstance(kind, Word) and isinstance(value, str) and value not in kind.words:
                yield Fault(name, None, here, value[:40], "is not a word known here", f"give {kind.accepts()}")
            else:
                yield from out_of_range(value, name, here)
    elif isinstance(thing, Mapping):
        for key, value in thing.items():
            yield from out_of_range(value, name, _under(path, str(key)))
    elif isinstance(thing, (tuple, list)):
        for number, value in enumerate(thing):
            yield from out_of_range(value, name, _under(path, str(number)))
    elif isinstance(thing, (int, float, Fraction)) and not _is_finite(thing):
        remedy = "give the file as it was written"
        yield Fault(name, None, path, str(thing)[:40], "is no number that can be kept", remedy)


def huge_exponents(document: Any, name: str, path: str = "", exact: bool = False) -> Iterator[Fault]:
    """A fault for each exact number of a document whose digits, written out, would fill the memory.

    Parameters
    ----------
    document : dict, list or value
        As `json` loads it.
    name : str
        Of the file, for faults.
    path : str
        Where the value stands.
    exact : bool
        Whether a text there is an exact number, and not a name.

    Yields
    ------
    Fault
        With the path as its column.
    """
    if isinstance(document, dict):
        for key, value in document.items():
            yield from huge_exponents(value, name, _under(path, key), key.endswith("_pct") or key == "derating")
    elif isinstance(document, list):
        for number, value in enumerate(document):
            yield from huge_exponents(value, name, _under(path, str(number)), exact)
    elif exact and isinstance(document, str) and _HUGE.fullmatch(document):
        yield Fault(name, None, path, document[:40], "is no number that can be kept", "give the file as it was written")


def _under(path: str, name: str) -> str:
    return f"{path}.{name}" if path else name


def _is_finite(value: float | Fraction) -> bool:
    return math.isfinite(value) and -LARGEST <= float(value) <= LARGEST


def _of_column(value: Any, kind: Number, name: str, path: str) -> Iterator[Fault]:
    low = value > kind.least if kind.above else value >= kind.least
    high = value < kind.most if kind.below else value <= kind.most
    if not (_is_finite(value) and low and high):
        yield Fault(name, None, path, str(value)[:40], "is out of range", f"give {kind.accepts()}")
