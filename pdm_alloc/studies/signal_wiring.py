"""Every wire of the signal side: to sensors and actuators, their supplies, grounds and returns, the pair of the bus."""

import math
from collections import Counter, defaultdict
from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from pdm_alloc.domain.module import FittedBox, Signal, natural_key
from pdm_alloc.domain.vehicle import Load, Vehicle, signal_colour
from pdm_alloc.electrics.wire import WireSize, ampacity_a, resistance_ohm_per_m, wire_sizes
from pdm_alloc.harness.paths import Lengths, Strand, lengths_of, parts_of
from pdm_alloc.harness.trunk import PIN, End, Node, Piece, pieces
from pdm_alloc.result.bench_tables import BENCH_SHEET, run_of
from pdm_alloc.result.cut_list import Cut, Spot
from pdm_alloc.result.link_tables import ReturnWire
from pdm_alloc.studies.signal_sizing import BusPlan

__all__ = [
    "BUS",
    "GROUND",
    "KEPT_FREE",
    "LAID",
    "SIGNAL",
    "SUPPLY",
    "TWIST",
    "Record",
    "SignalWires",
    "actuator_returns",
    "fed_by",
    "first_of_each",
    "ground_pin",
    "item_name",
    "sensor_returns",
    "size_for",
    "supply_load",
    "switched_returns",
    "thinnest",
    "up_cm",
]

# Roles of a piece in the cut list.
SIGNAL, SUPPLY, GROUND, BUS = "signal", "5 V supply", "sensor ground", "bus"

SHARED = {SUPPLY: "supply", GROUND: "ground"}

SHARED_AS = {SUPPLY: "supply_5v", GROUND: "sensor_ground"}

# How the wires of a kind are laid; common practice, no source.
LAID = {"frequency_pair": "twisted, screened", "frequency": "screened", "bus": "twisted", "full_bridge": "twisted"}

TWIST = 1.05  # wire over pair of 33 to 50 turns a metre; common practice, no source

# Resistance of class 5 copper of 0.35 mm2 at 20 deg C: 52 milliohm a metre at most, from memory.
_THIN = WireSize("0.35 mm2", 0.35, 0.052, -230.0)

KEPT_FREE = "kept free"  # in place of a wire, of a pin that no signal has yet

Record = Mapping[Hashable, Any]


def thinnest(system: str) -> WireSize:
    """Size of a wire that carries a signal alone: 0.35 mm2 or 22 AWG; common practice, no source."""
    return _THIN if system == "metric" else wire_sizes(system)[0]


def size_for(vehicle: Vehicle, current_ma: int) -> WireSize | None:
    """The usual size of a signal wire, or the smallest that bears an actuator's current; None: none does."""
    settings = vehicle.settings
    if current_ma < 1000:
        return thinnest(settings.wire_sizes)
    heat = (settings.insulation_c, settings.wire_ambient_c, max(1, settings.bundle_wires))
    sizes = wire_sizes(settings.wire_sizes)
    return next((size for size in sizes if ampacity_a(size.area_mm2, *heat) * 1000 >= current_ma), None)


def item_name(signal: Signal, item: int) -> str:
    """One of identical signals as it is written on a label."""
    return signal.name if signal.count == 1 else f"{signal.name} #{item}"


