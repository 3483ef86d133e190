"""The commissioning sheet: dead checks, and the fewest steps that show that every input matters.

An input is shown to matter by two steps that differ in this input only and give different results
(unique-cause pairs, as in modified condition/decision coverage).

Settings of n inputs are the corners of an n-cube; a set of corners is an int with one bit a corner.
One pair for each of k inputs is k edges in k directions. Edges in distinct directions close no ring,
so the pairs form trees and the steps number k plus the number of trees: the fewest steps are the
fewest trees. A tree is found by a program over subsets of directions, as for Steiner trees (Dreyfus
and Wagner 1971, from memory); two trees that share one corner and no direction share no other corner.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from math import ceil

import pandas as pd

from pdm_alloc.domain.condition import Condition, Undecided, inputs_turning_on, parse_condition
from pdm_alloc.domain.vehicle import Command
from pdm_alloc.electrics.wire import Refused
from pdm_alloc.export.lists import Row, records
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.channel_tables import running_ma
from pdm_alloc.result.link_tables import always_on
from pdm_alloc.result.placed import PlacedCircuit

__all__ = [
    "COMMISSIONING",
    "DEAD_CHECKS",
    "FILLED",
    "Expected",
    "SheetStep",
    "Step",
    "StepsError",
    "TestSteps",
    "Trial",
    "commissioning",
    "dead_checks",
    "expected_current",
    "sheet_steps",
    "steps_of",
    "trials",
]

MOST_NAMES = 18
MOST_EXACT = 12


class StepsError(ValueError):
    """A condition with too many inputs for its steps to be worked out."""


@dataclass(frozen=True, slots=True)
class Step:
    """One setting of the inputs and what the command must do.

    Parameters
    ----------
    on : frozenset of str
        Inputs that are on; the others are off.
    result : bool
        Whether the command is on.
    """

    on: frozenset[str]
    result: bool


@dataclass(frozen=True)
class TestSteps:
    """The fewest steps that show that every input matters.

    Parameters
    ----------
    inputs : tuple of str
        Inputs that matter, in the order of the condition.
    idle : tuple of str
        Inputs the condition names that never change its result.
    steps : tuple of Step
        In the order to try them; none where no input matters.
    pairs : tuple of (int, int)
        For each of `inputs`, the two steps, counted from 0, that differ in it alone.
    """

    __test__ = False  # pytest would collect the class by its name

    inputs: tuple[str, ...]
    idle: tuple[str, ...]
    steps: tuple[Step, ...]
    pairs: tuple[tuple[int, int], ...]

    @property
    def table(self) -> pd.DataFrame:
        """One row a step: step from 1, ``on`` or ``off`` for each input, result, what it shows with which step."""
        rows = [
            {"step": i + 1}
            | {name: "on" if name in step.on else "off" for name in self.inputs}
            | {"result": "on" if step.result else "off", "shows": self._shows(i)}
            for i, step in enumerate(self.steps)
        ]
        return pd.DataFrame(rows, columns=["step", *self.inputs, "result", "shows"])

    def _shows(self, step: int) -> str:
        said = [
            f"{name} (against step {min(pair) + 1})"
            for name, pair in zip(self.inputs, self.pairs, strict=True)
            if max(pair) == step
        ]
        return ", ".join(said)


def steps_of(condition: Condition) -> TestSteps:
    """The fewest test steps that show that every input matters.

    Parameters
    ----------
    condition : Condition
        The condition of one command.

    Returns
    -------
    TestSteps
        Proved to be fewest; the same for the same condition.

    Raises
    ------
    StepsError
        More than 18 inputs named; or more than 12 that matter and no single tree of pairs found.
    """
    if len(condition.names) > MOST_NAMES:
        raise StepsError(f"{len(condition.names)} inputs in one condition; steps are worked out for {MOST_NAMES}")
    cube = _Cube(condition, condition.names)
    inputs = tuple(name for name, edges in zip(cube.names, cube.edges, strict=True) if edges)
    idle = tuple(name for name in cube.names if name not in inputs)
    return _in_words(_Cube(condition, inputs), idle)


class _Cube:
    """The corners of the cube, where the condition holds, and the edges over which it changes."""

    def __init__(self, condition: Condition, names: tuple[str, ...]):
        self.names = names
        self.ones = (1 << (1 << len(names))) - 1
        self.upper = [self.ones // ((1 << (1 << i)) + 1) << (1 << i) for i in range(len(names))]
        bits = dict(zip(names, self.upper, strict=True))
        self.holds = condition.over(lambda name: bits.get(name, 0), self.ones)
        self.edges = [self.holds ^ self.across(i, self.holds) for i in range(len(names))]

    def across(self, i: int, corners: int) -> int:
        """The corners at the other ends of the edges in direction i."""
        return ((corners & self.upper[i]) >> (1 << i)) | ((corners & (self.ones ^ self.upper[i])) << (1 << i))

    @cached_property
    def trees(self) -> list[int]:
        """For each set of directions, the corners that lie on a tree with one edge in each of them."""
        trees = [self.ones]
        for directions in range(1, 1 << len(self.names)):
            reached = 0
            for i in _bits(directions):
                reached |= self.edges[i] & self.across(i, trees[directions ^ (1 << i)])
            for part in _parts(directions):
                reached |= trees[part] & trees[directions ^ part]
            trees.append(reached)
        return trees


def _bits(mask: int) -> Iterator[int]:
    return (i for i in range(mask.bit_length()) if mask >> i & 1)


def _parts(mask: int) -> Iterator[int]:
    """Proper subsets that hold the lowest bit of the mask: each way to cut it in two, once."""
    lowest = mask & -mask
    part = rest = mask ^ lowest
    while part:
        part = (part - 1) & rest
        yield part | lowest


Edge = tuple[int, int, int]  # direction, corner met first, corner across


def _in_words(cube: _Cube, idle: tuple[str, ...]) -> TestSteps:
    edges = _one_tree(cube) or _fewest_trees(cube)
    corners = list(dict.fromkeys(corner for _, start, end in edges for corner in (start, end)))
    number = {corner: i for i, corner in enumerate(corners)}
    pairs = {direction: (number[start], number[end]) for direction, start, end in edges}
    steps = [
        Step(frozenset(cube.names[i] for i in _bits(corner)), bool(cube.holds >> corner & 1)) for corner in corners
    ]
    return TestSteps(cube.names, idle, tuple(steps), tuple(pairs[i] for i in range(len(cube.names))))


def _one_tree(cube: _Cube) -> list[Edge]:
    """Edges of one tree with every direction, grown greedily from each corner; none where that fails."""
    wanted = len(cube.names)
    for start in range(1 << wanted):
        edges = _grow(cube, start)
        if len(edges) == wanted:
            return edges
    return []


def _grow(cube: _Cube, start: int) -> list[Edge]:
    edges: list[Edge] = []
    corners, open_directions = [start], set(range(len(cube.names)))
    for corner in corners:
        for i in sorted(open_directions):
            if cube.edges[i] >> corner & 1:
                edges.append((i, corner, corner ^ (1 << i)))
                corners.append(corner ^ (1 << i))
                open_directions.remove(i)
    return edges


def _fewest_trees(cube: _Cube) -> list[Edge]:
    if len(cube.names) > MOST_EXACT:
        raise StepsError(f"{len(cube.names)} inputs matter together; steps are worked out for {MOST_EXACT}")
    return [edge for part in _cut(cube) for edge in _tree(cube, part, _lowest(cube.trees[part]))]


def _cut(cube: _Cube) -> list[int]:
    """The directions cut into the fewest sets that have a tree each."""
    best: list[list[int]] = [[]]
    for directions in range(1, 1 << len(cube.names)):
        whole = [directions] if cube.trees[directions] else []
        ways = [[part, *best[directions ^ part]] for part in _parts(directions) if cube.trees[part]]
        best.append(whole or min(ways, key=len))
    return best[-1]


def _lowest(mask: int) -> int:
    return (mask & -mask).bit_length() - 1


def _tree(cube: _Cube, directions: int, root: int) -> list[Edge]:
    """Edges of the tree on that root, outwards."""
    for i in _bits(directions):
        rest, end = directions ^ (1 << i), root ^ (1 << i)
        if cube.edges[i] >> root & 1 and cube.trees[rest] >> end & 1:
            return [(i, root, end), *_tree(cube, rest, end)]
    for part in _parts(directions):
        if (cube.trees[part] & cube.trees[directions ^ part]) >> root & 1:
            return _tree(cube, part, root) + _tree(cube, directions ^ part, root)
    return []


# What a clamp meter, the supply and a contact are let be off by; common practice, no source.
METER_PCT = 10
METER_MA = 50

FILLED = ("seen", "measured_a", "measured_v", "remark")

COMMISSIONING = (
    *("module", "channel", "connector", "pins", "command", "loads", "trip_a", "window_ms"),
    *("step", "set", "expected", "seen", "expected_a", "least_a", "most_a", "measured_a", "measured_v", "remark"),
)

_REMARKS = {"flash": "read while lit", "pwm": "read at full duty"}


@dataclass(frozen=True, slots=True)
class Trial:
    """One step of a command: what to set, and whether it must be on.

    Parameters
    ----------
    set : str
        Inputs and how to set them, or the command itself where it has no condition.
    on : bool
        What must be seen.
    inputs : frozenset of str
        Inputs that are on in this step, all others off; the command itself where it has no condition.
    """

    set: str
    on: bool
    inputs: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Expected:
    """Current expected of a circuit, and the limits within which a reading agrees, mA."""

    expected_ma: int
    least_ma: int
    most_ma: int


def trials(command: Command) -> tuple[Trial, ...]:
    """Steps that show a command to work.

    Parameters
    ----------
    command : Command
        With a condition or without.

    Returns
    -------
    tuple of Trial
        The fewest that show every input of the condition to matter; off and on where there is no
        condition, or one too large to be worked out.
    """
    if not command.condition.strip():
        return _plain(command, frozenset(), frozenset({command.name}))
    condition = parse_condition(command.condition)
    try:
        made = steps_of(condition)
    except StepsError:
        made = None
    steps = () if made is None else tuple(Trial(_setting(made, step.on), step.result, step.on) for step in made.steps)
    return steps or _plain(command, _inputs(condition, False), _inputs(condition, True))


def _plain(command: Command, off: frozenset[str], on: frozenset[str]) -> tuple[Trial, ...]:
    return Trial(f"{command.name} off", False, off), Trial(f"{command.name} on", True, on)


def _inputs(condition: Condition, value: bool) -> frozenset[str]:
    """Inputs that are on in some setting with that result; none where there is no such setting."""
    try:
        return inputs_turning_on([(condition.expression, value)]) or frozenset()
    except Undecided:
        return frozenset()


def _setting(made: TestSteps, on: frozenset[str]) -> str:
    return ", ".join(f"{name} {'on' if name in on else 'off'}" for name in made.inputs)


def expected_current(allocation: Allocation, circuit: PlacedCircuit, volt: float) -> Expected:
    """Current a circuit should take at a voltage.

    Parameters
    ----------
    allocation : Allocation
        Of the circuit.
    circuit : PlacedCircuit
        One of its circuits.
    volt : float
        At the module, V.

    Returns
    -------
    Expected
        Every load may be off by its own tolerance, but by 10 % at least, and the meter by 0.05 A. What may trip the
        channel is never accepted.
    """
    middle = running_ma(allocation.vehicle, circuit, volt)
    share = Fraction(middle, max(running_ma(allocation.vehicle, circuit, allocation.vehicle.settings.reference_v), 1))
    loads = [allocation.vehicle.load(name) for name, _ in circuit.items]
    off = sum(Fraction(x.running_ma) * max(x.tolerance_pct, Fraction(METER_PCT)) / 100 for x in loads)
    margin = ceil(off * share) + METER_MA
    below_trip = _below_trip_ma(allocation, circuit)
    upper = middle + margin if below_trip is None else min(middle + margin, below_trip)
    return Expected(middle, max(0, middle - margin), upper)


def _below_trip_ma(allocation: Allocation, circuit: PlacedCircuit) -> int | None:
    """Largest whole milliamps below what may trip a channel of the circuit; None where it has no setting."""
    wired = next((w for w in allocation.wired if w.circuit == circuit), None)
    if wired is None or isinstance(wired.made, Refused):
        return None
    rating = wired.place.rating
    return ceil(Fraction(wired.made.trip_ma, wired.each) * (1 - rating.trip_error_pct / 100) / rating.share) - 1


@dataclass(frozen=True, slots=True)
class SheetStep:
    """One step of the sheet, once per command: what to set, what must be seen, what each circuit should take.

    Parameters
    ----------
    command, set : str
        As in the sheet.
    number, count : int
        Number of the step, from 1; steps of the command.
    on : bool
        Whether the command must be on.
    inputs : frozenset of str
        As `Trial`.
    expected : tuple of (PlacedCircuit, Expected)
        Its circuits at the reference voltage; empty where it must be off.
    """

    command: str
    set: str
    number: int
    count: int
    on: bool
    inputs: frozenset[str]
    expected: tuple[tuple[PlacedCircuit, Expected], ...]


def sheet_steps(allocation: Allocation) -> tuple[SheetStep, ...]:
    """Steps of the commissioning sheet in its order, circuits of one command together."""
    volts, steps = allocation.vehicle.settings.reference_v, []
    for command in dict.fromkeys(circuit.command for circuit in allocation.circuits):
        circuits = [circuit for circuit in allocation.circuits if circuit.command == command]
        expected = tuple((circuit, expected_current(allocation, circuit, volts)) for circuit in circuits)
        every = trials(allocation.vehicle.command(command))
        for n, trial in enumerate(every, 1):
            told = command, trial.set, n, len(every), trial.on, trial.inputs
            steps.append(SheetStep(*told, expected if trial.on else ()))
    return tuple(steps)


def commissioning(allocation: Allocation) -> pd.DataFrame:
    """The commissioning sheet.

    Parameters
    ----------
    allocation : Allocation
        What was built.

    Returns
    -------
    DataFrame
        A row a channel and step, columns `COMMISSIONING`; currents in A at the reference voltage, in
        the row of the first step with the channel on; the columns `FILLED` are empty but for remarks.
    """
    settings = {(row["module"], row["channel"]): row for row in records(allocation.settings)}
    places = {(row["module"], row["channel"]): row for row in records(allocation.channels)}
    known = {command.name: trials(command) for command in allocation.vehicle.commands}
    rows: list[Row] = []
    for circuit in allocation.circuits:
        key = (circuit.unit, circuit.channel)
        rows += _rows(allocation, circuit, known[circuit.command], {**settings.get(key, {}), **places[key]})
    return pd.DataFrame(rows, columns=list(COMMISSIONING))


def _rows(allocation: Allocation, circuit: PlacedCircuit, steps: tuple[Trial, ...], place: Row) -> list[Row]:
    first_on = next((n for n, trial in enumerate(steps) if trial.on), -1)
    told = {name: place.get(name) for name in COMMISSIONING[:8]}
    return [
        told
        | {"step": n + 1, "set": trial.set, "expected": "on" if trial.on else "off"}
        | (_to_measure(allocation, circuit) if n == first_on else {})
        for n, trial in enumerate(steps)
    ]


def _to_measure(allocation: Allocation, circuit: PlacedCircuit) -> Row:
    expected = expected_current(allocation, circuit, allocation.vehicle.settings.reference_v)
    return {
        "expected_a": expected.expected_ma / 1000,
        "least_a": expected.least_ma / 1000,
        "most_a": expected.most_ma / 1000,
        "remark": "; ".join(_remarks(allocation, circuit)),
    }


def _remarks(allocation: Allocation, circuit: PlacedCircuit) -> Iterator[str]:
    """How its current is read: what a box switches to ground draws nothing before that box switches it."""
    if circuit.use == "bridge":
        yield "both directions"
    elif action := _REMARKS.get(allocation.vehicle.command(circuit.command).action):
        yield action
    switched = allocation.signals.switched if allocation.signals else frozenset()
    low = [load for load in circuit.loads if load in switched]
    if low:
        yield ("" if len(low) == len(circuit.loads) else f"{', '.join(low)} ") + "in the output test of its box"


DEAD_CHECKS = ("number", "check", "must_be", "found", "done")

# Voltage between the ground of a working load and the battery's negative post, V: common practice, no source. A
# resistance of 0.1 ohm is no measure: it passes on a meter and costs a load of 10 A a whole volt.
GROUND_DROP_V = 0.1

# Common practice, no source.
_BEFORE = (
    ("Battery disconnected, isolator open, every other supply (charger, solar, second battery) off", "no voltage"),
    ("Vehicle chocked, out of gear; extinguisher at hand", "yes"),
    ("Main fuse at the battery: its rating, and the size of the feed cable behind it", "as in battery cables"),
    ("Every module fixed, cooled and upright as its maker requires; its ground on clean metal", "yes"),
)

_AFTER = (
    ("Supply stud of every module to chassis, connectors unplugged", "no short"),
    ("Wire sizes, labels and lengths", "as in the cut list"),
    ("Wires secured and protected where they pass metal, heat, edges or moving parts", "yes"),
    ("Trip settings and inrush windows entered in every module, before the first power-up", "as in channel settings"),
)

# With power on: a ground shows itself only under its load, and an isolator only against a running alternator.
_POWERED = (
    (
        "Ground of every load, the load switched on: voltage between its ground point and battery negative",
        f"at most {GROUND_DROP_V:g} V",
    ),
    (
        "Isolator opened with the engine running: the engine stops and everything switches off, the alternator too",
        "yes",
    ),
)


def dead_checks(allocation: Allocation) -> pd.DataFrame:
    """Check list to go through before the first power-up, and two checks with the power on at its end.

    Parameters
    ----------
    allocation : Allocation
        What was built; its connectors, spare channels and moving loads are named.

    Returns
    -------
    DataFrame
        Columns `DEAD_CHECKS`; ``found`` and ``done`` are for the person who checks.
    """
    named = [*_connectors(allocation), *_spares(allocation)]
    lines = [*_BEFORE, *named, *_AFTER, _first_power(allocation), *_moving(allocation), *_POWERED]
    rows = [(number, check, must_be, "", "") for number, (check, must_be) in enumerate(lines, 1)]
    return pd.DataFrame(rows, columns=list(DEAD_CHECKS))


def _first_power(allocation: Allocation) -> tuple[str, str]:
    """What is on without any input would blow the small fuse, and hide what should not flow."""
    names = "; ".join(load.name for load in always_on(allocation.vehicle))
    but = f"; unplugged, as they are on with every input off: {names}" if names else ""
    check = f"First power-up through a small fuse or a current-limited supply, all commands off{but}"
    return check, "below 0.5 A; then the fuse"


def _connectors(allocation: Allocation) -> list[tuple[str, str]]:
    checks = []
    for where in _connectors_of(allocation):
        checks.append((f"{where}: every wire from its pin to its load", "continuous, on the pin of the pin map"))
        checks.append((f"{where}: every pin to chassis and to its neighbours, loads unplugged", "no continuity"))
    for where in _control_connectors(allocation):
        checks.append((f"{where}: every wire from its pin to its far end", "continuous, on the pin of the pin map"))
        off = "sensors, actuators, nodes of the bus and terminators unplugged"
        checks.append((f"{where}: every pin to chassis and to its neighbours, {off}", "no continuity"))
    return checks


def _connectors_of(allocation: Allocation) -> list[str]:
    return _named((unit.label, channel.connector) for unit in allocation.units for channel in unit.module.channels)


def _control_connectors(allocation: Allocation) -> list[str]:
    boxes = allocation.signals.boxes if allocation.signals else ()
    return _named((box.label, pin.connector) for box in boxes for pin in box.box.pins)


def _named(pairs: Iterable[tuple[str, str]]) -> list[str]:
    return [f"{label}, connector {name}" if name else label for label, name in dict.fromkeys(pairs)]


def _spares(allocation: Allocation) -> list[tuple[str, str]]:
    if allocation.spare.empty:
        return []
    names = ", ".join(f"{row.module} {row.channel}" for row in allocation.spare.itertuples())
    return [(f"Spare channels ({names}): cavities plugged, wires insulated, switched off in the settings", "yes")]


def _moving(allocation: Allocation) -> list[tuple[str, str]]:
    names = [load.name for load in allocation.vehicle.loads if load.kind in ("motor", "fan", "solenoid")]
    return [(f"Hands, tools and people clear of what will move: {'; '.join(names)}", "yes")] if names else []
