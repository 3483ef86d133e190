"""The bench sheet, one row per pin; what lies in each route; what to buy: wire, ends, splices, fuses, sleeves."""

import math
import re
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Protocol

import pandas as pd

from pdm_alloc.circuits.draws import Wiring
from pdm_alloc.domain.module import Channel, FittedBox, Unit, natural_key
from pdm_alloc.domain.showing import counted
from pdm_alloc.domain.vehicle import Vehicle, part_for
from pdm_alloc.electrics.protection import Protected
from pdm_alloc.electrics.wire import NOT_KNOWN
from pdm_alloc.harness.paths import Segment, Strand, route_graph, segments
from pdm_alloc.result.care_rules import CareWarning
from pdm_alloc.result.channel_tables import loads_text
from pdm_alloc.result.cut_list import ENDS_OF, Cut, sides_of
from pdm_alloc.result.link_tables import ReturnWire
from pdm_alloc.result.placed import WiredCircuit, strand_of

__all__ = [
    "BENCH_SHEET",
    "SEGMENTS",
    "SHOPPING",
    "WASTE",
    "SignalWiring",
    "bench_sheet_table",
    "joined",
    "run_of",
    "segments_table",
    "shopping_table",
]

BENCH_SHEET = (
    *("module", "connector", "pin", "channel", "loads", "destination", "label", "size", "colour", "length_m"),
    *("trip_a", "window_ms", "terminal", "seal", "splice", "note"),
)

SEGMENTS = ("start", "end", "length_m", "circuits", "wires", "loaded_wires", "bundle_mm", "mass_g")

SHOPPING = ("item", "detail", "part", "count", "length_m", "note")

_Leaving = Mapping[tuple[str, str], list[Cut]]  # pieces by unit and pin they start at

WASTE = 1.1  # wire bought over wire cut; common practice, no source


def shopping_table(
    vehicle: Vehicle,
    units: Sequence[Unit],
    made: Sequence[Cut],
    links: pd.DataFrame,
    segments: pd.DataFrame,
    signals: Sequence[tuple[object, ...]] = (),
) -> pd.DataFrame:
    """What to buy, in the columns `SHOPPING`: wire with 10 % for waste, m; everything else counted."""
    rows = [*_wire(made), *_ends(vehicle, made), *_connectors(vehicle, units), *signals, *_fuses(vehicle, links)]
    rows += _sleeves(vehicle, segments)
    return pd.DataFrame(rows, columns=list(SHOPPING))


def _wire(made: Sequence[Cut]) -> Iterator[tuple[object, ...]]:
    kinds: dict[tuple[float, str, str, str], list[Cut]] = defaultdict(list)
    for cut in made:
        area = 0.0 if cut.size.name == NOT_KNOWN else cut.size.area_mm2
        kinds[area, cut.size.name, cut.colour, _laid(cut)].append(cut)
    for (_, size, colour, laid), here in sorted(kinds.items()):
        metres = sum(cut.length_m or 0.0 for cut in here)
        missing = sum(cut.length_m is None for cut in here)
        note = "with 10 % for waste"
        if missing:
            note = f"{counted(missing, 'piece')} of a length not known {'is' if missing == 1 else 'are'} not counted"
        size = _size_said(size)
        bought = math.ceil(10 * metres * WASTE) / 10 if missing < len(here) else None
        yield ("wire", f"{size} {colour}".strip() + laid, "", len(here), bought, note)


def _size_said(name: str) -> str:
    return f"size {name}" if name == NOT_KNOWN else name


def _laid(cut: Cut) -> str:
    """Words for wire that is bought as a twisted pair or with a screen."""
    return "".join(f", {word}" for word in ("twisted", "screened") if word in cut.note)


def _ends(vehicle: Vehicle, made: Sequence[Cut]) -> Iterator[tuple[object, ...]]:
    sides = sides_of(made)
    counts: Counter[tuple[str, str, str]] = Counter()
    for name, area in sides.items():
        together = "size not known" if math.isnan(area) else f"{area:g} mm² together"
        counts["splice", together, part_for(vehicle.parts, "splice", "*", area)] += bool(name)
    for cut in made:
        for spot in (cut.start, cut.end):
            for item in ENDS_OF[spot.kind] if spot.kind != "splice" else ():
                part = part_for(vehicle.parts, item, spot.at or "*", cut.size.fitted_mm2)
                counts[item.replace("_", " "), _size_said(cut.size.name), part] += 1
    yield from _by_part(counts)


def _by_part(counts: Mapping[tuple[str, str, str], int]) -> Iterator[tuple[object, ...]]:
    """A row per part number with what it is for; where there is none, per size."""
    bought: dict[tuple[str, str], list[tuple[str, int]]] = defaultdict(list)
    for (item, detail, part), count in sorted(counts.items(), key=lambda pair: _in_shop(*pair[0])):
        bought[item, part or f" {detail}"].append((detail, count))
    for (item, part), uses in bought.items():
        number = "" if part.startswith(" ") else part
        yield (item, "; ".join(detail for detail, _ in uses), number, sum(count for _, count in uses), None, "")


