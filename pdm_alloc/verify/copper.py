"""Ampacity and resistance of wire sizes, and shortest ways, worked out a second time."""

import heapq
import math
from collections.abc import Collection, Hashable, Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import pairwise
from typing import Protocol, TypedDict, TypeVar, cast

import pandas as pd

from pdm_alloc.domain.kinds import KINDS
from pdm_alloc.domain.module import natural_key
from pdm_alloc.domain.vehicle import Ground, Place, Route, State, Vehicle
from pdm_alloc.electrics.wire_tables import (
    AMPACITY_A,
    AWG_NUMBERS,
    BUNDLE_FACTOR_BEYOND,
    BUNDLE_FACTORS,
    CIRCULAR_MIL_MM2,
    CLASS_5_OHM_PER_KM,
    COPPER_HEAT,
    COPPER_RESISTIVITY,
    COPPER_ZERO_C,
    IEC_ZERO_C,
    INSULATION_CLASSES_C,
    SAE_CIRCULAR_MILS,
    SAE_LEAST_SHARE,
    SHORT_TIME_C,
    THIN_WALL_A,
    THIN_WALL_BUNDLE,
    THIN_WALL_CLASS_C,
)
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.verify.arithmetic import ceiling, cold, running_ma
from pdm_alloc.verify.assignment import Finding

__all__ = [
    "BenchTables",
    "Conductor",
    "Lies",
    "Part",
    "Ways",
    "alone_a",
    "bench",
    "beside",
    "conductors",
    "damage_ms",
    "of_area",
]

Lies = tuple[tuple[float, int], ...]
"""Ambient, deg C, and loaded wires of each part of a wire's way."""

Part = frozenset[str]
"""Two places that a route joins, or the one place that a circuit stays in."""

_Size = tuple[float, float, float]  # area, mm2; ohm / m at 20 deg C; temperature at which that would vanish, deg C

_Edge = tuple[str, str, float]  # both ends and length, m

_Key = TypeVar("_Key", bound=Hashable)


class BenchTables(Protocol):
    """What `bench` looks at: an allocation."""

    @property
    def vehicle(self) -> Vehicle:
        """Whose ground points and parts."""

    @property
    def circuits(self) -> Sequence[PlacedCircuit]:
        """What is on which channel."""

    @property
    def ground_plan(self) -> pd.DataFrame:
        """One row per return."""

    @property
    def cut_list(self) -> pd.DataFrame:
        """One row per piece of wire."""


class _Return(TypedDict):
    """Columns of a row of the ground plan that are looked at."""

    module: str
    channel: str
    load: str
    ground: str
    use: str
    items: int
    size: str
    worst_a: float


class Conductor:
    """One size of wire under given conditions.

    Parameters
    ----------
    area_mm2, ohm_per_m, zero_c : float
        Area, mm2; resistance at 20 deg C, ohm / m; temperature at which that would vanish, deg C.
    insulation_c, ambient_c : float
        Class of the insulation; hottest ambient on its way, deg C.
    lies : tuple of (float, int)
        Ambient, deg C, and loaded wires of each part of its way.
    """

    def __init__(self, size: _Size, insulation_c: float, ambient_c: float, lies: Lies):
        self.area_mm2, self._ohm, self._zero = size
        self._insulation_c, self._ambient_c = insulation_c, ambient_c
        self.ampacity_a = min(alone_a(self.area_mm2, insulation_c, c) * _together(wires) for c, wires in lies)

    def ohm_per_m(self, load: float) -> float:
        """Resistance at so much of its ampacity, ohm / m."""
        conductor_c = self._ambient_c + (self._insulation_c - self._ambient_c) * math.sqrt(load)
        return self._ohm * (conductor_c - self._zero) / (20.0 - self._zero)


def alone_a(area_mm2: float, insulation_c: float, ambient_c: float) -> float:
    """Ampacity of a conductor alone, A."""
    base = min(_table_a(area_mm2, insulation_c), _sheet_a(area_mm2, insulation_c))
    return base * math.sqrt(max(0.0, insulation_c - ambient_c) / (insulation_c - 30.0))


@lru_cache(maxsize=256)
def conductors(sizes: str, insulation_c: float, ambient_c: float, lies: Lies) -> tuple[Conductor, ...]:
    """All sizes of a system, thin to thick; none where the ambient is not below the class."""
    if ambient_c >= insulation_c:
        return ()
    known = _metric() if sizes == "metric" else _awg()
    return tuple(Conductor(size, insulation_c, ambient_c, lies) for size in known)