@dataclass(frozen=True)
class SignalWires:
    """What is wired on the signal side.

    Parameters
    ----------
    vehicle : Vehicle
        With places and routes.
    boxes : tuple of FittedBox
        With their places.
    signals : mapping of str to Signal
        By name.
    rows : sequence of dict
        Rows of the signal pin map.
    bus : BusPlan or None
        The trunk; None: it is not known.
    nodes : mapping of str to str or None
        Place of each node of the bus.
    """

    vehicle: Vehicle
    boxes: tuple[FittedBox, ...]
    signals: Mapping[str, Signal]
    rows: Sequence[Record]
    bus: BusPlan | None
    nodes: Mapping[str, str | None]

    def cuts(self) -> tuple[Cut, ...]:
        """Signals in the order of their pins, then supplies and grounds over their splices, then the bus."""
        return (*self._signals(), *self._shared(), *self._trunk())

    def strands(self) -> tuple[Strand, ...]:
        """The same wires along the routes; of the bus both wires."""
        ways: list[tuple[str | None, tuple[str | None, ...], WireSize]]
        ways = [(self.place(box), ends, size) for box, _, ends, size in self.ways()]
        thin = thinnest(self.vehicle.settings.wire_sizes)
        nodes = self.bus.trunk.nodes if self.bus else ()
        ways += [(self.nodes[a], (self.nodes[b],), thin) for a, b in pairwise(nodes) for _ in "HL"]
        return tuple(s for way in ways if (s := _strand(lengths_of(self.vehicle), *way)) is not None)

    def ways(self) -> list[tuple[str, str, tuple[str, ...], WireSize]]:
        """Wires as they leave their boxes, the bus left out: label of the box, what it is, places it goes to, size."""
        run = [(row["box"], row["signal"], (row["place"],), self.size(row)) for row in self._run()]
        thin = thinnest(self.vehicle.settings.wire_sizes)
        shared = [(key[1], key[0], tuple(r["place"] for r in rows), thin) for key, rows in self._trees().items()]
        return [*run, *shared]

    def joins_bus(self, row: Record) -> bool:
        """Whether a pin is where its box joins the trunk: its first bus connection, where the trunk reaches the box."""
        if row["kind"] != "bus" or self.bus is None or row["box"] not in self.bus.trunk.nodes:
            return False
        first = min((r["signal"], r["item"]) for r in self.rows if r["box"] == row["box"] and r["kind"] == "bus")
        return bool((row["signal"], row["item"]) == first)

    def neighbours(self, box: str) -> tuple[str, ...]:
        """Nodes of the bus that the trunk reaches before and after a box."""
        nodes = self.bus.trunk.nodes if self.bus else ()
        return tuple(b if a == box else a for a, b in pairwise(nodes) if box in (a, b))

    def _run(self) -> list[Record]:
        return [row for row in self.rows if row["wire"] != KEPT_FREE and not self.joins_bus(row)]

    def place(self, box: str) -> str | None:
        """Place of a box; None: not known."""
        return next(b.place for b in self.boxes if b.label == box)

    def size(self, row: Record) -> WireSize:
        """Size of the wire at a pin; the thickest there is where none bears its current."""
        signal = self.signals[row["signal"]]
        size = size_for(self.vehicle, signal.current_ma if signal.rule.is_output else 0)
        return size if size is not None else wire_sizes(self.vehicle.settings.wire_sizes)[-1]

    def _signals(self) -> Iterator[Cut]:
        run = self._run()
        labels = {id(row): f"SG{n}" for n, row in enumerate(run, 1)}
        for row in run:
            signal = self.signals[row["signal"]]
            pair = [labels[id(r)] for r in run if _same(r, row) and r is not row]
            start = Spot("pin", f"{row['box']} {_pin(row)}", self.place(row["box"]) or "", row["connector"])
            end = Spot("input", item_name(signal, row["item"]), row["place"], signal.name)
            ends = (row["box"], "", start, end)
            wired = (self.size(row), row["length_m"], (), _note(row, pair))
            yield Cut(labels[id(row)], SIGNAL, *ends, *wired, self._colour(signal.name, signal.kind, _half(row, run)))

    def _colour(self, name: str, kind: str, wire: int = 0) -> str:
        return signal_colour(self.vehicle.wire_colours, name, kind, wire)

    def _trees(self) -> dict[tuple[str, str, str], list[Record]]:
        """Sensors on each shared pin: by role, box and pin."""
        trees: dict[tuple[str, str, str], list[Record]] = defaultdict(list)
        for row in first_of_each(self.rows):
            for role, word in SHARED.items():
                if row[word]:
                    trees[role, row["box"], row[word]].append(row)
        return dict(sorted(trees.items(), key=lambda pair: (pair[0][0], *map(natural_key, pair[0][1:]))))

    def _shared(self) -> Iterator[Cut]:
        numbers: Counter[str] = Counter()
        for (role, box, pin), rows in self._trees().items():
            numbers[role] += 1
            yield from self._tree(role, box, pin, rows, f"{'5V' if role == SUPPLY else 'GND'}{numbers[role]}")

    def _tree(self, role: str, box: str, pin: str, rows: Sequence[Record], label: str) -> Iterator[Cut]:
        lengths, place = lengths_of(self.vehicle), self.place(box)
        laid = _laid(lengths, place, rows)
        spots = {f"{r['signal']}\n{r['item']}": self._far(r) for r in rows}
        name, connector = self.shared_pin(box, pin)
        size, colour = thinnest(self.vehicle.settings.wire_sizes), self._colour("", SHARED_AS[role])
        for number, piece in enumerate(laid, 1):
            mark = f"{label}.{number}" if len(laid) > 1 else label
            start, end = (
                Spot("pin", f"{box} {name}", place or "", connector) if node == PIN else _node_spot(node, label, spots)
                for node in (piece.start, piece.end)
            )
            yield Cut(mark, role, box, "", start, end, size, up_cm(piece.length_m), (), "", colour)

    def _far(self, row: Record) -> Spot:
        return Spot("input", item_name(self.signals[row["signal"]], row["item"]), row["place"], row["signal"])

    def shared_pin(self, box: str, label: str) -> tuple[str, str]:
        """Connector and name of a supply or ground as on labels, and its connector."""
        pin = next(p for b in self.boxes if b.label == box for p in b.box.pins if p.label == label)
        return f"{pin.connector} {pin.name}".strip(), pin.connector

    def _trunk(self) -> Iterator[Cut]:
        if self.bus is None:
            return
        trunk, thin = self.bus.trunk, thinnest(self.vehicle.settings.wire_sizes)
        for number, (a, b) in enumerate(pairwise(trunk.nodes), 1):
            length = up_cm(trunk.sections_m[number - 1] * TWIST)
            yield from self._pair(f"BUS{number}", a, (self._joint, a), (self._joint, b), thin, length)
        for number, (node, stub) in enumerate(zip(trunk.nodes, trunk.stubs_m, strict=True), 1):
            if stub:
                ends = ((self._joint, node), (self._node, node))
                yield from self._pair(f"BUS{number} stub", node, *ends, thin, up_cm(stub * TWIST))

    def _pair(self, label: str, box: str, start: Any, end: Any, size: WireSize, length: float | None) -> Iterator[Cut]:
        for number, wire in enumerate("HL"):
            ends = (start[0](start[1], wire), end[0](end[1], wire))
            colour = self._colour("", "bus", number)
            yield Cut(f"{label}{wire}", BUS, box, "", *ends, size, length, (), "twisted pair", colour)

    def _joint(self, node: str, wire: str) -> Spot:
        """Where the trunk meets a node: its pin, or the splice its stub begins at."""
        trunk, place = self.bus.trunk, self.nodes[node] or ""  # type: ignore[union-attr]
        if trunk.stubs_m[trunk.nodes.index(node)]:
            return Spot("splice", f"S bus {wire} {node}", place)
        return self._node(node, wire)

    def _node(self, node: str, wire: str) -> Spot:
        pins = [row for row in self.rows if row["box"] == node and self.joins_bus(row)]
        if not pins:
            return Spot("pin", f"{node} bus {wire}", self.nodes[node] or "")
        row = pins["HL".index(wire)]
        return Spot("pin", f"{node} {_pin(row)}", self.nodes[node] or "", row["connector"])

    def bench_rows(self) -> list[dict[str, object]]:
        """One row per pin of every box in the columns of the bench sheet, those that stay empty too."""
        made = self.cuts()
        used = {(row["box"], row["connector"], row["pin"]): row for row in self.rows}
        return [
            _bench_row(self, box, pin, used.get((box.label, pin.connector, pin.name)), made)
            for box in self.boxes
            for pin in box.box.pins
        ]


