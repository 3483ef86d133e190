"""Both ends of every state's span of voltage: what may be on there and what one item draws."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.vehicle import Load, State, Vehicle
from pdm_alloc.electrics.voltage import inrush_excess_ma, running_at_voltage_ma

__all__ = ["Draw", "Scene", "check_voltages", "draws_of", "rise_ma", "scenes_of", "undominated"]


class Draw(NamedTuple):
    """What one item draws at one end of a state's span of voltage, mA; all 0 where the state keeps it off.

    Parameters
    ----------
    running_ma, rise_ma : int
        Running current as stated; how much more at the top of its tolerance, mA.
    excess_ma, excess_rise_ma : int
        Inrush above running as stated; how much more at the top of its tolerance, mA.
    """

    running_ma: int = 0
    rise_ma: int = 0
    excess_ma: int = 0
    excess_rise_ma: int = 0


@dataclass(frozen=True, slots=True)
class Scene:
    """One end of a state's span of voltage, and what may be on in it.

    Parameters
    ----------
    number : int
        Place in `ItemType.draws`.
    state : str
        Name of the state.
    volts : float
        V.
    allowed : frozenset of str
        Commands with a duty above 0.
    """

    number: int
    state: str
    volts: float
    allowed: frozenset[str]


def scenes_of(vehicle: Vehicle) -> tuple[Scene, ...]:
    """Both ends of every state's span of voltage, in the order of the states, lowest voltage first."""
    ends = [(state, volts) for state in vehicle.states for volts in state.span_v]
    allowed = {
        state.name: frozenset(c.name for c in vehicle.commands if state.is_on(c.name)) for state in vehicle.states
    }
    return tuple(Scene(n, state.name, volts, allowed[state.name]) for n, (state, volts) in enumerate(ends))


def draws_of(load: Load, vehicle: Vehicle) -> tuple[Draw, ...]:
    """What one item of a load draws in each scene of `scenes_of`; rises only where any tolerance is guarded against."""
    tolerance = load.tolerance_pct if vehicle.settings.tolerance_loads else 0
    return tuple(
        _draw(load, volts, tolerance, vehicle.settings) if state.is_on(load.command) else Draw()
        for state in vehicle.states
        for volts in state.span_v
    )


def _draw(load: Load, volts: float, tolerance_pct: int | Fraction, settings: Settings) -> Draw:
    running = running_at_voltage_ma(load.running_ma, load.volt_exponent, volts, settings.reference_v)
    excess = inrush_excess_ma(load.inrush_ma, load.running_ma, volts, settings.reference_v)
    return Draw(running, rise_ma(running, tolerance_pct), excess, rise_ma(excess, tolerance_pct))


def rise_ma(ma: int, tolerance_pct: int | Fraction) -> int:
    """How much more a current is at the top of its tolerance, rounded up, mA."""
    return -(-ma * tolerance_pct.numerator // (100 * tolerance_pct.denominator))


def check_voltages(command: str, states: Sequence[State], reference_v: float) -> tuple[float, ...]:
    """Voltages at which a circuit of this command is checked, V.

    Parameters
    ----------
    command : str
        Its name.
    states : sequence of State
        Of the vehicle.
    reference_v : float
        V.

    Returns
    -------
    tuple of float
        Both ends of the span of every state in which it may be on, rising; `reference_v` alone if it may in none.
    """
    return tuple(sorted({v for s in states if s.is_on(command) for v in s.span_v})) or (reference_v,)


def undominated(points: Sequence[tuple[int, ...]]) -> list[int]:
    """Numbers of the points that no other one reaches or exceeds in every coordinate; of equal ones the last."""
    last = {point: n for n, point in enumerate(points)}
    return [n for p, n in last.items() if not any(q != p and all(map(int.__le__, p, q)) for q in last)]
