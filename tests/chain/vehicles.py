"""Random vehicles as tables of text, valid and wide: everything the tables can say comes up."""

import random

from pdm_alloc.domain.kinds import IMPORTANCES, KINDS
from tests.chain.names import Names, free_text

__all__ = ["Tables", "vehicle_tables"]

Tables = dict[str, list[dict[str, str]]]

# Running current of one item, A: from, to. Invented, wide.
_AMPS = {
    "filament": (0.1, 10),
    "led": (0.02, 4),
    "motor": (0.3, 28),
    "solenoid": (0.2, 6),
    "heater": (0.5, 22),
    "electronics": (0.005, 8),
    "coil": (0.05, 0.4),
    "fan": (1.5, 20),
}


def number(value: float, digits: int = 3) -> str:
    """As it is typed; four digits where three after the mark could be taken for thousands."""
    text = f"{value:.{digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return f"{text}0" if len(text.partition(".")[2]) == 3 else text


def vehicle_tables(chance: random.Random) -> Tables:
    """A vehicle of 1 to 30 loads on 1 to 15 commands.

    Parameters
    ----------
    chance : random.Random
        The same seed gives the same vehicle.

    Returns
    -------
    dict of str to list of dict of str to str
        Rows by table, cells by column; settings are a table too.
    """
    names = Names(chance, chance.choice((0, 10, 40)))
    count = chance.choice((1, 2, *range(3, 12), *range(3, 12), *range(3, 8), chance.randint(12, 30)))
    commands = names.take(min(15, chance.randint(1, max(1, count * 2 // 3 + 1))), "on")
    volts = chance.choice((12, 12, 12, 24, 48))
    places = _places(chance, names) if chance.random() < 0.5 else []
    loads = _loads(chance, names.take(count), commands, [row["place"] for row in places])
    tables: Tables = {"loads": loads, **_command_tables(chance, names, commands, places)}
    _keep_possible(tables)
    used = {row["command"] for row in loads}
    known = [name for name in commands if name in used or tables.get("commands")]
    tables |= _state_tables(chance, names, known, volts)
    if places:
        tables |= {"places": places, **_routes(chance, places)}
    tables["settings"] = _settings(chance, volts, places)
    if chance.random() < 0.2:
        tables["concessions"] = _concessions(chance, loads)
    return {table: rows for table, rows in tables.items() if rows}


def _loads(chance, names, commands, places):
    labels = [f"pair {n}" for n in range(3)]
    tolerant = chance.random() < 0.3
    rows = [_load(chance, name, chance.choice(commands), places, labels, tolerant) for name in names]
    free = [column for column in ("x_part", "x_colour of wire", "X_=1") if chance.random() < 0.3]
    for row in rows:
        row.update({column: free_text(chance) for column in free})
    return rows


def _load(chance, name, command, places, labels, tolerant):
    kind = chance.choice(tuple(KINDS))
    low, high = _AMPS[kind]
    running = low * (high / low) ** chance.random()
    row = {
        "load": name,
        "command": command,
        "running_a": number(running),
        "count": chance.choice(("", "", "", "1", "2", "3", str(chance.randint(1, 8)))),
        "kind": kind,
        "needs": _needs(chance),
        "importance": chance.choice(("", *IMPORTANCES)),
        "share": chance.choice(("", "", "", "yes", "no")),
        "separate": chance.choice(labels) if chance.random() < 0.1 else "",
        "place": chance.choice(places) if places and chance.random() < 0.8 else "",
        "tolerance_pct": number(chance.choice((0, 5, 10, 33.3, 50))) if tolerant else "",
        "note": free_text(chance),
    }
    return row | _inrush(chance, running) | _wiring(chance, places)


def _needs(chance):
    return chance.choice(("pwm", "reversing", "pwm reversing")) if chance.random() < 0.06 else ""


def _inrush(chance, running):
    """Both, either or none of peak and length; a peak has a length."""
    if chance.random() < 0.6:
        return {}
    peak = float(number(running)) * chance.choice((1, 1.2, 3, 8))
    return {"inrush_a": number(peak), "inrush_ms": number(chance.choice((0.5, 5, 60, 150, 600)))}


def _wiring(chance, places):
    row = {}
    if chance.random() < 0.1:
        row["max_drop_pct"] = number(chance.choice((2, 3, 5, 10, 20)))
    if not places and chance.random() < 0.3:
        row["length_m"] = number(chance.uniform(0.2, 8))
    if chance.random() < 0.05:
        row["min_v"] = number(chance.uniform(6, 10))
    if chance.random() < 0.05:
        row["volt_exponent"] = number(chance.choice((-1, 0, 0.55, 1, 1.3)))
    return row


def _command_tables(chance, names, commands, places):
    """Commands with conditions over inputs; either table may be missing."""
    inputs = names.take(chance.randint(0, 6), "switch")
    tables = {"inputs": [_input(chance, name, places) for name in inputs]}
    if chance.random() < 0.7:
        tables["commands"] = [_command(chance, name, inputs) for name in commands]
    return tables


def _input(chance, name, places):
    place = chance.choice([row["place"] for row in places]) if places and chance.random() < 0.5 else ""
    kind = chance.choice(("", "switch", "analog", "bus"))
    return {"input": name, "kind": kind, "place": place, "note": free_text(chance)}


def _command(chance, name, inputs):
    return {
        "command": name,
        "condition": condition(chance, inputs, chance.randint(0, 3)) if inputs and chance.random() < 0.7 else "",
        "action": "pwm" if chance.random() < 0.04 else chance.choice(("", "steady", "flash")),
        "headroom_pct": chance.choice(("0", "5", "30")) if chance.random() < 0.08 else "",
        "together": "yes" if chance.random() < 0.05 else "",
        "x_wire": free_text(chance),
    }


def _keep_possible(tables):
    """Loads whose own rows forbid it are not told to share one channel."""
    alone = {r["command"] for r in tables["loads"] if r["share"] == "no" or r["separate"] or "rev" in r["needs"]}
    for row in tables.get("commands", ()):
        row["together"] = "" if row["command"] in alone else row["together"]


def condition(chance: random.Random, inputs: list[str], depth: int) -> str:
    """A condition over inputs whose names can be written in one; empty where none can."""
    writable = [text for name in inputs if (text := _quoted(name))]
    return _expression(chance, writable, depth) if writable else ""


def _quoted(name):
    marks = [(a, b) for a, b in ('""', "''", "“”") if a not in name and b not in name]
    return f"{marks[0][0]}{name}{marks[0][1]}" if marks else ""


def _expression(chance, names, depth):
    if depth == 0:
        return chance.choice(("", "not ", "~")) + chance.choice(names)
    left, right = (_expression(chance, names, depth - 1) for _ in range(2))
    return f"({left}) {chance.choice(('and', 'or', '&', '||', 'AND'))} ({right})"


def _state_tables(chance, names, commands, volts):
    states = names.take(chance.choice((0, 1, 2, 3, 5)), "state")
    if not states:
        return {}
    duties = ("", "", "0", "1", "1", "1", "0.5", "0.333333", "0.25", "0.07")
    tables = {"states": [{"command": c, **{s: chance.choice(duties) for s in states}} for c in commands]}
    if chance.random() < 0.8:
        tables["supply"] = [_supply(chance, state, volts) for state in states]
    return tables


def _supply(chance, state, volts):
    return {
        "state": state,
        "supply_v": number(volts * chance.choice((0.75, 0.95, 1, 1.05, 1.15, 1.2)), 2),
        "charging_a": chance.choice(("", "0", "55", "140.5")),
        "minutes": chance.choice(("", "0", "0.2", "30", "600")),
    }


def _places(chance, names):
    """All with coordinates or none; the first can take a module."""
    points, found = chance.random() < 0.7, names.take(chance.randint(1, 7), "place")
    return [_place(chance, name, points, name == found[0]) for name in found]


def _place(chance, name, points, mount):
    at = {axis: number(chance.uniform(-3, 3), 2) if points else "" for axis in ("x_m", "y_m")}
    return {
        "place": name,
        **at,
        "compartment": chance.choice(("", "cabin", "engine bay", "boot; left")),
        "ambient_c": chance.choice(("", "", "25", "45", "70")),
        "mount": "yes" if mount or chance.random() < 0.2 else chance.choice(("", "no")),
        "contains": chance.choice(("battery", "fuel", "battery fuel")) if chance.random() < 0.2 else "",
    }


def _routes(chance, places):
    """A tree, and now and then a run more; no shorter than the straight distance."""
    if chance.random() < 0.2:
        return {}
    ends = [(chance.randrange(n), n) for n in range(1, len(places))]
    if len(places) > 2 and chance.random() < 0.3:
        ends.append((0, len(places) - 1))
    return {"routes": [_route(chance, places[a], places[b]) for a, b in dict.fromkeys(ends)]}


def _route(chance, start, end):
    straight = 0.0
    if start["x_m"]:
        straight = sum((float(start[axis]) - float(end[axis])) ** 2 for axis in ("x_m", "y_m")) ** 0.5
    empty = straight > 0 and chance.random() < 0.5
    return {
        "from": start["place"],
        "to": end["place"],
        "length_m": "" if empty else number(straight + chance.uniform(0.01, 1)),
    }


def _settings(chance, volts, places):
    """Some of the settings, each at a value that a vehicle may have."""
    choices = {
        "name": [free_text(chance).strip()[:100], "kit car"],
        "headroom_pct": ["0", "10", "20", "20", "33.3"],
        "module_headroom_pct": ["0", "10", "25"],
        "spare_channels": ["0", "0", "1", "2", "4"],
        "strategy": ["isolate", "spare"],
        "module_ambient_c": ["25", "40", "55"],
        "return_path": ["chassis", "wire"],
        "wire_sizes": ["metric", "awg"],
        "insulation_c": ["85", "105", "125"],
        "wire_ambient_c": ["20", "45", "60"],
        "bundle_wires": ["1", "3", "7"],
        "battery_ah": ["60", "7.2"],
        "battery_floor_pct": ["0", "50", "20"],
        "slack_pct": ["0", "5", "12.5"],
        "end_allowance_m": ["0", "0.15"],
        "tolerance_loads": ["0", "1", "3", "5"],
    }
    rows = {name: chance.choice(values) for name, values in choices.items() if chance.random() < 0.35}
    if places and chance.random() < 0.5:
        rows["battery_place"] = chance.choice(places)["place"]
    rows |= {"system_v": str(volts)} if volts != 12 or chance.random() < 0.5 else {}
    rows["time_limit_s"] = "1"
    return [{"setting": name, "value": value} for name, value in rows.items() if value]


def _concessions(chance, loads):
    kinds = ("headroom", "join", "relay", "separation", "soft_start", "leave_out")
    row = {"kind": chance.choice(kinds), "weight": chance.choice(("never", "0", "3", "1000"))}
    return [{**row, "subject": chance.choice(("*", chance.choice(loads)["load"]))}]
