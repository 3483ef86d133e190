"""Rules on battery cables: each one there is, its fuse bears the current, its cable the fuse, its drop is allowed."""

import math
from dataclasses import dataclass

from pdm_alloc.electrics.wire_tables import COPPER_HEAT, COPPER_RESISTIVITY, COPPER_ZERO_C
from pdm_alloc.verify.copper import Ways, conductors
from pdm_alloc.verify.recount import Finding

__all__ = ["cables_hold"]

# Tables are rounded to a tenth of an ampere.
GUARD = 1.001
LOADING = 0.8  # of its rating a fuse carries for long
FUSE_WITHIN_M = {"general": 0.3, "boat": 0.178}
STARTER_PCT, OTHER_PCT = 4.0, 3.0
NAMES = {"isolator": "battery to isolator", "feed": "module feed", "starter": "starter", "alternator": "alternator"}


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


def cables_hold(recount, links):
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
    rows = {(row["link"], row["module"]): row for row in links.to_dict("records")}
    for asked in _asked(recount, rows):
        row = rows.get((NAMES[asked.name], asked.module))
        if row is None:
            yield _finding(asked, None, None, "", "it has no row in the table of battery cables")
        elif not math.isnan(row["running_a"]) and isinstance(row["size"], str):
            yield from _Cable(recount, asked, row).findings()


def _asked(recount, rows):
    settings, states = recount.vehicle.settings, recount.vehicle.states
    hub = settings.isolator_place or settings.battery_place
    turns = tuple((s.other_ma / 1000, None if s.minutes is None else 60 * s.minutes) for s in states if s.other_ma)
    feeds = {label: _draw_a(recount, label) for label in recount.units}
    charging = max((s.charging_a or 0.0 for s in states), default=0.0)
    if settings.isolator_place:
        steady, fused = max(sum(feeds.values()), charging), not turns
        if turns:  # without a fuse of its own it is protected by those of the feeds, all of them together
            fuses = [row["fuse_a"] for (name, _), row in rows.items() if name == NAMES["feed"]]
            steady = max(steady, LOADING * sum(a for a in fuses if not math.isnan(a)))
        pct = STARTER_PCT if turns else OTHER_PCT
        yield _Asked("isolator", "", settings.battery_place, hub, steady, turns, fused, pct)
    for label, amps in feeds.items():
        yield _Asked("feed", label, hub, recount.units[label].place, amps)
    if turns or settings.starter_place:
        yield _Asked("starter", "", hub, settings.starter_place, 0.0, turns, False, STARTER_PCT)
    if charging or settings.alternator_place:
        yield _Asked("alternator", "", hub, settings.alternator_place, charging)


def _draw_a(recount, label):
    """What the loads on a unit draw in their worst state, all duties taken as 1, A; feeds bear it on their fuse."""
    sums = []
    for state in recount.vehicle.states:
        on = [w for w in recount.on_unit[label] if state.is_on(w.circuit.command)]
        ends = {state.supply_v, state.supply_v if state.supply_top_v is None else state.supply_top_v}
        sums += [sum(recount.draw(x, volts) * k for w in on for x, k in w.counts) for volts in ends]
    return LOADING * max(sums, default=0) / 1000


def _finding(asked, value, limit, unit, message):
    return Finding("battery cable", asked.module, subject=NAMES[asked.name], value=value, limit=limit, unit=unit,
                   message=f"{NAMES[asked.name]}: {message}")  # fmt: skip


