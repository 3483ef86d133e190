"""The cut list: every piece of wire once, with both its ends."""

from collections import Counter, defaultdict
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from pdm_alloc.circuits.draws import Wiring
from pdm_alloc.circuits.items import ItemType
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Vehicle, colour_of, part_for
from pdm_alloc.electrics.protection import Protected
from pdm_alloc.electrics.wire import NOT_KNOWN, WireSize, mass_g_per_m, wire_sizes
from pdm_alloc.harness.trunk import PIN, End, Node, Piece, pieces
from pdm_alloc.result.link_tables import ReturnWire
from pdm_alloc.result.placed import WiredCircuit

__all__ = ["CUT_LIST", "ENDS_OF", "Cut", "Spot", "cut_table", "cuts", "part_at", "run_labels", "sides_of", "unlike"]

CUT_LIST = (
    *("label", "role", "module", "channel", "from", "from_place", "to", "to_place", "size", "colour", "length_m"),
    *("from_part", "to_part", "loads", "note", "mass_g", "from_is", "to_is"),
)


@dataclass(frozen=True, slots=True)
class Spot:
    """One end of a piece of wire.

    Parameters
    ----------
    kind : str
        ``pin``, ``splice``, ``load``, ``ground``, ``battery``, ``fuse``, ``stud`` or ``input``.
    name : str
        As it is written: ``west w12``, ``S12``, ``fog lamp #2``, ``G1``.
    place : str
        Where it is; empty where that is not known.
    at : str
        What its part is chosen for: the connector, the load, the ground point.
    """

    kind: str
    name: str
    place: str = ""
    at: str = ""


@dataclass(frozen=True, slots=True)
class Cut:
    """One piece of wire: its label, its two ends, size, length (m; None: to be measured), what it serves."""

    label: str
    role: str
    module: str
    channel: str
    start: Spot
    end: Spot
    size: WireSize
    length_m: float | None
    loads: tuple[str, ...] = ()
    note: str = ""
    colour: str = ""


def run_labels(units: Sequence[Unit], wired: Sequence[WiredCircuit]) -> dict[tuple[str, str], str]:
    """Run label of every channel that is used: its name, the number of the unit in front where there are several."""
    numbers = {unit.label: f"{n}-" for n, unit in enumerate(units, 1)} if len(units) > 1 else {}
    return {
        (w.circuit.unit, name): f"{numbers.get(w.circuit.unit, '')}{name}" for w in wired for name in w.circuit.channels
    }


def cuts(
    vehicle: Vehicle,
    units: Sequence[Unit],
    wired: Sequence[WiredCircuit],
    links: pd.DataFrame,
    plan: Iterable[ReturnWire],
) -> tuple[Cut, ...]:
    """Every piece of wire of a vehicle once.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : sequence of Unit
        What is fitted.
    wired : sequence of WiredCircuit
        Circuits with their wires.
    links : DataFrame
        Battery cables, as `pdm_alloc.result.link_tables.links_table` gives them.
    plan : iterable of ReturnWire
        Returns with the ground points they go to.

    Returns
    -------
    tuple of Cut
        Feeds, then circuits in the order of their channels with the returns beside them, then returns of switches and
        of actuators; no two labels are alike. Together the circuits' pieces weigh what their wires weigh.
    """
    marks, wiring = run_labels(units, wired), Wiring(vehicle)
    made = [*_feeds(vehicle, links)]
    by_circuit: dict[tuple[str, str], list[ReturnWire]] = defaultdict(list)
    plan = list(plan)
    for one in plan:
        if one.origin in ("load", "module"):
            by_circuit[one.module, one.channel].append(one)
    for w in wired:
        if isinstance(w.made, Protected):
            run = list(_circuit(vehicle, wiring, w, w.made, marks))
            made += [*run, *_returns(by_circuit[w.circuit.unit, w.circuit.channel], run)]
    made += _returns_beside([one for one in plan if one.origin in ("switch", "actuator")])
    return tuple(_coloured(vehicle, unlike(made)))


def unlike(wires: Sequence[Cut]) -> Iterator[Cut]:
    """Pieces with labels told apart: names of channels are free, so that labels made of them may meet."""
    seen: Counter[str] = Counter()
    for cut in wires:
        seen[cut.label] += 1
        yield cut if seen[cut.label] == 1 else replace(cut, label=f"{cut.label}*{seen[cut.label]}")