def _bench_row(
    wires: SignalWires, box: FittedBox, pin: Any, row: Record | None, made: Sequence[Cut]
) -> dict[str, object]:
    blank = {**dict.fromkeys(BENCH_SHEET, ""), **dict.fromkeys(("length_m", "trip_a", "window_ms"))}
    cells = {**blank, "module": box.label, "connector": pin.connector, "pin": pin.name}
    name = f"{box.label} {f'{pin.connector} {pin.name}'.strip()}"
    here = [cut for cut in made if name in (cut.start.name, cut.end.name)]
    shared = sorted(pin.functions & {"supply_5v", "sensor_ground"})
    if row is None and not here:
        said = f"{_SAID[shared[0]]}, not used" if shared else "stays empty"
        return cells | {"loads": said, "note": "plug the cavity"}
    if row is None:
        return cells | {"loads": _SAID[shared[0]], "destination": "sensors"} | run_of(wires.vehicle, here)
    name = item_name(wires.signals[row["signal"]], row["item"])
    if not here:
        return cells | {"loads": f"kept free for {name}", "note": "plug the cavity"}
    beyond = ", ".join(wires.neighbours(box.label)) if wires.joins_bus(row) else ""
    told = {"loads": name, "destination": beyond or str(row["place"])}
    words = [str(row["kind"]).replace("_", " "), *(cut.note for cut in here[:1] if cut.note)]
    return cells | told | run_of(wires.vehicle, here) | {"note": ", ".join(words)}


