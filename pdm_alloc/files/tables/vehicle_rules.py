"""What the rows of a vehicle must keep to beyond one cell; locked rows that contradict each other."""

import math
import re
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Any

from pdm_alloc.domain.condition import Condition, ConditionError, parse_condition
from pdm_alloc.domain.kinds import KINDS, Settings
from pdm_alloc.domain.module import Channel, Module
from pdm_alloc.domain.vehicle import Command, Concession, Input, Load, Place, Route, State
from pdm_alloc.files.cells import Number, Word
from pdm_alloc.files.faults import Fault, Faults
from pdm_alloc.files.rows import Line, Row, cell_of, columns_of, refuse_twins
from pdm_alloc.files.tables.catalogue_rows import ChannelRow, ModuleRow
from pdm_alloc.files.tables.settings_rows import SettingsRow
from pdm_alloc.files.tables.states import check_possible, contradicts_itself, note_idle
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

__all__ = ["check_conditions", "check_locks", "check_rules", "check_together", "huge_exponents", "out_of_range"]

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
        _check_separate_locks(lines, loads, faults)


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


def _check_separate_locks(lines: list[Line], loads: Mapping[str, Any], faults: Faults) -> None:
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


def _check_share(command: str, lines: list[Line], faults: Faults) -> None:
    if sum(line.values.count or 1 for line in lines) < 2:
        return
    for line in lines:
        if line.values.share is False:
            message = f"forbids what together of the command {command} wants: all its loads on one channel"
            faults.add("loads", line.number, "share", "no", message, _REMEDY)


def _check_separate(command: str, lines: list[Line], faults: Faults) -> None:
    first: dict[str, int] = {}
    for line in lines:
        label = line.values.separate
        if label and first.setdefault(label, line.number) != line.number:
            message = f"keeps it from the load in row {first[label]}, and together of the command {command} joins them"
            faults.add("loads", line.number, "separate", label, message, _REMEDY)


def _check_reversing(command: str, lines: list[Line], faults: Faults) -> None:
    reversing = ["reversing" in (line.values.needs or ()) for line in lines]
    if len(set(reversing)) > 1:
        line = lines[reversing.index(True)]
        message = f"takes a bridge, and together of the command {command} joins it with loads that do not"
        faults.add("loads", line.number, "needs", "reversing", message, _REMEDY)


def _check_locked(tables: VehicleLines, commands: Mapping[str, str], faults: Faults) -> None:
    places: dict[str, tuple[str, str]] = {}
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


MOST_ITEMS = 50_000

# A 24 V supply on a 12 V vehicle (a jump start) is 2; beyond that a decimal point is missing.
_MOST_OVER_NOMINAL = 2.5

# Cranking pulls a battery down to about half of its voltage; below a quarter nothing works.
_LEAST_OF_NOMINAL = 0.25


def check_rules(tables: VehicleLines, faults: Faults) -> None:
    """Note every row that contradicts itself or another.

    Parameters
    ----------
    tables : VehicleLines
        All rows.
    faults : Faults
        Where faults are noted.
    """
    for line in tables.rows["loads"]:
        _check_inrush(line, faults)
    for line in tables.rows["places"]:
        _check_heat(line, tables.settings.insulation_c, faults)
    for line in tables.rows["commands"]:
        _check_times(line, faults)
    _check_items(tables.rows["loads"], faults)
    _check_settings(tables, faults)
    _check_supply(tables, faults)
    check_locks(tables, faults)
    check_together(tables, faults)
    refuse_twins(tables.rows["concessions"], ("kind", "subject"), "concessions", faults)


def _check_inrush(line: Line, faults: Faults) -> None:
    row = line.values
    if None in (row.running_a, row.inrush_a, row.kind):
        return
    if row.inrush_a < row.running_a:
        message = f"is below running_a ({_amps(row.running_a)})"
        remedy = "give the peak of one item, running current included, or leave it empty for the kind's multiple"
        faults.add("loads", line.number, "inrush_a", _amps(row.inrush_a), message, remedy)
    elif row.inrush_a > row.running_a:
        _check_inrush_length(line, faults)


def _check_inrush_length(line: Line, faults: Faults) -> None:
    row, remedy = line.values, "give the time until the excess has fallen to 5 %"
    if row.inrush_ms == 0:
        message = "is no time for an inrush_a above running_a"
        faults.add("loads", line.number, "inrush_ms", "0", message, remedy)
    elif row.inrush_ms is None and KINDS[row.kind].inrush_ms == 0:
        message = f"is empty, and a {row.kind} has no usual length of inrush"
        faults.add("loads", line.number, "inrush_ms", None, message, remedy)


def _amps(milliamps: int) -> str:
    return f"{milliamps / 1000:.9g}"


def _check_heat(line: Line, insulation: float | None, faults: Faults) -> None:
    """Wires end at a place or pass it: none of them bears more than its insulation."""
    around = line.values.ambient_c
    if None not in (around, insulation) and around >= insulation:
        message = f"is not below insulation_c ({insulation:g} °C)"
        remedy = "give insulation of a higher class in the settings, or take wires another way"
        faults.add("places", line.number, "ambient_c", f"{around:g}", message, remedy)


