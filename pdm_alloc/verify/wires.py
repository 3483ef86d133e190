"""Rules on wires: one exists for every circuit, and each row that is written down is right."""

import math
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import TypedDict, TypeVar, cast

import pandas as pd

from pdm_alloc.domain.kinds import KINDS
from pdm_alloc.domain.vehicle import Load
from pdm_alloc.verify import strength
from pdm_alloc.verify.assignment import Finding, Recount, Wired
from pdm_alloc.verify.copper import Conductor, Lies, Part, Ways, alone_a, beside, conductors, damage_ms, of_area

__all__ = ["Asked", "WireRow", "asked_of", "wire_exists", "written"]

# Ampacity, drop and stall are floats worked out in another order than elsewhere: 1e-9 is far above their rounding.
GUARD = 1 + 1e-9
WINDOW = 1.5  # inrush window over the time the inrush takes

_Edges = frozenset[tuple[str, str, float]]  # both ends and length, m, of each route of a way


class WireRow(TypedDict):
    """Columns of a row of the table of wires that are looked at."""

    module: str
    channel: str
    trip_a: float
    size: str
    area_mm2: float
    parallel: float
    bundle_wires: float
    ampacity_a: float
    note: str


class SettingRow(TypedDict):
    """Columns of a row of the table of settings that are looked at."""

    module: str
    channel: str
    trip_a: float
    window_ms: float


def wire_exists(recount: Recount) -> Iterator[Finding]:
    """Some size carries the setting in its ambient and bundle, keeps every drop and fits the terminal."""
    ways: dict[str, Ways] = {}
    for wired in recount.wired:
        asked = asked_of(recount, wired, ways)
        choices = list(_choices(wired, asked))
        if strength.wired_pins(wired, asked.trip_ma) > strength.pins_each(wired):
            yield strength.overloaded(wired, asked.trip_ma / wired.shares)
        elif asked.trip_ma <= strength.rated_ma(recount, wired) and not any(asked.served_by(n, c) for n, c in choices):
            yield _finding(wired, asked, choices)


def _finding(wired: Wired, asked: "Asked", choices: Sequence[tuple[int, Conductor]]) -> Finding:
    """What is missed by the wires that are to be had: to carry the setting, to outlast a stalled motor, the drop."""
    most_a = max((n * c.ampacity_a for n, c in choices), default=0.0)
    if most_a * GUARD < asked.trip_ma / 1000:
        message = f"no wire that fits carries {asked.trip_ma / 1000:g} A at {asked.ambient_c:g} deg C"
        return Finding("wire", **wired.where, value=asked.trip_ma / 1000, limit=most_a, unit="A", message=message)
    most_mm2 = max(n * c.area_mm2 for n, c in choices)
    if most_mm2 * GUARD < asked.stall_mm2:
        message = f"a stalled motor takes {asked.stall_mm2:.3g} mm2, the terminal takes {most_mm2:g}"
        return Finding("wire", **wired.where, value=asked.stall_mm2, limit=most_mm2, unit="mm2", message=message)
    drops = [max(asked.drops_pct(n, c).values(), key=lambda drop: drop[0] / drop[1]) for n, c in choices]
    pct, allowed = min(drops, key=lambda drop: drop[0] / drop[1])
    message = f"the drop is {pct:.3g} % on the thickest wire, {allowed:g} % are allowed"
    return Finding("wire", **wired.where, value=pct, limit=allowed, unit="%", message=message)


