"""Ampacity of a wire in its surroundings, and the rule packs of road vehicles and boats."""

import math
from bisect import bisect_left
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from types import MappingProxyType

from pdm_alloc.electrics import wire_tables as tables
from pdm_alloc.electrics.wire import awg_diameter_mm

__all__ = [
    "CABLES",
    "LIGHTLY_LOADED",
    "RULE_PACKS",
    "RulePack",
    "ambient_factor",
    "ampacity_a",
    "base_ampacity_a",
    "bundle_factor",
    "counted_wires",
    "pins_needed",
    "segments_ampacity_a",
]

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
    source, fuse_source : str
        Where the least size is from; where the distance of the fuse is from.
    """

    name: str
    least_mm2: float
    least_awg: int | None
    fuse_m: float
    sheathed_fuse_m: float
    source: str
    fuse_source: str

    def allows(self, area_mm2: float, awg: int | None = None) -> bool:
        """Whether a conductor is thick enough: by its AWG number where it has one, else by its area, mm2."""
        if awg is not None and self.least_awg is not None:
            return awg <= self.least_awg
        return area_mm2 >= self.least_mm2


RULE_PACKS = MappingProxyType(
    {
        "general": RulePack("general", 0.0, None, 0.3, 0.3, "no least size", "common practice, no source"),
        "boat": RulePack(
            "boat",
            1.0,
            16,
            0.178,
            1.016,
            "33 CFR 183.425 (d) and (e), 16 AWG; ISO 10133, 7.7, 1 mm2",
            "7 inches, 40 inches in a sheath or enclosure: 33 CFR 183.455, from memory",
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


def counted_wires(currents_a: Sequence[float], alone_a: Sequence[float], factor: Callable[[int], float]) -> int:
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


# Tables of ampacity: that of boat cable, and the lesser of it and the sheets of thin-wall automotive cable.
CABLES = ("boat", "thin_wall")

_TABLE_AMBIENT_C = 30.0


def ambient_factor(insulation_c: float, ambient_c: float) -> float:
    """Ampacity at an ambient over ampacity at 30 deg C: sqrt((Tr - Ta) / (Tr - 30)).

    The rise of temperature goes with the square of the current, so this is the current that brings
    the conductor to its class. It gives the NEC 310.15(B) factors to the printed digits.

    Parameters
    ----------
    insulation_c : float
        Temperature class of the insulation Tr, above 30 deg C.
    ambient_c : float
        Ambient Ta, deg C.

    Returns
    -------
    float
        No unit; 0 where the ambient is not below the class.

    Raises
    ------
    ValueError
        The class is not above 30 deg C.
    """
    if not insulation_c > _TABLE_AMBIENT_C:
        raise ValueError(f"an insulation class is above {_TABLE_AMBIENT_C:g} deg C, not {insulation_c:g}")
    return math.sqrt(max(0.0, insulation_c - ambient_c) / (insulation_c - _TABLE_AMBIENT_C))


def bundle_factor(loaded_wires: int, cable: str = "thin_wall") -> float:
    """Ampacity in a bundle over ampacity of a wire alone.

    Parameters
    ----------
    loaded_wires : int
        Wires in the bundle that carry current, at least 1.
    cable : str
        A word of `CABLES`.

    Returns
    -------
    float
        1, 0.7, 0.6, 0.5 or 0.4 for up to 2, 3, 6, 24 and more wires (notes to 33 CFR 183.425 Table 5,
        binding only from 50 V; below, a choice on the careful side); for thin-wall cable 0.35 above 40
        (NEC 310.15(B)(3)(a)).

    Raises
    ------
    ValueError
        Fewer than one wire.
    """
    if loaded_wires < 1:
        raise ValueError(f"a bundle has at least 1 loaded wire, not {loaded_wires}")
    factor = next((f for most, f in tables.BUNDLE_FACTORS if loaded_wires <= most), tables.BUNDLE_FACTOR_BEYOND)
    return factor if cable == "boat" else min(factor, _thin_wall_bundle(loaded_wires))


@lru_cache(maxsize=512)
def base_ampacity_a(area_mm2: float, insulation_c: float) -> float:
    """Ampacity of a wire alone at 30 deg C.

    On a row of 33 CFR 183.425 Table 5 the row's value. Between rows (all metric sizes) a straight
    line in the logarithms of area and ampacity; between insulation classes a straight line, which is
    below the square-root law. Thinner than 18 AWG the current density of 18 AWG is kept; thicker
    than 4/0 ampacity goes with the square root of the area: both are below the trend of the table,
    and both are ours.

    Parameters
    ----------
    area_mm2 : float
        Nominal area, mm2.
    insulation_c : float
        Temperature class of the insulation, 60 to 200 deg C.

    Returns
    -------
    float
        A.

    Raises
    ------
    ValueError
        The class is outside 60 to 200 deg C, or the area is not above zero.
    """
    if not area_mm2 > 0:
        raise ValueError(f"a conductor has an area above 0 mm2, not {area_mm2}")
    low, high, share = _columns(insulation_c)
    areas, rows = _rows()
    amps = [row[low] + (row[high] - row[low]) * share for row in rows]
    if area_mm2 < areas[0]:
        return amps[0] * area_mm2 / areas[0]
    if area_mm2 > areas[-1]:
        return amps[-1] * math.sqrt(area_mm2 / areas[-1])
    return _log_log(areas, amps, area_mm2)


def ampacity_a(
    area_mm2: float, insulation_c: float, ambient_c: float = 30.0, loaded_wires: int = 1, cable: str = "thin_wall"
) -> float:
    """Ampacity of a wire: table value times ambient factor times bundle factor.

    Parameters
    ----------
    area_mm2 : float
        Nominal area, mm2.
    insulation_c : float
        Temperature class of the insulation, 60 to 200 deg C.
    ambient_c : float
        Ambient, deg C.
    loaded_wires : int
        Wires in the bundle that carry current.
    cable : str
        ``boat``: 33 CFR 183.425; ``thin_wall``: never above the sheets of thin-wall automotive cable either.

    Returns
    -------
    float
        A; 0 where the ambient is not below the class.

    Raises
    ------
    ValueError
        As in `base_ampacity_a`, `ambient_factor` and `bundle_factor`, or the cable is another word.
    """
    factor = ambient_factor(insulation_c, ambient_c) * bundle_factor(loaded_wires, cable)
    return _alone_a(area_mm2, insulation_c, cable) * factor


def segments_ampacity_a(
    area_mm2: float, insulation_c: float, segments: Iterable[tuple[float, int]], cable: str = "thin_wall"
) -> float:
    """Ampacity of a wire along its way: the least of its segments, each with its own ambient and bundle.

    Parameters
    ----------
    area_mm2 : float
        Nominal area, mm2.
    insulation_c : float
        Temperature class of the insulation, deg C.
    segments : iterable of (float, int)
        Ambient, deg C, and loaded wires of each segment, this one counted; at least one.
    cable : str
        A word of `CABLES`.

    Returns
    -------
    float
        A; never below that of the hottest ambient with the fullest bundle.

    Raises
    ------
    ValueError
        There is no segment; otherwise as in `ampacity_a`.
    """
    amps = [ampacity_a(area_mm2, insulation_c, ambient, loaded, cable) for ambient, loaded in segments]
    if not amps:
        raise ValueError("a wire has at least one segment")
    return min(amps)


@lru_cache(maxsize=512)
def _alone_a(area_mm2: float, insulation_c: float, cable: str) -> float:
    if cable not in CABLES:
        raise ValueError(f"the cable is one of {', '.join(CABLES)}, not {cable!r}")
    boat = base_ampacity_a(area_mm2, insulation_c)
    return boat if cable == "boat" else min(boat, _thin_wall_a(area_mm2, insulation_c))


def _thin_wall_a(area_mm2: float, insulation_c: float) -> float:
    """Straight in the logarithms between sizes of the sheet; beyond them the boat table, scaled to meet its ends."""
    areas, amps = list(tables.THIN_WALL_A), list(tables.THIN_WALL_A.values())
    rise = (insulation_c - _TABLE_AMBIENT_C) / (tables.THIN_WALL_CLASS_C - _TABLE_AMBIENT_C)
    inside = min(max(area_mm2, areas[0]), areas[-1])
    scale = base_ampacity_a(area_mm2, tables.THIN_WALL_CLASS_C) / base_ampacity_a(inside, tables.THIN_WALL_CLASS_C)
    return _log_log(areas, amps, inside) * scale * math.sqrt(rise)


def _thin_wall_bundle(loaded_wires: int) -> float:
    upper, factor = tables.THIN_WALL_BUNDLE
    return factor if loaded_wires > upper else 1.0


@lru_cache(maxsize=1)
def _rows() -> tuple[list[float], list[tuple[float, ...]]]:
    areas = [math.pi / 4 * awg_diameter_mm(number) ** 2 for number in tables.AMPACITY_A]
    return areas, list(tables.AMPACITY_A.values())


def _columns(insulation_c: float) -> tuple[int, int, float]:
    """Two neighbouring columns of the table and how far between them the class is."""
    for index, (low, high) in enumerate(pairwise(tables.INSULATION_CLASSES_C)):
        if low <= insulation_c <= high:
            return index, index + 1, (insulation_c - low) / (high - low)
    raise ValueError(f"ampacity is known for insulation of 60 to 200 deg C, not of {insulation_c:g}")


def _log_log(areas: Sequence[float], amps: Sequence[float], area: float) -> float:
    index = min(max(1, bisect_left(areas, area)), len(areas) - 1)
    share = math.log(area / areas[index - 1]) / math.log(areas[index] / areas[index - 1])
    return float(amps[index - 1] * (amps[index] / amps[index - 1]) ** share)
