"""Rules on battery cables: each there is, fuse, size and drop hold; and the voltage they leave at the loads is so."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypedDict, cast

import pandas as pd

from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.vehicle import Load, State, Vehicle
from pdm_alloc.electrics.wire_tables import COPPER_HEAT, COPPER_RESISTIVITY, COPPER_ZERO_C
from pdm_alloc.verify.arithmetic import largest_change, switched_on
from pdm_alloc.verify.assignment import Finding, Recount
from pdm_alloc.verify.copper import Conductor, Ways, conductors, of_area
from pdm_alloc.verify.strength import conditions_of
from pdm_alloc.verify.wires import Asked, WireRow, asked_of

__all__ = ["cables_hold", "voltages_hold"]

# Tables are rounded to a tenth of an ampere.
GUARD = 1.001
LOADING = 0.8  # of its rating a fuse carries for long
# Per cent of its rating and the shortest time after which a fuse may open, s (ISO 8820-3, blade fuses, from memory).
GATES = ((110.0, 360_000.0), (135.0, 0.75), (160.0, 0.25), (200.0, 0.15), (350.0, 0.04), (600.0, 0.02))
FUSE_WITHIN_M = {"general": 0.3, "boat": 0.178}
STARTER_PCT, OTHER_PCT = 4.0, 3.0
NAMES = {"isolator": "battery to isolator", "feed": "module feed", "starter": "starter", "alternator": "alternator"}


LinkRow = TypedDict(
    "LinkRow",
    {
        "link": str,
        "module": str,
        "from": str | None,
        "to": str | None,
        "running_a": float,
        "peak_a": float,
        "fuse_a": float,
        "fuse_within_m": float,
        "size": str,
        "area_mm2": float,
        "parallel": float,
    },
)
"""Columns of a row of the table of battery cables that are looked at."""


class VoltageRow(TypedDict):
    """Columns of a row of the table of voltages that are looked at."""

    state: str
    load: str
    module_v: float
    load_v: float


_Waves = list[tuple[float, float]]  # current above running just after switch-on, A, and its time constant, s

_Links = Mapping[tuple[str, str], LinkRow]  # by name and module


@dataclass(frozen=True, slots=True)
class _Asked:
    """What one cable is for, worked out from the tables alone."""

    name: str
    module: str
    start: str | None
    end: str | None
    steady_a: float
    turns: tuple[tuple[float, float | None], ...] = ()
    fused: bool = True
    drop_pct: float = OTHER_PCT


def cables_hold(recount: Recount, links: pd.DataFrame) -> Iterator[Finding]:
    """Every battery cable has a row, and it holds.

    Parameters
    ----------
    recount : Recount
        Vehicle, units and circuits.
    links : pandas.DataFrame
        As the allocation gives them.

    Yields
    ------
    Finding
    """
    rows = {(row["link"], row["module"]): row for row in _link_rows(links)}
    surges = list(_surges(recount)) if any(recount.on_unit.values()) else []
    for asked in _asked(recount, rows):
        row = rows.get((NAMES[asked.name], asked.module))
        if row is None:
            yield _finding(asked, None, None, "", "it has no row in the table of battery cables")
        elif not math.isnan(row["running_a"]) and isinstance(row["size"], str):
            yield from _Cable(recount, asked, row).findings()
            yield from _peak(asked, row, surges)
            yield from _opened(asked, row, surges)
    yield from _starter_drop(recount, rows)


def _link_rows(links: pd.DataFrame) -> list[LinkRow]:
    return cast(list[LinkRow], links.to_dict("records"))


def _peak(asked: _Asked, row: LinkRow, surges: Sequence[_Waves]) -> Iterator[Finding]:
    """The fuse of a feed is chosen for what it carries and what one change of one input switches on."""
    least = row["running_a"] + max((sum(amps for amps, _ in waves) for waves in surges), default=0.0)
    if asked.name == "feed" and row["peak_a"] * GUARD < least:
        message = f"its peak is given as {row['peak_a']:g} A, one change of one input brings {least:.4g} A"
        yield _finding(asked, row["peak_a"], least, "A", message)


def _starter_drop(recount: Recount, rows: _Links) -> Iterator[Finding]:
    """From battery to starter no more is lost than is allowed, over both cables, with all on that may be on."""
    asked = next((a for a in _asked(recount, rows) if a.name == "starter"), None)
    trunk, onward = rows.get((NAMES["isolator"], "")), rows.get((NAMES["starter"], ""))
    if asked is None or trunk is None or onward is None or not isinstance(onward["size"], str):
        return
    trunk_ohm, onward_pct = _hot_ohm(recount.vehicle, trunk), _Cable(recount, asked, onward).drop_pct()
    if not trunk_ohm or not onward_pct:
        return
    drawn_a = max((_starting_a(recount, state) for state in recount.vehicle.starts), default=0.0)
    pct = onward_pct + 100 * drawn_a * trunk_ohm / recount.vehicle.settings.system_v
    if pct > STARTER_PCT * GUARD:
        message = (
            f"with the cable to the isolator {pct:.3g} % are lost up to the starter, {STARTER_PCT:g} % are allowed"
        )
        yield _finding(asked, pct, STARTER_PCT, "%", message)


def _starting_a(recount: Recount, state: State) -> float:
    """What flows through the cable to the isolator while the starter turns, loads included, A."""
    on = [load for load in recount.vehicle.loads if state.is_on(load.command)]
    return float(state.other_ma + sum(recount.draw(load, state.supply_v) * load.count for load in on)) / 1000


def _opened(asked: _Asked, row: LinkRow, surges: Sequence[_Waves]) -> Iterator[Finding]:
    """The fuse of a feed, and the main fuse, stay whole whatever one change of one input switches on."""
    if asked.name not in ("feed", "isolator") or math.isnan(row["fuse_a"]):
        return
    for waves in surges:
        peak = row["running_a"] + sum(amps for amps, _ in waves)
        seconds, opens = _heats_for(row["running_a"], waves), _earliest_s(100 * peak / row["fuse_a"])
        if seconds >= opens * GUARD:
            message = (
                f"{peak:.4g} A for {seconds:.3g} s may open the fuse of {row['fuse_a']:g} A, it bears {opens:.3g} s"
            )
            yield _finding(asked, seconds, opens, "s", message)
            return


def _heats_for(running_a: float, waves: _Waves) -> float:
    """Time for which the peak, held, brings as much heat above that of the running current, s."""
    heat = sum(2 * running_a * e * tau for e, tau in waves)
    heat += sum(e * f * tau * u / (tau + u) for e, tau in waves for f, u in waves if tau + u)
    return heat / (running_a + sum(e for e, _ in waves)) ** 2


def _earliest_s(percent: float) -> float:
    """Shortest time after which a fuse may open at so many per cent of its rating, s."""
    if percent < GATES[0][0]:
        return math.inf
    last = [n for n, (at, _) in enumerate(GATES) if at <= percent][-1]
    if last == len(GATES) - 1:
        return GATES[-1][1] * (GATES[-1][0] / percent) ** 2
    (low, slow), (high, fast) = GATES[last : last + 2]
    part = math.log(percent / low) / math.log(high / low)
    return float(slow ** (1 - part) * fast**part)


def _surges(recount: Recount) -> Iterator[_Waves]:
    """What one change of one input brings above running in each state: the largest, and the one that heats most."""
    conditions = conditions_of(recount.vehicle.commands)
    for state in recount.vehicle.states:
        waves = _waves(recount, state)
        for heats in (False, True):
            sums = {c: sum(amps * (tau if heats else 1) for amps, tau in each) for c, each in waves.items()}
            amounts = {c: math.ceil(1000 * amount) for c, amount in sums.items()}
            change = largest_change(conditions, waves.keys(), dict.fromkeys(waves, 0), amounts)
            if change is not None and change[2] is not None:
                yield [wave for c in sorted(switched_on(conditions, change[1], change[2])) for wave in waves[c]]


def _waves(recount: Recount, state: State) -> dict[str, _Waves]:
    """Inrush of every command that may be on, at the top of the span, copper at its coldest."""
    volts = max(v for v in (state.supply_v, state.supply_top_v) if v is not None)
    waves: dict[str, _Waves] = {command: [] for command in recount.commands if state.is_on(command)}
    for load in recount.vehicle.loads:
        if state.is_on(load.command):
            amps = load.count * recount.cold_excess(load, volts) / 1000
            waves[load.command].append((amps, load.inrush_ms / 3000))
    return waves


def _asked(recount: Recount, rows: _Links) -> Iterator[_Asked]:
    settings, states = recount.vehicle.settings, recount.vehicle.states
    hub = settings.isolator_place or settings.battery_place
    starts = recount.vehicle.starts
    turns = tuple((s.other_ma / 1000, None if s.minutes is None else 60 * s.minutes) for s in starts)
    beside_a = recount.vehicle.beside_ma / 1000
    feeds = {label: _draw_a(recount, label) for label in recount.units}
    charging = max((s.charging_a or 0.0 for s in states), default=0.0)
    if settings.isolator_place:
        steady, fused = max(sum(feeds.values()) + beside_a, charging), not turns
        if turns:  # without a fuse of its own it is protected by those of the feeds, all of them together
            fuses = [row["fuse_a"] for (name, _), row in rows.items() if name == NAMES["feed"]]
            steady = max(steady, LOADING * sum(a for a in fuses if not math.isnan(a)) + beside_a)
        pct = STARTER_PCT if turns else OTHER_PCT
        yield _Asked("isolator", "", settings.battery_place, hub, steady, turns, fused, pct)
    for label, amps in feeds.items():
        yield _Asked("feed", label, hub, recount.units[label].place, amps)
    if turns or settings.starter_place:
        yield _Asked("starter", "", hub, settings.starter_place, 0.0, turns, False, STARTER_PCT)
    if charging or settings.alternator_place:
        yield _Asked("alternator", "", hub, settings.alternator_place, charging)


def _draw_a(recount: Recount, label: str) -> float:
    """What the loads on a unit draw in their worst state, all duties taken as 1, A; feeds bear it on their fuse."""
    sums = []
    for state in recount.vehicle.states:
        on = [w for w in recount.on_unit[label] if state.is_on(w.circuit.command)]
        ends = {state.supply_v, state.supply_v if state.supply_top_v is None else state.supply_top_v}
        sums += [sum(recount.draw(x, volts) * k for w in on for x, k in w.counts) for volts in ends]
    return LOADING * max(sums, default=0) / 1000


def _finding(asked: _Asked, value: float | None, limit: float | None, unit: str, message: str) -> Finding:
    return Finding("battery cable", asked.module, subject=NAMES[asked.name], value=value, limit=limit, unit=unit,
                   message=f"{NAMES[asked.name]}: {message}")  # fmt: skip


class _Cable:
    """One battery cable as it is written down, beside what it is for."""

    def __init__(self, recount: Recount, asked: _Asked, row: LinkRow):
        self.settings, self.asked, self.row = recount.vehicle.settings, asked, row
        self.length_m, self.ambient_c = _way(recount.vehicle, asked.start, asked.end)
        self.fuse_a = None if math.isnan(row["fuse_a"]) else row["fuse_a"]
        self.parallel = int(row["parallel"])

    def findings(self) -> Iterator[Finding]:
        if self.asked.fused != (self.fuse_a is not None):
            word = "no fuse" if self.asked.fused else "a fuse that the starter would open"
            yield _finding(self.asked, self.fuse_a, None, "A", f"it has {word}")
            return
        yield from self._fuse()
        size = _alone(self.settings, self.ambient_c, self.row["area_mm2"])
        if size is None:
            yield _finding(self.asked, self.row["area_mm2"], None, "mm2", f"{self.row['area_mm2']:g} mm2 is no size")
            return
        yield from self._carries(size)
        yield from self._drop(size)

    def _fuse(self) -> Iterator[Finding]:
        if self.fuse_a is None:
            return
        need = max(self.row["running_a"], self.asked.steady_a) / LOADING
        if self.fuse_a * GUARD < need:
            yield _finding(self.asked, self.fuse_a, need, "A", f"the fuse is {self.fuse_a:g} A, it takes {need:.4g} A")
        within_m = FUSE_WITHIN_M[self.settings.rules]
        if not self.row["fuse_within_m"] <= within_m:
            message = f"the fuse may be {self.row['fuse_within_m']:g} m away, the rules allow {within_m:g} m"
            yield _finding(self.asked, self.row["fuse_within_m"], within_m, "m", message)

    def _carries(self, size: Conductor) -> Iterator[Finding]:
        carries = self.parallel * size.ampacity_a
        need = self.asked.steady_a / LOADING if self.fuse_a is None else self.fuse_a
        need = max([need, *(amps / LOADING for amps, seconds in self.asked.turns if seconds is None)])
        if carries * GUARD < need:
            yield _finding(
                self.asked, carries, need, "A", f"the cable carries {carries:.4g} A and is to carry {need:.4g} A"
            )
        short = (self._short_mm2(amps, seconds) for amps, seconds in self.asked.turns if seconds is not None)
        area = max(short, default=0.0)
        if self.parallel * size.area_mm2 * GUARD < area:
            message = f"the starter's current takes {area:.3g} mm2, the cable has {self.parallel * size.area_mm2:.3g}"
            yield _finding(self.asked, self.parallel * size.area_mm2, area, "mm2", message)

    def _short_mm2(self, amps: float, seconds: float) -> float:
        """Area that a current for a time brings from its ambient to its class, losing no heat (IEC 60364-5-54)."""
        start, end = self.ambient_c - COPPER_ZERO_C, self.settings.insulation_c - COPPER_ZERO_C
        joule = COPPER_HEAT * (20 - COPPER_ZERO_C) / (COPPER_RESISTIVITY * 1e-3) * math.log(end / start)
        return amps * math.sqrt(seconds / joule)

    def _drop(self, size: Conductor) -> Iterator[Finding]:
        pct = self.drop_pct(size)
        if pct > self.asked.drop_pct * GUARD:
            message = f"it loses {pct:.3g} %, {self.asked.drop_pct:g} % are allowed"
            yield _finding(self.asked, pct, self.asked.drop_pct, "%", message)

    def drop_pct(self, conductor: Conductor | None = None) -> float:
        """What it loses of the system voltage, per cent; 0 where its length, current or size is not known."""
        size = conductor or _alone(self.settings, self.ambient_c, self.row["area_mm2"])
        amps = max([self.asked.steady_a, *(amps for amps, _ in self.asked.turns)])
        if self.length_m is None or not amps or size is None:
            return 0.0
        back = 2 if self.settings.return_path == "wire" else 1
        ohm = back * size.ohm_per_m(min(1.0, amps / (self.parallel * size.ampacity_a))) / self.parallel * self.length_m
        return 100 * amps * ohm / self.settings.system_v


def _way(vehicle: Vehicle, start: str | None, end: str | None) -> tuple[float | None, float]:
    """Length of a cable with its allowances, m, None where no route is known; hottest ambient on its way, deg C."""
    settings, known = vehicle.settings, {place.name: place.ambient_c for place in vehicle.places}
    edges = None if start is None or end is None else Ways(vehicle, start).edges(end)
    passed = {start, end} | {name for a, b, _ in edges or () for name in (a, b)}
    ambients = [None if name is None else known.get(name) for name in passed]
    hottest = max(settings.wire_ambient_c if c is None else c for c in ambients)
    if edges is None:
        return None, hottest
    route = sum(m for _, _, m in edges)
    return route * (1 + settings.slack_pct / 100) + 2 * settings.end_allowance_m, hottest


def _alone(settings: Settings, ambient_c: float, area_mm2: float) -> Conductor | None:
    """The conductor of an area, no other beside it; None where it is no size."""
    return of_area(conductors(settings.wire_sizes, settings.insulation_c, ambient_c, ((ambient_c, 1),)), area_mm2)


MILLIVOLT = 2e-3  # tables are rounded to a millivolt


def voltages_hold(recount: Recount, rows: pd.DataFrame, links: pd.DataFrame, wires: pd.DataFrame) -> Iterator[Finding]:
    """No load is said to have more voltage than isolator cable, feed and its wire leave it.

    Parameters
    ----------
    recount : Recount
        Vehicle, units and circuits.
    rows, links, wires : pandas.DataFrame
        Voltages, battery cables and wires as the allocation gives them.

    Yields
    ------
    Finding
    """
    ohms = {(row["link"], row["module"]): _hot_ohm(recount.vehicle, row) for row in _link_rows(links)}
    runs = _run_ohms(recount, wires)
    states = {state.name: state for state in recount.vehicle.states}
    lost = {name: _lost_v(recount, state, ohms) for name, state in states.items()}
    for row in cast(list[VoltageRow], rows.to_dict("records")):
        on = [w.unit.label for w in recount.wired if row["load"] in {load.name for load, _ in w.counts}]
        lost_v = max((lost[row["state"]][label] for label in on), default=0.0)
        module_v = max(0.0, states[row["state"]].supply_v - lost_v)
        load = recount.loads[row["load"]]
        left_v = _behind_v(load, module_v, runs.get(load.name, 0.0), recount.vehicle.settings.reference_v)
        for stated, volts in ((row["module_v"], module_v), (row["load_v"], left_v)):
            if stated > volts + MILLIVOLT:
                message = f"the table gives {load.name} {stated:.2f} V, it has {volts:.2f} V"
                where = {"state": row["state"], "subject": load.name}
                yield Finding("voltage", **where, value=stated, limit=volts, unit="V", message=message)


def _hot_ohm(vehicle: Vehicle, row: LinkRow) -> float:
    """Resistance of a battery cable at the class of its insulation, out and back where that is a wire, ohm."""
    settings, (length, ambient) = vehicle.settings, _way(vehicle, row["from"] or None, row["to"] or None)
    size = _alone(settings, ambient, row["area_mm2"])
    if size is None or length is None:
        return 0.0
    return (2 if settings.return_path == "wire" else 1) * size.ohm_per_m(1.0) * length / row["parallel"]


def _lost_v(recount: Recount, state: State, ohms: Mapping[tuple[str, str], float]) -> dict[str, float]:
    """By module what is lost before it in a state, all on that may be, at its sustained voltage, V."""
    drawn = dict.fromkeys(recount.units, 0.0)
    for wired in recount.wired:
        if state.is_on(wired.circuit.command):
            drawn[wired.unit.label] += sum(recount.draw(load, state.supply_v) * k for load, k in wired.counts) / 1000
    net = sum(drawn.values()) + state.other_ma / 1000 - (state.charging_a or 0.0)
    trunk = max(0.0, net) * ohms.get((NAMES["isolator"], ""), 0.0)
    return {label: trunk + amps * ohms.get((NAMES["feed"], label), 0.0) for label, amps in drawn.items()}


def _run_ohms(recount: Recount, wires: pd.DataFrame) -> dict[str, float]:
    """Resistance that counts for each load: what its wire loses over what it draws, the worst of its circuits, ohm."""
    ohms: dict[str, float] = {}
    ways: dict[str, Ways] = {}
    rows = cast(list[WireRow], wires.to_dict("records"))
    written = {(row["module"], row["channel"]): row for row in rows}
    for wired in recount.wired:
        row = written.get((wired.unit.label, wired.circuit.channel))
        asked = asked_of(recount, wired, ways)
        per_m = _ohm_per_m(asked, row) if row is not None and row["trip_a"] > 0 else 0.0
        for load, _ in wired.counts:
            ohm = per_m * (asked.amp_metres(load) or 0.0) / (asked.item_a(load) or 1.0)
            ohms[load.name] = max(ohm, ohms.get(load.name, 0.0))
    return ohms


def _ohm_per_m(asked: Asked, row: WireRow) -> float:
    """Of a circuit's wire, warm as its running current makes it, out and back where that is a wire, ohm / m."""
    size = _alone(asked.settings, asked.ambient_c, row["area_mm2"])
    if size is None:
        return 0.0
    return asked.back * size.ohm_per_m(asked.running_ma / 1000 / row["ampacity_a"]) / row["parallel"]


def _behind_v(load: Load, module_v: float, ohm: float, reference_v: float) -> float:
    """Highest voltage at a load that draws its current through a resistance, V; 0 where there is none."""

    def excess(volts: float) -> float:
        return volts + ohm * load.running_ma / 1000 * math.pow(volts / reference_v, load.volt_exponent) - module_v

    k = load.volt_exponent
    bent = ohm * load.running_ma / 1000 * -k / math.pow(reference_v, k)
    low = math.pow(bent, 1 / (1 - k)) if k < 0 else 0.0
    high = module_v
    if module_v <= 0 or low >= high or (low and excess(low) > 0):
        return 0.0 if ohm or module_v <= 0 else module_v
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if excess(middle) > 0 else (middle, high)
    return high