_SAID = {"supply_5v": "5 V supply of sensors", "sensor_ground": "sensor ground"}


def _strand(lengths: Lengths, source: str | None, ends: tuple[str | None, ...], size: WireSize) -> Strand | None:
    tree = lengths.tree(source)
    known = [end for end in ends if tree is not None and end is not None and end in tree]
    return Strand(parts_of(tree, known), 1, size.area_mm2, frozenset()) if tree is not None and known else None


def _laid(lengths: Lengths, place: str | None, rows: Sequence[Record]) -> tuple[Piece, ...]:
    ends = [End(f"{r['signal']}\n{r['item']}", r["place"] or None) for r in rows]
    return pieces(place, lengths.tree(place), ends, lengths.slack, lengths.end_m)


def _node_spot(node: Node, label: str, spots: Mapping[str, Spot]) -> Spot:
    kind, name = node
    return Spot("splice", f"S{label}{' ' + name if name else ''}", name) if kind == "splice" else spots[name]


def _pin(row: Record) -> str:
    return f"{row['connector']} {row['pin']}".strip()


def _same(one: Record, other: Record) -> bool:
    return all(one[name] == other[name] for name in ("box", "signal", "item"))


def _half(row: Record, run: Sequence[Record]) -> int:
    """Which wire of its pair goes to a pin, 0 or 1."""
    return [r["pin"] for r in run if _same(r, row)].index(row["pin"])


def _note(row: Record, pair: Sequence[str]) -> str:
    words = [f"twisted with {pair[0]}"] if pair and "twisted" in row["wire"] else []
    words += ["screened"] if "screened" in row["wire"] else []
    return ", ".join(words)


def first_of_each(rows: Sequence[Record]) -> list[Record]:
    """The first pin of every item: the second of a pair shares its supply and ground."""
    return list({(row["signal"], row["item"]): row for row in reversed(rows)}.values())[::-1]


def up_cm(length_m: float | None) -> float | None:
    """Whole centimetres, never too short; what floating point adds is no centimetre."""
    return None if length_m is None else math.ceil(length_m * 100 - 1e-6) / 100


def sensor_returns(wires: SignalWires) -> list[dict[str, object]]:
    """Rows of the ground plan: each signal whose sensors return to a pin of their box, length one way, m."""
    rows: dict[tuple[str, str, str], list[Record]] = defaultdict(list)
    for row in first_of_each(wires.rows):
        if row["ground"]:
            rows[row["box"], row["ground"], row["signal"]].append(row)
    return [_returned(wires, key, here) for key, here in rows.items()]


DRIVEN_HIGH = ("high_side", "half_bridge")  # kinds whose other end goes to the vehicle's ground


def actuator_returns(wires: SignalWires) -> tuple[ReturnWire, ...]:
    """Returns of actuators that a box drives high, one for each, assumed on in every state."""
    return tuple(_driven(wires, row) for row in wires.rows if row["kind"] in DRIVEN_HIGH and row["wire"] != KEPT_FREE)