def _in_shop(item: str, detail: str, part: str) -> tuple[Any, ...]:
    """By item, then thin to thick."""
    number = re.match(r"\d+(\.\d+)?", detail)
    return natural_key(item), float(number[0]) if number else math.inf, natural_key(detail), natural_key(part)


def _connectors(vehicle: Vehicle, units: Sequence[Unit]) -> Iterator[tuple[object, ...]]:
    for unit in units:
        pins: Counter[str] = Counter()
        for channel in unit.module.channels:
            pins[channel.connector] += len(channel.pins)
        for name in sorted(pins, key=natural_key):
            yield (
                "connector",
                f"{unit.label} {name}".strip(),
                part_for(vehicle.parts, "connector", name, None),
                1,
                None,
                f"{pins[name]} pins",
            )


def _fuses(vehicle: Vehicle, links: pd.DataFrame) -> Iterator[tuple[object, ...]]:
    for amps, count in sorted(Counter(a for a in links["fuse_a"] if a == a and a is not None).items()):
        yield (
            "fuse holder and fuse",
            f"{amps:g} A",
            part_for(vehicle.parts, "fuse_holder", "*", amps),
            count,
            None,
            "",
        )


def _sleeves(vehicle: Vehicle, segments: pd.DataFrame) -> Iterator[tuple[object, ...]]:
    metres: Counter[int] = Counter()
    for row in segments.to_dict("records"):
        if row["bundle_mm"] > 0:
            metres[math.ceil(row["bundle_mm"])] += row["length_m"]
    bought: dict[str, list[int]] = defaultdict(list)
    for across in sorted(metres):
        part = part_for(vehicle.parts, "sleeve", "*", float(across))
        bought[part or f" {across}"].append(across)
    for part, sizes in bought.items():
        length = math.ceil(10 * sum(metres[across] for across in sizes) * WASTE) / 10
        detail = f"bundles up to {', '.join(map(str, sizes))} mm"
        yield ("sleeving", detail, "" if part.startswith(" ") else part, None, length, "with 10 % for waste")


def bench_sheet_table(
    vehicle: Vehicle, units: Sequence[Unit], wired: Sequence[WiredCircuit], made: Sequence[Cut]
) -> pd.DataFrame:
    """One row per pin in the order of connectors and pins, in the columns `BENCH_SHEET`.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : sequence of Unit
        What is fitted.
    wired : sequence of WiredCircuit
        Circuits with their wires.
    made : sequence of Cut
        The cut list.

    Returns
    -------
    DataFrame
        length_m is of the piece that leaves the pin, m; trip_a what the channel is set to, A; splice where that piece
        ends, if in a splice. A pin of a channel whose wire leaves by another pin says which.
    """
    circuits = {(w.circuit.unit, name): w for w in wired for name in w.circuit.channels}
    leaving: dict[tuple[str, str], list[Cut]] = defaultdict(list)
    for cut in made:
        if cut.start.kind == "pin":
            leaving[cut.module, cut.start.name].append(cut)
    rows = [
        _pin_row(vehicle, unit, channel, pin, circuits.get((unit.label, channel.name)), leaving)
        for unit in units
        for channel, pin in _pins(unit)
    ]
    numbers = dict.fromkeys(("length_m", "trip_a", "window_ms"), float)
    words = dict.fromkeys((name for name in BENCH_SHEET if name not in numbers), "")
    return pd.DataFrame([words | row for row in rows], columns=list(BENCH_SHEET)).astype(numbers)


def _pins(unit: Unit) -> list[tuple[Channel, str]]:
    pins = [(channel, pin) for channel in unit.module.channels for pin in channel.pins or ("",)]
    return sorted(pins, key=lambda pair: (natural_key(pair[0].connector), natural_key(pair[1] or pair[0].name)))


def _pin_row(
    vehicle: Vehicle, unit: Unit, channel: Channel, pin: str, w: WiredCircuit | None, leaving: _Leaving
) -> dict[str, object]:
    where = {"module": unit.label, "connector": channel.connector, "pin": pin, "channel": channel.name}
    if w is None:
        return {**where, "loads": "spare", "note": "plug the cavity"}
    text = {
        "channel": w.circuit.channel,
        "loads": loads_text(vehicle, w.circuit),
        "destination": _destination(vehicle, w),
    }
    setting = {}
    if isinstance(w.made, Protected):
        setting = {"trip_a": w.made.trip_ma / w.each / 1000, "window_ms": w.made.window_ms}
    name = f"{channel.connector} {pin}".strip() if pin else f"channel {channel.name}"
    here = leaving.get((unit.label, name), [])
    return where | text | setting | (run_of(vehicle, here) if here else {"note": _joined(unit, w, leaving)})


def _destination(vehicle: Vehicle, w: WiredCircuit) -> str:
    return "; ".join(dict.fromkeys(vehicle.load(name).place or "" for name in w.circuit.loads))


