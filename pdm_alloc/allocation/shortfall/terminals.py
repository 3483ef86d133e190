"""How much thicker a wire the channels' terminals must take."""

from bisect import bisect_left
from dataclasses import replace

from pdm_alloc.allocation.not_enough import Short
from pdm_alloc.allocation.shortfall.trial import Growth, Trial, with_channels
from pdm_alloc.electrics.wire import WireSize, wire_sizes
from pdm_alloc.module import Unit

__all__ = ["TERMINALS", "Terminals"]

TERMINALS = "terminals"


class Terminals:
    """The terminals of all channels take a wire of at least so much."""

    name = TERMINALS

    def relevant(self, trial: Trial, unit: Unit) -> bool:
        """Where a terminal sets a limit."""
        return any(c.max_wire_mm2 is not None for c in unit.module.channels)

    def opened(self, trial: Trial, unit: Unit) -> Unit:
        """Any wire of the tables."""
        return _wider(unit, wire_sizes(trial.vehicle.settings.wire_sizes)[-1].area_mm2)

    def least(self, trial: Trial, unit: Unit) -> Growth | None:
        """The thinnest size that will do."""
        sizes = wire_sizes(trial.vehicle.settings.wire_sizes)
        if not trial.enough(self.opened(trial, unit)):
            return None
        n = bisect_left(range(len(sizes) - 1), True, key=lambda n: trial.enough(_wider(unit, sizes[n].area_mm2)))
        return _growth(unit, sizes[n])


def _growth(unit: Unit, size: WireSize) -> Growth:
    have = min((c.max_wire_mm2 for c in unit.module.channels if c.max_wire_mm2 is not None), default=0.0)
    text = f"terminals that take {size.name} of wire on every channel (the smallest takes {have:g} mm2)"
    short = Short(TERMINALS, unit.label, "", have, size.area_mm2, "mm2", text)
    return Growth(short, lambda other: _wider(other, size.area_mm2), lambda other: _growth(other, size))


def _wider(unit: Unit, area_mm2: float) -> Unit:
    def wider(c):
        return c if c.max_wire_mm2 is None else replace(c, max_wire_mm2=max(c.max_wire_mm2, area_mm2))

    return with_channels(unit, wider)
