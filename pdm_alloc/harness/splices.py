"""A circuit's wire as it is cut: from the pin over its splices to each end, every piece once."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from pdm_alloc.harness.paths import Tree

__all__ = ["PIN", "End", "Node", "Piece", "pieces"]

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
    place: str, start: Node, carried: float, way: tuple[str, ...], tree: Tree, branches: _Branches, slack, end_m
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
