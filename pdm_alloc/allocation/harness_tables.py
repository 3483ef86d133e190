"""The harness of an allocation as tables: a row a route, a row a feed."""

from collections.abc import Sequence

import pandas as pd

from pdm_alloc.allocation.wired import WiredCircuit, strand_of
from pdm_alloc.circuits.feed_current import draws_ma, feed_currents_ma, for_at_once_ma
from pdm_alloc.circuits.items import ItemType, load_types
from pdm_alloc.circuits.wiring import Wiring
from pdm_alloc.electrics.choose_wire import WireChoice
from pdm_alloc.harness.feed import Feeder, feed_mass_g
from pdm_alloc.harness.graph import route_graph
from pdm_alloc.harness.segments import Segment, segments
from pdm_alloc.module import Unit
from pdm_alloc.vehicle import Vehicle

__all__ = ["FEEDS", "SEGMENTS", "feeds_table", "segments_table"]

SEGMENTS = ("start", "end", "length_m", "circuits", "wires", "loaded_wires", "bundle_mm", "mass_g")
FEEDS = (
    "module",
    "place",
    "state",
    "running_a",
    "carries_a",
    "fuse_a",
    "length_m",
    "size",
    "parallel",
    "area_mm2",
    "ampacity_a",
    "drop_pct",
    "ohm",
    "mass_g",
    "note",
)


def segments_table(vehicle: Vehicle, wired: Sequence[WiredCircuit]) -> pd.DataFrame:
    """A row a route, in the columns `SEGMENTS`: length (m), wires and most loaded at once, bundle (mm), mass (g).

    Wires of circuits only, the feeds lie apart; ends beyond the last place (the end allowances) are in
    no route.
    """
    wiring = Wiring(vehicle)
    strands = [strand for w in wired if (strand := strand_of(vehicle, wiring, w)) is not None]
    found = segments(strands, _routes(vehicle), wiring.lengths.slack, vehicle.settings.insulation_c)
    rows = [_segment_row(segment) for segment in found]
    return pd.DataFrame(rows, columns=list(SEGMENTS))


def _routes(vehicle: Vehicle) -> dict[tuple[str, str], float]:
    if not vehicle.routes:
        return {}
    graph = route_graph(vehicle.places, vehicle.routes)
    return {(min(a, b), max(a, b)): graph.edges[a, b]["m"] for a, b in graph.edges}


def _segment_row(s: Segment) -> tuple[object, ...]:
    rounded = (round(s.bundle_mm, 1), round(s.mass_g, 1))
    return (s.start, s.end, round(s.length_m, 3), s.circuits, s.wires, s.loaded_wires, *rounded)


def feeds_table(vehicle: Vehicle, units: Sequence[Unit], wired: Sequence[WiredCircuit]) -> pd.DataFrame:
    """A row a unit, in the columns `FEEDS`: main fuse (A) and cable from the battery.

    state is that in which its loads draw most, all duties taken as 1: running_a. carries_a is what the
    feed is made to carry for long, as of `feed_currents_ma`; the fuse is at least running_a, and bears
    the inrush of any command on top.
    """
    feeder, every = Feeder(vehicle), draws_ma(vehicle, load_types(vehicle))
    carried = feed_currents_ma(vehicle, units, max(every, default=0))
    rows = []
    for unit, ma in zip(units, carried, strict=True):
        own = [pair for w in wired if w.circuit.unit == unit.label for pair in w.some]
        rows.append(_feed_row(feeder, unit, ma, *_worst_state(vehicle, own)))
    return pd.DataFrame(rows, columns=list(FEEDS))


def _feed_row(feeder: Feeder, unit: Unit, carried_ma: int, state: str, running_ma: int) -> dict[str, object]:
    carries = max(carried_ma, for_at_once_ma(running_ma))
    feed, length = feeder.feed(carries, unit.place, state), feeder.length_m(unit.place)
    mass = feed_mass_g(feed.wire, length, feeder.rules)
    row = {
        "module": unit.label,
        "place": unit.place or "",
        "state": state,
        "running_a": running_ma / 1000,
        "carries_a": carries / 1000,
        "fuse_a": feed.fuse_a,
        "length_m": None if length is None else round(length, 2),
        "ohm": None if feed.ohm is None else round(feed.ohm, 6),
        "mass_g": None if mass is None else round(mass, 1),
        "note": _note(feed.wire, length),
    }
    return row | (_cable(feed.wire) if isinstance(feed.wire, WireChoice) else {})


def _cable(wire: WireChoice) -> dict[str, object]:
    pct = wire.drops_pct[0]
    return {
        "size": wire.size.name,
        "parallel": wire.parallel,
        "area_mm2": round(wire.size.area_mm2, 3),
        "ampacity_a": round(wire.ampacity_a, 1),
        "drop_pct": None if pct is None else round(pct, 3),
    }


def _note(wire: WireChoice | str, length: float | None) -> str:
    if isinstance(wire, str):
        return "no standard fuse is large enough" if wire == "fuse" else "no single cable is large enough"
    return "" if length is not None else "length from the battery not known, drop not judged"


def _worst_state(vehicle: Vehicle, some: Sequence[tuple[ItemType, int]]) -> tuple[str, int]:
    """State in which some items draw most, all duties taken as 1, and what they draw, mA."""
    sums = [sum(t.state_ma[n] * k for t, k in some) for n in range(len(vehicle.states))]
    worst = max(range(len(sums)), key=lambda n: sums[n])
    return vehicle.states[worst].name, sums[worst]
