"""Trunks: that of the bus in least length; that of a circuit, cut from the pin over its splices to each end."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from pdm_alloc.harness.paths import Tree

__all__ = ["EXACT_NODES", "PIN", "End", "Node", "Piece", "Trunk", "pieces", "shortest_order", "trunk_of"]

EXACT_NODES = 14

LengthM = Callable[[str, str], float]

_Table = Sequence[Sequence[float]]
_Best = dict[tuple[int, int], tuple[float, int]]  # by nodes passed and the last one: length, and the one before


@dataclass(frozen=True, slots=True)
class Trunk:
    """The trunk of a bus.

    Parameters
    ----------
    nodes : tuple of str
        In the order the trunk reaches them; the two ends carry the terminators.
    sections_m : tuple of float
        Length from each node to the next, m.
    stubs_m : tuple of float
        Length from the trunk to each node, m, same order as `nodes`.
    proved : bool
        True: no order is shorter; False: more than `EXACT_NODES` nodes, a good order.
    """

    nodes: tuple[str, ...]
    sections_m: tuple[float, ...]
    stubs_m: tuple[float, ...]
    proved: bool

    @property
    def length_m(self) -> float:
        """Length from terminator to terminator, m."""
        return sum(self.sections_m)

    @property
    def wire_m(self) -> float:
        """Twisted pair in trunk and stubs, m."""
        return self.length_m + sum(self.stubs_m)

    @property
    def terminators(self) -> tuple[str, ...]:
        """Nodes at which the two terminators sit; with a single node it is one node."""
        return (self.nodes[0], self.nodes[-1]) if len(self.nodes) > 1 else self.nodes


def trunk_of(nodes: Sequence[str], length_m: LengthM, stub_m: dict[str, float] | None = None) -> Trunk:
    """The shortest trunk through all nodes.

    Parameters
    ----------
    nodes : sequence of str
        Names, distinct.
    length_m : callable
        Two nodes to the length of the run between them, m; the same both ways.
    stub_m : dict of str to float, optional
        Length of a node's stub where the trunk does not pass through its connector, m.

    Returns
    -------
    Trunk
        Between an order and its reverse the one that starts with the lower name.

    Raises
    ------
    ValueError
        There is no node, or a name comes twice.
    """
    order, proved = shortest_order(nodes, length_m)
    sections = tuple(length_m(a, b) for a, b in pairwise(order))
    return Trunk(order, sections, tuple((stub_m or {}).get(node, 0.0) for node in order), proved)


def shortest_order(nodes: Sequence[str], length_m: LengthM) -> tuple[tuple[str, ...], bool]:
    """Nodes in the order of the shortest path through all of them, ends free.

    Exact up to `EXACT_NODES` nodes: dynamic programming over sets of nodes (Bellman 1962; Held and Karp 1962). Above:
    nearest neighbour from every start, improved by reversing stretches until none helps.

    Parameters
    ----------
    nodes : sequence of str
        Names, distinct.
    length_m : callable
        Two nodes to m.

    Returns
    -------
    (tuple of str, bool)
        The order, and whether it is proved the shortest.

    Raises
    ------
    ValueError
        There is no node, or a name comes twice.
    """
    names = sorted(nodes)
    if not names or len(set(names)) < len(names):
        raise ValueError("a bus needs nodes with distinct names")
    table = [[0.0 if a == b else float(length_m(a, b)) for b in names] for a in names]
    exact = len(names) <= EXACT_NODES
    path = _held_karp(table) if exact else _improved(table)
    path = min(path, path[::-1])
    return tuple(names[n] for n in path), exact


def _held_karp(table: list[list[float]]) -> list[int]:
    count = len(table)
    best = {(1 << n, n): (0.0, -1) for n in range(count)}
    for chosen in range(1, 1 << count):
        for last in range(count):
            if (chosen, last) in best:
                _extend(best, table, chosen, last)
    full = (1 << count) - 1
    return _traced(best, full, min(range(count), key=lambda n: best[full, n][0]))


def _extend(best: _Best, table: _Table, chosen: int, last: int) -> None:
    length = best[chosen, last][0]
    for following, section in enumerate(table[last]):
        if not chosen >> following & 1:
            key = (chosen | 1 << following, following)
            if key not in best or length + section < best[key][0]:
                best[key] = (length + section, last)


def _traced(best: _Best, chosen: int, last: int) -> list[int]:
    path = []
    while last >= 0:
        path.append(last)
        chosen, last = chosen & ~(1 << last), best[chosen, last][1]
    return path


def _improved(table: _Table) -> list[int]:
    starts = [_two_opt(table, _nearest(table, start)) for start in range(len(table))]
    return min(starts, key=lambda path: _length(table, path))


def _nearest(table: _Table, start: int) -> list[int]:
    path, left = [start], set(range(len(table))) - {start}
    while left:
        path.append(min(left, key=lambda n: (table[path[-1]][n], n)))
        left.remove(path[-1])
    return path


def _two_opt(table: _Table, path: list[int]) -> list[int]:
    length = _length(table, path)
    pairs = [(a, b) for a in range(len(path)) for b in range(a + 2, len(path) + 1)]
    while True:
        turned = [path[:a] + path[a:b][::-1] + path[b:] for a, b in pairs]
        shorter = min(turned, key=lambda p: _length(table, p))
        if _length(table, shorter) >= length - 1e-9:
            return path
        path, length = shorter, _length(table, shorter)


def _length(table: _Table, path: Sequence[int]) -> float:
    return sum(table[a][b] for a, b in pairwise(path))


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