def _coloured(vehicle: Vehicle, made: Iterable[Cut]) -> Iterator[Cut]:
    for cut in made:
        loads = [vehicle.load(name) for name in cut.loads]
        role = "return" if "return" in cut.role else "feed" if cut.role == "feed" else ""
        yield replace(cut, colour=colour_of(vehicle.wire_colours, loads, role))


def _circuit(
    vehicle: Vehicle, wiring: Wiring, w: WiredCircuit, made: Protected, marks: Mapping[tuple[str, str], str]
) -> Iterator[Cut]:
    """Out on every leg; and back where returns are wires, but for what a box switches to ground."""
    laid = _laid(wiring, _items(w), w.place.unit.place)
    for leg in _legs(w, made):
        yield from _leg(vehicle, w, made, laid, leg, marks[w.circuit.unit, leg.channel], back=False)
    if vehicle.settings.return_path == "wire" and w.circuit.use != "bridge":
        returning = [item for item in _items(w) if not item[0].switched_low]
        laid = _laid(wiring, returning, w.place.unit.place) if returning else ()
        label = marks[w.circuit.unit, w.circuit.channels[0]] + "G"
        yield from _leg(vehicle, w, made, laid, _Leg("", (), made.wire.parallel, ""), label, back=True)


@dataclass(frozen=True, slots=True)
class _Leg:
    """Conductors of a circuit that leave the module at one potential."""

    channel: str
    pins: tuple[tuple[str, str], ...]
    conductors: int
    direction: str