def _check_times(line: Line, faults: Faults) -> None:
    on, cycle = line.values.on_s, line.values.cycle_s
    if on is None and cycle is not None:
        message, remedy = "needs on_s beside it", "give the longest time on in one go, or leave cycle_s empty"
        faults.add("commands", line.number, "cycle_s", f"{cycle:g}", message, remedy)
    elif None not in (on, cycle) and cycle < on:
        message = f"is below on_s ({on:g} s)"
        remedy = "give the time from one switch-on to the next, the time on included"
        faults.add("commands", line.number, "cycle_s", f"{cycle:g}", message, remedy)


def _check_items(lines: list[Line], faults: Faults) -> None:
    items = sum(line.values.count or 0 for line in lines)
    if items > MOST_ITEMS:
        message = f"has {items:,} items, more than {MOST_ITEMS:,}"
        faults.add("loads", None, "count", None, message, "no vehicle has so many")


def _check_settings(tables: VehicleLines, faults: Faults) -> None:
    settings, rows = tables.settings, tables.setting_rows
    around, insulation = settings.wire_ambient_c, settings.insulation_c
    if None not in (around, insulation) and around >= insulation:
        message, remedy = f"is not below insulation_c ({insulation:g} °C)", "give insulation of a higher class"
        faults.add("settings", rows.get("wire_ambient_c"), "wire_ambient_c", f"{around:g}", message, remedy)
    if far := _far(settings.reference_v, settings.system_v):
        faults.add("settings", rows.get("reference_v"), "reference_v", f"{settings.reference_v:g}", *far)


def _check_supply(tables: VehicleLines, faults: Faults) -> None:
    nominal = tables.settings.system_v
    for line in tables.rows["supply"]:
        if far := _far(line.values.supply_v, nominal):
            faults.add("supply", line.number, "supply_v", f"{line.values.supply_v:g}", *far)
        _check_top(line, nominal, faults)


def _check_top(line: Line, nominal: float | None, faults: Faults) -> None:
    low, top = line.values.supply_v, line.values.supply_top_v
    if far := _far(top, nominal):
        faults.add("supply", line.number, "supply_top_v", f"{top:g}", *far)
    elif None not in (low, top) and top < low:
        remedy = "give the highest voltage in this state, or leave it empty"
        faults.add("supply", line.number, "supply_top_v", f"{top:g}", f"is below supply_v ({low:g} V)", remedy)


def _far(volts: float | None, nominal: float | None) -> tuple[str, str] | None:
    """What is wrong with a voltage far from the nominal one, and the remedy; None where it is not."""
    if volts is None or nominal is None or _LEAST_OF_NOMINAL * nominal <= volts <= _MOST_OVER_NOMINAL * nominal:
        return None
    far = f"more than {_MOST_OVER_NOMINAL:g}" if volts > nominal else f"less than {_LEAST_OF_NOMINAL:g}"
    return f"is {far} times system_v ({nominal:g} V)", "correct it, or system_v in the settings"


def check_conditions(tables: VehicleLines, faults: Faults) -> None:
    """Note conditions that cannot be read, name inputs missing from the table inputs, or can never hold in a state.

    Parameters
    ----------
    tables : VehicleLines
        All rows; without a table inputs the grammar alone is checked.
    faults : Faults
        Where faults are noted.
    """
    inputs = tables.known("inputs", "input")
    inputs_set = frozenset(inputs or ())
    lines = [line for line in tables.rows["commands"] if line.values.condition]
    conditions = [(line, _check(line, inputs, inputs_set, faults)) for line in lines]
    commands = tables.commands()
    if not tables.matrix.given:
        _check_never_on(conditions, faults)
    if tables.matrix.sure and commands is not None and set(tables.names("loads", "command")) <= set(tables.matrix.rows):
        readable = {line.values.command: condition for line, condition in conditions if condition}
        if set(tables.matrix.rows) <= set(commands):
            check_possible(tables.matrix, readable, faults)
            note_idle(tables.matrix, readable, _loads_of(tables), faults)


def _loads_of(tables: VehicleLines) -> dict[str, list[str]]:
    """Names of loads by command."""
    loads: dict[str, list[str]] = defaultdict(list)
    for line in tables.rows["loads"]:
        loads[line.values.command].append(line.values.load)
    return loads


def _check_never_on(conditions: Sequence[tuple[Line, Condition | None]], faults: Faults) -> None:
    """Conditions that contradict themselves, where no table of states has a place to say so."""
    for line, condition in conditions:
        if condition is not None and contradicts_itself(condition):
            message = f"contradicts itself: no setting of the inputs turns '{line.values.command}' on"
            faults.add("commands", line.number, "condition", line.values.condition, message, "correct the condition")


def _check(line: Line, inputs: list[str] | None, inputs_set: frozenset[str], faults: Faults) -> Condition | None:
    text = line.values.condition
    try:
        condition = parse_condition(text, inputs_set)
    except ConditionError as error:
        # Where inputs are at fault, one of them may be the name of several words.
        if inputs is not None or not error.two_names:
            remedy = "join names of inputs by and, or, not and brackets"
            faults.add("commands", line.number, "condition", text, f"cannot be read ({error})", remedy)
        return None
    for name in sorted(set(condition.names) - inputs_set) if inputs else ():
        message = f"names '{name}', which is not in table inputs"
        faults.unknown_in("commands", line.number, "condition", text, name, inputs or (), message)
    return condition
