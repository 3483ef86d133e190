"""Wire: sizes, resistance, mass, ampacity in its surroundings by rule pack, and the choice for a circuit."""

import math
from bisect import bisect_left
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from types import MappingProxyType
from typing import Any, TypeVar

import numpy as np

from pdm_alloc.electrics import wire_tables
from pdm_alloc.electrics import wire_tables as tables

__all__ = [
    "CABLES",
    "LIGHTLY_LOADED",
    "NOT_KNOWN",
    "RETURNS",
    "RULE_PACKS",
    "Refused",
    "RulePack",
    "WireChoice",
    "WireRules",
    "WireSize",
    "ambient_factor",
    "ampacity_a",
    "awg_diameter_mm",
    "awg_name",
    "base_ampacity_a",
    "bundle_factor",
    "choose_wire",
    "conductor_c",
    "counted_wires",
    "drop_pct",
    "fits_terminal",
    "mass_g_per_m",
    "outer_diameter_mm",
    "pins_needed",
    "resistance_ohm_per_m",
    "segments_ampacity_a",
    "temperature_factor",
    "voltage_drop_v",
    "wire_sizes",
]

# Name of the size of a wire whose drop could not be judged; its area is then the least that carries the trip setting.
NOT_KNOWN = "not known"


@dataclass(frozen=True, slots=True)
class WireSize:
    """One size of stranded copper wire.

    Parameters
    ----------
    name : str
        ``2.5 mm2`` or ``14 AWG``.
    area_mm2 : float
        Nominal area, mm2: what a terminal is made for and what the mass is taken from.
    ohm_per_m : float
        Resistance at 20 deg C, ohm / m.
    zero_c : float
        Temperature at which the resistance would vanish by the standard the size belongs to, deg C.
    awg : int or None
        AWG number (1/0 is 0); None: a metric size.
    """

    name: str
    area_mm2: float
    ohm_per_m: float
    zero_c: float
    awg: int | None = None

    @property
    def fitted_mm2(self) -> float:
        """Area that terminals, seals and splices are chosen for, mm2; nan: the size is not known, so no part fits."""
        return math.nan if self.name == NOT_KNOWN else self.area_mm2


@lru_cache(maxsize=4)
def wire_sizes(system: str) -> tuple[WireSize, ...]:
    """Sizes of one system, thin to thick.

    Parameters
    ----------
    system : str
        ``metric`` (IEC 60228 class 5, 0.5 to 300 mm2) or ``awg`` (22 to 4/0: nominal area of ASTM
        B258, resistance of the slightly thinner SAE conductors).

    Returns
    -------
    tuple of WireSize

    Raises
    ------
    ValueError
        Another word.
    """
    if system == "metric":
        return tuple(_metric(area, ohm) for area, ohm in wire_tables.CLASS_5_OHM_PER_KM.items())
    if system == "awg":
        return tuple(_awg(number) for number in wire_tables.AWG_NUMBERS)
    raise ValueError(f"wire sizes are metric or awg, not {system!r}")


def awg_diameter_mm(number: int) -> float:
    """Diameter of a solid conductor of an AWG size (ASTM B258): 0.127 mm * 92**((36 - n) / 39).

    Parameters
    ----------
    number : int
        AWG number; 1/0 is 0, 4/0 is -3.

    Returns
    -------
    float
        mm.
    """
    return float(0.127 * 92 ** ((36 - number) / 39))


def awg_name(number: int) -> str:
    """Name of an AWG size: ``14 AWG``, ``2/0 AWG`` for -1."""
    return f"{number if number > 0 else f'{1 - number}/0'} AWG"


def temperature_factor(conductor_c: float, zero_c: float = wire_tables.COPPER_ZERO_C) -> float:
    """Resistance at a temperature over resistance at 20 deg C.

    Parameters
    ----------
    conductor_c : float
        Temperature of the conductor, deg C.
    zero_c : float
        Temperature at which the resistance would vanish, deg C: -234.5 in FAA AC 43.13-1B, -230 in
        IEC 60228 (whose Kt is the reciprocal).

    Returns
    -------
    float
        No unit.
    """
    return (conductor_c - zero_c) / (20.0 - zero_c)


def resistance_ohm_per_m(size: WireSize, conductor_c: float) -> float:
    """Resistance of a size at a conductor temperature.

    Parameters
    ----------
    size : WireSize
        Which wire.
    conductor_c : float
        Temperature of the conductor, deg C.

    Returns
    -------
    float
        ohm / m.
    """
    return size.ohm_per_m * temperature_factor(conductor_c, size.zero_c)