class Asked:
    """What a circuit asks of its wire.

    Parameters
    ----------
    recount : Recount
        The vehicle.
    wired : Wired
        The circuit.
    ways : dict
        `Ways` by place, those found so far.
    """

    def __init__(self, recount: Recount, wired: Wired, ways: dict[str, Ways]):
        settings = recount.vehicle.settings
        self.recount, self.wired, self.settings = recount, wired, settings
        self.running_ma, self.trip_ma = strength.widest_ma(recount, wired), strength.least_trip_ma(recount, wired)
        self.back = 2 if wired.circuit.use == "bridge" or settings.return_path == "wire" else 1
        self.laid = 1 if wired.circuit.use != "bridge" and self._returns_to_pins() else self.back
        self._edges = {load.name: _edges(recount, wired.unit.place, load.place, ways) for load, _ in wired.counts}
        self._known_c = {place.name: place.ambient_c for place in recount.vehicle.places}
        self.ambient_c = self._hottest()
        self.stall_mm2 = self._stall_mm2()

    def _returns_to_pins(self) -> bool:
        """Whether boxes switch all its loads to ground, so that no wire of its own leads back."""
        low = [one for one in self.recount.vehicle.signals if one.kind in ("low_side", "injector")]
        names = {one.fed_by or one.name for one in low if "spare" not in one.needs}
        return names.issuperset(load.name for load, _ in self.wired.counts)

    def _hottest(self) -> float:
        passed: set[str | None] = {self.wired.unit.place, *(load.place for load, _ in self.wired.counts)}
        for edges in self._edges.values():
            passed.update(name for a, b, _ in edges or () for name in (a, b))
        return self.hottest_c(passed)

    def hottest_c(self, passed: Iterable[str | None]) -> float:
        """Hottest ambient of some places, deg C."""
        ambients = [None if name is None else self._known_c.get(name) for name in passed]
        return max(self.settings.wire_ambient_c if c is None else c for c in ambients)

    def each_a(self, parallel: int) -> float:
        """What that one of its conductors carries that carries most, A."""
        return float(self.running_ma * self.wired.shares * self.wired.larger_pct / 100) / 1000 / parallel

    def lies(self, together: Mapping[Part, int], upper: int) -> Lies:
        """Ambient, deg C, and loaded wires of each part of its way, loads apart from the routes in a bundle as set."""
        parts = {(self.hottest_c(part), min(number, upper)) for part, number in together.items()}
        apart = {load.place for load, _ in self.wired.counts if self._edges[load.name] is None}
        if apart:
            parts.add((self.hottest_c(apart | {self.wired.unit.place}), self.settings.bundle_wires))
        return tuple(sorted(parts))

    def parts(self) -> frozenset[Part]:
        """Routes its wire lies in, as pairs of places, the same in both directions; or the one place it stays in."""
        known = [edges for edges in self._edges.values() if edges is not None]
        ways = frozenset(frozenset((a, b)) for edges in known for a, b, _ in edges)
        place = self.wired.unit.place
        return ways or frozenset(frozenset((place,)) for _ in known if place is not None)

    def served_by(self, parallel: int, conductor: Conductor) -> bool:
        """Whether so many conductors of a size side by side will do."""
        if parallel * conductor.ampacity_a * GUARD < self.trip_ma / 1000:
            return False
        if parallel * conductor.area_mm2 * GUARD < self.stall_mm2:
            return False
        return all(pct <= allowed * GUARD for pct, allowed in self.drops_pct(parallel, conductor).values())

    def drops_pct(self, parallel: int, conductor: Conductor) -> dict[str, tuple[float, float]]:
        """Drop to each load whose length is known and what is allowed, per cent of the system voltage."""
        ohm = self.back * conductor.ohm_per_m(self.running_ma / 1000 / (parallel * conductor.ampacity_a)) / parallel
        volt = self.settings.system_v / 100
        amp_metres = {load: self.amp_metres(load) for load, _ in self.wired.counts}
        return {load.name: (a * ohm / volt, load.max_drop_pct) for load, a in amp_metres.items() if a is not None}

    def amp_metres(self, load: Load) -> float | None:
        """Sum of current times length over all the way to a load, A m; None: the length is not known."""
        edges = self._edges[load.name]
        if edges is None:
            return None if load.length_m is None else self.item_a(load) * load.length_m
        end, slack = self.settings.end_allowance_m, 1 + self.settings.slack_pct / 100
        joined = [(other, k, self._edges[other.name]) for other, k in self.wired.counts]
        ways = [(o, k, slack * sum(m for _, _, m in edges & way) + end) for o, k, way in joined if way is not None]
        return (
            max(
                end * self.recount.draw(load, v) + sum(self.recount.draw(other, v) * k * m for other, k, m in ways)
                for v in self.recount.voltages(self.wired)
            )
            / 1000
        )

    def item_a(self, load: Load) -> float:
        """Largest draw of one item, A."""
        return max(self.recount.draw(load, v) for v in self.recount.voltages(self.wired)) / 1000

    def window_ms(self, trip_ma: float) -> float:
        """Least inrush window for a setting, in whole 10 ms."""
        above = self.above_ms(strength.reads_ma(self.wired, round(trip_ma)))
        pulse = max(KINDS[load.kind].pulse_ms for load, _ in self.wired.counts)
        return math.inf if above == math.inf else 10.0 * math.ceil(max(WINDOW * above, pulse) / 10)

    def _waves(self, loads: Collection[str]) -> list[strength.Wave]:
        """Largest excess of each load at any voltage, its tolerance included, A, and its time constant, ms."""
        at = [self.recount.surges(self.wired, v) for v in self.recount.voltages(self.wired)]
        largest = [max(over + lift for over, lift, _ in surges) for surges in zip(*at, strict=True)]
        counts = zip(self.wired.counts, largest, strict=True)
        return [(ma / 1000, load.inrush_ms / 3) for (load, _), ma in counts if load.name in loads]

    def above_ms(self, level_ma: float) -> float:
        """How long the inrush is above a level, ms."""
        waves = [(excess, tau) for excess, tau in self._waves({x.name for x, _ in self.wired.counts}) if excess and tau]
        running = self.running_ma / 1000
        if running + sum(excess for excess, _ in waves) <= level_ma / 1000:
            return 0.0
        return strength.crossing_ms(running, waves, level_ma / 1000)

    def _stall_mm2(self) -> float:
        """Area that bears its motors stuck or held back until the channel trips, mm2; 0: none can, or nothing trips."""
        motors = {load.name for load, _ in self.wired.counts if KINDS[load.kind].copper == "inrush"}
        over = 1000 * sum(excess for excess, _ in self._waves(motors))
        larger = float(self.wired.shares * self.wired.larger_pct / 100)  # the wires of one channel, twice for a pair
        stuck_ma = (self.running_ma + over) * larger
        if not over or stuck_ma <= self.trip_ma or self.trip_ma > strength.rated_ma(self.recount, self.wired):
            return 0.0
        usable, peak, ms = strength.protection(self.recount, self.wired)
        usable, peak = usable * larger, peak * larger
        window, top = self.window_ms(self.trip_ma), min(peak, stuck_ma / 1000)
        borne = max(0.0, (peak**2 - usable**2) * ms)
        # The window's heat rises with the current, that of the channel's own trip falls: the worst is where they meet.
        meet = math.sqrt(usable**2 + borne / window) if window else math.inf
        heat = min(top**2 * window, usable**2 * window + borne)
        if meet < top and self.trip_ma / 1000 > meet:
            heat = (self.trip_ma / 1000) ** 2 * borne / ((self.trip_ma / 1000) ** 2 - usable**2)
        return math.sqrt(heat / damage_ms(1.0, 1.0, self.settings.insulation_c))


