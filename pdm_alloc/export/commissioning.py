"""The commissioning sheet: what is tried on each channel, what must be seen, and space for what is measured."""

from dataclasses import dataclass
from fractions import Fraction
from math import ceil

import pandas as pd

from pdm_alloc.allocation.circuit import PlacedCircuit
from pdm_alloc.allocation.result import Allocation
from pdm_alloc.allocation.tables import running_ma
from pdm_alloc.export.records import Row, records
from pdm_alloc.export.steps import StepsError, TestSteps, steps_of
from pdm_alloc.tables.condition import parse_condition
from pdm_alloc.vehicle import Command

__all__ = ["COMMISSIONING", "FILLED", "Expected", "Trial", "commissioning", "expected_current", "trials"]

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
    """

    set: str
    on: bool


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
    plain = (Trial(f"{command.name} off", False), Trial(f"{command.name} on", True))
    if not command.condition.strip():
        return plain
    try:
        made = steps_of(parse_condition(command.condition))
    except StepsError:
        return plain
    return tuple(Trial(_setting(made, step.on), step.result) for step in made.steps) or plain


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
        Every load may be off by its own tolerance, but by 10 % at least, and the meter by 0.05 A.
    """
    middle = running_ma(allocation.vehicle, circuit, volt)
    share = Fraction(middle, max(running_ma(allocation.vehicle, circuit, allocation.vehicle.settings.reference_v), 1))
    loads = [allocation.vehicle.load(name) for name, _ in circuit.items]
    off = sum(Fraction(x.running_ma) * max(x.tolerance_pct, Fraction(METER_PCT)) / 100 for x in loads)
    margin = ceil(off * share) + METER_MA
    return Expected(middle, max(0, middle - margin), middle + margin)


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
    remark = _REMARKS.get(allocation.vehicle.command(circuit.command).action, "")
    return {
        "expected_a": expected.expected_ma / 1000,
        "least_a": expected.least_ma / 1000,
        "most_a": expected.most_ma / 1000,
        "remark": "both directions" if circuit.use == "bridge" else remark,
    }