def outer_diameter_mm(area_mm2: float) -> float:
    """Outer diameter of a wire: strands that fill 0.75 of their circle, and a thin wall.

    Parameters
    ----------
    area_mm2 : float
        Nominal area, up to 300 mm2.

    Returns
    -------
    float
        mm; fill and wall are common practice.

    Raises
    ------
    ValueError
        Area not above zero, or above the table of walls.
    """
    return _strand_diameter_mm(area_mm2) + 2 * _wall_mm(area_mm2)


@lru_cache(maxsize=1024)
def mass_g_per_m(area_mm2: float, insulation_c: float = 105.0) -> float:
    """Mass of a wire: copper of the nominal area and a tube of insulation.

    The metal of a stranded wire is a little less than nominal and its lay a little longer than the
    wire; the two are let cancel.

    Parameters
    ----------
    area_mm2 : float
        Nominal area, up to 300 mm2.
    insulation_c : float
        Temperature class of the insulation, up to 200 deg C.

    Returns
    -------
    float
        g / m.

    Raises
    ------
    ValueError
        Area or class outside the tables.
    """
    inner, outer = _strand_diameter_mm(area_mm2), outer_diameter_mm(area_mm2)
    tube_mm2 = math.pi / 4 * (outer**2 - inner**2)
    return area_mm2 * wire_tables.COPPER_DENSITY + tube_mm2 * step_up_to(wire_tables.INSULATION_DENSITY, insulation_c)


def step_up_to(steps: Sequence[tuple[float, float]], value: float) -> float:
    """Second item of the first row whose first item is not below the value; ValueError beyond the last."""
    for bound, result in steps:
        if value <= bound:
            return result
    raise ValueError(f"{value:g} is beyond the table, which ends at {steps[-1][0]:g}")


def _metric(area: float, ohm_per_km: float) -> WireSize:
    return WireSize(f"{area:g} mm2", area, ohm_per_km / 1000, wire_tables.IEC_ZERO_C)


def _awg(number: int) -> WireSize:
    area = math.pi / 4 * awg_diameter_mm(number) ** 2
    mils = wire_tables.SAE_CIRCULAR_MILS.get(number)
    metal = mils * wire_tables.CIRCULAR_MIL_MM2 if mils else area * wire_tables.SAE_LEAST_SHARE
    return WireSize(awg_name(number), area, wire_tables.COPPER_RESISTIVITY / metal, wire_tables.COPPER_ZERO_C, number)


def _strand_diameter_mm(area: float) -> float:
    if not area > 0:
        raise ValueError(f"a conductor has an area above 0 mm2, not {area}")
    return math.sqrt(4 * area / (math.pi * wire_tables.STRAND_FILL))


def _wall_mm(area: float) -> float:
    return step_up_to(wire_tables.WALL_MM, area)


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


Amount = TypeVar("Amount", float, np.ndarray[Any, Any])


# Lengths of wire the current passes for one length of run: out only, or out and back.
RETURNS = {"chassis": 1, "wire": 2}


def voltage_drop_v(
    current_a: Amount, length_m: Amount, ohm_per_m: Amount, return_path: str = "chassis", parallel: int = 1
) -> Amount:
    """Voltage lost along a run: current times resistance of the way out, and of the way back by wire.

    Parameters
    ----------
    current_a, length_m, ohm_per_m : float or ndarray, shapes that broadcast
        Current, A; length one way, m; resistance of one conductor at its temperature, ohm / m.
    return_path : str
        ``chassis`` (its own resistance is neglected) or ``wire`` (as long and as thick as the way out).
    parallel : int
        Conductors side by side.

    Returns
    -------
    float or ndarray, broadcast shape
        V.

    Raises
    ------
    KeyError
        The return path is another word.
    """
    drop: Amount = current_a * length_m * ohm_per_m * RETURNS[return_path] / parallel
    return drop


def drop_pct(drop_v: Amount, system_v: float) -> Amount:
    """Drop as tables state it.

    Parameters
    ----------
    drop_v : float or ndarray
        Drop, V.
    system_v : float
        Nominal voltage, V.

    Returns
    -------
    float or ndarray
        Per cent of `system_v`.
    """
    return 100.0 * drop_v / system_v