def asked_of(recount: Recount, wired: Wired, ways: dict[str, Ways]) -> Asked:
    """What a circuit asks of its wire."""
    return Asked(recount, wired, ways)


def _edges(recount: Recount, start: str | None, end: str | None, ways: dict[str, Ways]) -> _Edges | None:
    if start is None or end is None:
        return None
    if start not in ways:
        ways[start] = Ways(recount.vehicle, start)
    return ways[start].edges(end)


def _choices(wired: Wired, asked: Asked) -> Iterator[tuple[int, Conductor]]:
    settings, terminal_mm2 = asked.settings, strength.terminal_mm2(wired)
    lies = ((asked.ambient_c, settings.bundle_wires),)
    known = conductors(settings.wire_sizes, settings.insulation_c, asked.ambient_c, lies)
    for parallel in _parallels(wired, asked, terminal_mm2, known):
        for conductor in known:
            if conductor.area_mm2 <= terminal_mm2:
                yield parallel, conductor


def _parallels(wired: Wired, asked: Asked, terminal_mm2: float, known: Sequence[Conductor]) -> range:
    """One conductor for each pin that needs one, one a pin at most; as many as it takes where no terminal is known."""
    pins = wired.shares * strength.pins_each(wired)
    if terminal_mm2 == math.inf and known:
        least = max(asked.trip_ma / 1000 / known[-1].ampacity_a, asked.stall_mm2 / known[-1].area_mm2)
        pins = max(pins, wired.shares * math.ceil(least / wired.shares))
    return range(wired.shares * strength.wired_pins(wired, asked.trip_ma), pins + 1, wired.shares)