def _driven(wires: SignalWires, row: Record) -> ReturnWire:
    signal = wires.signals[row["signal"]]
    name, pin = item_name(signal, row["item"]), f"{row['connector']} {row['pin']}".strip()
    where = ("power", row["box"], pin, name, (1,), row["place"] or None)
    carried = (signal.current_ma,) * len(wires.vehicle.states)
    return ReturnWire(*where, carried, wires.size(row), running_a=signal.current_ma / 1000, origin="actuator")


def switched_returns(wires: SignalWires) -> list[dict[str, object]]:
    """Rows of the ground plan: each load whose way back is a pin of a box, length one way, m."""
    return [_switched(wires, row) for row in wires.rows if row["wire"] != KEPT_FREE and _load_of(wires, row)]


def _load_of(wires: SignalWires, row: Record) -> str | None:
    load = wires.signals[row["signal"]].load
    return load if any(other.name == load for other in wires.vehicle.loads) else None


def _switched(wires: SignalWires, row: Record) -> dict[str, object]:
    signal, pin = wires.signals[row["signal"]], f"{row['box']} {row['connector']} {row['pin']}".replace("  ", " ")
    cells = {"use": "power", "module": row["box"], "channel": pin, "load": signal.load, "items": 1}
    cells |= {"place": row["place"], "ground": pin, "ground_place": wires.place(row["box"]) or ""}
    hot = resistance_ohm_per_m(wires.size(row), wires.vehicle.settings.insulation_c)
    drop = _drop_pct(wires, hot, row["length_m"], signal.current_ma / 1000)
    ends = {"length_m": row["length_m"], "size": wires.size(row).name, "worst_a": signal.current_ma / 1000}
    return cells | ends | {"drop_pct": drop, "note": "to its box, which switches it to ground"}


def _drop_pct(wires: SignalWires, ohm_per_m: float, length_m: float | None, amps: float) -> float | None:
    """Lost along one wire, per cent of the system voltage; None: its length is not known."""
    return None if length_m is None else round(100 * ohm_per_m * length_m * amps / wires.vehicle.settings.system_v, 3)


def fed_by(vehicle: Vehicle, signal: Signal) -> str:
    """What feeds an actuator that is switched to ground, in words; empty for other signals."""
    if signal.load is None:
        return ""
    return f"load {signal.load}" if any(load.name == signal.load for load in vehicle.loads) else "not known"


def supply_load(vehicle: Vehicle, label: str, role: str = "control_unit") -> Load | None:
    """The load that is the supply of a box: that of its name, or of a control unit the setting's; None: none is."""
    stated = vehicle.settings.control_unit_load if role == "control_unit" else None
    return next((load for load in vehicle.loads if load.name == (stated or label)), None)


def _returned(wires: SignalWires, key: tuple[str, str, str], here: Sequence[Record]) -> dict[str, object]:
    box, label, signal = key
    pin, _ = wires.shared_pin(box, label)
    size, amps = thinnest(wires.vehicle.settings.wire_sizes), wires.signals[signal].current_ma / 1000
    metres = here[0]["length_m"]
    cells = {"use": "sensor", "module": box, "channel": pin, "load": signal, "items": len(here)}
    cells |= {"place": here[0]["place"], "ground": f"{box} {pin}", "ground_place": wires.place(box) or ""}
    ends = {"length_m": metres, "size": size.name, "worst_a": amps}
    ends |= {"drop_pct": _drop_pct(wires, size.ohm_per_m, metres, amps)}
    return cells | ends | {"note": "to its box, on no stud"}


def ground_pin(row: Record, wires: SignalWires) -> dict[str, object]:
    """Row of the ground points: a sensor ground of a box, as the table of supplies has it."""
    pin, _ = wires.shared_pin(row["box"], row["pin"])
    name = {"ground": f"{row['box']} {pin}", "place": wires.place(row["box"]) or "", "use": "sensor", "stud": "pin"}
    amps = {"current_a": row["current_a"], "max_a": row["limit_a"], "max_wires": None}
    return name | {"returns": row["sensors"], "state": "", **amps, "note": "clean ground of the box"}
