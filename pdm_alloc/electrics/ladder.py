"""Resistor ladder: several switches on one analog pin, every combination of them told apart with tolerances."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

__all__ = ["E24", "MOST_SWITCHES", "Ladder", "LadderStep", "design_ladder", "ladder_steps"]

# Preferred values of resistors with 5 %, also sold with 1 %: IEC 60063, series E24.
E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)

MOST_SWITCHES = 4

_DECADES = (10, 100, 1000)


@dataclass(frozen=True, slots=True)
class LadderStep:
    """One combination of switches and what the pin reads.

    Parameters
    ----------
    closed : tuple of int
        Numbers of the closed switches, from 0.
    nominal, low, high : float
        Reading over full scale, no unit: as designed, and the least and most with tolerances and reading error.
    """

    closed: tuple[int, ...]
    nominal: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Ladder:
    """Resistors in series with each switch, ohm, and the steps from the highest reading down."""

    resistors_ohm: tuple[float, ...]
    pull_up_ohm: float
    steps: tuple[LadderStep, ...]

    @property
    def gap(self) -> float:
        """Least distance between two neighbouring steps over full scale; negative where two overlap."""
        return min(above.low - below.high for above, below in pairwise(self.steps))


def ladder_steps(
    resistors_ohm: Sequence[float],
    pull_up_ohm: float,
    tolerance_pct: float = 1.0,
    pull_up_tolerance_pct: float = 1.0,
    reading_error_pct: float = 0.5,
) -> Ladder:
    """What a pin with a pull-up reads for each combination of switches, each to ground through its own resistor.

    Reading over full scale = 1 / (1 + R_pull_up x sum of 1 / R_i of the closed switches), ratiometric to the pull-up's
    supply. It falls as the product grows, so tolerances are worst all one way.

    Parameters
    ----------
    resistors_ohm : sequence of float
        One for each switch, ohm.
    pull_up_ohm : float
        Pull-up, ohm.
    tolerance_pct, pull_up_tolerance_pct : float
        Of the resistors and of the pull-up, per cent.
    reading_error_pct : float
        Of the pin's converter, per cent of full scale, either way.

    Returns
    -------
    Ladder
        With all 2^n steps, highest nominal reading first.

    Raises
    ------
    ValueError
        A resistance is not above 0.
    """
    if min(*resistors_ohm, pull_up_ohm) <= 0:
        raise ValueError("resistances of a ladder are above 0 ohm")
    more = (1 + pull_up_tolerance_pct / 100) / (1 - tolerance_pct / 100)
    less = (1 - pull_up_tolerance_pct / 100) / (1 + tolerance_pct / 100)
    error = reading_error_pct / 100
    steps = []
    for mask in range(1 << len(resistors_ohm)):
        closed = tuple(n for n in range(len(resistors_ohm)) if mask >> n & 1)
        ratio = pull_up_ohm * sum(1 / resistors_ohm[n] for n in closed)
        low, high = 1 / (1 + ratio * more) - error, 1 / (1 + ratio * less) + error
        steps.append(LadderStep(closed, 1 / (1 + ratio), low, high))
    steps.sort(key=lambda step: -step.nominal)
    return Ladder(tuple(resistors_ohm), pull_up_ohm, tuple(steps))


def design_ladder(
    switches: int, pull_up_ohm: float = 1000.0, least_gap: float = 0.005, **errors: float
) -> Ladder | None:
    """The ladder whose steps are furthest apart, its resistors each about twice the one before, of preferred values.

    Parameters
    ----------
    switches : int
        At least 1.
    pull_up_ohm : float
        Pull-up of the pin, ohm.
    least_gap : float
        Distance wanted between neighbouring steps with everything at its worst, over full scale.
    errors : float
        ``tolerance_pct``, ``pull_up_tolerance_pct``, ``reading_error_pct`` as in `ladder_steps`.

    Returns
    -------
    Ladder or None
        None: no such ladder can be told apart.

    Raises
    ------
    ValueError
        There is no switch.
    """
    if switches < 1:
        raise ValueError("a ladder has at least one switch")
    if switches > MOST_SWITCHES:
        return None
    values = [value * decade for decade in _DECADES for value in E24]
    sets = [[_preferred(first * 2**n, values) for n in range(switches)] for first in values]
    ladders = [ladder_steps(chosen, pull_up_ohm, **errors) for chosen in sets if len(set(chosen)) == switches]
    widest = max(ladders, key=lambda ladder: ladder.gap)
    return widest if widest.gap >= least_gap else None


def _preferred(ohm: float, values: Sequence[int]) -> int:
    return min(values, key=lambda value: abs(value - ohm))