def _legs(w: WiredCircuit, protected: Protected) -> Iterator[_Leg]:
    every = [(c.name, tuple((c.connector, pin) for pin in c.pins)) for c in w.place.channels]
    if w.circuit.use == "bridge":
        for (name, pins), word in zip(every, ("forward", "reverse"), strict=True):
            yield _Leg(name, pins, protected.wire.parallel, f"+ in {word}")
        return
    share = -(-protected.wire.parallel // len(every))
    pins = tuple(pin for _, leg_pins in every for pin in _spread(leg_pins, share))
    yield _Leg(every[0][0], pins, protected.wire.parallel, "")


def _spread(pins: Sequence[tuple[str, str]], conductors: int) -> list[tuple[str, str]]:
    return [pins[n % len(pins)] for n in range(conductors)] if pins else []


def _laid(wiring: Wiring, items: Sequence[tuple[ItemType, str, int]], place: str | None) -> tuple[Piece, ...]:
    ends = [End(f"{load}\n{item}", t.place, t.length_m) for t, load, item in items]
    return pieces(place, wiring.lengths.tree(place), ends, wiring.lengths.slack, wiring.lengths.end_m)


def _items(w: WiredCircuit) -> list[tuple[ItemType, str, int]]:
    types = {t.load: t for t, _ in w.members}
    return [(types[load], load, item) for load, item in w.circuit.items]


def _leg(
    vehicle: Vehicle, w: WiredCircuit, made: Protected, laid: Sequence[Piece], leg: _Leg, label: str, back: bool
) -> Iterator[Cut]:
    several = len(laid) > 1
    reached = _reached(laid)
    for number, piece in enumerate(laid, 1):
        loads = tuple(dict.fromkeys(key.split("\n")[0] for key in reached[piece.end]))
        text = f"{label}.{number}" if several else label
        note = "; ".join(x for x in (leg.direction, _together(vehicle, loads, w)) if x)
        for n in range(leg.conductors):
            mark = f"{text}/{n + 1}" if leg.conductors > 1 else text
            start, end = (_spot(vehicle, w, node, label, leg, n) for node in (piece.start, piece.end))
            start, end = (end, start) if back else (start, end)
            role = "return" if back else "circuit"
            ends = (w.circuit.unit, w.circuit.channel, start, end)
            yield Cut(mark, role, *ends, made.wire.size, piece.length_m, loads, note)


def _reached(laid: Sequence[Piece]) -> dict[Node, list[str]]:
    """Keys of the ends behind every node."""
    reached: dict[Node, list[str]] = {}
    for piece in reversed(laid):
        if piece.end[0] == "end":
            reached[piece.end] = [piece.end[1]]
        behind = reached.setdefault(piece.end, [])
        reached[piece.start] = [*behind, *reached.get(piece.start, [])]
    return reached


def _together(vehicle: Vehicle, loads: Sequence[str], w: WiredCircuit) -> str:
    words = sorted({word for name in loads for word in vehicle.load(name).needs & {"twisted", "screened"}})
    other = "the other wire of its motor" if w.circuit.use == "bridge" else "its return"
    return " and ".join(words) + f" with {other}" if words else ""


def _spot(vehicle: Vehicle, w: WiredCircuit, node: Node, label: str, leg: _Leg, n: int) -> Spot:
    kind, name = node
    place = w.place.unit.place or ""
    if node == PIN:
        return _pin(w, leg, n) if leg.pins or leg.channel else Spot("ground", f"return of {w.circuit.unit}", place)
    if kind == "splice":
        sign = "splice " if any(g.name[:1] == "S" and g.name[1:2].isdigit() for g in vehicle.grounds) else "S"
        return Spot("splice", f"{sign}{label}{' ' + name if name else ''}", name)
    load, item = name.split("\n")
    one = vehicle.load(load)
    return Spot("load", load if one.count == 1 else f"{load} #{item}", one.place or "", load)


def _pin(w: WiredCircuit, leg: _Leg, n: int) -> Spot:
    if not leg.pins:
        return Spot("pin", f"channel {leg.channel}", w.place.unit.place or "")
    connector, pin = leg.pins[n % len(leg.pins)]
    return Spot("pin", f"{connector} {pin}".strip(), w.place.unit.place or "", connector)


def _returns(plan: Sequence[ReturnWire], run: Sequence[Cut]) -> Iterator[Cut]:
    """From every load of a circuit to its ground point; of return wires what lies beyond the module."""
    label_of = {cut.end.name: cut.label.split("/")[0] for cut in run if cut.role == "circuit"}
    back = any(cut.role == "return" for cut in run)
    for one in plan:
        for item in one.items:
            start = _return_start(one, item, run, back)
            label = f"{label_of.get(start.name, run[0].label)}{'GX' if back else 'G'}"
            if back and one.ground is not None and one.length_m is not None and one.length_m < 1e-9:
                continue
            yield from _return(one, start, label)


def _return_start(one: ReturnWire, item: int, run: Sequence[Cut], back: bool) -> Spot:
    if back:
        return next(cut.end for cut in run if cut.end.kind == "ground")
    names = (one.name, f"{one.name} #{item}")
    return next(cut.end for cut in run if cut.end.kind == "load" and cut.end.at == one.name and cut.end.name in names)


def _return(one: ReturnWire, start: Spot, label: str) -> Iterator[Cut]:
    end = Spot("ground", one.ground.name, one.ground.place, one.ground.name) if one.ground else Spot("ground", "?")
    for n in range(one.conductors):
        mark = f"{label}/{n + 1}" if one.conductors > 1 else label
        loads = () if start.kind == "input" else (one.name,) if start.kind == "load" else tuple(one.name.split("; "))
        role = "sensor return" if one.use == "sensor" else "ground return"
        yield Cut(mark, role, one.module, one.channel, start, end, one.size, one.length_m, loads, one.note)


def _returns_beside(plan: Sequence[ReturnWire]) -> Iterator[Cut]:
    """Of switches, senders and actuators, which lie beside no wire of a circuit."""
    for one in plan:
        yield from _return(one, Spot("input", one.name, one.place or "", one.name), f"{one.name} G")


_LINK_ENDS = {"battery to isolator": "isolator", "starter": "starter motor", "alternator": "alternator"}


def _feeds(vehicle: Vehicle, links: pd.DataFrame) -> Iterator[Cut]:
    sizes = {round(size.area_mm2, 3): size for size in wire_sizes(vehicle.settings.wire_sizes)}
    rows = links.to_dict("records")
    isolated = any(row["link"] == "battery to isolator" for row in rows)
    for number, row in enumerate(rows, 1):
        size = sizes.get(row["area_mm2"])
        if size is not None:
            size = replace(size, name=NOT_KNOWN) if row["size"] == NOT_KNOWN else size
            yield from _feed(vehicle, row, size, f"F{number}", isolated)


def _feed(vehicle: Vehicle, row: Mapping[Hashable, Any], size: WireSize, label: str, isolated: bool) -> Iterator[Cut]:
    metres = None if row["length_m"] is None or row["length_m"] != row["length_m"] else float(row["length_m"])
    far = Spot("stud", _LINK_ENDS.get(row["link"], f"{row['module']} supply"), row["to"], row["module"])
    behind = isolated and row["link"] != "battery to isolator"
    near = Spot("battery", "isolator" if behind else "battery +", row["from"])
    count = int(row["parallel"])
    for n in range(count):
        mark = f"{label}/{n + 1}" if count > 1 else label
        yield Cut(mark, "feed", row["module"], "", near, far, size, metres, (), _fuse_note(row))
        if vehicle.settings.return_path == "wire":
            back, end = _feed_return(vehicle, row, far, isolated)
            yield Cut(f"{mark}G", "feed return", row["module"], "", back, end, size, metres)


def _feed_return(vehicle: Vehicle, row: Mapping[Hashable, Any], far: Spot, isolated: bool) -> tuple[Spot, Spot]:
    """Ends of a cable's return: beside an isolator the returns meet at a stud of their own, as the cables do."""
    stud = Spot("battery", "return stud", row["to"] if row["link"] == "battery to isolator" else row["from"])
    battery = Spot("battery", "battery -", vehicle.settings.battery_place or "")
    if row["link"] == "battery to isolator":
        return stud, battery
    back = replace(far, name=far.name.replace(" supply", "") + " return")
    return back, stud if isolated else battery


def _fuse_note(row: Mapping[Hashable, Any]) -> str:
    if row["fuse_a"] is None or row["fuse_a"] != row["fuse_a"]:
        return "no fuse in it"
    within = row["fuse_within_m"]
    near = f" within {within:g} m of the source" if within is not None and within == within else ""
    return f"fuse {row['fuse_a']:g} A{near}: cut the cable there"


def cut_table(vehicle: Vehicle, made: Sequence[Cut]) -> pd.DataFrame:
    """A row per piece of wire, in the columns `CUT_LIST`: length with allowances, m; mass, g."""
    sides = sides_of(made)
    return pd.DataFrame([_cut_row(vehicle, cut, sides) for cut in made], columns=list(CUT_LIST))


def sides_of(made: Sequence[Cut]) -> dict[str, float]:
    """Conductors at every splice together, mm2."""
    sums: dict[str, float] = defaultdict(float)
    for cut in made:
        for spot in (cut.start, cut.end):
            if spot.kind == "splice":
                sums[spot.name] += cut.size.fitted_mm2
    return sums


def _cut_row(vehicle: Vehicle, cut: Cut, sides: dict[str, float]) -> tuple[object, ...]:
    one = mass_g_per_m(cut.size.area_mm2, vehicle.settings.insulation_c)
    mass = None if cut.length_m is None or cut.size.name == NOT_KNOWN else cut.length_m * one
    ends = (cut.start.name, cut.start.place, cut.end.name, cut.end.place, cut.size.name, cut.colour, cut.length_m)
    kinds = (cut.start.kind, cut.end.kind)
    parts = (part_at(vehicle, cut, cut.start, sides), part_at(vehicle, cut, cut.end, sides))
    return (cut.label, cut.role, cut.module, cut.channel, *ends, *parts, "; ".join(cut.loads), cut.note, mass, *kinds)


ENDS_OF = {"pin": ("terminal", "seal"), "load": ("load_terminal",), "input": ("load_terminal",), "ground": ("ring",)}
ENDS_OF |= {"stud": ("ring",), "splice": ("splice",), "battery": ("ring",)}


def part_at(vehicle: Vehicle, cut: Cut, spot: Spot, sides: dict[str, float]) -> str:
    """Part numbers for one end of a piece of wire, from the table parts."""
    size = sides[spot.name] if spot.kind == "splice" else cut.size.fitted_mm2
    parts = [part_for(vehicle.parts, item, spot.at or "*", size) for item in ENDS_OF[spot.kind]]
    return " + ".join(part for part in parts if part)
