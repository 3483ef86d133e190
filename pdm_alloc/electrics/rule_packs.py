"""Rules that differ between a road vehicle and a boat: least wire size, distance of the main fuse."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from types import MappingProxyType

__all__ = ["LIGHTLY_LOADED", "RULE_PACKS", "RulePack", "counted_wires", "pins_needed"]

# Share of its capacity in the group up to which a wire does not count as loaded (IEC 60364-5-52, section 523.5, from
# memory).
LIGHTLY_LOADED = 0.3


@dataclass(frozen=True, slots=True)
class RulePack:
    """Rules one kind of vehicle is wired by.

    Parameters
    ----------
    name : str
        ``general`` or ``boat``.
    least_mm2 : float
        Least conductor of a metric size, mm2; 0: none.
    least_awg : int or None
        Least conductor as an AWG number (thinner sizes have larger numbers); None: none.
    fuse_m, sheathed_fuse_m : float
        Longest cable from the battery to its fuse, m; the same where the cable is in a sheath or enclosure all the way.
    source : str
        Where the rules are from.
    """

    name: str
    least_mm2: float
    least_awg: int | None
    fuse_m: float
    sheathed_fuse_m: float
    source: str

    def allows(self, area_mm2: float, awg: int | None = None) -> bool:
        """Whether a conductor is thick enough: by its AWG number where it has one, else by its area, mm2."""
        if awg is not None and self.least_awg is not None:
            return awg <= self.least_awg
        return area_mm2 >= self.least_mm2


RULE_PACKS = MappingProxyType(
    {
        "general": RulePack("general", 0.0, None, 0.3, 0.3, "common practice, no source"),
        "boat": RulePack(
            "boat",
            1.0,
            16,
            0.178,
            1.016,
            "least size: 33 CFR 183.425 (d) and (e), 16 AWG; ISO 10133, 7.7, 1 mm2. "
            "Fuse within 7 inches of its source, 40 inches in a sheath or enclosure: 33 CFR 183.455, from memory",
        ),
    }
)


def pins_needed(current_ma: int, contact_ma: int | None, pins: int) -> int | None:
    """Pins of a channel that must be wired for a current.

    Parameters
    ----------
    current_ma : int
        Trip setting of the channel, mA.
    contact_ma : int or None
        What one pin bears, mA; None: not known, so every pin has its own wire.
    pins : int
        Pins the channel has.

    Returns
    -------
    int or None
        At least 1 where the channel has a pin; None where all its pins together do not bear the current.

    Raises
    ------
    ValueError
        A contact that bears nothing.
    """
    if contact_ma is None:
        return pins
    if contact_ma <= 0:
        raise ValueError(f"a contact bears more than 0 mA, not {contact_ma}")
    needed = max(1, -(-current_ma // contact_ma))
    return needed if needed <= pins else None


def counted_wires(currents_a: Sequence[float], alone_a: Sequence[float], factor) -> int:
    """Wires of a bundle that count as loaded: those above 30 % of their capacity in the bundle.

    A wire left out lets the others carry more, so what is light in the larger bundle is light in the
    smaller one too: the count only falls and ends.

    Parameters
    ----------
    currents_a : sequence of float, shape (n,)
        Current of each wire, A.
    alone_a : sequence of float, shape (n,)
        Ampacity of each alone in the same ambient, A.
    factor : callable of int to float
        Bundle factor by number of loaded wires, not rising.

    Returns
    -------
    int
        At least 1.

    Raises
    ------
    ValueError
        The sequences differ in length.
    """
    pairs = list(zip(currents_a, alone_a, strict=True))
    count, before = max(1, len(pairs)), math.inf
    while count < before:
        grouped = LIGHTLY_LOADED * factor(count)
        before, count = count, max(1, sum(current > grouped * alone for current, alone in pairs))
    return count
