"""What every channel is to be set to, and by how much its loads pass it."""

from collections.abc import Sequence

import pandas as pd

from pdm_alloc.allocation.tables import loads_text
from pdm_alloc.allocation.wired import WiredCircuit
from pdm_alloc.electrics.inrush import time_above
from pdm_alloc.electrics.protect import Protected
from pdm_alloc.vehicle import Vehicle

__all__ = ["SETTINGS", "settings_table"]

SETTINGS = (
    "module",
    "channel",
    "command",
    "loads",
    "running_a",
    "trip_a",
    "margin_pct",
    "window_ms",
    "above_ms",
    "stalled_a",
    "stall_trip_ms",
    "stall_damage_ms",
)


def settings_table(vehicle: Vehicle, wired: Sequence[WiredCircuit]) -> pd.DataFrame:
    """A row a circuit, in the columns `SETTINGS`; of two channels in parallel, trip_a and running_a are those of each.

    running_a has the tolerance in it; margin_pct is how much more trip_a is; above_ms is how long the
    inrush exceeds trip_a, window_ms how long it may. stalled_a flows when its motors are stuck. Of all
    currents up to that, the one worst for the wire trips the channel after stall_trip_ms, and the
    wire would suffer after stall_damage_ms. Empty where nothing can stall.
    """
    rows = [_row(vehicle, w, w.made) for w in wired if isinstance(w.made, Protected)]
    return pd.DataFrame(rows, columns=list(SETTINGS)).astype(dict.fromkeys(SETTINGS[4:], float))


def _row(vehicle: Vehicle, w: WiredCircuit, made: Protected) -> tuple[object, ...]:
    running, trip = w.running_ma / w.each / 1000, made.trip_ma / w.each / 1000
    margin = 100 * (trip / running - 1) if running else float("inf")
    return (
        w.circuit.unit,
        w.circuit.channel,
        w.circuit.command,
        loads_text(vehicle, w.circuit),
        running,
        trip,
        round(margin, 1),
        made.window_ms,
        round(_above_ms(w, made), 1),
        *_stall(w, made),
    )


def _above_ms(w: WiredCircuit, made: Protected) -> float:
    """A setting equal to the running current reads as half a step more, as its window was chosen."""
    level = made.trip_ma + (w.place.rating.trip_step_ma / 2 if made.trip_ma == w.running_ma else 0)
    excess = [t.excess_ma * k / 1000 for t, k in w.some]
    return time_above(w.running_ma / 1000, excess, [t.tau_ms for t, _ in w.some], level / 1000)


def _stall(w: WiredCircuit, made: Protected) -> tuple[object, ...]:
    if made.stall is None or w.stalled_a is None:
        return (None, None, None)
    return (w.stalled_a / w.each, round(made.stall.trip_ms, 1), round(made.stall.damage_ms, 1))