def conductor_c(ambient_c: float, insulation_c: float, current_a: float, ampacity: float) -> float:
    """Estimated temperature of a loaded conductor: T1 + (TR - T1) * sqrt(I2 / Imax).

    FAA AC 43.13-1B, section 11-66 (variables seen, expression from memory). The square root makes it
    an upper estimate at part load, where the true rise goes with the square of the current.

    Parameters
    ----------
    ambient_c, insulation_c : float
        Ambient T1; temperature class of the insulation TR, deg C.
    current_a, ampacity : float
        Current I2; allowable current Imax in that ambient and bundle, A.

    Returns
    -------
    float
        deg C; the higher of the two temperatures where the ampacity is 0.
    """
    if ampacity <= 0:
        return max(ambient_c, insulation_c)
    return ambient_c + (insulation_c - ambient_c) * math.sqrt(max(0.0, current_a) / ampacity)


@dataclass(frozen=True, slots=True)
class Refused:
    """Why a circuit or a cable has no trip setting, no fuse or no wire.

    Parameters
    ----------
    reason : str
        A word that the function which gives it names.
    """

    reason: str


Run = tuple[float, float | None, float]

_TERMINAL_ROUNDING = 1.01  # a terminal for "5.3 mm2" takes 10 AWG; no two sizes are this close


@dataclass(frozen=True, slots=True)
class WireRules:
    """What a wire is chosen by, the same for many circuits.

    Parameters
    ----------
    sizes : str
        ``metric`` or ``awg``.
    insulation_c, ambient_c : float
        Temperature class of the insulation, 60 to 200; hottest ambient on the way, deg C.
    bundle_wires : int
        Loaded wires in the bundle, where no segments are known.
    return_path : str
        ``chassis`` or ``wire``.
    system_v : float
        Voltage the drops are per cent of, V.
    cable : str
        Table of ampacity, a word of `pdm_alloc.electrics.wire.CABLES`.
    pack : str
        Rule pack, a word of `pdm_alloc.electrics.wire.RULE_PACKS`: thinner sizes are not chosen.
    segments : tuple of (float, int)
        Ambient, deg C, and loaded wires of each segment of the way, none hotter than `ambient_c`; empty: one segment,
        of `ambient_c` and `bundle_wires`.
    """

    sizes: str = "metric"
    insulation_c: float = 105.0
    ambient_c: float = 30.0
    bundle_wires: int = 1
    return_path: str = "chassis"
    system_v: float = 12.0
    cable: str = "thin_wall"
    pack: str = "general"
    segments: tuple[tuple[float, int], ...] = ()

    def ampacity_a(self, area_mm2: float) -> float:
        """Ampacity of one conductor along the whole way, A."""
        segments = self.segments or ((self.ambient_c, self.bundle_wires),)
        return segments_ampacity_a(area_mm2, self.insulation_c, segments, self.cable)


@dataclass(frozen=True, slots=True)
class WireChoice:
    """The wire of a circuit.

    Parameters
    ----------
    size : WireSize
        Size of each conductor.
    parallel : int
        Conductors side by side, one a pin.
    ampacity_a : float
        Of all conductors together, A.
    drops_pct : tuple of (float or None)
        Drop of each run in the order given, per cent of the system voltage; None: no length, not judged.
    mass_g : float or None
        Mass of all runs, with the way back where it is a wire, g; None where a length is missing.
    """

    size: WireSize
    parallel: int
    ampacity_a: float
    drops_pct: tuple[float | None, ...]
    mass_g: float | None

    @property
    def words(self) -> str:
        """``4 mm2``, or ``2 x 4 mm2`` side by side."""
        return self.size.name if self.parallel == 1 else f"{self.parallel} x {self.size.name}"


def choose_wire(
    trip_a: float,
    running_a: float,
    runs: Sequence[Run],
    rules: WireRules,
    max_wire_mm2: float | None = None,
    pins: int = 1,
    least_mm2: float = 0.0,
    step: int = 1,
    least: int = 1,
) -> WireChoice | Refused:
    """Smallest wire that serves a circuit; conductors side by side only where one does not suffice.

    Conductors side by side share the trip setting: they are taken to carry equal currents, so they
    must be alike and equally long.

    Parameters
    ----------
    trip_a : float
        Trip setting the wire must carry for ever, A.
    running_a : float
        Running current of the circuit, A; it warms the conductor for the drop.
    runs : sequence of (float, float or None, float)
        For each load: current in its run, A; length one way, m, or None; drop allowed, per cent of
        the system voltage. For a shared trunk give the load's ampere-metres over its length.
    rules : WireRules
        Sizes, insulation, ambient, bundle, return and voltage.
    max_wire_mm2 : float or None
        Largest conductor the terminal takes, mm2; None: not judged.
    pins : int
        Pins of the channel, the most conductors side by side.
    least_mm2 : float
        Area all conductors must have together for other reasons (a stalled load), mm2.
    step : int
        Conductors come in whole multiples of it (2 where two channels feed the circuit).
    least : int
        Conductors side by side there must be: one for each pin that the current takes.

    Returns
    -------
    WireChoice or Refused
        The wire; or why there is none: ``heat`` (the ambient is not below the insulation class),
        ``ampacity`` (no size carries the trip setting), ``drop`` (no size keeps a drop), ``terminal``
        (a size would, but its terminal does not take it).

    Raises
    ------
    ValueError
        The rules are outside the tables of wire.
    """
    ladder = _ladder(rules)
    if not ladder:
        return Refused("heat")
    most = math.inf if max_wire_mm2 is None else max_wire_mm2
    allowed = _ohm_allowed(runs, rules)
    for parallel in range(max(step, least), pins + 1, step):
        for rung in ladder:
            if not fits_terminal(rung.area_mm2, most):
                break
            if rung.carries(parallel, trip_a, least_mm2) and _keeps_drops(rung, parallel, running_a, allowed):
                return _choice(rung, parallel, running_a, runs, rules)
    carrying = [rung for rung in ladder if rung.carries(pins, trip_a, least_mm2)]
    return _reason(carrying, pins, running_a, allowed)


