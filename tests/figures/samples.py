"""Small tables for the figures, some with long names and 32 channels; all invented."""

import numpy as np
import pandas as pd

LONG = "windscreen heating element of the left-hand half, outer winding"
STATES = ("ready", "cranking", "stage day", "stage night", "stage night rain", "liaison night", "service park")


class Result:
    """Stands for an allocation: tables as attributes."""

    def __init__(self, **tables):
        self.__dict__.update(tables)


def channels(count=32, modules=("compact-31",)):
    """A table like `Allocation.channels`, with long names in places."""
    limits = np.resize([3.5, 6.5, 11.0, 17.0, 28.0], count)
    shares = np.resize([0.12, 0.45, 0.79, 0.66, 0.8, 0.31, 0.55], count)
    names = [f"{LONG}; side lamp left; number plate lamp" if n % 9 == 4 else f"load {n} x2" for n in range(count)]
    return pd.DataFrame(
        {
            "module": np.sort(np.resize(modules, count)),
            "channel": [f"{2 * n + 1}+{2 * n + 2}" if n % 11 == 5 else f"{n + 1}" for n in range(count)],
            "command": [f"command number {n} with a long name" if n % 7 == 3 else f"command {n}" for n in range(count)],
            "loads": names,
            "running_a": limits * shares,
            "limit_a": limits,
            "inrush_a": limits * shares * np.resize([1, 3, 6, 9], count),
            "peak_a": limits * 8.6,
            "inrush_use_pct": np.resize([10.0, 35.0, 97.0, 64.0], count),
        }
    )


def allocation(count=32, modules=("compact-31",)):
    """Channels, and one or two items on each; the last load is split over two channels."""
    table = channels(count, modules)
    rows = [(f"load {n}" if n % 9 != 4 else f"{LONG} {n}", 1, n) for n in range(count)]
    rows += [(f"second load {n}", 1, n) for n in range(0, count, 3)] + [("split load", 1, 2), ("split load", 2, 20)]
    assignments = pd.DataFrame(
        [(load, item, table["module"][n], table["channel"][n]) for load, item, n in rows if n < count],
        columns=["load", "item", "module", "channel"],
    )
    return Result(channels=table, assignments=assignments)


def states(modules=("compact-31",), over=False):
    """Current against limit in every state, for two banks, the module and its peak."""
    share = dict(zip(STATES, (0.12, 0.2, 0.35, 0.7, 1.08 if over else 0.93, 0.6, 0.2), strict=True))
    subjects = {"bank west": 63.5, "bank east": 63.5, "whole module": 119.1, "whole module, peak": 430.0}
    rows = [
        (module, subject, state, limit * part * (0.8 if "east" in subject else 1), limit)
        for state, part in share.items()
        for module in modules
        for subject, limit in subjects.items()
    ]
    return pd.DataFrame(rows, columns=["module", "subject", "state", "current_a", "limit_a"])


def worst():
    """Three limits, one of them passed, with long and short combinations."""
    many = ", ".join(f"switch {n}" for n in range(22)) + " and horn button on"
    rows = [
        ("middle-36", "whole module", "stage night rain", 173.7, 161.7, 107.4, many, ""),
        ("middle-36", "whole module, peak", "stage night", 451.0, 480.0, 94.0, "head switch on", "main stalk on"),
        ("middle-36", "bank west", "ready", 6.0, 70.6, 8.5, "every input off", ""),
    ]
    columns = ["module", "limit", "state", "current_a", "limit_a", "used_pct", "combination", "changed"]
    return pd.DataFrame(rows, columns=columns)


def shortfall():
    """Four kinds of limit that are short."""
    rows = [
        ("channels", "", "", 31, 35, 4, "", "4 more channels"),
        ("channel strength", "", "", 17, 19, 2, "", "2 more channels of at least 11 A: wiper, fast winding; horn"),
        ("whole module", "whole module", "stage night rain", 71.0, 83.0, 12.0, "A",
         "12 A more in the state stage night rain (83 A against 71 A), needed by the heated screen, the spot lamps, "
         "the heater blower and everything else that is on then"),
        ("inrush", "channel", "", 88.0, 101.5, 13.5, "A", "one channel that lets 101.5 A of inrush pass: spot lamp"),
    ]  # fmt: skip
    columns = ["kind", "subject", "state", "have", "need", "short", "unit", "sentence"]
    return pd.DataFrame(rows, columns=columns)


