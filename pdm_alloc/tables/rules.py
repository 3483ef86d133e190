"""What the rows of a vehicle must keep to beyond one cell: inrush, settings, coordinates, routes, what is locked."""

from math import hypot

from pdm_alloc.kinds import KINDS
from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.lines import Line
from pdm_alloc.tables.references import VehicleLines

__all__ = ["check_rules"]

_CLOSE_M = 0.001


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
    _check_settings(tables, faults)
    for line in tables.rows["places"]:
        _check_coordinates(line, faults)
    _check_routes(tables, faults)
    _check_locked(tables, faults)
    _check_concessions(tables, faults)


def _check_inrush(line: Line, faults: Faults) -> None:
    row = line.values
    if None in (row.running_a, row.inrush_a, row.kind):
        return
    if row.inrush_a < row.running_a:
        faults.add(
            "loads",
            line.number,
            "inrush_a",
            _amps(row.inrush_a),
            f"is below running_a ({_amps(row.running_a)})",
            "give the peak of one item, running current included, or leave it empty for the kind's multiple",
        )
    length = KINDS[row.kind].inrush_ms if row.inrush_ms is None else row.inrush_ms
    if row.inrush_a > row.running_a and length == 0:
        value = "0" if row.inrush_ms is not None else None
        faults.add(
            "loads",
            line.number,
            "inrush_ms",
            value,
            "is 0 ms or unknown for an inrush above running_a",
            "give the time until the excess has fallen to 5 %",
        )


def _amps(milliamps):
    return f"{milliamps / 1000:g}"


def _check_settings(tables, faults):
    settings, rows = tables.settings, tables.setting_rows
    if (
        None not in (settings.wire_ambient_c, settings.insulation_c)
        and settings.wire_ambient_c >= settings.insulation_c
    ):
        faults.add(
            "settings",
            rows.get("wire_ambient_c"),
            "wire_ambient_c",
            f"{settings.wire_ambient_c:g}",
            f"is not below insulation_c ({settings.insulation_c:g} °C)",
            "give insulation of a higher class",
        )


def _check_coordinates(line, faults):
    row = line.values
    for here, there, value in (("x_m", "y_m", row.x_m), ("y_m", "x_m", row.y_m)):
        if value is None and getattr(row, there) is not None:
            faults.add("places", line.number, here, None, f"is empty although {there} is given", "give both or neither")


def _check_routes(tables, faults):
    places = {line.values.place: line.values for line in tables.rows["places"]}
    seen: dict[frozenset, int] = {}
    for line in tables.rows["routes"]:
        row = line.values
        if row.start not in places or row.end not in places:
            continue
        if row.start == row.end:
            faults.add("routes", line.number, "to", row.end, "is the place it starts from", "name another place")
            continue
        if frozenset((row.start, row.end)) in seen:
            faults.add(
                "routes",
                line.number,
                "to",
                row.end,
                f"is joined to {row.start} in row {seen[frozenset((row.start, row.end))]} already",
                "delete one of the two rows",
            )
        seen.setdefault(frozenset((row.start, row.end)), line.number)
        _check_length(line, places[row.start], places[row.end], faults)
    _check_reach(tables, places, faults)


def _check_length(line, start, end, faults):
    known = None not in (start.x_m, start.y_m, end.x_m, end.y_m)
    length = line.values.length_m
    if length is None and not known:
        without = start.place if None in (start.x_m, start.y_m) else end.place
        faults.add(
            "routes",
            line.number,
            "length_m",
            None,
            f"is empty, and {without} has no coordinates",
            "give the length, or x_m and y_m of both places",
        )
    if length is None or not known:
        return
    straight = hypot(start.x_m - end.x_m, start.y_m - end.y_m)
    if length < straight - _CLOSE_M:
        faults.add(
            "routes",
            line.number,
            "length_m",
            f"{length:g}",
            f"is shorter than the straight distance ({straight:.3f} m)",
            "measure it again, or leave it empty for the straight distance",
        )
    if straight == 0 and length is None:
        faults.add(
            "routes", line.number, "length_m", None, "is empty, and both places are at one point", "give the length"
        )


def _check_reach(tables, places, faults):
    """Places of loads that no routes join to a place where a module can be mounted."""
    mounts = [name for name, row in places.items() if row.mount]
    if not tables.rows["routes"] or not mounts:
        return
    reached = _reached(tables, mounts)
    for line in tables.rows["loads"]:
        place = line.values.place
        if place in places and place not in reached:
            faults.add(
                "loads",
                line.number,
                "place",
                place,
                "is joined by no routes to a place where a module can be mounted",
                "add the routes that are missing",
            )


def _reached(tables, mounts) -> set[str]:
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


def _check_locked(tables, faults):
    counts = {line.values.load: line.values.count for line in tables.rows["loads"]}
    seen: dict[tuple, int] = {}
    held: dict[tuple, int] = {}
    for line in tables.rows["locked"]:
        row = line.values
        key = (row.load, row.module, row.channel)
        if None in key or counts.get(row.load) is None:
            continue
        if key in seen:
            faults.add(
                "locked",
                line.number,
                "channel",
                row.channel,
                f"is already in row {seen[key]}",
                "delete one of the two rows",
            )
            continue
        seen[key] = line.number
        held[key[:2]] = held.get(key[:2], 0) + 1
        if held[key[:2]] == counts[row.load] + 1:
            faults.add(
                "locked",
                line.number,
                "load",
                row.load,
                f"is locked to more channels than its count ({counts[row.load]})",
                "delete the rows too many",
            )


def _check_concessions(tables, faults):
    seen: dict[tuple, int] = {}
    for line in tables.rows["concessions"]:
        key = (line.values.kind, line.values.subject)
        if None not in key and key in seen:
            faults.add(
                "concessions",
                line.number,
                "subject",
                key[1],
                f"is already in row {seen[key]} for {key[0]}",
                "delete one of the two rows",
            )
        seen.setdefault(key, line.number)