def of_area(known: Iterable[Conductor], area_mm2: float) -> Conductor | None:
    """The size of that area as tables round it; None where it is no size."""
    return next((c for c in known if abs(c.area_mm2 - area_mm2) < 1e-3), None)


LIGHT = 0.3  # IEC 60364-5-52, 523.5, from memory: up to there a wire is left out of the count for the others
EVEN = 1 + 1e-9  # far above the rounding of floats


def beside(
    laid: Sequence[tuple[_Key, int, float, Mapping[Part, float], Collection[str]]],
) -> dict[_Key, dict[Part, int]]:
    """Loaded conductors in each part of the way of each circuit while it is on, its own counted.

    Parameters
    ----------
    laid : sequence of (Hashable, int, float, dict of part to float, sequence of str)
        For each circuit its key, its conductors, what each carries, what each carries alone in each part of its way,
        A, and the states in which it is on. A part is a set of two places, or the one place the circuit stays in.

    Returns
    -------
    dict of Hashable to dict of part to int
    """
    bundles: dict[tuple[Part, str], dict[_Key, tuple[int, float, float]]] = {}
    counts = {key: dict.fromkeys(ways, number) for key, number, _, ways, _ in laid}
    for key, number, each_a, ways, states in laid:
        for part, alone in ways.items():
            for state in states if len(part) > 1 else ():  # at the module's own place each goes its own way
                bundles.setdefault((part, state), {})[key] = number, each_a, alone
    for (part, _), wires in bundles.items():
        loaded = _loaded(wires)
        number = sum(wires[key][0] for key in loaded)
        for key, (more, _, _) in wires.items():
            counts[key][part] = max(counts[key][part], number if key in loaded else number + more)
    return counts


def _loaded(wires: Mapping[_Key, tuple[int, float, float]]) -> set[_Key]:
    """Keys of those in one bundle that carry more than 30 % of what they may there."""
    before: set[_Key] | None = None
    loaded = set(wires)
    while loaded != before:
        share = LIGHT * _together(max(1, sum(wires[key][0] for key in loaded)))
        before, loaded = loaded, {key for key, (_, a, alone) in wires.items() if a > share * alone * EVEN}
    return loaded


def damage_ms(current_a: float, area_mm2: float, insulation_c: float) -> float:
    """Time a conductor at its class takes to the temperature its insulation survives for 5 s, no heat lost, ms."""
    limit = next(c for class_c, c in SHORT_TIME_C if insulation_c <= class_c)
    above = [t - COPPER_ZERO_C for t in (insulation_c, limit, 20.0)]
    joule = COPPER_HEAT * above[2] / (COPPER_RESISTIVITY * 1e-3) * math.log(above[1] / above[0])
    return 1000 * joule * (area_mm2 / current_a) ** 2


def _metric() -> Iterable[_Size]:
    return [(area, ohm / 1000, IEC_ZERO_C) for area, ohm in CLASS_5_OHM_PER_KM.items()]


def _awg() -> Iterator[_Size]:
    for number in AWG_NUMBERS:
        area, mils = _awg_mm2(number), SAE_CIRCULAR_MILS.get(number)
        metal = SAE_LEAST_SHARE * area if mils is None else mils * CIRCULAR_MIL_MM2
        yield area, COPPER_RESISTIVITY / metal, COPPER_ZERO_C


def _awg_mm2(number: int) -> float:
    return math.pi * (0.127 * math.pow(92, (36 - number) / 39)) ** 2 / 4


@lru_cache(maxsize=256)
def _table_a(area_mm2: float, insulation_c: float) -> float:
    """33 CFR 183.425 Table 5: straight between classes, a power law between sizes and in the root beyond the last."""
    rows = [(_awg_mm2(number), _between_classes(row, insulation_c)) for number, row in AMPACITY_A.items()]
    if area_mm2 <= rows[0][0]:
        return rows[0][1] * area_mm2 / rows[0][0]
    for (low, amps), (high, more) in pairwise(rows):
        if area_mm2 <= high:
            return amps * math.exp(math.log(more / amps) * math.log(area_mm2 / low) / math.log(high / low))
    return rows[-1][1] * math.sqrt(area_mm2 / rows[-1][0])