def _joined(unit: Unit, w: WiredCircuit, leaving: _Leaving) -> str:
    names = [f"{c.connector} {pin}".strip() for c in w.place.channels for pin in c.pins]
    used = [name for name in names if (unit.label, name) in leaving]
    return f"leaves by {', '.join(used)}" if used else "no wire: see wire sizes"


def run_of(vehicle: Vehicle, here: Sequence[Cut]) -> dict[str, object]:
    """Cells of the bench sheet that tell of the wires at a pin: the first of them, and the labels of all."""
    cut, (terminal, seal) = here[0], _pin_parts(vehicle, here[0])
    return {
        "label": ", ".join(one.label for one in here),
        "size": cut.size.name,
        "colour": cut.colour,
        "length_m": cut.length_m,
        "terminal": terminal,
        "seal": seal,
        "splice": cut.end.name if cut.end.kind == "splice" else "",
        "note": cut.note,
    }


def _pin_parts(vehicle: Vehicle, cut: Cut) -> tuple[str, str]:
    size = cut.size.fitted_mm2
    return part_for(vehicle.parts, "terminal", cut.start.at, size), part_for(vehicle.parts, "seal", cut.start.at, size)


class SignalWiring(Protocol):
    """What the documents take from the signal side beside an allocation; see `pdm_alloc.studies.signal_side`."""

    @property
    def boxes(self) -> tuple[FittedBox, ...]:
        """Boxes with signal pins."""

    @property
    def nodes(self) -> Mapping[str, str | None]:
        """Place of every node of the bus by label."""

    @property
    def kbit(self) -> int:
        """Bit rate of the bus, kbit/s."""

    def pin_map(self) -> pd.DataFrame:
        """One row per pin in use."""

    def trunk(self) -> pd.DataFrame:
        """Nodes in the order of the trunk."""

    @property
    def cuts(self) -> tuple[Cut, ...]:
        """Every piece of its wire once."""

    @property
    def strands(self) -> tuple[Strand, ...]:
        """Its wires as they lie in the harness."""

    @property
    def to_ground(self) -> tuple[tuple[str, str | None], ...]:
        """Names and places of switches that close to a sensor ground of the vehicle."""

    @property
    def driven_high(self) -> tuple[ReturnWire, ...]:
        """Returns of actuators that are driven high, without a ground point yet."""

    @property
    def switched(self) -> frozenset[str]:
        """Names of loads that a box switches to ground: their pin is their return."""

    def care(self) -> tuple[CareWarning, ...]:
        """What is to be looked at."""

    def bench_sheet(self) -> pd.DataFrame:
        """One row per pin of its boxes, in the columns of the bench sheet."""

    def ground_plan(self) -> pd.DataFrame:
        """One row per sensor that returns to a box, in the columns of the ground plan."""

    def ground_pins(self) -> pd.DataFrame:
        """One row per sensor ground of a box, in the columns of the ground points."""

    def parked(self) -> pd.DataFrame:
        """What everything draws from the parked vehicle, mA."""

    @property
    def masses(self) -> list[tuple[str, float | None, str]]:
        """Name, mass (g; None: not known) and kind of each box and keypad."""

    @property
    def prices(self) -> list[float | None]:
        """Price (None: not known) of each box and keypad."""

    def to_buy(self) -> list[tuple[Any, ...]]:
        """Rows of the shopping list: connectors of its boxes, terminators."""


def joined(power: pd.DataFrame, signals: pd.DataFrame) -> pd.DataFrame:
    """Rows of both, in the columns and kinds of number of the first."""
    filled = [table for table in (power, signals[list(power.columns)]) if len(table)]
    return pd.concat(filled, ignore_index=True) if filled else power


def segments_table(vehicle: Vehicle, wired: Sequence[WiredCircuit], signals: Sequence[Strand] = ()) -> pd.DataFrame:
    """A row a route, in the columns `SEGMENTS`: length (m), wires and most loaded at once, bundle (mm), mass (g).

    Wires of circuits and of signals, the feeds lie apart; ends beyond the last place (the end allowances) are in
    no route.
    """
    wiring = Wiring(vehicle)
    strands = [strand for w in wired if (strand := strand_of(vehicle, wiring, w)) is not None]
    parts = segments([*strands, *signals], _routes(vehicle), wiring.lengths.slack, vehicle.settings.insulation_c)
    rows = [_segment_row(segment) for segment in parts]
    return pd.DataFrame(rows, columns=list(SEGMENTS))


def _routes(vehicle: Vehicle) -> dict[tuple[str, str], float]:
    if not vehicle.routes:
        return {}
    graph = route_graph(vehicle.places, vehicle.routes)
    return {(min(a, b), max(a, b)): graph.edges[a, b]["m"] for a, b in graph.edges}


def _segment_row(s: Segment) -> tuple[object, ...]:
    rounded = (round(s.bundle_mm, 1), round(s.mass_g, 1))
    return (s.start, s.end, round(s.length_m, 3), s.circuits, s.wires, s.loaded_wires, *rounded)
