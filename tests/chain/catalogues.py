"""Random catalogues as tables of text, about as large as a vehicle needs, and loads locked to their channels."""

import random

from tests.chain.names import Names, free_text
from tests.chain.vehicles import Tables, number

__all__ = ["catalogue_tables", "locked_rows"]

# Continuous rating, A; peak over rating; how long it bears the peak, ms. Invented.
_RATINGS = ((3, 6, 20), (5, 4, 40), (8, 5, 60), (12, 6, 120), (15, 4, 50), (25, 5, 100), (40, 3, 80))


def catalogue_tables(chance: random.Random, vehicle: Tables) -> Tables:
    """One to three modules; about half of them are enough for the vehicle.

    Parameters
    ----------
    chance : random.Random
        The same seed gives the same catalogue.
    vehicle : dict
        Tables of the vehicle it is for.

    Returns
    -------
    dict of str to list of dict of str to str
        Rows by table, cells by column.
    """
    names = Names(chance, chance.choice((0, 10, 40)))
    tables: Tables = {"modules": [], "channels": [], "banks": [], "derating": []}
    for name in names.take(chance.choice((1, 1, 2, 3)), "module"):
        _add_module(chance, tables, name, vehicle)
    return {table: rows for table, rows in tables.items() if rows}


def _add_module(chance, tables, name, vehicle):
    items = sum(int(row["count"] or 1) for row in vehicle["loads"])
    ratings = chance.sample(_RATINGS, chance.randint(1, 4))
    channels = _channels(chance, name, max(2, round(items * chance.uniform(0.5, 1.3))), ratings)
    whole = sum(float(row["continuous_a"]) for row in channels)
    tables["modules"].append(_module(chance, name, whole))
    tables["channels"] += channels
    banks = dict.fromkeys(row["bank"] for row in channels if row["bank"])
    share = chance.choice((0.9, 0.7, 0.4))
    for bank in banks:
        own = sum(float(row["continuous_a"]) for row in channels if row["bank"] == bank)
        tables["banks"].append({"module": name, "bank": bank, "limit_a": number(own * share)})
    tables["derating"] += _derating(chance, name)


def _module(chance, name, whole):
    row = {
        "module": name,
        "total_a": number(whole * chance.choice((1, 0.8, 0.5))),
        "total_peak_a": number(whole * chance.choice((5, 3, 1.5))),
        "note": free_text(chance),
        "x_shelf": free_text(chance),
    }
    optional = {
        "mass_g": "350.5",
        "price": "499.99",
        "supply_min_v": "6",
        "supply_max_v": chance.choice(("60", "32", "16")),
        "inputs": chance.choice(("8", "4", "16")),
        "trip_step_a": chance.choice(("0.1", "0.5", "1")),
    }
    return row | {column: value for column, value in optional.items() if chance.random() < 0.4}


def _channels(chance, module, count, ratings):
    names = Names(chance, 30) if chance.random() < 0.1 else None
    banks = chance.choice(((), ("A",), ("A", "B"), ("bank; 1", "=B", "C")))
    labels = names.take(count, "out") if names else [str(n + 1) for n in range(count)]
    rows = [_channel(chance, module, n, label, ratings, banks) for n, label in enumerate(labels)]
    _label(chance, rows)
    return rows


def _channel(chance, module, n, label, ratings, banks):
    amps, times, peak_ms = chance.choice(ratings)
    return {
        "module": module,
        "channel": label,
        "connector": chance.choice(("", "X1", "=X2", "J; 3")) if n % 3 == 0 else "X1",
        "pins": chance.choice((f"p{n}", f"p{n} q{n}", f"p{n}, ö{n}", "")),
        "bank": chance.choice(banks) if banks else "",
        "continuous_a": str(amps),
        "peak_a": str(amps * times),
        "peak_ms": str(peak_ms),
        "features": "pwm" if chance.random() < 0.35 else "",
        "bridge": "",
        "pair": "",
        "max_wire_mm2": chance.choice(("2.5", "4", "6", "10")) if chance.random() < 0.3 else "",
    }


def _label(chance, rows):
    """Neighbours made a pair, a bridge or both."""
    for first in range(0, len(rows) - 1, 2):
        for word, share in (("pair", 0.3), ("bridge", 0.25)):
            if chance.random() < share:
                for row in rows[first : first + 2]:
                    row[word] = f"{word} {first}"


def _derating(chance, name):
    """None, or two to three rows; now and then they end below the vehicle's ambient."""
    if chance.random() < 0.6:
        return []
    top = 125 if chance.random() < 0.9 else 35
    rows = [(-40, "1"), (top, chance.choice(("1", "0.8", "0.5")))]
    if chance.random() < 0.5:
        rows.insert(1, (20.5, "1"))
    return [{"module": name, "ambient_c": number(c), "factor": factor} for c, factor in rows]


def locked_rows(chance: random.Random, vehicle: Tables, catalogue: Tables) -> list[dict[str, str]]:
    """One to three loads wired already, of one command each channel.

    Parameters
    ----------
    chance : random.Random
        The same seed gives the same rows.
    vehicle, catalogue : dict
        Tables.

    Returns
    -------
    list of dict of str to str
        Rows of the table locked.
    """
    rows: list[dict[str, str]] = []
    owners: dict[tuple[str, str], str] = {}
    joined = {row["command"] for row in vehicle.get("commands", ()) if row["together"]}
    free = [row for row in vehicle["loads"] if row["command"] not in joined]
    for load in chance.sample(free, min(len(free), chance.randint(1, 3))):
        channel = chance.choice(catalogue["channels"])
        spot = (channel["module"], channel["channel"])
        if owners.setdefault(spot, load["command"]) == load["command"]:
            rows.append({"load": load["load"], "module": spot[0], "channel": spot[1]})
    return rows