def concessions():
    """Two sets."""
    rows = [
        (1, "leave_out", "passenger window", 20, "Wound by hand. Frees a reversing pair: channels 14+15."),
        (1, "join", "navigator with crew safety", 4, "Always on together in every state: nothing is lost."),
        (1, "join", "lift pump with main fuel pump", 4, "Always on together in every state: nothing is lost."),
        (2, "less headroom", "heated screen left, heated screen right", 12, "15.0 % instead of 20 % on channel 21."),
        (2, "external relay", "horn", 15, "A relay and a 15 A fuse, about 60 g; its coil stays on a channel of 3.5 A."),
        (2, "give up separation", "tail lamp left and tail lamp right", 30,
         "One fault takes out both. Check the rules of the event and of the road before you do this."),
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["rank", "kind", "subject", "weight", "detail"])


def curves():
    """A stalled motor, its channel and its wire; formulas of convenience, only to have something to draw."""
    t_ms = np.geomspace(0.1, 100_000, 200)
    trip = np.where(t_ms < 20, 140.0, np.maximum(11.5, 140 * np.sqrt(20 / t_ms)))
    wire = np.maximum(48.0, 9000 / np.sqrt(t_ms))
    return pd.DataFrame(
        {
            "t_ms": t_ms,
            "circuit_a": 7.1 + 35.5 * np.exp(-t_ms / 50),
            "stalled_a": np.full(200, 42.6),
            "trip_a": trip,
            "wire_a": np.where(wire > 2000, np.nan, wire),
        }
    )


def drops(count=40):
    """Drops, one above its limit, two not judged."""
    return pd.DataFrame(
        {
            "load": [f"{LONG} {n}" if n % 13 == 5 else f"load {n}" for n in range(count)],
            "drop_pct": [np.nan if n in (7, 8) else 3.4 - 3.2 * n / count for n in range(count)],
            "limit_pct": [10.0 if n % 5 == 4 else 3.0 for n in range(count)],
            "drop_v": [np.nan if n in (7, 8) else 0.4 - 0.38 * n / count for n in range(count)],
            "wire": np.resize(["0.75 mm2", "1.5 mm2", "2.5 mm2"], count),
        }
    )


def supply():
    """Seven states, one of them with more taken than given."""
    return pd.DataFrame(
        {
            "state": STATES,
            "mean_a": [17, 28, 44, 86, 111, 71, 24],
            "peak_a": [36, 28, 95, 164, 186, 165, 44],
            "charging_a": [0, 0, 90, 90, 90, 75, np.nan],
            "floor_minutes": [106, 64, np.nan, np.nan, 86, np.nan, 75],
        }
    )


PLACES = (
    ("lamp bar", 0.05, 0), ("nose left", 0.25, -0.55), ("nose right", 0.25, 0.55), ("radiator", 0.45, 0),
    ("engine", 0.95, 0.15), ("wing left", 0.85, -0.7), ("wing right", 0.85, 0.7), ("bulkhead", 1.35, 0.1),
    ("scuttle", 1.45, -0.3), ("dash", 1.7, -0.2), ("glove box", 1.7, 0.45), ("column", 1.95, -0.4),
    ("tunnel", 2.3, 0), ("right door", 2.1, 0.78), ("roof", 2.4, -0.1), ("under seat", 2.6, 0.4),
    ("rear shelf", 3.2, 0), ("boot", 3.5, -0.35), ("battery box", 3.45, 0.5), ("tank", 3.6, 0.1),
    ("tail left", 4.0, -0.6), ("tail right", 4.0, 0.6),
)  # fmt: skip
SEGMENTS = (
    ("lamp bar", "nose left", 6.5, 5), ("lamp bar", "nose right", 0, 0), ("nose left", "wing left", 10, 12),
    ("nose right", "wing right", 8, 8), ("radiator", "nose right", 5, 1), ("wing left", "scuttle", 11, 14),
    ("wing right", "bulkhead", 9, 9), ("engine", "bulkhead", 7, 6), ("scuttle", "bulkhead", 14, 20),
    ("bulkhead", "dash", 16, 26), ("bulkhead", "glove box", 21, 40), ("dash", "glove box", 8, 8),
    ("dash", "column", 4, 2), ("dash", "tunnel", 9, 9), ("glove box", "right door", 4, 2),
    ("tunnel", "under seat", 8, 7), ("column", "roof", 3, 3), ("tunnel", "rear shelf", 8, 8),
    ("under seat", "rear shelf", 5, 3), ("rear shelf", "boot", 9, 9), ("rear shelf", "battery box", 12, 2),
    ("boot", "tank", 5, 2), ("battery box", "tank", 0, 0), ("boot", "tail left", 7, 6),
    ("battery box", "tail right", 6, 4),
)  # fmt: skip