ROUNDED_GUARD = 1 + 1e-6  # tables are rounded
SPLIT = "split its bundle"


def written(recount: Recount, wires: pd.DataFrame, settings: pd.DataFrame) -> Iterator[Finding]:
    """Every circuit has a row of wire and of setting, and they hold.

    Parameters
    ----------
    recount : Recount
        Vehicle, units and circuits.
    wires, settings : pandas.DataFrame
        As the allocation gives them: a row a circuit.

    Yields
    ------
    Finding
    """
    ways: dict[str, Ways] = {}
    wire_of = _by_channel(cast(list[WireRow], wires.to_dict("records")))
    setting_of = _by_channel(cast(list[SettingRow], settings.to_dict("records")))
    rows = []
    for wired in recount.wired:
        wire, setting = wire_of.get(_key(wired)), setting_of.get(_key(wired))
        if wire is None or setting is None or not (wire["trip_a"] > 0 and setting["trip_a"] > 0):
            yield Finding("wire list", **wired.where, message="it has no wire or no setting in the tables")
        else:
            rows.append(_Row(asked_of(recount, wired, ways), wire, setting))
    together = _together(recount, rows)
    for row in rows:
        yield from row.findings(together[_key(row.wired)])


def _key(wired: Wired) -> tuple[str, str]:
    return wired.unit.label, wired.circuit.channel


_Written = TypeVar("_Written", WireRow, SettingRow)


def _by_channel(rows: Iterable[_Written]) -> dict[tuple[str, str], _Written]:
    return {(row["module"], row["channel"]): row for row in rows}


