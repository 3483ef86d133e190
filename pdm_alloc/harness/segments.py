"""What lies in each route: wires, bundle, mass."""

from collections.abc import Sequence
from dataclasses import dataclass

from pdm_alloc.electrics.wire import mass_g_per_m
from pdm_alloc.harness.bundle import bundle_mm
from pdm_alloc.harness.loaded import loaded
from pdm_alloc.harness.strand import Part, Strand

__all__ = ["Segment", "segments"]


@dataclass(frozen=True, slots=True)
class Segment:
    """One route with what lies in it.

    Parameters
    ----------
    start, end : str
        Its places.
    length_m : float
        Of the route, m.
    circuits, wires, loaded_wires : int
        Circuits and conductors in it; most conductors that carry current at once.
    bundle_mm : float
        Diameter of the bundle, mm; 0: empty.
    mass_g : float
        Wire in it, slack included, g.
    """

    start: str
    end: str
    length_m: float
    circuits: int
    wires: int
    loaded_wires: int
    bundle_mm: float
    mass_g: float


def segments(
    strands: Sequence[Strand], route_m: dict[Part, float], slack: float, insulation_c: float
) -> tuple[Segment, ...]:
    """Every route of a vehicle with what lies in it.

    Parameters
    ----------
    strands : sequence of Strand
        All of the harness.
    route_m : dict of (str, str) to float
        Length of each route, m; ends in alphabetical order.
    slack : float
        Wire over route, no unit.
    insulation_c : float
        Temperature class of the insulation, deg C.

    Returns
    -------
    tuple of Segment
        In the order of `route_m`.
    """
    together = loaded(strands)
    return tuple(_segment(part, m, strands, together, slack, insulation_c) for part, m in route_m.items())


def _segment(part: Part, metres: float, strands, together, slack: float, insulation_c: float) -> Segment:
    inside = [strand for strand in strands if part in strand.parts]
    areas = [strand.area_mm2 for strand in inside for _ in range(strand.conductors)]
    mass = sum(mass_g_per_m(area, insulation_c) for area in areas) * metres * slack
    return Segment(*part, metres, len(inside), len(areas), together.get(part, 0), bundle_mm(areas), mass)