def _sheet_a(area_mm2: float, insulation_c: float) -> float:
    """Sheets of thin-wall cable at 105 deg C: a power law between sizes; outside them as the table runs; the rise of
    temperature, and so the insulation's class, goes with the square of the current.
    """
    rows = sorted(THIN_WALL_A.items())
    for (low, amps), (high, more) in pairwise(rows):
        if low <= area_mm2 <= high:
            sheet = amps * math.exp(math.log(more / amps) * math.log(area_mm2 / low) / math.log(high / low))
            break
    else:
        end, amps = rows[0] if area_mm2 < rows[0][0] else rows[-1]
        sheet = amps * _table_a(area_mm2, THIN_WALL_CLASS_C) / _table_a(end, THIN_WALL_CLASS_C)
    return sheet * math.sqrt((insulation_c - 30.0) / (THIN_WALL_CLASS_C - 30.0))


def _between_classes(row: Sequence[float], insulation_c: float) -> float:
    classes = INSULATION_CLASSES_C
    at = max(1, next(n for n, c in enumerate(classes) if c >= insulation_c))
    share = (insulation_c - classes[at - 1]) / (classes[at] - classes[at - 1])
    return row[at - 1] + share * (row[at] - row[at - 1])


def _together(wires: int) -> float:
    known = [factor for number, factor in BUNDLE_FACTORS if wires <= number]
    upper, least = THIN_WALL_BUNDLE
    return known[0] if known else least if wires > upper else BUNDLE_FACTOR_BEYOND


EQUAL = 1e-9  # m: ways that differ by less are equally long


class Ways:
    """Shortest ways from one place; of ways equally long the last place before the end decides, by name.

    Parameters
    ----------
    vehicle : Vehicle
        With its places and routes.
    source : str
        Where they start.
    """

    def __init__(self, vehicle: Vehicle, source: str):
        self.roads = _roads(vehicle)
        self.source = source
        self.away = self._distances()
        self._edges: dict[str, frozenset[_Edge]] = {source: frozenset()}

    def _distances(self) -> dict[str, float]:
        away: dict[str, float] = {}
        todo = [(0.0, self.source)]
        while todo:
            far, here = heapq.heappop(todo)
            if here not in away:
                away[here] = far
                for there, m in self.roads.get(here, {}).items():
                    heapq.heappush(todo, (far + m, there))
        return away

    def edges(self, end: str) -> frozenset[_Edge] | None:
        """Parts of the way to a place, each a pair of places and its length in m; None where it is not reached."""
        if end not in self.away:
            return None
        if end not in self._edges:
            before = min(self._befores(end), key=natural_key)
            self._edges[end] = (self.edges(before) or frozenset()) | {(before, end, self.roads[end][before])}
        return self._edges[end]

    def _befores(self, end: str) -> Iterator[str]:
        for near, m in self.roads[end].items():
            if self.away[near] < self.away[end] and self.away[near] + m <= self.away[end] + EQUAL:
                yield near


def _roads(vehicle: Vehicle) -> dict[str, dict[str, float]]:
    at = {place.name: place for place in vehicle.places}
    roads: dict[str, dict[str, float]] = {}
    for route in vehicle.routes:
        m = _length(route, at[route.start], at[route.end])
        for a, b in ((route.start, route.end), (route.end, route.start)):
            roads.setdefault(a, {})[b] = min(m, roads.get(a, {}).get(b, math.inf))
    return {a: {b: m for b, m in row.items() if m < math.inf} for a, row in roads.items()}


def _length(route: Route, start: Place, end: Place) -> float:
    if route.length_m is not None:
        return route.length_m
    if start.x_m is None or start.y_m is None or end.x_m is None or end.y_m is None:
        return math.inf
    return math.dist((start.x_m, start.y_m), (end.x_m, end.y_m))


def bench(allocation: BenchTables) -> Iterator[Finding]:
    """Ground points and splices of an allocation against what they bear, counted from its tables.

    Parameters
    ----------
    allocation : Allocation
        With its tables `ground_plan` and `cut_list`.

    Yields
    ------
    Finding
    """
    plan = cast(list[_Return], allocation.ground_plan.to_dict("records"))
    yield from _studs(allocation.vehicle, plan, {(c.unit, c.channel): c for c in allocation.circuits})
    yield from _splices(allocation.vehicle, cast(list[dict[str, str]], allocation.cut_list.to_dict("records")))


_Circuits = Mapping[tuple[str, str], PlacedCircuit]  # by unit and channel


