"""A vehicle and a catalogue in which every text is hostile: formulas, markup, mathematics; written as CSV."""

import csv

PAYLOADS = {
    "formula": "=cmd|' /C calc'!A0;=1+1\t@SUM(1) \" ",
    "markup": '\uff1d</para><script>alert(1)</script><img src=x onerror=alert(1)><a href="x">]]>&lt; ',
    "mathematics": "$\\frac{1$ _^{ &G&D %s {0} ",
}


def vehicle_tables(bad):
    """Tables of a vehicle with every name, note, place, part and colour behind the payload."""
    lamp, pump, horn, cool = (bad + word for word in ("lamp", "pump", "horn", "cool"))
    lights, run = bad + "lights", bad + "run"
    dash, tail, engine = (bad + word for word in ("dash", "tail", "engine"))
    night = bad + "night"
    more = {"note": bad + "note", "x_mine": bad + "mine"}
    load = {"separate": bad + "label", "importance": "needed", **more}
    return {
        "loads": [
            {"load": lamp, "command": lights, "running_a": 2, "count": 2, "kind": "led", "place": tail, **load},
            {"load": pump, "command": run, "running_a": 5, "count": 1, "kind": "motor", "place": engine, **load},
            {"load": horn, "command": run, "running_a": 1, "count": 1, "kind": "led", "place": engine, **load},
            {"load": cool, "command": run, "running_a": 3, "count": 1, "kind": "fan", "place": engine, **more},
        ],
        "commands": [{"command": lights, "condition": "key", **more}, {"command": run, "condition": "", **more}],
        "inputs": [
            {"input": "key", "kind": "switch", "place": dash, **more},
            {"input": bad + "stalk", "kind": "bus", "place": dash, **more},
        ],
        "states": [{"command": lights, night: 1}, {"command": run, night: 1}],
        "supply": [{"state": night, "supply_v": 13.8, "charging_a": 30, "minutes": 60}],
        "places": [
            {"place": dash, "x_m": 1, "y_m": 0, "compartment": bad + "cabin", "mount": "yes", "contains": ""},
            {"place": tail, "x_m": 4, "y_m": 1, "compartment": bad + "boot", "mount": "no", "contains": "battery fuel"},
            {"place": engine, "x_m": 0, "y_m": 0, "compartment": bad + "bay", "mount": "no", "contains": ""},
        ],
        "routes": [{"from": dash, "to": tail, "length_m": 4}, {"from": dash, "to": engine, "length_m": 2}],
        "grounds": [{"ground": bad + "G1", "place": tail, "use": "power", "max_a": 80, "max_wires": 8, **more}],
        "parts": [{"item": "terminal", "least": 0.5, "most": 1.5, "part": bad + "T-0515", **more}],
        "wire_colours": [{"by": "kind", "subject": "motor", "colour": bad + "blue"}],
        "fitted": [{"part": bad + "shelf", "mass_g": 100, "count": 1, **more}],
        "removed": [{"part": bad + "old fuse box", "mass_g": 1850, "count": 1, **more}],
        "signals": [{"signal": bad + "pressure", "kind": "voltage", "place": engine, "current_a": 0.01, **more}],
        "messages": [{"message": bad + "speed", "bytes": 8, "period_ms": 10, "priority": 256, **more}],
        "concessions": [{"kind": "leave_out", "subject": lamp, "weight": "never"}],
        "locked": [{"load": pump, "module": bad + "module", "channel": bad + "3"}],
    }


def catalogue_tables(bad):
    """Two modules: one that is enough, and one that is not."""
    big, small, more = bad + "module", bad + "small", {"note": bad + "note"}
    limits = {"bank": bad + "left", "continuous_a": 15, "peak_a": 60, "peak_ms": 80}
    names = [(big, n) for n in range(1, 9)] + [(small, 1)]
    return {
        "modules": [
            {"module": big, "total_a": 60, "total_peak_a": 300, "price": 400, "mass_g": 300, "quiescent_ma": 2, **more},
            {"module": small, "total_a": 60, "total_peak_a": 300, "price": 200, "mass_g": 100, **more},
        ],
        "channels": [
            {"module": name, "channel": f"{bad}{n}", "connector": bad + "X", "pins": f"p{n}", **limits}
            for name, n in names
        ],
        "banks": [{"module": name, "bank": bad + "left", "limit_a": 50} for name in (big, small)],
    }


def write(folder, tables, settings=""):
    """Every cell quoted, as a spreadsheet writes them."""
    folder.mkdir(parents=True)
    for name, rows in tables.items():
        with (folder / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, list(rows[0]), restval="", quoting=csv.QUOTE_ALL)
            writer.writeheader()
            writer.writerows(rows)
    if settings:
        (folder / "settings.toml").write_text(settings, encoding="utf-8")
    return folder