class _Cable:
    """One battery cable as it is written down, beside what it is for."""

    def __init__(self, recount, asked: _Asked, row: dict):
        self.settings, self.asked, self.row = recount.vehicle.settings, asked, row
        self.length_m, self.ambient_c = _way(recount.vehicle, asked.start, asked.end)
        self.fuse_a = None if math.isnan(row["fuse_a"]) else row["fuse_a"]
        self.parallel = int(row["parallel"])

    def findings(self):
        if self.asked.fused != (self.fuse_a is not None):
            word = "no fuse" if self.asked.fused else "a fuse that the starter would open"
            yield _finding(self.asked, self.fuse_a, None, "A", f"it has {word}")
            return
        yield from self._fuse()
        settings = self.settings
        known = conductors(settings.wire_sizes, settings.insulation_c, self.ambient_c, ((self.ambient_c, 1),))
        size = next((c for c in known if abs(c.area_mm2 - self.row["area_mm2"]) < 1e-3), None)
        if size is None:
            yield _finding(self.asked, self.row["area_mm2"], None, "mm2", f"{self.row['area_mm2']:g} mm2 is no size")
            return
        yield from self._carries(size)
        yield from self._drop(size)

    def _fuse(self):
        if self.fuse_a is None:
            return
        need = max(self.row["running_a"], self.asked.steady_a) / LOADING
        if self.fuse_a * GUARD < need:
            yield _finding(self.asked, self.fuse_a, need, "A", f"the fuse is {self.fuse_a:g} A, it takes {need:.4g} A")
        most = FUSE_WITHIN_M[self.settings.rules]
        if not self.row["fuse_within_m"] <= most:
            message = f"the fuse may be {self.row['fuse_within_m']:g} m away, the rules allow {most:g} m"
            yield _finding(self.asked, self.row["fuse_within_m"], most, "m", message)

    def _carries(self, size):
        carries = self.parallel * size.ampacity_a
        need = self.asked.steady_a / LOADING if self.fuse_a is None else self.fuse_a
        need = max([need, *(amps / LOADING for amps, seconds in self.asked.turns if seconds is None)])
        if carries * GUARD < need:
            yield _finding(
                self.asked, carries, need, "A", f"the cable carries {carries:.4g} A and is to carry {need:.4g} A"
            )
        area = max((self._short_mm2(*turn) for turn in self.asked.turns if turn[1] is not None), default=0.0)
        if self.parallel * size.area_mm2 * GUARD < area:
            message = f"the starter's current takes {area:.3g} mm2, the cable has {self.parallel * size.area_mm2:.3g}"
            yield _finding(self.asked, self.parallel * size.area_mm2, area, "mm2", message)

    def _short_mm2(self, amps, seconds):
        """Area that a current for a time brings from its ambient to its class, losing no heat (IEC 60364-5-54)."""
        start, end = self.ambient_c - COPPER_ZERO_C, self.settings.insulation_c - COPPER_ZERO_C
        joule = COPPER_HEAT * (20 - COPPER_ZERO_C) / (COPPER_RESISTIVITY * 1e-3) * math.log(end / start)
        return amps * math.sqrt(seconds / joule)

    def _drop(self, size):
        amps = max([self.asked.steady_a, *(amps for amps, _ in self.asked.turns)])
        if self.length_m is None or not amps:
            return
        back = 2 if self.settings.return_path == "wire" else 1
        ohm = back * size.ohm_per_m(min(1.0, amps / (self.parallel * size.ampacity_a))) / self.parallel * self.length_m
        pct = 100 * amps * ohm / self.settings.system_v
        if pct > self.asked.drop_pct * GUARD:
            message = f"it loses {pct:.3g} %, {self.asked.drop_pct:g} % are allowed"
            yield _finding(self.asked, pct, self.asked.drop_pct, "%", message)


def _way(vehicle, start, end):
    """Length of a cable with its allowances, m, None where no route is known; hottest ambient on its way, deg C."""
    settings, known = vehicle.settings, {place.name: place.ambient_c for place in vehicle.places}
    edges = None if start is None or end is None else Ways(vehicle, start).edges(end)
    passed = {start, end} | {name for a, b, _ in edges or () for name in (a, b)}
    ambients = [known.get(name) for name in passed]
    hottest = max(settings.wire_ambient_c if c is None else c for c in ambients)
    if edges is None:
        return None, hottest
    route = sum(m for _, _, m in edges)
    return route * (1 + settings.slack_pct / 100) + 2 * settings.end_allowance_m, hottest
