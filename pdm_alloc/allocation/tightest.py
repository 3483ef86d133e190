"""Which limit of an allocation is used most."""

from collections.abc import Iterator

from pdm_alloc.allocation.ratings import place_of
from pdm_alloc.allocation.result import Allocation

__all__ = ["tightest"]


def tightest(allocation: Allocation) -> tuple[str, float]:
    """The limit that is used most, headroom wanted already taken off it.

    Parameters
    ----------
    allocation : Allocation
        With at least one circuit.

    Returns
    -------
    subject : str
        Such as ``channel 7, running`` or ``bank A in night, wet``.
    use_pct : float
        Share of the limit in use, per cent; 100 is all of it.
    """
    uses = [*_channels(allocation), *_sums(allocation)]
    subject, use = max(uses, key=lambda pair: pair[1], default=("nothing", 0.0))
    return subject, round(use, 1)


def _channels(allocation: Allocation) -> Iterator[tuple[str, float]]:
    several = len(allocation.units) > 1
    table = allocation.channels
    for circuit, running_a, inrush_pct in zip(
        allocation.circuits, table.running_a.tolist(), table.inrush_use_pct.tolist(), strict=True
    ):
        rating = place_of(allocation.vehicle, allocation.units, circuit).rating
        name = f"{circuit.unit} channel {circuit.channel}" if several else f"channel {circuit.channel}"
        yield f"{name}, running", 100_000 * running_a / rating.usable_ma
        yield f"{name}, inrush", inrush_pct


def _sums(allocation: Allocation) -> Iterator[tuple[str, float]]:
    several = len(allocation.units) > 1
    table = allocation.headroom[["module", "subject", "state", "current_a", "limit_a"]]
    for module, subject, state, current_a, limit_a in table.values.tolist():
        name = f"{module} {subject}" if several else subject
        yield f"{name} in {state}", 100 * current_a / limit_a
