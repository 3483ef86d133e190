"""Wire sizes: area, resistance at a temperature, diameter, mass."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from pdm_alloc.electrics import wire_tables

__all__ = [
    "NOT_KNOWN",
    "WireSize",
    "awg_diameter_mm",
    "awg_name",
    "mass_g_per_m",
    "outer_diameter_mm",
    "resistance_ohm_per_m",
    "temperature_factor",
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
