"""Random vehicles and catalogues, seeded: tiny ones for the oracle, realistic ones for benchmarks; all invented."""

import random
from collections import Counter
from dataclasses import dataclass
from itertools import product

from tests.attack.tables import Tables

__all__ = ["REALISTIC", "Size", "features", "realistic", "tiny"]

REALISTIC = tuple((body, seed) for seed in range(10) for body in ("car", "van", "boat", "truck"))
LOADS = {"car": (15, 70), "van": (10, 60), "boat": (5, 80), "truck": (30, 200)}
VOLTS = {"car": 12, "van": 12, "boat": 12, "truck": 24}
# kind: lowest and highest running current, A; multiple and length of the inrush, ms
KINDS = {
    "filament": ((0.4, 6.0), (8, 12), (40, 80)),
    "led": ((0.1, 3.0), (1.5, 3), (0.5, 2)),
    "motor": ((1.0, 18.0), (3, 6), (80, 250)),
    "fan": ((2.0, 22.0), (2, 4), (200, 600)),
    "solenoid": ((0.5, 8.0), (1, 1.5), (0, 20)),
    "heater": ((2.0, 20.0), (1, 1.4), (100, 400)),
    "electronics": ((0.2, 4.0), (1.5, 4), (1, 5)),
    "coil": ((0.1, 0.5), (1, 1), (0, 0)),
}
RATINGS = (3.0, 5.0, 8.0, 12.0, 16.0, 22.0, 30.0)
PLACES = ("nose", "dash", "middle", "tail", "roof")


@dataclass(frozen=True)
class Size:
    """How much of everything."""

    loads: int
    inputs: int
    commands: int
    channels: int
    states: int
    most_count: int = 3


