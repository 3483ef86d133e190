"""Rules on trip settings: one that holds exists, and none is reached by what its circuit draws."""

import math
from collections.abc import Iterator
from fractions import Fraction

from pdm_alloc.verify.recount import Finding, Recount, Wired
from pdm_alloc.verify.strength import usable_ma

__all__ = [
    "contact_ma",
    "draw_below_trip",
    "least_trip_ma",
    "overloaded",
    "pins_each",
    "rated_ma",
    "reads_ma",
    "step_ma",
    "terminal_mm2",
    "trip_exists",
    "widest_ma",
    "wired_pins",
]

TERMINAL = 1.01  # a terminal for 5.3 mm2 takes 10 AWG


def trip_exists(recount: Recount) -> Iterator[Finding]:
    """A setting 1.25 times the largest draw over (1 - error of the module's reading) is within the derated rating.

    That quarter and the headroom are one margin: of a circuit without its headroom the rule on running current tells.
    """
    for wired in recount.wired:
        least, upper = least_trip_ma(recount, wired), rated_ma(recount, wired)
        if least > upper and widest_ma(recount, wired) <= usable_ma(recount, wired):
            one, rated = least / wired.shares / 1000, float(upper) / wired.shares / 1000
            message = f"the trip setting has to be {one:g} A, the rating is {rated:g} A"
            yield Finding("trip", **wired.where, value=one, limit=rated, unit="A", message=message)


def widest_ma(recount: Recount, wired: Wired) -> int:
    """Largest draw of the circuit at any voltage of any state it may be on in, mA."""
    return recount.largest_draw(wired)[0]


def rated_ma(recount: Recount, wired: Wired) -> Fraction:
    """Derated rating of the circuit's channel; of a pair twice that of the weaker channel, mA."""
    weakest = min(channel.continuous_ma for channel in wired.channels)
    return wired.shares * weakest * recount.factor(wired.unit)


def step_ma(wired: Wired) -> int:
    """Step of the setting; a pair has two settings, one a channel, which go up together, mA."""
    return wired.shares * wired.unit.module.trip_step_ma


def least_trip_ma(recount: Recount, wired: Wired) -> int:
    """Least setting that holds, of a pair of both channels together, mA."""
    reads = 1 - Fraction(wired.unit.module.trip_error_pct) / 100
    carried = widest_ma(recount, wired) * wired.larger_pct / 100
    step = wired.unit.module.trip_step_ma
    return wired.shares * step * max(1, math.ceil(carried * 5 / 4 / reads / step))


def reads_ma(wired: Wired, setting_ma: float) -> float:
    """Least current of the circuit at which a channel with a setting (of a pair, both) may trip, mA."""
    reads = 1 - Fraction(wired.unit.module.trip_error_pct) / 100
    return float(Fraction(setting_ma) / wired.shares * reads / (wired.larger_pct / 100))


def draw_below_trip(recount: Recount, wired: Wired, setting_ma: float) -> Iterator[Finding]:
    """In every state the circuit may be on in, at both voltages, it draws less than what its setting may trip at.

    Parameters
    ----------
    recount : Recount
        The vehicle.
    wired : Wired
        The circuit.
    setting_ma : float
        Its setting, of a pair of both channels together, mA.

    Yields
    ------
    Finding
        One at most: the state and voltage at which it is passed most.
    """
    ends = [(s.name, v) for s in recount.states_on(wired) for v in (s.supply_v, s.supply_top_v) if v is not None]
    ends = ends or [("", recount.vehicle.settings.reference_v)]
    value, (state, volts) = max((recount.draw_at(wired, end[1]), end) for end in ends)
    limit = reads_ma(wired, setting_ma)
    if value >= limit:
        message = f"it draws {value / 1000:g} A at {volts:g} V and may trip at {limit / 1000:g} A"
        amps, bears = value / 1000, limit / 1000
        yield Finding("draw below trip", **wired.where, state=state, value=amps, limit=bears, unit="A", message=message)


def pins_each(wired: Wired) -> int:
    """Pins of each channel of a circuit that can be wired."""
    return min(max(1, len(channel.pins)) for channel in wired.channels)


def contact_ma(wired: Wired) -> int | None:
    """What one pin bears, mA; None: some channel does not say."""
    known = [channel.contact_ma for channel in wired.channels if channel.contact_ma is not None]
    return min(known) if len(known) == len(wired.channels) else None


def wired_pins(wired: Wired, trip_ma: int) -> int:
    """Pins of each channel that need a wire: as many as bear its setting, all where nobody knows what one bears."""
    bears = contact_ma(wired)
    return pins_each(wired) if bears is None else max(1, math.ceil(Fraction(trip_ma) / (wired.shares * bears)))


def terminal_mm2(wired: Wired) -> float:
    """Largest conductor its terminals take, mm2; inf where none states it."""
    return min((c.max_wire_mm2 for c in wired.channels if c.max_wire_mm2 is not None), default=math.inf) * TERMINAL


def overloaded(wired: Wired, one_ma: float) -> Finding:
    """That the pins of a circuit do not bear its least setting."""
    bears = (contact_ma(wired) or 0) * pins_each(wired)
    message = f"its pins bear {bears / 1000:g} A together, the least setting of the channel is {one_ma / 1000:g} A"
    return Finding("contact", **wired.where, value=one_ma / 1000, limit=bears / 1000, unit="A", message=message)
