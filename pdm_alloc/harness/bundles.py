"""What lies in each route: wires, those that count as loaded, bundles, mass."""

import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from pdm_alloc.electrics.ampacity import LIGHTLY_LOADED, bundle_factor, counted_wires
from pdm_alloc.electrics.wire import mass_g_per_m, outer_diameter_mm
from pdm_alloc.harness.paths import Tree

__all__ = [
    "BUNDLE_SPREAD",
    "Part",
    "Segment",
    "Strand",
    "beside",
    "bundle_mm",
    "loaded",
    "parts_of",
    "segments",
]

# Diameter of a bundle over that of a circle as large as its wires together: common practice, no source.
BUNDLE_SPREAD = 1.2


def bundle_mm(areas_mm2: Iterable[float]) -> float:
    """Diameter of a bundle: 1.2 times the root of the sum of the squared diameters of its wires.

    Parameters
    ----------
    areas_mm2 : iterable of float
        Nominal area of each conductor, up to 300 mm2.

    Returns
    -------
    float
        mm; of a single wire its own diameter, 0 without any.

    Raises
    ------
    ValueError
        An area is outside the tables of wire.
    """
    across = [outer_diameter_mm(area) for area in areas_mm2]
    if len(across) < 2:
        return sum(across)
    return BUNDLE_SPREAD * math.sqrt(sum(d * d for d in across))


Part = tuple[str, str]


@dataclass(frozen=True)
class Strand:
    """Conductors of one circuit.

    Parameters
    ----------
    parts : frozenset of (str, str)
        Routes they lie in, ends in alphabetical order.
    conductors : int
        Side by side in each of them, ways back counted.
    area_mm2 : float
        Of each conductor, mm2.
    on : frozenset of str
        Operating states in which they carry current.
    current_a : float
        What each of them carries at most, A.
    """

    parts: frozenset[Part]
    conductors: int
    area_mm2: float
    on: frozenset[str]
    current_a: float = math.inf


def parts_of(tree: Tree, ends: Iterable[str]) -> frozenset[Part]:
    """Routes passed on the ways to some places: trunk and branches, each once."""
    found: set[Part] = set()
    for end in ends:
        way = tree.way(end)
        found.update((min(a, b), max(a, b)) for a, b in pairwise(way))
    return frozenset(found)


def loaded(strands: Sequence[Strand]) -> dict[Part, int]:
    """Most conductors that carry current at once in each route.

    Parameters
    ----------
    strands : sequence of Strand
        All of the harness.

    Returns
    -------
    dict of (str, str) to int
        By route, over the operating states.
    """
    by_state = _by_state(strands)
    return {part: max((n[part] for n in by_state.values()), default=0) for strand in strands for part in strand.parts}


AloneA = Callable[[Strand, Part], float]


def beside(strands: Sequence[Strand], alone_a: AloneA) -> list[dict[Part, int]]:
    """Loaded wires that lie with each strand in each of its routes while it carries current itself.

    Wires at no more than 30 % of their capacity in the bundle do not count for the others (IEC 60364-5-52,
    section 523.5, from memory); the conductors of the strand itself always do.

    Parameters
    ----------
    strands : sequence of Strand
        All of the harness.
    alone_a : callable of (Strand, (str, str)) to float
        Ampacity of a conductor of a strand, alone in the ambient of a route, A.

    Returns
    -------
    list of dict of (str, str) to int
        In the same order, the most over the operating states, its own conductors counted; a strand that never carries
        current is counted as if it did in every state.
    """
    every = frozenset().union(*(strand.on for strand in strands))
    counts: list[dict[Part, int]] = [dict.fromkeys(strand.parts, strand.conductors) for strand in strands]
    for part in sorted(frozenset().union(*(strand.parts for strand in strands))):
        inside = [n for n, strand in enumerate(strands) if part in strand.parts]
        for members in {tuple(n for n in inside if state in (strands[n].on or every)) for state in every}:
            together = _counted([strands[n] for n in members], part, alone_a)
            for n, number in zip(members, together, strict=True):
                counts[n][part] = max(counts[n][part], number)
    return counts


def _counted(inside: Sequence[Strand], part: Part, alone_a: AloneA) -> list[int]:
    """Loaded wires for each of the strands that carry current together in a route."""
    alone = [alone_a(strand, part) for strand in inside]
    each = [n for n, strand in enumerate(inside) for _ in range(strand.conductors if strand.on else 0)]
    count = counted_wires([inside[n].current_a for n in each], [alone[n] for n in each], bundle_factor)
    light = LIGHTLY_LOADED * bundle_factor(count)
    is_heavy = [strand.on and strand.current_a > light * amps for strand, amps in zip(inside, alone, strict=True)]
    heavy = sum(strand.conductors for strand, heavy in zip(inside, is_heavy, strict=True) if heavy)
    return [heavy + (0 if own else strand.conductors) for strand, own in zip(inside, is_heavy, strict=True)]


def _by_state(strands: Sequence[Strand]) -> dict[str, Counter[Part]]:
    by_state: dict[str, Counter[Part]] = {}
    for strand in strands:
        for state in strand.on:
            number = by_state.setdefault(state, Counter())
            for part in strand.parts:
                number[part] += strand.conductors
    return by_state


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


def _segment(
    part: Part,
    metres: float,
    strands: Iterable[Strand],
    together: Mapping[Part, int],
    slack: float,
    insulation_c: float,
) -> Segment:
    inside = [strand for strand in strands if part in strand.parts]
    areas = [strand.area_mm2 for strand in inside for _ in range(strand.conductors)]
    mass = sum(mass_g_per_m(area, insulation_c) for area in areas) * metres * slack
    return Segment(*part, metres, len(inside), len(areas), together.get(part, 0), bundle_mm(areas), mass)
