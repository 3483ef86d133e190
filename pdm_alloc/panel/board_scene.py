"""What the board draws of a vehicle, and what it needs to follow a drag."""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

import pandas as pd

from pdm_alloc import figures
from pdm_alloc.domain.module import natural_key
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.protection import Protected
from pdm_alloc.electrics.signal_lines import BIT_RATES, limit_at
from pdm_alloc.electrics.wire import RETURNS, WireChoice, WireSize, mass_g_per_m, outer_diameter_mm
from pdm_alloc.files.tables.table_edits import Plan, uses
from pdm_alloc.harness.distribution import Laid
from pdm_alloc.harness.paths import lengths_of
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.channel_tables import loads_text
from pdm_alloc.result.placed import WiredCircuit, ways_laid
from pdm_alloc.result.supply_tables import laid_links
from pdm_alloc.studies.signal_side import SignalSide
from pdm_alloc.studies.signal_wiring import TWIST, thinnest

__all__ = [
    *("SITED", "BusScene", "Cable", "Lead", "Scene", "Spot", "plan_of_harness", "planned", "scene_of", "with_signals"),
]

SITED = ("control unit", "expander")
"""Kinds of boxes whose place is chosen on the board and stands in no table."""


@dataclass(frozen=True, slots=True)
class Spot:
    """A place as it is drawn.

    Parameters
    ----------
    name, compartment, contains : str
        As in the table.
    x_m, y_m : float or None
        To the rear and to the right, m; None: not known.
    mount : bool
        Whether a module can be mounted there.
    ambient_c : float or None
        deg C.
    rank : int
        In natural order of names: decides between ways that are equally long.
    holds : tuple of str
        What sits there.
    """

    name: str
    x_m: float | None
    y_m: float | None
    mount: bool
    compartment: str
    ambient_c: float | None
    contains: str
    rank: int
    holds: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Lead:
    """The wire of one circuit: what it weighs follows from where its ends are.

    Parameters
    ----------
    unit : str
        Label of its module.
    name : str
        Its loads in words.
    ends : tuple of (str or None, int, float or None)
        Place of a load; its items; the length stated for it, m, taken where no routes lead to it.
    wires : int
        Conductors side by side, the way back counted where it is a wire.
    g_per_m : float or None
        Of all of them, g/m; None: there is no wire for it.
    across2_mm2 : float
        Sum of the squares of their diameters, mm2.
    """

    unit: str
    name: str
    ends: tuple[tuple[str | None, int, float | None], ...]
    wires: int
    g_per_m: float | None
    across2_mm2: float


@dataclass(frozen=True, slots=True)
class Cable:
    """A battery cable: between which places, and its mass, g/m; None: there is no cable for it."""

    name: str
    module: str
    start: str | None
    end: str | None
    g_per_m: float | None


@dataclass(frozen=True, slots=True)
class BusScene:
    """The bus: its nodes by label, and what a length of it weighs.

    Parameters
    ----------
    nodes : tuple of (str, float)
        Label and stub, m.
    g_per_m, across2_mm2 : float
        Of both wires, twisted, g/m; sum of the squares of their diameters, mm2.
    limit_m : float or None
        Longest trunk at its bit rate, m; None: no limit is published.
    """

    nodes: tuple[tuple[str, float], ...]
    g_per_m: float
    across2_mm2: float
    limit_m: float | None


