"""The curves of a circuit of an allocation, for `inrush`."""

from typing import TYPE_CHECKING, Any

import pandas as pd

from pdm_alloc.figures.curves import curves

if TYPE_CHECKING:
    from pdm_alloc.allocation.result import Allocation

__all__ = ["curves_of"]


def curves_of(allocation: "Allocation", channel: str | int, module: str | None = None) -> pd.DataFrame:
    """Currents over time of the circuit on a channel, of that channel and of the wire chosen for it.

    Parameters
    ----------
    allocation : Allocation
        The circuits.
    channel : str or int
        Channel as the tables write it, ``7`` or ``26+27``.
    module : str, optional
        Label of the unit; needed only where several units have such a channel.

    Returns
    -------
    DataFrame
        As `curves` gives it; the whole circuit where it is on two channels.

    Raises
    ------
    KeyError
        No circuit is on that channel, or several are, or no wire was found for it.
    """
    wired = _on(allocation, str(channel), module)
    rating, made = wired.place.rating, wired.made
    excess = [(item.excess_ma * number / 1000, item.tau_ms) for item, number in wired.some]
    return curves(
        wired.running_ma / 1000,
        tuple(amps for amps, _ in excess),
        tuple(tau for _, tau in excess),
        (made.trip_ma / 1000, made.window_ms),
        (rating.usable_ma / 1000, rating.peak_ma / 1000, rating.peak_ms),
        (made.wire.size.area_mm2 * made.wire.parallel, made.wire.ampacity_a, allocation.vehicle.settings.insulation_c),
        wired.stalled_a,
    )


def _on(allocation: "Allocation", channel: str, module: str | None) -> Any:
    found = [w for w in allocation.wired if w.circuit.channel == channel and module in (None, w.circuit.unit)]
    if len(found) != 1:
        raise KeyError(f"{'several circuits are' if found else 'no circuit is'} on channel {channel}")
    if isinstance(found[0].made, str):
        raise KeyError(f"no wire was found for the circuit on channel {channel}")
    return found[0]