class _Vehicle:
    """Rows of one vehicle and one catalogue in the making."""

    def __init__(self, seed, size, volts, has_places):
        self.random, self.size, self.volts = random.Random(seed), size, volts
        self.places = PLACES if has_places else ()
        self.inputs = [f"input_{n:02}" for n in range(size.inputs)]
        self.commands = [f"command {n:02}" for n in range(size.commands)]
        self.tables = Tables()

    def chance(self, share):
        return self.random.random() < share

    def amps(self, low, high):
        return round(self.random.uniform(low, high), 1)

    def build(self, modules):
        self.tables.rows["loads"] = self.loads()
        self.tables.rows["commands"] = [self.command(name) for name in self.commands]
        self.tables.rows["inputs"] = [
            {"input": name, "kind": self.random.choice(("switch", "bus", "analog"))} for name in self.inputs
        ]
        self.states()
        if self.places:
            self.harness()
        self.settings()
        self.catalogue(modules)
        return self.tables

    def loads(self):
        return [self.load(n) for n in range(self.size.loads)]

    def load(self, n):
        kind = self.random.choice(tuple(KINDS))
        (low, high), (least, most), length = KINDS[kind]
        running = max(0.1, self.amps(low, min(high, low + 4 if self.chance(0.6) else high)) * 12 / self.volts)
        running = round(running, 1)
        command = self.commands[n] if n < len(self.commands) else self.random.choice(self.commands)
        row = {
            "load": f"load {n:03}",
            "command": command,
            "running_a": running,
            "count": self.random.choice((1, 1, 1, 2, self.size.most_count)),
            "kind": kind,
            "inrush_a": round(max(running, running * self.random.uniform(least, most)), 1),
            "inrush_ms": round(self.random.uniform(*length), 1),
            "needs": self.random.choice(("pwm", "reversing")) if self.chance(0.35) and kind in ("motor", "fan") else "",
            "share": "no" if self.chance(0.06) else "yes",
            "separate": f"label {n % 2}" if self.chance(0.1) else "",
            "tolerance_pct": self.random.choice(("", "", "", 5, 10, 20)),
            "importance": self.random.choice(("vital", "needed", "needed", "comfort")),
            "volt_exponent": self.random.choice((0.5, 2)) if self.chance(0.05) else "",
        }
        return row | ({"place": self.random.choice(self.places)} if self.places else {})

    def command(self, name):
        action = self.random.choice(("steady", "steady", "steady", "flash", "pwm"))
        row = {"command": name, "condition": self.condition() if self.chance(0.9) else "", "action": action}
        if action == "flash" or self.chance(0.15):
            cycle = round(self.random.uniform(1, 120), 1)
            row |= {"on_s": round(max(0.2, cycle * self.random.uniform(0.1, 0.8)), 1), "cycle_s": cycle}
        return row

    def condition(self):
        """A key behind a main switch, an exclusion, a choice of two: as vehicles have them; at times anything."""
        pick = lambda: self.random.choice(self.inputs)  # noqa: E731
        forms = (
            lambda: pick(),
            lambda: f"{self.inputs[0]} and {pick()}",
            lambda: f"{pick()} and not {pick()}",
            lambda: f"{self.inputs[0]} and ({pick()} or {pick()})",
            lambda: f"({pick()} or {pick()}) and not {pick()}",
            lambda: f"not ({pick()} and {pick()}) or {pick()}",
        )
        return self.random.choices(forms, (3, 4, 2, 2, 1, 1))[0]()

    def states(self):
        names = [f"state {n}" for n in range(self.size.states)]
        if not names:
            self.drop_contradictions()
            return
        self.tables.rows["states"] = [
            {"command": c} | {s: self.random.choice(("", 0.2, 0.5, 1, 1, 1)) for s in names} for c in self.commands
        ]
        for name in names:
            self.make_possible(name)
        self.tables.rows["supply"] = [self.supply(name) for name in names]

    def drop_contradictions(self):
        """Without a table of states a condition that no setting fulfils is an input fault."""
        for row in self.tables.rows["commands"]:
            if row["condition"] and not any(eval(row["condition"], dict(on)) for on in self.settings_of_inputs()):
                row["condition"] = ""

    def make_possible(self, state):
        """No duty for a command that can never be on in the state; a duty for all where nothing else can be."""
        rows = {row["command"]: row for row in self.tables.rows["states"]}
        conditions = {row["command"]: row["condition"] for row in self.tables.rows["commands"] if row["condition"]}
        together = [
            {command for command, text in conditions.items() if eval(text, dict(setting))}
            for setting in self.settings_of_inputs()
        ]
        off = {command for command in conditions if not rows[command][state]}
        if all(on & off for on in together):
            for row in rows.values():
                row[state] = 1
            off = set()
        can_be_on = set().union(*(on for on in together if not on & off))
        for command in conditions.keys() - can_be_on:
            rows[command][state] = ""

    def settings_of_inputs(self):
        """All of few inputs; of many a sample, which leaves the vehicle's own chances as they are."""
        if len(self.inputs) <= 8:
            values = list(product((False, True), repeat=len(self.inputs)))
        else:
            other = random.Random(0)
            values = [[other.random() < 0.5 for _ in self.inputs] for _ in range(400)]
        return [dict(zip(self.inputs, each, strict=True)) for each in values]

    def supply(self, name):
        low = round(self.volts * self.random.uniform(0.8, 1.15), 1)
        top = round(low + self.random.uniform(0, 2.5), 1) if self.chance(0.6) else ""
        return {
            "state": name,
            "supply_v": low,
            "supply_top_v": top,
            "charging_a": self.random.randint(0, 90),
            "minutes": 30,
        }

    def harness(self):
        self.tables.rows["places"] = [
            {"place": name, "x_m": round(-1.2 * at, 1), "y_m": self.amps(-0.8, 0.8), "mount": "yes" if at % 2 else "no"}
            for at, name in enumerate(self.places)
        ]
        self.tables.rows["routes"] = [
            {"from": a, "to": b, "length_m": round(self.random.uniform(0.8, 2.5), 1)}
            for a, b in zip(self.places, self.places[1:], strict=False)
        ]

    def settings(self):
        self.tables.settings = {
            "system_v": self.volts,
            "reference_v": self.random.choice((self.volts, round(self.volts * 1.125, 1))),
            "headroom_pct": self.random.choice((0, 10, 20, 20)),
            "module_headroom_pct": self.random.choice((0, 10, 10)),
            "spare_channels": self.random.choice((0, 0, 0, 1)),
            "module_ambient_c": self.random.choice((25, 40, 55)),
            "tolerance_loads": self.random.choice((0, 1, 3, 1000)),
        }

    def catalogue(self, modules):
        drawn = sum(float(row["running_a"]) * row["count"] for row in self.tables.rows["loads"])
        for table in ("modules", "channels", "banks", "derating"):
            self.tables.rows[table] = []
        for n in range(modules):
            self.module(f"module {n}", max(2, round(self.size.channels * (0.7 + 0.3 * n))), drawn * (0.55 + 0.3 * n))

    def module(self, name, channels, amps):
        banks = [f"bank {n}" for n in range(1 + (channels > 4))]
        self.tables.rows["modules"].append(
            {
                "module": name,
                "total_a": round(max(5, amps), 1),
                "total_peak_a": round(max(15, amps * self.random.uniform(2, 5)), 1),
                "mass_g": 300 + 20 * channels,
                "price": 200 + 25 * channels,
                "supply_min_v": 6,
                "supply_max_v": 36,
                "inputs": self.random.choice(("", len(self.inputs))),
                "trip_step_a": self.random.choice((0.1, 0.5)),
                "trip_error_pct": self.random.choice(("", 0, 5)),
                "settle_s": self.random.choice(("", 0, 20, 60)),
                "quiescent_ma": 5,
            }
        )
        for n in range(channels):
            self.channel(name, n, channels, banks)
        for bank in banks:
            limit = round(max(4, amps * self.random.uniform(0.6, 1.1) / len(banks)), 1)
            self.tables.rows["banks"].append({"module": name, "bank": bank, "limit_a": limit})
        for ambient, factor in ((-30, 1), (35, 1), (60, 0.85), (85, 0.6)):
            self.tables.rows["derating"].append({"module": name, "ambient_c": ambient, "factor": factor})

    def channel(self, module, n, channels, banks):
        couple = n // 2 if n % 2 == 0 or n // 2 * 2 + 1 < channels else None
        label = f"c{couple}" if couple is not None and n - n % 2 + 1 < channels else ""
        kind = self.label_kind(module, couple)
        rated = self.rating_of(module, couple)
        row = {
            "module": module,
            "channel": n + 1,
            "bank": banks[n // 2 % len(banks)],
            "continuous_a": rated,
            "peak_a": round(rated * 6, 1),
            "peak_ms": 40,
            "features": "pwm" if self.feature(module, couple) else "",
            "bridge": label if kind == "bridge" else "",
            "pair": label if kind == "pair" else "",
            "share_pct": self.share(module, couple) if kind == "pair" and label else "",
        }
        self.tables.rows["channels"].append(row)

    def _couple(self, module, couple, what):
        """A choice both channels of a couple share."""
        return random.Random(f"{self.random_key} {module} {couple} {what}")

    @property
    def random_key(self):
        return self.tables.rows["loads"][0]["running_a"], self.size, len(self.tables.rows["loads"])

    def label_kind(self, module, couple):
        return self._couple(module, couple, "label").choice(("", "pair", "bridge"))

    def rating_of(self, module, couple):
        return self._couple(module, couple, "rating").choices(RATINGS, (3, 4, 5, 4, 3, 2, 1))[0]

    def feature(self, module, couple):
        return self._couple(module, couple, "pwm").random() < 0.35

    def share(self, module, couple):
        return self._couple(module, couple, "share").choice(("", 50, 55, 70))


def tiny(seed):
    """At most 8 items, 6 channels, 5 inputs, one module; now and then a load that is already wired."""
    chooser = random.Random(f"tiny {seed}")
    loads = chooser.randint(2, 4)
    size = Size(
        loads, chooser.randint(1, 5), chooser.randint(1, min(3, loads)), chooser.randint(3, 6), chooser.randint(0, 2), 2
    )
    vehicle = _Vehicle(seed, size, chooser.choice((12, 24)), False)
    tables = vehicle.build(1)
    _coupled(tables, chooser)
    _bounded(tables, chooser)
    _across(tables, random.Random(f"across {seed}"))
    if chooser.random() < 0.15:
        _wired(tables, chooser)
    _parted(tables, random.Random(f"parted {seed}"))
    for row in tables.rows["loads"]:
        if not row["inrush_ms"]:  # an inrush that takes no time is refused as an input
            row["inrush_a"] = row["running_a"]
    return tables


def _wired(tables, chooser):
    """One load is on a channel already, at times on two that are used together."""
    load, channel = tables.rows["loads"][0], str(chooser.randint(1, len(tables.rows["channels"])))
    first, second, *_ = tables.rows["channels"]
    if chooser.random() < 0.4 and any(first[kind] and first[kind] == second[kind] for kind in ("pair", "bridge")):
        channel = "1+2"
    if load["share"] == "no":  # each of its items would need a row
        load["count"] = 1
    tables.rows["locked"] = [{"load": load["load"], "module": "module 0", "channel": channel}]


def _parted(tables, chooser):
    """In one vehicle of five, two loads of one command that must not share a channel, where a command has two."""
    by_command = {}
    for row in tables.rows["loads"]:
        by_command.setdefault(row["command"], []).append(row)
    several = [rows for rows in by_command.values() if len(rows) > 1]
    if several and chooser.random() < 0.2:
        for row in chooser.choice(several)[:2]:
            row["separate"] = "label 0"


def _coupled(tables, chooser):
    """At times a load that wants two channels: by its current, or since it turns both ways."""
    first, second, *_ = tables.rows["channels"]
    load, wish = tables.rows["loads"][0], chooser.choice(("", "", "pair", "bridge"))
    if not wish:
        return
    for row in (first, second):
        row[wish] = "c0"
    load["count"], load["needs"] = 1, "reversing" if wish == "bridge" else ""
    load["running_a"] = round(first["continuous_a"] * chooser.uniform(0.2, 1.3 if wish == "pair" else 0.7), 1)
    load["inrush_a"] = round(load["running_a"] * chooser.uniform(1, 2), 1)


def _across(tables, chooser):
    """One vehicle in six: a load that only two paralleled channels bear, in two banks of just about what each carries.

    Whether the larger share, or half the current, is counted on each bank decides some of them.
    """
    if chooser.random() >= 1 / 6:
        return
    (module,), load = tables.rows["modules"], tables.rows["loads"][0]
    share, rated = chooser.choice((50, 55, 60, 60, 70, 80)), chooser.choice(RATINGS[2:])
    for at, row in enumerate(tables.rows["channels"]):
        row["bank"] = f"bank {at % 2}"
        if at < 2:
            row |= {"continuous_a": rated, "peak_a": 6 * rated, "pair": "c0", "bridge": "", "share_pct": share}
    usable = rated * min(76, 100 - tables.settings["headroom_pct"]) / 100 * 0.85
    for row in tables.rows["loads"][1:]:
        row["inrush_a"] = round(row["inrush_a"] / 4, 1) + 0.2
        row["running_a"] = round(row["running_a"] / 4, 1) + 0.1
    volts = [
        float(row[key]) for row in tables.rows.get("supply", ()) for key in ("supply_v", "supply_top_v") if row[key]
    ]
    rise = max(1, max(volts, default=1) / tables.settings["reference_v"])
    amps = round(usable / (share / 100) / rise * chooser.uniform(share / 100, 0.95), 1)
    load |= {"kind": "heater", "running_a": amps, "inrush_a": amps, "inrush_ms": "", "count": 1, "needs": ""}
    load |= {"volt_exponent": "", "tolerance_pct": chooser.choice(("", "", 5))}
    carried = amps * rise * 100 / (100 - tables.settings["module_headroom_pct"]) / 0.9
    limits = [round(carried * chooser.uniform(0.5, share / 100 + 0.4), 1) for _ in range(2)]
    tables.rows["banks"] = [{"module": "module 0", "bank": f"bank {at}", "limit_a": a} for at, a in enumerate(limits)]
    module["total_a"] = max(module["total_a"], round(2 * carried, 1))
    module["total_peak_a"] = max(module["total_peak_a"], round(4 * carried, 1))


def _bounded(tables, chooser):
    """Twice the current for half of the tiny modules, or nearly all of them would be refused."""
    module = tables.rows["modules"][0]
    scale = chooser.choice((1, 2, 3, 4))
    for row in (module, *tables.rows["banks"]):
        for column in sorted({"total_a", "total_peak_a", "limit_a"} & set(row)):
            row[column] = round(row[column] * scale, 1)


def realistic(body, seed):
    """A car, van, boat or truck with a catalogue of four modules."""
    chooser = random.Random(f"{body} {seed}")
    loads = chooser.randint(*LOADS[body])
    commands = max(3, round(loads * chooser.uniform(0.4, 0.8)))
    size = Size(loads, max(4, round(commands * 0.7)), commands, max(4, round(loads * 0.9)), chooser.randint(2, 7))
    return _Vehicle(f"{body} {seed}", size, VOLTS[body], chooser.random() < 0.5).build(4)


def features(tables):
    """What a vehicle of `tiny` asks of rules, in words; printed as a table by ``python -m tests.attack.generator``."""
    rows, loads = tables.rows, tables.rows["loads"]
    conditions = [row["condition"] for row in rows["commands"] if row["condition"]]
    inputs = [frozenset(name for name in row.split() if name.strip("()").startswith("input")) for row in conditions]
    channels = {kind: [row for row in rows["channels"] if row[kind]] for kind in ("pair", "bridge", "features")}
    over_banks = [
        pair for pair in {row["pair"] for row in channels["pair"]} if len(_banks_of(channels["pair"], pair)) > 1
    ]
    checks = {
        "conditions": conditions,
        "an input of several commands": len(set().union(*inputs)) < sum(map(len, inputs)),
        "states": rows.get("states"),
        "both voltages": any(row["supply_top_v"] for row in rows.get("supply", ())),
        "time on and cycle": any(row.get("on_s") for row in rows["commands"]),
        "time on, with a settling time": any(row.get("on_s") for row in rows["commands"])
        and any(row["settle_s"] for row in rows["modules"]),
        "count": any(row["count"] > 1 for row in loads),
        "tolerance": any(row["tolerance_pct"] for row in loads),
        "separate": len([row for row in loads if row["separate"]]) > 1,
        "share = no": any(row["share"] == "no" for row in loads),
        "load needs pwm": any("pwm" in row["needs"] for row in loads),
        "command by pwm": any(row["action"] == "pwm" for row in rows["commands"]),
        "load needs reversing": any("reversing" in row["needs"] for row in loads),
        "channels with pwm": channels["features"],
        "reversing channels": channels["bridge"],
        "paralleled channels": channels["pair"],
        "paralleled over two banks": over_banks,
        "several banks": len({row["bank"] for row in rows["channels"]}) > 1,
        "locked": rows.get("locked"),
        "locked to two channels": any("+" in row["channel"] for row in rows.get("locked", ())),
        "spare channels": tables.settings["spare_channels"],
        "flashes": any(row["action"] == "flash" for row in rows["commands"]),
    }
    return {word for word, is_there in checks.items() if is_there}, set(checks)


def _banks_of(rows, pair):
    return {row["bank"] for row in rows if row["pair"] == pair}


def _main(first=0, last=10_000):
    counts = Counter(word for seed in range(first, last) for word in features(tiny(seed))[0])
    print(f"vehicles {first} to {last - 1}, per cent with:")
    for word in sorted(features(tiny(0))[1], key=lambda word: -counts[word]):
        print(f"{word:32} {100 * counts[word] / (last - first):5.1f}")


if __name__ == "__main__":
    _main()