@dataclass(frozen=True)
class Scene:
    """All that the board draws, and all it needs to follow a drag.

    Parameters
    ----------
    spots : tuple of Spot
        Places.
    runs : tuple of (str, str, float or None)
        Routes; None: the straight distance, else m.
    boxes : tuple of (str, str, str)
        Kind (module, battery, control unit, expander, keypad), label, place, empty where not decided.
    leads, cables : tuple of Lead, of Cable
        Wires and battery cables; empty where there is no allocation.
    battery : str
        Place of the battery that the cables are laid from; empty where not known.
    slack, end_m : float
        Wire over route, no unit; allowance at each end, m.
    wires_g, cables_g : float or None
        Mass of both, g; None: there is no allocation.
    signals : tuple of Lead
        Wires of the signal side, supplies and grounds of sensors over their splices, without the bus.
    bus : BusScene or None
        None: there is no bus.
    signal_words : str
        What is enough, in words; empty without a signal side.
    """

    spots: tuple[Spot, ...]
    runs: tuple[tuple[str, str, float | None], ...]
    boxes: tuple[tuple[str, str, str], ...]
    leads: tuple[Lead, ...] = ()
    cables: tuple[Cable, ...] = ()
    battery: str = ""
    slack: float = 1.0
    end_m: float = 0.0
    wires_g: float | None = None
    cables_g: float | None = None
    signals: tuple[Lead, ...] = ()
    bus: BusScene | None = None
    signal_words: str = ""

    @property
    def mass_g(self) -> float | None:
        """Wires and battery cables together, g."""
        return None if self.wires_g is None or self.cables_g is None else self.wires_g + self.cables_g

    @property
    def state(self) -> dict[str, Any]:
        """The same as plain lists and numbers, for the browser."""
        return asdict(self)


def scene_of(
    vehicle: Vehicle,
    allocation: Allocation | None = None,
    modules: Iterable[tuple[str, str]] = (),
) -> Scene:
    """Everything the board draws.

    Parameters
    ----------
    vehicle : Vehicle
        Its places, routes and settings are drawn.
    allocation : Allocation, optional
        Its wires are laid; of another state of the same vehicle, its wire sizes stand until there is a new one.
    modules : iterable of (str, str)
        Label and place of each, the place empty where it is not decided.

    Returns
    -------
    Scene
    """
    lengths = lengths_of(vehicle)
    ranks = {name: n for n, name in enumerate(sorted((p.name for p in vehicle.places), key=natural_key))}
    sits = uses(vehicle)
    spots = tuple(
        Spot(p.name, p.x_m, p.y_m, p.mount, p.compartment, p.ambient_c, " ".join(sorted(p.contains)), ranks[p.name],
             tuple(sits.get(p.name, ())))
        for p in vehicle.places
    )  # fmt: skip
    runs = tuple((r.start, r.end, r.length_m) for r in vehicle.routes)
    battery = (("battery", "battery", vehicle.settings.battery_place or ""),) if vehicle.places else ()
    boxes = (*(("module", *m) for m in modules), *battery)
    scene = Scene(spots, runs, boxes, slack=lengths.slack, end_m=lengths.end_m)
    return scene if allocation is None else _with_wires(scene, allocation)


def with_signals(scene: Scene, side: SignalSide, sites: Mapping[str, str]) -> Scene:
    """The scene with control units, expanders, keypads, their wires and the bus.

    Parameters
    ----------
    scene : Scene
        Of the power side.
    side : SignalSide
        Boxes fitted; their wires are laid where they are enough.
    sites : mapping of str to str
        Place of each box that was put somewhere since, by label.

    Returns
    -------
    Scene
    """
    own = [(box.box.role.replace("_", " "), box.label, box.place) for box in side.boxes if box.box.role != "module"]
    own += [("keypad", label, place) for label, place, _ in side.pads()]
    boxes = [(kind, label, (sites.get(label) if kind in SITED else None) or place or "") for kind, label, place in own]
    leads = tuple(_signal_lead(side, *way) for way in side.wires.ways())
    return replace(scene, boxes=(*scene.boxes, *boxes), signals=leads, bus=_bus_scene(side))


def _signal_lead(side: SignalSide, box: str, name: str, places: tuple[str, ...], size: WireSize) -> Lead:
    ends = tuple((place or None, 1, None) for place in places)
    each = mass_g_per_m(size.area_mm2, side.vehicle.settings.insulation_c)
    return Lead(box, name, ends, 1, each, outer_diameter_mm(size.area_mm2) ** 2)


def _bus_scene(side: SignalSide) -> BusScene | None:
    trunk, settings = side.bus and side.bus.trunk, side.vehicle.settings
    stubs = dict(zip(trunk.nodes, trunk.stubs_m, strict=True)) if trunk else {}
    nodes = tuple((label, stubs.get(label, settings.bus_stub_m)) for label in side.nodes)
    area = thinnest(settings.wire_sizes).area_mm2
    each = mass_g_per_m(area, settings.insulation_c)
    limit = limit_at(side.kbit).trunk_m if 0 < side.kbit <= max(BIT_RATES) else None
    return BusScene(nodes, 2 * TWIST * each, 2 * outer_diameter_mm(area) ** 2, limit) if len(nodes) > 1 else None


