"""A vehicle and a catalogue as plain rows, read and written by the csv module alone: nothing here knows the package."""

import ast
import csv
import itertools
import math
import tomllib
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from pathlib import Path

__all__ = ["Allocation", "Circuit", "Situation", "Tables", "holds", "inputs_of", "read_tables", "write_tables"]

# DESIGN section 4: exponents; kind's multiple and length, taken from the column guide of the tables.
# Copper sets the whole current of a coil, and that of a motor while it stands still: both are largest in the cold.
COLD_RUNNING = {"coil", "solenoid"}
COLD_PEAK = {"motor", "fan"}
EXPONENT = {
    "filament": 0.55,
    "heater": 1.0,
    "coil": 1.0,
    "electronics": -1.0,
    "led": -1.0,
    "motor": 1.0,
    "solenoid": 1.0,
    "fan": 1.65,
}
VEHICLE = ("loads", "commands", "inputs", "states", "supply", "places", "routes", "locked")
CATALOGUE = ("modules", "channels", "banks", "derating")


@dataclass
class Tables:
    """Rows by table name, settings, all cells as text."""

    rows: dict = field(default_factory=dict)
    settings: dict = field(default_factory=dict)

    def table(self, name):
        return self.rows.get(name, [])


@dataclass(frozen=True)
class Circuit:
    """Items of one command on one channel, a paralleled pair or a bridge."""

    channels: tuple
    use: str  # single, pair, bridge
    items: tuple  # (load, how many)
    trip_a: float | None = None
    inrush_ms: float | None = None


@dataclass(frozen=True)
class Allocation:
    """Circuits on one module of the catalogue."""

    module: str
    circuits: tuple


def write_tables(tables, vehicle, catalogue):
    """Write both folders."""
    for folder, names in ((vehicle, VEHICLE), (catalogue, CATALOGUE)):
        Path(folder).mkdir(parents=True, exist_ok=True)
        for name in names:
            if tables.table(name):
                _write(Path(folder) / f"{name}.csv", tables.table(name))
    text = "".join(f"{key} = {_toml(value)}\n" for key, value in tables.settings.items())
    (Path(vehicle) / "settings.toml").write_text(text)


def _write(path, rows):
    columns = dict.fromkeys(key for row in rows for key in row)
    with path.open("w", newline="") as file:
        writer = csv.DictWriter(file, columns, restval="")
        writer.writeheader()
        writer.writerows(rows)


def _toml(value):
    return f'"{value}"' if isinstance(value, str) else str(value)


def read_tables(vehicle, catalogue):
    """Read both folders (plain commas and points)."""
    rows = {}
    for folder, names in ((vehicle, VEHICLE), (catalogue, CATALOGUE)):
        for path in (Path(folder) / f"{name}.csv" for name in names):
            if path.exists():
                with path.open(newline="", encoding="utf-8-sig") as file:
                    rows[path.stem] = list(csv.DictReader(file))
    settings = Path(vehicle) / "settings.toml"
    return Tables(rows, tomllib.loads(settings.read_text()) if settings.exists() else {})


def number(row, column, default=None):
    text = str(row.get(column) or "").strip()
    return default if not text else round(Fraction(text), 9)  # 1.9000000000000001 is what a computer makes of 1.9


def text_of(row, column, default=""):
    return str(row.get(column) or "").strip() or default


def parsed(condition):
    return ast.parse(condition.strip(), mode="eval").body


def inputs_of(tree):
    return {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}


def holds(tree, on):
    """Python's own reading of a condition: not before and before or."""
    if isinstance(tree, ast.BoolOp):
        return (all if isinstance(tree.op, ast.And) else any)([holds(value, on) for value in tree.values])
    if isinstance(tree, ast.UnaryOp):
        return not holds(tree.operand, on)
    return tree.id in on


@dataclass(frozen=True)
class Load:
    """One load, with everything its row and its kind say; currents in whole mA rounded up."""

    name: str
    command: str
    running: Fraction
    count: int
    exponent: float
    inrush: Fraction
    inrush_ms: float
    needs: frozenset
    share: bool
    separate: str
    tolerance: Fraction
    kind: str

    def running_ma(self, volts, reference):
        ratio = volts / reference
        if self.exponent in (-1, 1):
            return math.ceil(self.running * 1000 * ratio ** int(self.exponent))
        return math.ceil(float(self.running * 1000) * float(ratio) ** self.exponent * (1 - 1e-9))

    def rise_ma(self, volts, reference):
        return math.ceil(self.running_ma(volts, reference) * self.tolerance / 100)

    def excess_ma(self, volts, reference):
        return math.ceil(max(0, self.inrush - self.running) * 1000 * max(Fraction(1), volts / reference))

    @property
    def tau_ms(self):
        return self.inrush_ms / 3


@dataclass(frozen=True)
class State:
    """What may be on, and the span of the supply."""

    name: str
    allowed: frozenset
    volts: tuple


@dataclass(frozen=True)
class Command:
    """A condition (None: an input of its own), longest time on and shortest cycle, s."""

    name: str
    tree: object
    on_s: float | None
    cycle_s: float | None
    dims: bool = False  # its action is pwm, which wants a channel with that feature
    flashes: bool = False  # on for on_s of every cycle_s, again and again

    def effective(self, settle_s):
        """Share of the current that counts on heating (DESIGN section 3)."""
        if not settle_s or self.on_s is None or self.cycle_s is None or self.on_s >= self.cycle_s:
            return 1.0
        return math.sqrt(math.expm1(-self.on_s / settle_s) / math.expm1(-self.cycle_s / settle_s))