class _Row:
    """One circuit with what is written about it."""

    def __init__(self, asked: Asked, wire: WireRow, setting: SettingRow):
        self.asked, self.wired, self.wire, self.setting = asked, asked.wired, wire, setting

    def laid(self) -> tuple[int, float, dict[Part, float]]:
        """Its conductors, the way back counted; what each carries; what one carries alone in each part of its way."""
        parallel, insulation_c = int(self.wire["parallel"]), self.asked.settings.insulation_c
        size = self._size(((30.0, 1),))
        area = size.area_mm2 if size else 0.0  # so all of it counts
        parts = {part: self.asked.hottest_c(part) for part in self.asked.parts()}
        alone = {part: alone_a(area, insulation_c, c) if area else 0.0 for part, c in parts.items()}
        return parallel * self.asked.laid, self.asked.each_a(parallel), alone

    def _size(self, lies: Lies) -> Conductor | None:
        settings = self.asked.settings
        known = conductors(settings.wire_sizes, settings.insulation_c, self.asked.ambient_c, lies)
        return of_area(known, self.wire["area_mm2"])

    def findings(self, together: Mapping[Part, int]) -> Iterator[Finding]:
        yield from self._trip()
        yield from self._window()
        if self.is_unsized:
            yield from self._length_known()
            return
        yield from self._bundle(max(together.values(), default=1))
        yield from self._conductors(self.asked.lies(together, int(self.wire["bundle_wires"])))

    def _finding(self, what: str, value: float | None, limit: float | None, unit: str, message: str) -> Finding:
        return Finding(what, **self.wired.where, value=value, limit=limit, unit=unit, message=message)

    def _trip(self) -> Iterator[Finding]:
        low = self.asked.trip_ma
        top = float(strength.rated_ma(self.asked.recount, self.wired))
        set_ma = round(1000 * self.setting["trip_a"] * self.wired.shares)
        if set_ma % strength.step_ma(self.wired) or not low <= set_ma <= top * ROUNDED_GUARD:
            message = f"the setting is {set_ma / 1000:g} A, it has to be {low / 1000:g} A to {top / 1000:g} A in steps"
            yield self._finding("setting", set_ma / 1000, low / 1000, "A", message)
        if round(1000 * self.wire["trip_a"]) != set_ma:
            message = f"the wire is for {self.wire['trip_a']:g} A and the channel set to {set_ma / 1000:g} A"
            yield self._finding("setting", self.wire["trip_a"], set_ma / 1000, "A", message)
        yield from strength.draw_below_trip(self.asked.recount, self.wired, set_ma)

    def _window(self) -> Iterator[Finding]:
        need, window_ms = self.asked.window_ms(1000 * self.wire["trip_a"]), self.setting["window_ms"]
        if window_ms * ROUNDED_GUARD < need:
            yield self._finding(
                "window", window_ms, need, "ms", f"the window is {window_ms:g} ms, the inrush takes {need:g} ms"
            )

    @property
    def is_unsized(self) -> bool:
        """Whether the table says that its size is not known."""
        return self.wire["size"] == "not known"

    def _length_known(self) -> Iterator[Finding]:
        if all(self.asked.amp_metres(load) is not None for load, _ in self.wired.counts):
            yield self._finding("wire", None, None, "", "every length is known, its size is not")

    def _bundle(self, together: int) -> Iterator[Finding]:
        number = self.wire["bundle_wires"]
        if number < together and SPLIT not in self.wire["note"]:
            message = f"{together} loaded wires lie together, the wire is chosen for {number:g}"
            yield self._finding("bundle", number, together, "", message)

    def _conductors(self, lies: Lies) -> Iterator[Finding]:
        area, parallel = self.wire["area_mm2"], int(self.wire["parallel"])
        size = self._size(lies)
        if size is None:
            yield self._finding("wire", area, None, "mm2", f"{area:g} mm2 is no size of wire")
            return
        yield from self._fits(size, parallel)
        yield from self._serves(size, parallel)

    def _fits(self, size: Conductor, parallel: int) -> Iterator[Finding]:
        terminal_mm2 = strength.terminal_mm2(self.wired)
        if size.area_mm2 > terminal_mm2:
            message = f"the terminal takes {terminal_mm2:.3g} mm2, the wire has {size.area_mm2:.3g}"
            yield self._finding("terminal", size.area_mm2, terminal_mm2, "mm2", message)
        pins = self.wired.shares * strength.pins_each(self.wired)
        need = self.wired.shares * strength.wired_pins(self.wired, round(1000 * self.wire["trip_a"]))
        if parallel < need:
            message = f"{parallel} conductors, the contacts take {need} for {self.wire['trip_a']:g} A"
            yield self._finding("contact", parallel, need, "", message)
        if parallel % self.wired.shares or (parallel > pins and terminal_mm2 < float("inf")):
            yield self._finding("terminal", parallel, pins, "", f"{parallel} conductors for {pins} pins")

    def _serves(self, size: Conductor, parallel: int) -> Iterator[Finding]:
        carries, least = parallel * size.ampacity_a, max(self.wire["trip_a"], self.wire["ampacity_a"] - 0.01)
        if carries * ROUNDED_GUARD < least:
            message = f"the wire carries {carries:.3g} A and is to carry {least:.4g} A"
            yield self._finding("ampacity", carries, least, "A", message)
        if parallel * size.area_mm2 * ROUNDED_GUARD < self.asked.stall_mm2:
            message = f"a stuck motor takes {self.asked.stall_mm2:.3g} mm2"
            yield self._finding("stall", parallel * size.area_mm2, self.asked.stall_mm2, "mm2", message)
        for load, (pct, allowed) in self.asked.drops_pct(parallel, size).items():
            if pct > allowed * ROUNDED_GUARD:
                message = f"{load} loses {pct:.3g} %, {allowed:g} % are allowed"
                yield self._finding("drop", pct, allowed, "%", message)


def _together(recount: Recount, rows: Iterable[_Row]) -> dict[tuple[str, str], dict[Part, int]]:
    return beside([(_key(row.wired), *row.laid(), [s.name for s in recount.states_on(row.wired)]) for row in rows])
