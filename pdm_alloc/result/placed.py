"""Circuits where they ended up: channels with the rating they have together, trip setting and wire."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

from pdm_alloc.circuits.classes import Rating, rating_of
from pdm_alloc.circuits.draws import CircuitDraw, Wiring, rating_for, stalled_ma, usable_for
from pdm_alloc.circuits.items import ItemType, load_types
from pdm_alloc.domain.module import Channel, Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.protection import Protected
from pdm_alloc.electrics.wire import NOT_KNOWN, RETURNS, Refused, ampacity_a
from pdm_alloc.electrics.wire_tables import BUNDLE_FACTORS, THIN_WALL_BUNDLE
from pdm_alloc.harness.paths import Part, Strand, beside, parts_of

__all__ = ["Place", "PlacedCircuit", "WiredCircuit", "place_of", "strand_of", "ways_laid", "wire_circuits"]


@dataclass(frozen=True, slots=True)
class PlacedCircuit:
    """Loads wired together on one channel, or on two that are paralleled or form a bridge.

    Parameters
    ----------
    unit : str
        Label of the unit.
    channels : tuple of str
        Names of its channels, one or two, in natural order.
    use : str
        ``single``, ``pair`` (two channels paralleled) or ``bridge`` (a reversing pair).
    command : str
        What switches it.
    items : tuple of (str, int)
        Load and item number, counted from 1, sorted.
    """

    unit: str
    channels: tuple[str, ...]
    use: str
    command: str
    items: tuple[tuple[str, int], ...]

    @property
    def channel(self) -> str:
        """The channel as tables write it: ``3``, or ``3+4``."""
        return "+".join(self.channels)

    @property
    def loads(self) -> tuple[str, ...]:
        """Names of its loads, once each, sorted."""
        return tuple(dict.fromkeys(load for load, _ in self.items))


@dataclass(frozen=True, slots=True)
class Place:
    """Where a circuit is wired: its unit, channels and their common rating."""

    unit: Unit
    channels: tuple[Channel, ...]
    rating: Rating

    @property
    def connector(self) -> str:
        """Connector, or both where the two channels are on different ones."""
        return " ".join(dict.fromkeys(c.connector for c in self.channels if c.connector))

    @property
    def pins(self) -> str:
        """Pins of all channels, joined with spaces."""
        return " ".join(pin for c in self.channels for pin in c.pins)

    @property
    def bank(self) -> str:
        """Bank, or both."""
        return " ".join(dict.fromkeys(c.bank for c in self.channels if c.bank))


def place_of(vehicle: Vehicle, units: Sequence[Unit], circuit: PlacedCircuit) -> Place:
    """Channels and rating of a placed circuit.

    Parameters
    ----------
    vehicle : Vehicle
        For settings and the ambient of places.
    units : sequence of Unit
        Fitted.
    circuit : PlacedCircuit
        The circuit.

    Returns
    -------
    Place

    Raises
    ------
    KeyError
        The unit or a channel does not exist.
    """
    unit = {u.label: u for u in units}[circuit.unit]
    channels = tuple(unit.module.channel(name) for name in circuit.channels)
    rating = rating_of(vehicle, unit, channels, circuit.use)
    usable = usable_for(rating, vehicle.command(circuit.command).headroom_pct)
    return Place(unit, channels, replace(rating, usable_ma=usable))


Members = tuple[tuple[ItemType, int], ...]

Beside = dict[Part, int]  # loaded wires in each route a wire lies in

_Draft = tuple[PlacedCircuit, Place, Members, int]


@dataclass(frozen=True)
class WiredCircuit:
    """A circuit on its channel with what protects and feeds it.

    Parameters
    ----------
    circuit : PlacedCircuit
        As allocated.
    place : Place
        Unit, channels and rating, its own headroom counted.
    some : tuple of (ItemType, int)
        Its loads, each a type of its own, and how many items of each.
    running_ma : int
        Largest draw at any voltage of any state it may be on in, tolerance included, mA.
    made : Protected or Refused
        Setting and wire, or why there is none. Where a length is not known the size is named so, and is
        the least that carries the setting.
    runs : tuple of (float, float or None, float)
        As `Wiring.runs`, in the order of `some`.
    ambient_c : float
        Hottest place its wire passes, deg C.
    bundle_wires : int
        Loaded wires in the fullest bundle the wire is chosen for.
    most_together : int
        Loaded wires in the fullest bundle it is in; more than `bundle_wires` where no wire that fits
        bears so many, and the bundle is to be split.
    narrowest : tuple of (str, float, int) or None
        Where it carries least: the route or the place, its ambient, deg C, and the loaded wires there; None: its ways
        are not known.
    wire_m : float or None
        Trunk and branches one way, m; None: a length is not known.
    mass_g : float or None
        Of the wire, the way back included where it is a wire, g; None: a length is not known, or no wire.
    """

    circuit: PlacedCircuit
    place: Place
    members: Members
    running_ma: int
    made: Protected | Refused
    runs: tuple[tuple[float, float | None, float], ...]
    ambient_c: float
    bundle_wires: int
    most_together: int
    narrowest: tuple[str, float, int] | None
    wire_m: float | None
    mass_g: float | None

    @property
    def each(self) -> int:
        """Channels that share its current."""
        return self.place.rating.wires

    @property
    def stalled_a(self) -> float | None:
        """Current when every motor in it is stuck, A; None: it has none."""
        stalled = stalled_ma(self.members, self.running_ma)
        return stalled / 1000 if stalled else None


def wire_circuits(
    vehicle: Vehicle, units: Sequence[Unit], circuits: Sequence[PlacedCircuit], wiring: Wiring | None = None
) -> tuple[WiredCircuit, ...]:
    """Setting and wire of every circuit, in the order given.

    Where places and routes tell which wires lie together, every wire carries what the least of its segments
    lets it, each with its own ambient and bundle; more conductors side by side fill bundles further, so this
    is repeated until no count rises.
    Elsewhere the setting `bundle_wires` stands.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : sequence of Unit
        What is fitted.
    circuits : sequence of PlacedCircuit
        Loads on channels.
    wiring : Wiring, optional
        Of the vehicle, where known.

    Returns
    -------
    tuple of WiredCircuit
    """
    wiring = Wiring(vehicle) if wiring is None else wiring
    types = {t.load: t for t in load_types(vehicle, units)}
    drafts = [_draft(vehicle, place_of(vehicle, units, c), c, types) for c in circuits]
    wired = [_wired(draft, wiring, {}) for draft in drafts]
    counts = _together(vehicle, wiring, wired)
    while any(counts):
        wired = [_wired(draft, wiring, beside) for draft, beside in zip(drafts, counts, strict=True)]
        more = [_fuller(*pair) for pair in zip(counts, _together(vehicle, wiring, wired), strict=True)]
        if more == counts:
            break
        counts = more
    return tuple(wired)


def _fuller(one: Beside, other: Beside) -> Beside:
    return {part: max(one.get(part, 0), other.get(part, 0)) for part in sorted({*one, *other})}


def _draft(vehicle: Vehicle, place: Place, circuit: PlacedCircuit, types: Mapping[str, ItemType]) -> _Draft:
    members = tuple((types[load], k) for load, k in Counter(load for load, _ in circuit.items).items())
    rating = rating_for(place.rating, members[0][0].headroom_pct)
    draw = CircuitDraw(members, vehicle.settings.tolerance_loads).draw_ma
    return circuit, Place(place.unit, place.channels, rating), members, draw


def _together(vehicle: Vehicle, wiring: Wiring, wired: Sequence[WiredCircuit]) -> list[Beside]:
    """Loaded wires beside each circuit's in every route it lies in, none where its ways are not known."""
    strands = {n: strand for n, w in enumerate(wired) if (strand := strand_of(vehicle, wiring, w)) is not None}
    insulation_c, part_c = wiring.rules.insulation_c, cache(wiring.lengths.part_c)
    counts = beside(list(strands.values()), lambda s, part: ampacity_a(s.area_mm2, insulation_c, part_c(part)))
    known = {n: count or _at_module(wired[n], strands[n]) for n, count in zip(strands, counts, strict=True)}
    return [known.get(n, {}) for n in range(len(wired))]


