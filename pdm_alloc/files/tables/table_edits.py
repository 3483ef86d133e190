"""Edits as tables of text: cells and rows of a vehicle, and places and routes moved, added, joined on its plan."""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import hypot
from typing import Any

from pdm_alloc.domain.kinds import default_drop_pct
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.showing import counted
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.files.cells import clean
from pdm_alloc.files.faults import Fault, InputError, hint
from pdm_alloc.files.grids import is_free
from pdm_alloc.files.plain import Plain, vehicle_plain
from pdm_alloc.files.rows import unmistakable
from pdm_alloc.files.tables.read_vehicle import cell_text, read_plain
from pdm_alloc.files.tables.signal_tables import decimal

__all__ = [
    "TABLES",
    "BadEdit",
    "Duty",
    "Plan",
    "alter_load",
    "alter_settings",
    "cell_text",
    "drop_load",
    "edited",
    "forget_columns",
    "forget_commands",
    "plan_of",
    "put_load",
    "read_back",
    "row_named",
    "set_duty",
    "tables_of",
    "uses",
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


TABLES = ("places", "routes", "settings", "inputs")

_SETTINGS = {
    "battery_place": "battery",
    "isolator_place": "isolator",
    "starter_place": "starter",
    "alternator_place": "alternator",
}


def uses(vehicle: Vehicle) -> dict[str, list[str]]:
    """What sits at each place: items of tables and settings that name it, in words."""
    words: dict[str, list[str]] = {}
    named: list[tuple[str | None, str]] = [
        (x.place, x.name if x.count == 1 else f"{x.count} × {x.name}") for x in vehicle.loads
    ]
    for kind, rows in (("input", vehicle.inputs), ("signal", vehicle.signals), ("ground", vehicle.grounds)):
        named += [(row.place, f"{kind} {row.name}") for row in rows]  # type: ignore[attr-defined]
    named += [(getattr(vehicle.settings, name), word) for name, word in _SETTINGS.items()]
    for place, word in named:
        if place:
            words.setdefault(place, []).append(word)
    return words


class BadEdit(ValueError):
    """An edit that cannot be made; the message says why and what to do."""


Texts = dict[str, str]
Rows = tuple[Texts, ...]


@dataclass(frozen=True)
class Plan:
    """The tables behind the board, and where modules, control units and keypads are.

    Parameters
    ----------
    places, routes, settings, inputs : tuple of dict
        Rows as texts.
    mounted : tuple of (str, str)
        Label of each module, control unit and expander and its place, empty where not decided.
    keypads : tuple of (str, str, tuple of str)
        Label of each keypad, its place, and the inputs it reads.
    uses : mapping of str to list of str
        What sits at each place.
    """

    places: Rows = ()
    routes: Rows = ()
    settings: Rows = ()
    inputs: Rows = ()
    mounted: tuple[tuple[str, str], ...] = ()
    keypads: tuple[tuple[str, str, tuple[str, ...]], ...] = ()
    uses: Mapping[str, Sequence[str]] = field(default_factory=dict, compare=False)

    @property
    def names(self) -> list[str]:
        """Of all places."""
        return [row["place"] for row in self.places]

    def row(self, place: str) -> Texts:
        """Row of a place; BadEdit where there is none."""
        for row in self.places:
            if row["place"] == place:
                return row
        raise BadEdit(f"There is no place '{place}' any more.")

    def point(self, place: str) -> tuple[float, float] | None:
        """Its coordinates, m; None where they are not known."""
        row = self.row(place)
        return (float(row["x_m"]), float(row["y_m"])) if row.get("x_m") and row.get("y_m") else None

    def setting(self, name: str) -> str:
        """Value of a setting; empty where it has none."""
        return next((row["value"] for row in self.settings if row["setting"] == name), "")

    def straight_m(self, route: Texts) -> float | None:
        """Straight distance between the ends of a route, m."""
        start, end = self.point(route["from"]), self.point(route["to"])
        return None if start is None or end is None else hypot(start[0] - end[0], start[1] - end[1])


def plan_of(vehicle: Vehicle, texts: Callable[[str], Iterable[Mapping[str, str]]], units: Iterable[Unit] = ()) -> Plan:
    """The tables behind the board.

    Parameters
    ----------
    vehicle : Vehicle
        Tells what sits at each place.
    texts : callable
        Gives the rows of a table.
    units : iterable of Unit
        Modules and their places.

    Returns
    -------
    Plan
    """
    places, routes, settings, inputs = (tuple(dict(row) for row in texts(name)) for name in TABLES)
    mounted = tuple((unit.label, unit.place or "") for unit in units)
    return Plan(places, routes, settings, inputs, mounted, uses=uses(vehicle))


_MM, _TENTH_MM = 3, 4


def _text(metres: float, digits: int = _MM) -> str:
    return unmistakable(decimal(round(metres, digits) + 0.0))


def _with_place(plan: Plan, place: str, **cells: str) -> Plan:
    rows = tuple({**row, **cells} if row["place"] == place else row for row in plan.places)
    return replace(plan, places=rows)


def moved(plan: Plan, place: str, x: float, y: float, follow: bool = True) -> Plan:
    """The tables with a place moved to a point, m.

    A stated length of a route keeps what it is longer by than the straight distance, so it follows; with `follow`
    False it stays, and where the straight distance has become longer that counts instead.
    """
    after = _with_place(plan, place, x_m=_text(plan_number(x)), y_m=_text(plan_number(y)))
    plan.row(place)
    return replace(after, routes=tuple(_followed(plan, after, row, follow) for row in plan.routes))


def plan_number(value: Any) -> float:
    """A coordinate, m; BadEdit where it is none, or further away than any vehicle is long."""
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise BadEdit(f"'{value}' is not a number of metres: write 1.25.") from None
    if not abs(number) <= 1000:
        raise BadEdit(f"{value} m is too far away: coordinates are between -1000 and 1000 m.")
    return number


def _followed(before: Plan, after: Plan, row: Texts, follow: bool) -> Texts:
    old, new = before.straight_m(row), after.straight_m(row)
    stated = float(row["length_m"]) if row.get("length_m") else None
    if stated is None or new is None or old == new:
        return row
    if follow and old is not None:
        return {**row, "length_m": _text(max(stated + new - old, new, 1e-4), _TENTH_MM)}
    return row if stated >= new else {**row, "length_m": ""}


def put(plan: Plan, box: str, place: str) -> Plan:
    """The tables with the battery, or the module, control unit or keypad of that label, at another place.

    A keypad is where the inputs it reads are. The place of a control unit may be empty: where its wires are lightest.
    """
    if box in {label for label, *_ in plan.keypads}:
        return _with_keypad(plan, box, place)
    row = plan.row(place) if place else {"mount": "yes"}
    if box == "battery":
        return _with_battery(plan, place)
    if box not in dict(plan.mounted):
        raise BadEdit(f"There is no module or control unit '{box}' any more.")
    if row.get("mount", "no") != "yes":
        raise BadEdit(f"No module can be mounted at {place}: tick 'a module can be mounted here' for it first.")
    return replace(plan, mounted=tuple((label, place if label == box else at) for label, at in plan.mounted))


def _with_keypad(plan: Plan, box: str, place: str) -> Plan:
    plan.row(place)
    read = {name for label, _, inputs in plan.keypads if label == box for name in inputs}
    rows = tuple({**row, "place": place} if row["input"] in read else row for row in plan.inputs)
    keypads = tuple((label, place if label == box else at, inputs) for label, at, inputs in plan.keypads)
    return replace(plan, inputs=rows, keypads=keypads)


def _with_battery(plan: Plan, place: str) -> Plan:
    """The word ``battery`` goes from the old place to the new one, or warnings would still look at the old one."""
    old = plan.setting("battery_place")
    rows = [row for row in plan.settings if row["setting"] != "battery_place"]
    at = next((n for n, row in enumerate(plan.settings) if row["setting"] == "battery_place"), len(rows))
    rows.insert(at, {"setting": "battery_place", "value": place})
    after = replace(plan, settings=tuple(rows))
    words = {name: plan.row(name).get("contains", "").split() for name in (old, place) if name in plan.names}
    if old == place or "battery" not in words.get(old, []) or "battery" in words[place]:
        return after
    left = " ".join(word for word in words[old] if word != "battery")
    return _with_place(
        _with_place(after, old, contains=left), place, contains=" ".join(sorted([*words[place], "battery"]))
    )


def added(plan: Plan, name: str, x: float, y: float, mount: bool = False) -> Plan:
    """The tables with one more place."""
    name = clean(str(name))
    if not name:
        raise BadEdit("Give the new place a name.")
    if name.casefold() in {other.casefold() for other in plan.names}:
        raise BadEdit(f"There is a place '{name}' already: choose another name.")
    cells = {"x_m": _text(plan_number(x)), "y_m": _text(plan_number(y)), "mount": "yes" if mount else "no"}
    return replace(plan, places=(*plan.places, {"place": name, **cells}))


def mountable(plan: Plan, place: str, mount: bool) -> Plan:
    """The tables with a place at which modules can, or can no longer, be mounted."""
    plan.row(place)
    sits = [label for label, at in plan.mounted if at == place]
    if sits and not mount:
        raise BadEdit(f"{sits[0]} is mounted at {place}: move it first.")
    return _with_place(plan, place, mount="yes" if mount else "no")


def joined(plan: Plan, start: str, end: str) -> Plan:
    """The tables with one more route, as long as the straight distance."""
    plan.row(start), plan.row(end)
    if start == end:
        raise BadEdit("A route needs two places.")
    if any({row["from"], row["to"]} == {start, end} for row in plan.routes):
        raise BadEdit(f"There is a route between {start} and {end} already.")
    fresh = {"from": start, "to": end, "length_m": ""}
    if not plan.straight_m(fresh):
        raise BadEdit(f"{start} and {end} are at one point, or have none: move one of them first.")
    return replace(plan, routes=(*plan.routes, fresh))


def parted(plan: Plan, start: str, end: str) -> Plan:
    """The tables without a route."""
    return replace(plan, routes=tuple(row for row in plan.routes if {row["from"], row["to"]} != {start, end}))


def sized(plan: Plan, start: str, end: str, metres: Any) -> Plan:
    """The tables with the length of a route stated, m; empty: the straight distance."""
    length = plan_number(metres) if str(metres or "").strip() else None
    for row in (row for row in plan.routes if {row["from"], row["to"]} == {start, end}):
        straight = plan.straight_m(row)
        if length is not None and (length <= 0 or (straight is not None and length < straight - 0.001)):
            least = "0" if straight is None else f"{straight:.2f} m, the straight distance"
            raise BadEdit(f"{length:g} m is too short between {start} and {end}: it must be more than {least}.")
        fresh = {**row, "length_m": "" if length is None else _text(length, _TENTH_MM)}
        return replace(plan, routes=tuple(fresh if other is row else other for other in plan.routes))
    raise BadEdit(f"There is no route between {start} and {end} any more.")


def deleted(plan: Plan, place: str) -> Plan:
    """The tables without a place and the routes to it; BadEdit where something sits there."""
    plan.row(place)
    sits = [*plan.uses.get(place, ()), *(label for label, at in plan.mounted if at == place)]
    if sits:
        more = f" and {len(sits) - 3} more" if len(sits) > 3 else ""
        raise BadEdit(f"{place} is in use ({', '.join(sits[:3])}{more}): move what is there to another place first.")
    routes = tuple(row for row in plan.routes if place not in (row["from"], row["to"]))
    return replace(plan, places=tuple(row for row in plan.places if row["place"] != place), routes=routes)


_STEP_M = 0.5


def in_a_row(plan: Plan) -> Plan:
    """The tables with all places in a row that have no coordinates yet; places that are only named somewhere are added.

    They stand so near that no stated length is shorter than the straight distance.
    """
    named = [name for name in plan.uses if name not in plan.names]
    plan = replace(plan, places=(*plan.places, *({"place": name} for name in named)))
    bare = [name for name in plan.names if plan.point(name) is None]
    if not bare:
        raise BadEdit("There is no place without coordinates to lay out: add one with 'Add place'.")
    step, low = _step_m(plan, bare), min((p[1] for p in _points(plan)), default=0.5)
    digits = _MM if step >= 10**-_MM else 2 * _MM  # or two places would be one point
    for n, name in enumerate(bare):
        plan = _with_place(plan, name, x_m=_text(n * step, digits), y_m=_text(low - _STEP_M))
    return replace(plan, routes=tuple(_followed(plan, plan, row, False) for row in plan.routes))


def _points(plan: Plan) -> Iterator[tuple[float, float]]:
    return (point for name in plan.names if (point := plan.point(name)) is not None)


def _step_m(plan: Plan, bare: Sequence[str]) -> float:
    stated = [float(row["length_m"]) for row in plan.routes if row.get("length_m")]
    return min([_STEP_M, *(length / max(1, len(bare)) for length in stated)])


def edited(plan: Plan, message: Mapping[str, Any]) -> tuple[Plan, str]:
    """What an edit makes of the tables, and what it did in words.

    Parameters
    ----------
    plan : Plan
        As it stands.
    message : mapping
        ``op`` (move, put, add, mount, join, part, length, delete, row) with ``place``, ``x``, ``y``, ``box``,
        ``name``, ``start``, ``end`` as it needs; `follow` False: stated lengths stay as they are.

    Returns
    -------
    tuple of Plan and str

    Raises
    ------
    BadEdit
        It cannot be made.
    """
    return _OPS[message["op"]](plan, message)


Step = tuple[Plan, str]


def _put_words(plan: Plan, box: str, place: str) -> str:
    if not place:
        return f"{box} goes where its wires are lightest."
    inputs = next((inputs for label, _, inputs in plan.keypads if label == box), ())
    keys = f", with the {counted(len(inputs), 'input')} it reads" if inputs else ""
    return f"{box} moved to {place}{keys}."


def _move(plan: Plan, m: Mapping[str, Any]) -> Step:
    after = moved(plan, m["place"], m["x"], m["y"], m.get("follow", True))
    pairs = zip(plan.routes, after.routes, strict=True)
    lost = [row for row, new in pairs if row.get("length_m") and not new["length_m"]]
    words = ", ".join(f"{row['from']} to {row['to']} ({row['length_m']} m)" for row in lost)
    more = f" Too short for it now, so the straight distance counts: {words}." if lost else ""
    return after, f"{m['place']} moved to {float(m['x']):.2f}, {float(m['y']):.2f} m.{more}"


_OPS: dict[str, Callable[[Plan, Mapping[str, Any]], Step]] = {
    "move": _move,
    "put": lambda p, m: (put(p, m["box"], m["place"]), _put_words(p, m["box"], m["place"])),
    "add": lambda p, m: (added(p, m["name"], m["x"], m["y"], m.get("mount", False)), f"{clean(m['name'])} added."),
    "mount": lambda p, m: (
        mountable(p, m["place"], m["mount"]),
        f"{m['place']}: {'a' if m['mount'] else 'no'} module can be mounted here.",
    ),
    "join": lambda p, m: (joined(p, m["start"], m["end"]), f"Route from {m['start']} to {m['end']} drawn."),
    "part": lambda p, m: (parted(p, m["start"], m["end"]), f"Route from {m['start']} to {m['end']} deleted."),
    "length": lambda p, m: (
        sized(p, m["start"], m["end"], m["metres"]),
        f"Length from {m['start']} to {m['end']}: {m['metres'] or 'the straight distance'}.",
    ),
    "delete": lambda p, m: (
        deleted(p, m["place"]),
        f"{m['place']} deleted, with {counted(len(p.routes) - len(deleted(p, m['place']).routes), 'route')}.",
    ),
    "row": lambda p, m: (
        in_a_row(p),
        "Places without coordinates stand in a row: drag them where they are. Stated lengths stay as they are now.",
    ),
}