def planned(scene: Scene, plan: Plan) -> Scene:
    """The scene with places, routes and boxes as tables of text have them, its wires in sizes as they are."""
    known = {spot.name: spot for spot in scene.spots}
    ranks = {name: n for n, name in enumerate(sorted(plan.names, key=natural_key))}
    spots = tuple(_planned(row, known.get(row["place"]), ranks[row["place"]]) for row in plan.places)
    runs = tuple((r["from"], r["to"], float(r["length_m"]) if r.get("length_m") else None) for r in plan.routes)
    pads = {label: place for label, place, _ in plan.keypads}
    at = {**dict(plan.mounted), **pads, "battery": plan.setting("battery_place")}
    boxes = tuple((kind, label, at.get(label, place)) for kind, label, place in scene.boxes)
    return replace(scene, spots=spots, runs=runs, boxes=boxes)


def _planned(row: Mapping[str, str], known: Spot | None, rank: int) -> Spot:
    x, y = (float(row[name]) if row.get(name) else None for name in ("x_m", "y_m"))
    contains, mount = row.get("contains", ""), row.get("mount") == "yes"
    fresh = known or Spot(row["place"], x, y, mount, "", None, contains, rank, ())
    return replace(fresh, x_m=x, y_m=y, mount=mount, contains=contains, rank=rank)


def _with_wires(scene: Scene, allocation: Allocation) -> Scene:
    vehicle, wired = allocation.vehicle, allocation.wired
    laid = laid_links(vehicle, allocation.units, wired)
    cables = tuple(Cable(one.demand.name, one.module, one.start, one.end, _cable_g(vehicle, one)) for one in laid)
    return replace(
        scene,
        battery=vehicle.settings.battery_place or "",
        leads=tuple(_lead(vehicle, w) for w in wired),
        cables=cables,
        wires_g=sum(w.mass_g or 0.0 for w in wired),
        cables_g=sum(one.mass_g or 0.0 for one in laid),
    )


def _cable_g(vehicle: Vehicle, one: Laid) -> float | None:
    wire = None if one.link is None else one.link.wire
    if not isinstance(wire, WireChoice):
        return None
    back = RETURNS[vehicle.settings.return_path]
    return mass_g_per_m(wire.size.area_mm2, vehicle.settings.insulation_c) * wire.parallel * back


def _lead(vehicle: Vehicle, w: WiredCircuit) -> Lead:
    ends = tuple((t.place, k, t.length_m) for t, k in w.members)
    unit, name = w.circuit.unit, loads_text(vehicle, w.circuit)
    if not isinstance(w.made, Protected):
        return Lead(unit, name, ends, 0, None, 0.0)
    wires, area = w.made.wire.parallel * ways_laid(vehicle, w), w.made.wire.size.area_mm2
    one = mass_g_per_m(area, vehicle.settings.insulation_c)
    return Lead(unit, name, ends, wires, wires * one, wires * outer_diameter_mm(area) ** 2)


def plan_of_harness(allocation: Allocation) -> Any:
    """The board as a figure, for a saved notebook; None where a place it needs has no coordinates.

    Parameters
    ----------
    allocation : Allocation
        With its modules mounted.

    Returns
    -------
    matplotlib Axes or None
    """
    vehicle, fitted = allocation.vehicle, [(unit.label, unit.place) for unit in allocation.units]
    known = {p.name for p in vehicle.places if p.x_m is not None and p.y_m is not None}
    needed = {*(place for _, place in fitted), *(end for r in vehicle.routes for end in (r.start, r.end))}
    if not vehicle.routes or not needed <= known:
        return None
    spots = [(p.name, p.x_m, p.y_m, " ".join(sorted(p.contains))) for p in vehicle.places]
    places = pd.DataFrame(spots, columns=["place", "x_m", "y_m", "contains"])
    return figures.plan(places, allocation.segments, pd.DataFrame(fitted, columns=["module", "place"]))