def _at_module(w: WiredCircuit, strand: Strand) -> Beside:
    place = w.place.unit.place or ""
    return {(place, place): strand.conductors}


def strand_of(vehicle: Vehicle, wiring: Wiring, w: WiredCircuit) -> Strand | None:
    """A circuit's wire as it lies in the harness; None: its ways are not known, or it has no wire."""
    tree, ends = wiring.lengths.tree(w.place.unit.place), wiring.placed(w.members, w.place.unit.place)
    if tree is None or not ends or isinstance(w.made, Refused):
        return None
    on = frozenset(state.name for state in vehicle.states if state.is_on(w.circuit.command))
    wire = w.made.wire
    return Strand(
        parts_of(tree, ends), wire.parallel * ways_laid(vehicle, w), wire.size.area_mm2, on, _each_a(w, wire.parallel)
    )


def ways_laid(vehicle: Vehicle, w: WiredCircuit) -> int:
    """Ways of a circuit's wire in the harness: out, and back where any of its loads returns to the module by wire."""
    back = "chassis" if all(t.switched_low for t, _ in w.members) else vehicle.settings.return_path
    return RETURNS["wire" if w.place.rating.reversing else back]


def _each_a(w: WiredCircuit, parallel: int) -> float:
    """What each of its conductors carries at most, the larger share of paralleled channels counted, A.

    A wire of which the size is not known counts as loaded, whatever it carries: inf.
    """
    if w.wire_m is None:
        return math.inf
    return float(w.running_ma * w.place.rating.share * w.each / (1000 * parallel))