def plan():
    """Places, segments and modules of a car."""
    places = pd.DataFrame(PLACES, columns=["place", "x_m", "y_m"])
    places["contains"] = ["battery" if p == "battery box" else "fuel" if p == "tank" else "" for p in places["place"]]
    segments = pd.DataFrame(SEGMENTS, columns=["start", "end", "bundle_mm", "wires"])
    return places, segments, pd.DataFrame([("middle-36", "glove box")], columns=["module", "place"])


def grounds():
    """Places, ground points and returns of a car; two studs at one place, one without a limit."""
    points = [
        ("G1", "nose left", 8, 42.6, 100.0), ("G2", "nose right", 8, 48.17, 100.0), ("G4", "engine", 8, 14.7, 150.0),
        ("G5", "dash", 8, 2.96, None), ("G9", "boot", 7, 18.6, 100.0), ("S1", "dash", 9, 0.18, 10.0),
    ]  # fmt: skip
    returns = [
        ("lamp bar", "nose left", "power"), ("lamp bar", "nose right", "power"), ("engine", "engine", "power"),
        ("tail left", "boot", "power"), ("column", "dash", "sensor"), ("", "", "power"),
    ]  # fmt: skip
    return (
        plan()[0],
        pd.DataFrame(points, columns=["ground", "place", "returns", "current_a", "max_a"]),
        pd.DataFrame(returns, columns=["place", "ground_place", "use"]),
    )


def ledger():
    """Parts fitted and removed, one of unknown mass, and their sum."""
    rows = [
        ("middle-36", 1, 810.0), ("wire of circuits", 71, 2300.0), ("battery cables", 4, 6080.0),
        ("bracket of the module with a long name that goes on and on", 1, 260.0), ("strap", 1, None),
        ("old main loom", 1, -6900.0), ("relay with socket", 14, -672.0), ("net", 1, 1878.0),
        ("conventional wiring", 1, 5070.0),
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["part", "count", "mass_g"])


def choices(count=40):
    """Choices of modules and places with price and mass."""
    turn = np.random.default_rng(5)
    two = np.arange(count) % 3 == 0
    wire = turn.uniform(2600, 5200, count) - 900 * two
    table = pd.DataFrame(
        {
            "choice": [
                f"compact-31 at under seat {n} and compact-31 at glove box" if t else f"middle-36 at bulkhead {n}"
                for n, t in enumerate(two)
            ],
            "modules": np.where(two, 2, 1),
            "price": np.where(two, 1440, turn.choice([1080, 1290, 1640, 1910], count)),
            "module_g": np.where(two, 1280, 930),
            "wire_g": wire,
            "feed_g": turn.uniform(300, 1200, count),
        }
    )
    return table.assign(mass_g=table[["module_g", "wire_g", "feed_g"]].sum(axis=1))


def room():
    """Room left for five kinds of load."""
    rows = [
        ("lamp, filament", 4, 1.75, "whole module in the state stage night rain", False),
        ("fuel pump", 2, 6.5, "channels of at least 11 A", False),
        ("relay coil", 20, 0.2, "", True),
        ("heater", 0, 12.5, "channels of at least 28 A", False),
        ("electronics", 6, 0.8, "channels", False),
    ]
    return pd.DataFrame(rows, columns=["kind", "more", "running_a", "limited_by", "at_least"])
