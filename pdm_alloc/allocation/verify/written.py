"""Rules on the wires and settings an allocation writes down: each row against the second arithmetic."""

from collections import Counter

from pdm_alloc.allocation.verify import trip
from pdm_alloc.allocation.verify.copper import conductors
from pdm_alloc.allocation.verify.finding import Finding
from pdm_alloc.allocation.verify.wiring import Asked, terminal_mm2

__all__ = ["written"]

GUARD = 1 + 1e-6  # tables are rounded
SPLIT = "split its bundle"


def written(recount, wires, settings):
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
    ways: dict = {}
    wire_of, setting_of = _by_channel(wires), _by_channel(settings)
    rows = [_Row(Asked(recount, w, ways), wire_of.get(_key(w), {}), setting_of.get(_key(w), {})) for w in recount.wired]
    together = _together(recount, [row for row in rows if row.is_whole])
    for row in rows:
        if not row.is_whole:
            message = "it has no wire or no setting in the tables"
            yield Finding("wire list", **row.wired.where, message=message)
            continue
        yield from row.findings(together.get(_key(row.wired), 1))


def _key(wired):
    return wired.unit.label, wired.circuit.channel


def _by_channel(table):
    return {(row["module"], row["channel"]): row for row in table.to_dict("records")}


class _Row:
    """One circuit with what is written about it."""

    def __init__(self, asked: Asked, wire: dict, setting: dict):
        self.asked, self.wired, self.wire, self.setting = asked, asked.wired, wire, setting

    @property
    def is_whole(self) -> bool:
        return self.wire.get("trip_a", 0) > 0 and self.setting.get("trip_a", 0) > 0

    def findings(self, together: int):
        yield from self._trip()
        yield from self._window()
        yield from self._bundle(together)
        yield from self._conductors()

    def _finding(self, what, value, limit, unit, message):
        return Finding(what, **self.wired.where, value=value, limit=limit, unit=unit, message=message)

    def _trip(self):
        least = self.asked.trip_ma
        most = float(trip.rated_ma(self.asked.recount, self.wired))
        own = round(1000 * self.setting["trip_a"] * self.wired.shares)
        if own % trip.step_ma(self.wired) or not least <= own <= most * GUARD:
            message = f"the setting is {own / 1000:g} A, it has to be {least / 1000:g} A to {most / 1000:g} A in steps"
            yield self._finding("setting", own / 1000, least / 1000, "A", message)
        if round(1000 * self.wire["trip_a"]) != own:
            message = f"the wire is for {self.wire['trip_a']:g} A and the channel set to {own / 1000:g} A"
            yield self._finding("setting", self.wire["trip_a"], own / 1000, "A", message)

    def _window(self):
        need, own = self.asked.window_ms(1000 * self.wire["trip_a"]), self.setting["window_ms"]
        if own * GUARD < need:
            yield self._finding("window", own, need, "ms", f"the window is {own:g} ms, the inrush takes {need:g} ms")

    def _bundle(self, together):
        own = self.wire["bundle_wires"]
        if own < together and SPLIT not in self.wire["note"]:
            message = f"{together} loaded wires lie together, the wire is chosen for {own:g}"
            yield self._finding("bundle", own, together, "", message)

    def _conductors(self):
        settings, area, parallel = self.asked.settings, self.wire["area_mm2"], int(self.wire["parallel"])
        known = conductors(
            settings.wire_sizes, settings.insulation_c, self.asked.ambient_c, int(self.wire["bundle_wires"])
        )
        size = next((c for c in known if abs(c.area_mm2 - area) < 1e-3), None)
        if size is None:
            yield self._finding("wire", area, None, "mm2", f"{area:g} mm2 is no size of wire")
            return
        yield from self._fits(size, parallel)
        yield from self._serves(size, parallel)

    def _fits(self, size, parallel):
        most = terminal_mm2(self.wired)
        if size.area_mm2 > most:
            message = f"the terminal takes {most:.3g} mm2, the wire has {size.area_mm2:.3g}"
            yield self._finding("terminal", size.area_mm2, most, "mm2", message)
        pins = self.wired.shares * min(max(1, len(channel.pins)) for channel in self.wired.channels)
        if parallel % self.wired.shares or (parallel > pins and most < float("inf")):
            yield self._finding("terminal", parallel, pins, "", f"{parallel} conductors for {pins} pins")

    def _serves(self, size, parallel):
        carries = parallel * size.ampacity_a
        if carries * GUARD < self.wire["trip_a"]:
            message = f"the wire carries {carries:.3g} A and is to carry {self.wire['trip_a']:g} A"
            yield self._finding("ampacity", carries, self.wire["trip_a"], "A", message)
        if parallel * size.area_mm2 * GUARD < self.asked.stall_mm2:
            message = f"a stuck motor takes {self.asked.stall_mm2:.3g} mm2"
            yield self._finding("stall", parallel * size.area_mm2, self.asked.stall_mm2, "mm2", message)
        for load, (pct, most) in self.asked.drops_pct(parallel, size).items():
            if pct > most * GUARD:
                message = f"{load} loses {pct:.3g} %, {most:g} % are allowed"
                yield self._finding("drop", pct, most, "%", message)


def _together(recount, rows):
    """Loaded conductors in the fullest bundle of each circuit while it is on; none where no way is known."""
    on = {_key(row.wired): _states(recount, row.wired) for row in rows}
    number: Counter = Counter()
    for row in rows:
        for part in row.asked.parts():
            for state in on[_key(row.wired)]:
                number[state, part] += int(row.wire["parallel"]) * row.asked.back
    return {
        _key(row.wired): max(number[state, part] for part in row.asked.parts() for state in on[_key(row.wired)])
        for row in rows
        if row.asked.parts() and on[_key(row.wired)]
    }


def _states(recount, wired):
    return [state.name for state in recount.vehicle.states if state.is_on(wired.circuit.command)]
