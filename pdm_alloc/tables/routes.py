"""Places and routes: coordinates, lengths, and whether the harness reaches every load."""

from math import hypot

from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.lines import Line
from pdm_alloc.tables.vehicle_lines import VehicleLines

__all__ = ["check_routes"]

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
    seen: dict[frozenset, int] = {}
    before = len(faults)
    joined = [line for line in tables.rows["routes"] if {line.values.start, line.values.end} <= set(places)]
    for line in joined:
        _check_ends(line, seen, faults)
        _check_length(line, places[line.values.start], places[line.values.end], faults)
    # Where a route is at fault, a place it should have reached is no fault of its own.
    if len(faults) == before and len(joined) == len(tables.rows["routes"]):
        _check_reach(tables, places, faults)


def _check_coordinates(line, faults):
    row = line.values
    if (row.x_m is None) != (row.y_m is None):
        empty, given = ("x_m", "y_m") if row.x_m is None else ("y_m", "x_m")
        faults.add("places", line.number, empty, None, f"is empty although {given} is given", "give both or neither")


def _check_ends(line: Line, seen: dict[frozenset, int], faults: Faults) -> None:
    start, end = line.values.start, line.values.end
    ends = frozenset((start, end))
    if start == end:
        faults.add("routes", line.number, "to", end, "is the place it starts from", "name another place")
    elif ends in seen:
        message = f"is joined to {start} in row {seen[ends]} already"
        faults.add("routes", line.number, "to", end, message, "delete one of the two rows")
    seen.setdefault(ends, line.number)


def _check_length(line, start, end, faults):
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


def _check_straight(line, straight, faults):
    length = line.values.length_m
    if length is None and straight == 0:
        message = "is empty, and both places are at one point"
        faults.add("routes", line.number, "length_m", None, message, "give the length")
    elif length is not None and length < straight - _CLOSE_M:
        message = f"is shorter than the straight distance ({straight:.3f} m)"
        remedy = "measure it again, or leave it empty for the straight distance"
        faults.add("routes", line.number, "length_m", f"{length:g}", message, remedy)


def _check_reach(tables, places, faults):
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
