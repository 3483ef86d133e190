"""A wire as it is cut, from the pin over its splices to each end; what lies in each route: wires, bundles, mass."""

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from pdm_alloc.electrics.wire import mass_g_per_m, outer_diameter_mm
from pdm_alloc.harness.paths import Tree

__all__ = [
    "BUNDLE_SPREAD",
    "PIN",
    "End",
    "Node",
    "Part",
    "Piece",
    "Segment",
    "Strand",
    "beside",
    "bundle_mm",
    "loaded",
    "parts_of",
    "pieces",
    "segments",
]

# Kind of a node (pin, splice, end) and its name: nothing, the place, or the key of the end.
Node = tuple[str, str]

PIN: Node = ("pin", "")


@dataclass(frozen=True, slots=True)
class End:
    """Where a wire is to arrive.

    Parameters
    ----------
    key : str
        Its name, unique in the circuit.
    place : str or None
        Where it is.
    stated_m : float or None
        Length of wire, taken where the routes do not lead to its place, m; None: not known.
    """

    key: str
    place: str | None
    stated_m: float | None = None


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of wire.

    Parameters
    ----------
    start, end : Node
        Seen from the module.
    length_m : float or None
        Allowances included, m; None: not known.
    way : tuple of str
        Places it passes, ends included.
    """

    start: Node
    end: Node
    length_m: float | None
    way: tuple[str, ...] = ()


@dataclass
class _Branches:
    """Ends and following places at each place of the ways."""

    ends: dict[str, list[str]] = field(default_factory=dict)
    following: dict[str, list[str]] = field(default_factory=dict)

    def count(self, place: str) -> int:
        return len(self.ends.get(place, ())) + len(self.following.get(place, ()))


def pieces(source: str | None, tree: Tree | None, ends: Sequence[End], slack: float, end_m: float) -> tuple[Piece, ...]:
    """Pieces of the wire from one pin to all its ends, each cut once.

    A splice stands wherever ways part or an end is passed; the pin and every end have their allowance.
    Together the pieces are as long as trunk and branches with one allowance for the pin and one an end.

    Parameters
    ----------
    source : str or None
        Place of the module.
    tree : Tree or None
        Shortest routes from it.
    ends : sequence of End
        At least one.
    slack : float
        Wire over route, no unit.
    end_m : float
        Allowance at each end, m.

    Returns
    -------
    tuple of Piece
        From the pin outwards.
    """
    placed = [e for e in ends if tree is not None and e.place is not None and e.place in tree]
    alone = [e for e in ends if e not in placed]
    if not placed or tree is None:
        return tuple(_stated(source or "", alone, end_m))
    branches = _branches(tree, placed)
    at = tree.source
    first: tuple[Piece, ...] = ()
    start, carried = PIN, end_m
    if branches.count(at) + len(alone) > 1:
        start, carried = ("splice", at), 0.0
        first = (Piece(PIN, start, end_m, (at,)),)
    beside = (Piece(start, ("end", e.key), e.stated_m, (at,)) for e in alone)
    return (*first, *_from(at, start, carried, (at,), tree, branches, slack, end_m), *beside)


def _stated(source: str, ends: Sequence[End], end_m: float) -> Iterator[Piece]:
    """Ends of stated lengths; where there are several, a pigtail is cut from the first of them."""
    if len(ends) == 1:
        yield Piece(PIN, ("end", ends[0].key), ends[0].stated_m)
        return
    splice = ("splice", source)
    known = ends[0].stated_m
    tail = end_m if known is None else min(end_m, known / 2)
    yield Piece(PIN, splice, tail)
    for number, end in enumerate(ends):
        whole = end.stated_m
        yield Piece(splice, ("end", end.key), whole - tail if number == 0 and whole is not None else whole)


def _branches(tree: Tree, ends: Sequence[End]) -> _Branches:
    branches = _Branches()
    for end in ends:
        branches.ends.setdefault(str(end.place), []).append(end.key)
        way = tree.way(str(end.place))
        for before, after in pairwise(way):
            followers = branches.following.setdefault(before, [])
            if after not in followers:
                followers.append(after)
    return branches


def _from(
    place: str,
    start: Node,
    carried: float,
    way: tuple[str, ...],
    tree: Tree,
    branches: _Branches,
    slack: float,
    end_m: float,
) -> Iterator[Piece]:
    """Everything beyond a place, the wire that arrives there being `carried` long since `start`."""
    arrived, since = start, carried
    if branches.count(place) > 1 and start != ("splice", place):
        arrived, since = ("splice", place), 0.0
        yield Piece(start, arrived, carried, way)
        way = (place,)
    for key in branches.ends.get(place, ()):
        yield Piece(arrived, ("end", key), since + end_m, way)
    for after in branches.following.get(place, ()):
        longer = since + tree.metres[after] * slack
        yield from _from(after, arrived, longer, (*way, after), tree, branches, slack, end_m)


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
    """

    parts: frozenset[Part]
    conductors: int
    area_mm2: float
    on: frozenset[str]


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


def beside(strands: Sequence[Strand]) -> list[int]:
    """Loaded wires in the fullest bundle each strand lies in while it carries current itself, its own counted.

    Parameters
    ----------
    strands : sequence of Strand
        All of the harness.

    Returns
    -------
    list of int
        In the same order; a strand that never carries current is counted as if it did in every state.
    """
    by_state = _by_state(strands)
    return [max(_counts(strand, by_state), default=strand.conductors) for strand in strands]


def _by_state(strands: Sequence[Strand]) -> dict[str, Counter[Part]]:
    found: dict[str, Counter[Part]] = {}
    for strand in strands:
        for state in strand.on:
            number = found.setdefault(state, Counter())
            for part in strand.parts:
                number[part] += strand.conductors
    return found


def _counts(strand: Strand, by_state: dict[str, Counter[Part]]) -> Iterator[int]:
    for state, number in by_state.items():
        if state in strand.on or not strand.on:
            extra = 0 if strand.on else strand.conductors
            yield from (number[part] + extra for part in strand.parts)


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