def _studs(vehicle: Vehicle, plan: Sequence[_Return], circuits: _Circuits) -> Iterator[Finding]:
    for ground in vehicle.grounds:
        here = [row for row in plan if row["ground"] == ground.name]
        for row in here:
            if row["use"] != ground.use:
                message = f"the {row['use']} return of {row['load']} is on a {ground.use} ground"
                yield Finding("ground use", subject=ground.name, message=message)
        wires = sum(row["items"] * _conductors(row["size"]) for row in here)
        if ground.max_wires is not None and wires > ground.max_wires:
            message = f"{wires} returns on it, {ground.max_wires} at most"
            yield Finding("ground wires", "", "", "", ground.name, wires, ground.max_wires, "", message)
        yield from _stud_current(vehicle, ground, here, circuits)


def _conductors(size: str) -> int:
    return int(size.split(" x ")[0]) if " x " in size else 1


def _stud_current(vehicle: Vehicle, ground: Ground, here: Sequence[_Return], circuits: _Circuits) -> Iterator[Finding]:
    if ground.max_ma is None:
        return
    for state in vehicle.states:
        ma = sum(row["items"] * _returned_ma(vehicle, row, state, circuits) for row in here if row["use"] == "power")
        if ma > ground.max_ma:
            message = f"{ma / 1000:.2f} A in {state.name}, {ground.max_ma / 1000:g} A at most"
            yield Finding(
                "ground current", "", "", state.name, ground.name, ma / 1000, ground.max_ma / 1000, "A", message
            )


def _returned_ma(vehicle: Vehicle, row: _Return, state: State, circuits: _Circuits) -> int:
    """What one return carries: one item of a load; all of its circuit where returns are wires; or an actuator."""
    circuit = circuits.get((row["module"], row["channel"]))
    items = [] if circuit is None else [load for load, _ in circuit.items if load in _named(row)]
    if not items:
        return _driven_ma(vehicle, row)
    each = items if vehicle.settings.return_path == "wire" else items[:1]
    return sum(_item_ma(vehicle, load, state) for load in each)


def _named(row: _Return) -> set[str]:
    return {row["load"], *row["load"].split("; ")}


def _item_ma(vehicle: Vehicle, name: str, state: State) -> int:
    load = vehicle.load(name)
    if not state.duty_ppm.get(load.command, 0):
        return 0
    in_cold = cold(vehicle.settings.lowest_ambient_c) if KINDS[load.kind].copper == "running" else 1
    ends = (state.supply_v, state.supply_v if state.supply_top_v is None else state.supply_top_v)
    stated, reference = ceiling(load.running_ma * in_cold), vehicle.settings.reference_v
    return max(running_ma(stated, load.volt_exponent, volts, reference) for volts in ends)


def _driven_ma(vehicle: Vehicle, row: _Return) -> int:
    """What an actuator that a box drives high returns; as written where there is none of that name."""
    high = {signal.name: signal for signal in vehicle.signals if signal.kind in ("high_side", "half_bridge")}
    signal = high.get(row["load"], high.get(row["load"].rsplit(" #", 1)[0]))
    return math.floor(1000 * row["worst_a"]) if signal is None else signal.current_ma


def _splices(vehicle: Vehicle, cuts: Sequence[Mapping[str, str]]) -> Iterator[Finding]:
    """A splice joins two pieces at least, and the conductors on it are no more than its part takes."""
    ends = [
        (row[side], row[f"{side}_part"], row)
        for row in cuts
        for side in ("from", "to")
        if row[f"{side}_is"] == "splice"
    ]
    largest = {part.part: part.most for part in vehicle.parts if part.item == "splice" and part.most is not None}
    for name in sorted({end for end, _, _ in ends}):
        here = [(part, row) for end, part, row in ends if end == name]
        if len(here) < 2:
            yield Finding("splice", subject=name, message="only one piece of wire is on it")
        area = sum(_area_mm2(row["size"]) for _, row in here if row["size"] != "not known")
        upper = min((largest[part] for part, _ in here if part in largest), default=math.inf)
        if area > upper * 1.01:
            message = f"{area:g} mm2 of conductors on it, {upper:g} mm2 at most"
            yield Finding("splice", "", "", "", name, area, upper, "", message)


def _area_mm2(size: str) -> float:
    number = size.split()[0]
    return float(number) if size.endswith("mm2") else _awg_mm2(_gauge(number))


def _gauge(number: str) -> int:
    return 1 - int(number.split("/")[0]) if "/" in number else int(number)