def _wired(draft: _Draft, wiring: Wiring, together: Beside) -> WiredCircuit:
    circuit, place, members, running_ma = draft
    rating = place.rating
    bundle, made = _made(wiring, members, rating, running_ma, together)
    runs = tuple(wiring.runs(members, rating.place))
    known = all(length is not None for _, length, _ in runs)
    if isinstance(made, Protected) and not known:
        made = replace(made, wire=replace(made.wire, size=replace(made.wire.size, name=NOT_KNOWN)))
    return WiredCircuit(
        circuit=circuit,
        place=place,
        members=members,
        running_ma=running_ma,
        made=made,
        runs=runs,
        ambient_c=wiring.rules_of(members, rating).ambient_c,
        bundle_wires=bundle,
        most_together=max(together.values(), default=bundle),
        narrowest=_narrowest(wiring, together, bundle),
        wire_m=wiring.wire_m(members, rating.place) if known else None,
        mass_g=wiring.mass_g(members, made, rating) if known and isinstance(made, Protected) else None,
    )


def _made(
    wiring: Wiring, members: Members, rating: Rating, running_ma: int, together: Beside
) -> tuple[int, Protected | Refused]:
    """The wire for so many together; where there is none, for the fullest bundles that allow one."""
    if not together:
        return wiring.rules.bundle_wires, wiring.protect(members, rating, running_ma)
    fullest = max(together.values())
    uppers = {THIN_WALL_BUNDLE[0], *(upper for upper, _ in BUNDLE_FACTORS)}
    for upper in (fullest, *sorted((n for n in uppers if n < fullest), reverse=True)):
        made = wiring.protect(members, rating, running_ma, wiring.segments(members, rating.place, together, upper))
        if isinstance(made, Protected):
            return upper, made
    return fullest, made


def _narrowest(wiring: Wiring, together: Beside, upper: int) -> tuple[str, float, int] | None:
    """Of the routes of a wire the one in which it carries least."""
    known = [(part, wiring.lengths.part_c(part), min(number, upper)) for part, number in together.items()]
    if not known:
        return None
    rules = wiring.rules
    part, ambient, number = min(known, key=lambda k: ampacity_a(1.0, rules.insulation_c, k[1], k[2], rules.cable))
    return " to ".join(dict.fromkeys(part)), ambient, number