class Situation:
    """A vehicle and one module, looked up once from the rows."""

    def __init__(self, tables, module):
        self.tables, self.settings = tables, tables.settings
        self.module = next(row for row in tables.table("modules") if row["module"] == module)
        self.reference = Fraction(str(self.settings.get("reference_v", self.settings.get("system_v", 12))))
        # a channel and its trip setting bear copper at its coldest; sums, which heat, currents as stated
        self.loads = {row["load"]: self._load(row, self.cold_copper) for row in tables.table("loads")}
        self.stated = {row["load"]: self._load(row, Fraction(1)) for row in tables.table("loads")}
        self.commands = self._commands()
        self.states = self._states()
        mine = [row for row in tables.table("channels") if row["module"] == module]
        self.channels = {row["channel"]: row for row in mine}
        self.bank_ma = {
            row["bank"]: milliamps(row, "limit_a") for row in tables.table("banks") if row["module"] == module
        }

    @staticmethod
    def _load(row, cold):
        kind, stated = row["kind"], number(row, "running_a")
        running = Fraction(math.ceil(stated * 1000 * cold), 1000) if kind in COLD_RUNNING else stated
        inrush = number(row, "inrush_a", stated) * (cold if kind in COLD_RUNNING | COLD_PEAK else 1)
        return Load(
            row["load"],
            row["command"],
            running,
            int(number(row, "count", 1)),
            float(number(row, "volt_exponent", EXPONENT[kind])),
            inrush,
            float(number(row, "inrush_ms", 0)),
            frozenset(text_of(row, "needs").split()),
            text_of(row, "share", "yes") != "no",
            text_of(row, "separate"),
            number(row, "tolerance_pct", 0),
            kind,
        )

    @property
    def cold_copper(self):
        """Current of a winding at the lowest ambient over that at 20 deg C; resistance goes with t + 234.5."""
        lowest = Fraction(str(self.settings.get("lowest_ambient_c", -20)))
        return max(Fraction(1), Fraction("254.5") / (lowest + Fraction("234.5")))

    def _commands(self):
        rows = {row["command"]: row for row in self.tables.table("commands")}
        names = dict.fromkeys([*rows, *(load.command for load in self.loads.values())])
        return {name: _command(name, rows.get(name, {})) for name in names}

    def _states(self):
        rows, supply = self.tables.table("states"), {row["state"]: row for row in self.tables.table("supply")}
        if not rows:
            return [State("everything", frozenset(self.commands), (self.reference,))]
        names = [name for name in rows[0] if name != "command"]
        return [self._state(name, rows, supply.get(name, {})) for name in names]

    def _state(self, name, rows, supply):
        low = number(supply, "supply_v", self.reference)
        top = number(supply, "supply_top_v", low)
        allowed = frozenset(row["command"] for row in rows if number(row, name, 0) > 0)
        return State(name, allowed, tuple(dict.fromkeys((low, top))))

    @cached_property
    def factor(self):
        """Derating factor at the setting module_ambient_c."""
        rows = [row for row in self.tables.table("derating") if row["module"] == self.module["module"]]
        points = sorted((number(row, "ambient_c"), number(row, "factor")) for row in rows)
        if not points:
            return Fraction(1)
        at = Fraction(str(self.settings.get("module_ambient_c", 25)))
        for (low, before), (high, after) in itertools.pairwise(points):
            if low <= at <= high:
                return before + (after - before) * (at - low) / (high - low)
        return points[0][1]

    @property
    def settle_s(self):
        return float(number(self.module, "settle_s", 0))

    @property
    def trip_error(self):
        return number(self.module, "trip_error_pct", 0) / 100

    @property
    def total_peak_ma(self):
        return milliamps(self.module, "total_peak_a")

    def usable_ma(self, rated_ma):
        """A bank's or the module's limit after derating and module_headroom_pct, rounded down."""
        headroom = Fraction(str(self.settings.get("module_headroom_pct", 10)))
        return math.floor(rated_ma * self.factor * (1 - headroom / 100))

    def inputs(self):
        """Inputs in order of their names, then commands without a condition."""
        named = set().union(*(inputs_of(c.tree) for c in self.commands.values() if c.tree is not None), set())
        return [*sorted(named), *(("own", c.name) for c in self.commands.values() if c.tree is None)]

    def commands_on(self, on):
        return frozenset(
            c.name for c in self.commands.values() if (("own", c.name) in on if c.tree is None else holds(c.tree, on))
        )

    @cached_property
    def settings_of_inputs(self):
        """Every setting of all inputs with the commands it switches on."""
        names = self.inputs()
        every = (frozenset(itertools.compress(names, bits)) for bits in itertools.product((0, 1), repeat=len(names)))
        return {on: self.commands_on(on) for on in every}

    def combinations(self, state):
        """Settings under which no command is on that the state keeps off."""
        return {on: names for on, names in self.settings_of_inputs.items() if names <= state.allowed}

    def volts_of(self, command):
        """Both ends of every state in which the command may be on; the reference voltage if in none."""
        volts = {v for state in self.states if command in state.allowed for v in state.volts}
        return sorted(volts) or [self.reference]


def _command(name, row):
    condition = text_of(row, "condition")
    on_s, cycle_s = number(row, "on_s"), number(row, "cycle_s")
    return Command(
        name,
        parsed(condition) if condition else None,
        None if on_s is None else float(on_s),
        None if cycle_s is None else float(cycle_s),
        text_of(row, "action") == "pwm",
        text_of(row, "action") == "flash",
    )


def milliamps(row, column):
    return int(number(row, column) * 1000)