def fits_terminal(area_mm2: float, max_wire_mm2: float) -> bool:
    """Whether a terminal for up to so many mm2 takes a conductor; its makers round the areas of AWG sizes."""
    return area_mm2 <= max_wire_mm2 * _TERMINAL_ROUNDING


@dataclass(frozen=True, slots=True)
class _Rung:
    """A size under given rules: resistance is `ohm_cool` + `ohm_rise` * sqrt(current / ampacity) at most, ohm / m."""

    size: WireSize
    area_mm2: float
    ampacity_a: float
    ohm_cool: float
    ohm_rise: float
    g_per_m: float

    def carries(self, parallel: int, trip_a: float, least_mm2: float) -> bool:
        return self.ampacity_a * parallel >= trip_a and self.area_mm2 * parallel >= least_mm2

    def ohm_per_m(self, parallel: int, running_a: float) -> float:
        share = running_a / (self.ampacity_a * parallel)  # above 1 only where it flows too briefly to pass the class
        return self.ohm_cool + self.ohm_rise * math.sqrt(min(1.0, share))


@lru_cache(maxsize=512)
def _ladder(rules: WireRules) -> tuple[_Rung, ...]:
    if rules.ambient_c >= rules.insulation_c:
        return ()
    pack = RULE_PACKS[rules.pack]
    return tuple(_rung(size, rules) for size in wire_sizes(rules.sizes) if pack.allows(size.area_mm2, size.awg))


def _rung(size: WireSize, rules: WireRules) -> _Rung:
    cool = resistance_ohm_per_m(size, rules.ambient_c)
    hot = resistance_ohm_per_m(size, rules.insulation_c)
    ampacity = rules.ampacity_a(size.area_mm2)
    return _Rung(size, size.area_mm2, ampacity, cool, hot - cool, mass_g_per_m(size.area_mm2, rules.insulation_c))


def _ohm_allowed(runs: Sequence[Run], rules: WireRules) -> float:
    """Largest resistance per metre that every run allows: one number decides all drops."""
    returns, volts = RETURNS[rules.return_path], rules.system_v / 100
    allowed = math.inf
    for current, length, most_pct in runs:
        amp_metres = current * length * returns if length else 0.0
        if amp_metres > 0:
            allowed = min(allowed, most_pct * volts / amp_metres)
    return allowed


def _keeps_drops(rung: _Rung, parallel: int, running_a: float, allowed: float) -> bool:
    return rung.ohm_cool <= allowed * parallel and rung.ohm_per_m(parallel, running_a) <= allowed * parallel


def _choice(rung: _Rung, parallel: int, running_a: float, runs: Sequence[Run], rules: WireRules) -> WireChoice:
    returns = RETURNS[rules.return_path]
    per_amp_metre = rung.ohm_per_m(parallel, running_a) * returns / parallel * 100 / rules.system_v
    drops = tuple(None if length is None else current * length * per_amp_metre for current, length, _ in runs)
    mass = None
    lengths = [length for _, length, _ in runs if length is not None]
    if len(lengths) == len(runs):
        mass = sum(lengths) * rung.g_per_m * returns * parallel
    return WireChoice(rung.size, parallel, rung.ampacity_a * parallel, drops, mass)


def _reason(carrying: Sequence[_Rung], pins: int, running_a: float, allowed: float) -> Refused:
    if not carrying:
        return Refused("ampacity")
    is_terminal = any(_keeps_drops(rung, pins, running_a, allowed) for rung in carrying)
    return Refused("terminal" if is_terminal else "drop")
