"""The signal side of one vehicle with its boxes fitted: pins, wires, bus, care, and what it all draws when parked."""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import pandas as pd

from pdm_alloc.allocator import SignalAllocation, allocate_signals, key_counts, signals_of_vehicle
from pdm_alloc.diagnose.signal_shortfall import signal_shortfall
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.showing import counted
from pdm_alloc.domain.signals import SUPPLIES, Box, FittedBox, Keypad, fitted
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.ampacity import ampacity_a
from pdm_alloc.electrics.battery import parked_days
from pdm_alloc.electrics.bus import TERMINATOR_OHM
from pdm_alloc.electrics.wire import wire_sizes
from pdm_alloc.harness.paths import lengths_of
from pdm_alloc.harness.supply import battery_of
from pdm_alloc.program.solver import NOT_ENOUGH
from pdm_alloc.result.link_tables import parked_draws
from pdm_alloc.studies.boxes_and_bus import (
    PAIR_MM2,
    BusPlan,
    WiresSaved,
    cheapest_keypads,
    plan_bus,
    signals_for,
    wires_saved,
)

__all__ = ["SIGNAL_CUTS", "SIGNAL_PINS", "SignalSide", "signals"]

SIGNAL_PINS = (
    *("box", "connector", "pin", "function", "signal", "item", "kind", "place", "wire", "size_mm2", "length_m"),
    *("supply", "ground"),
)

SIGNAL_CUTS = ("label", "role", "box", "pin", "signal", "item", "place", "wire", "size_mm2", "length_m")

# How the wires of a kind are laid; common practice, no source.
_LAID = {
    "frequency_pair": "twisted, screened",
    "frequency": "screened",
    "bus": "twisted",
    "full_bridge": "twisted",
}

_BUS = 500  # kbit/s, usual in vehicles; common practice, no source


@dataclass(frozen=True, repr=False)
class SignalSide:
    """Signals on the pins of fitted boxes, and the bus between them.

    Parameters
    ----------
    vehicle : Vehicle
        With signals.
    units : tuple of Unit
        Modules of the power side.
    allocation : SignalAllocation or None
        None: there is no control unit to judge by.
    keypads : dict of place to tuple of Keypad
        Keypads that read the keys of each place.
    bus : BusPlan or None
        None: fewer than two nodes have a known place.
    kbit : int
        Bit rate of the bus, kbit/s.
    short : str
        What is short where the boxes are not enough, in one sentence.
    """

    vehicle: Vehicle
    units: tuple[Unit, ...]
    allocation: SignalAllocation | None
    keypads: dict[str | None, tuple[Keypad, ...]] = field(default_factory=dict)
    bus: BusPlan | None = None
    kbit: int = _BUS
    short: str = ""

    def __bool__(self) -> bool:
        """Whether every signal has its pins."""
        return bool(self.allocation)

    @property
    def outcome(self) -> str:
        """One of the five words, or ``not judged``: there is no control unit."""
        return "not judged" if self.allocation is None else self.allocation.outcome

    @property
    def boxes(self) -> tuple[FittedBox, ...]:
        """Boxes with signal pins."""
        return () if self.allocation is None else self.allocation.boxes

    def pin_map(self) -> pd.DataFrame:
        """One row per pin in use, by box and pin, in the columns `SIGNAL_PINS`; length to the signal, m."""
        rows = [] if self.allocation is None else self.allocation.pin_map().to_dict("records")
        return pd.DataFrame([self._pin(row) for row in rows], columns=list(SIGNAL_PINS))

    def _pin(self, row: dict) -> dict[str, object]:
        signal = next(s for s in self._signals if s.name == row["signal"])
        if "spare" in signal.needs:
            return {**row, "function": signal.rule.function, "wire": "kept free", "size_mm2": None, "length_m": None}
        size = self._size_mm2(signal.current_ma if signal.rule.is_output else 0)
        length = _up(lengths_of(self.vehicle).wire_m(self._sites[row["box"]], signal.place))
        laid = {"wire": _LAID.get(signal.kind, "single"), "size_mm2": size, "length_m": length}
        return {**row, "function": signal.rule.function, **laid}

    @property
    def _signals(self):
        return () if self.allocation is None else self.allocation.signals

    @property
    def _sites(self) -> dict[str, str | None]:
        return {box.label: box.place for box in self.boxes}

    def _size_mm2(self, current_ma: int) -> float | None:
        """Size of a signal wire: the usual one, or the smallest that bears an actuator's current; None: none does."""
        settings = self.vehicle.settings
        sizes = [s.area_mm2 for s in wire_sizes(settings.wire_sizes)] if current_ma >= 1000 else [PAIR_MM2]
        heat = (settings.insulation_c, settings.wire_ambient_c, max(1, settings.bundle_wires))
        return next((mm2 for mm2 in sizes if current_ma < 1000 or ampacity_a(mm2, *heat) * 1000 >= current_ma), None)

    def cut_list(self) -> pd.DataFrame:
        """One row per piece of wire in the columns `SIGNAL_CUTS`: signal wires, then sensor supplies and grounds."""
        rows = [row for row in self.pin_map().to_dict("records") if row["wire"] != "kept free"]
        pieces = [(row, "signal", f"{row['connector']}-{row['pin']}".lstrip("-")) for row in rows]
        for word, name in zip(("supply", "ground"), SUPPLIES, strict=True):
            pieces += [({**row, "wire": "single"}, name, row[word]) for row in _first_of_each(rows) if row[word]]
        cuts = [(f"SG{n}", role, *self._piece(row, pin)) for n, (row, role, pin) in enumerate(pieces, 1)]
        return pd.DataFrame(cuts, columns=list(SIGNAL_CUTS))

    def _piece(self, row, pin) -> tuple:
        return (row["box"], pin, *(row[name] for name in SIGNAL_CUTS[4:]))

    def bench_sheet(self) -> pd.DataFrame:
        """One row per pin of every box, pins that stay empty too: box, connector, pin, to, wire, size, length, seen."""
        used = {(r["box"], r["connector"], r["pin"]): r for r in self.pin_map().to_dict("records")}
        pins = [((box.label, pin.connector, pin.name), pin) for box in self.boxes for pin in box.box.pins]
        rows = [_bench_row(key, pin, used.get(key)) for key, pin in pins]
        columns = ["box", "connector", "pin", "to", "place", "wire", "size_mm2", "length_m", "seen"]
        return pd.DataFrame(rows, columns=columns)

    def supplies(self) -> pd.DataFrame:
        """Current of each 5 V supply and sensor ground against what it bears."""
        return SignalAllocation(NOT_ENOUGH, (), ()).shared() if self.allocation is None else self.allocation.shared()

    def warnings(self) -> pd.DataFrame:
        """Care to be taken: severity, subject, sentence."""
        rows = [*self._assumed(), *self._grounds(), *self._bus_care()]
        return pd.DataFrame(rows, columns=["severity", "subject", "sentence"])

    def _assumed(self):
        names = [s.name for s in self._signals if s.current_assumed and s.current_ma and "spare" not in s.needs]
        if names:
            text = f"{', '.join(names)}: the current is that usual for the kind; measure it, or give current_a."
            yield ("note", "signals", text)

    def _grounds(self):
        if any("sensor_ground" in s.needs for s in self._signals):
            text = "Sensor grounds go back to the box that reads the sensor, on no stud that carries a load's return."
            yield ("warning", "sensor grounds", text)

    def _bus_care(self):
        if self.bus is None:
            return
        yield from (("warning", "bus", f"{warning.message}.") for warning in self.bus.warnings)
        late = [time.message for time in self.bus.times if not time.is_in_time]
        if late:
            yield ("warning", "bus", f"{', '.join(late)}: may arrive after the deadline at {self.kbit} kbit/s.")
        if self.bus.unplaced:
            yield ("note", "bus", f"{', '.join(self.bus.unplaced)}: left out of the trunk, the place is not known.")

    def parked(self) -> pd.DataFrame:
        """What every box and every load that is always on draws from the parked vehicle, mA; and days to the floor."""
        rows = [(one.name, one.draw_ma, None) for one in parked_draws(self.vehicle, self.units)]
        rows += [(b.label, b.box.quiescent_ma, None) for b in self.boxes if b.box.role != "module"]
        rows += [(label, pad.quiescent_ma, None) for label, _, pad in self._pads()]
        known = [draw for _, draw, _ in rows if draw is not None]
        battery = battery_of(self.vehicle.settings)
        days = None if battery is None or len(known) < len(rows) else round(parked_days(battery, sum(known)), 1)
        table = pd.DataFrame([*rows, ("all together", sum(known), days)], columns=["draws", "draw_ma", "days"])
        return table.astype({"draw_ma": float, "days": float})

    def _pads(self) -> list[tuple[str, str | None, Keypad]]:
        pads = [(place, pad) for place, some in self.keypads.items() for pad in some]
        return [(f"{pad.name} K{n}", place, pad) for n, (place, pad) in enumerate(pads, 1)]

    @property
    def saved_wires(self) -> WiresSaved | None:
        """Wires the bus saves against one per key; None: no keypad reads a key."""
        return wires_saved(key_counts(self.vehicle), self.keypads) if self.keypads else None

    def trunk(self) -> pd.DataFrame:
        """Nodes in the order of the trunk: node, section_m to the next, stub_m, terminator_ohm at both ends."""
        columns = ["node", "section_m", "stub_m", "terminator_ohm"]
        if self.bus is None:
            return pd.DataFrame([], columns=columns)
        trunk = self.bus.trunk
        sections = (*map(_up, trunk.sections_m), None)
        ends = [TERMINATOR_OHM if node in trunk.terminators else None for node in trunk.nodes]
        rows = list(zip(trunk.nodes, sections, trunk.stubs_m, ends, strict=True))
        return pd.DataFrame(rows, columns=columns)

    def messages(self) -> pd.DataFrame:
        """Worst-case timing of every message, by priority: message, transmission_ms, response_ms, deadline_ms."""
        times = () if self.bus is None else self.bus.times
        rows = [(t.message, t.transmission_us, t.response_us, t.deadline_us, t.is_in_time) for t in times]
        table = pd.DataFrame(rows, columns=["message", "transmission_ms", "response_ms", "deadline_ms", "in_time"])
        for name in ("transmission_ms", "response_ms", "deadline_ms"):
            table[name] = table[name].astype(float) / 1000
        return table

    def tables(self) -> dict[str, tuple[pd.DataFrame, str]]:
        """Every table of the documents by title, with one line on how to read it."""
        return {
            "Signal care": (self.warnings(), self.summary()),
            "Signal pin map": (self.pin_map(), "One row per pin in use. Length: to the sensor or actuator."),
            "Signal bench sheet": (self.bench_sheet(), "One row per pin of every box, those that stay empty too."),
            "Signal cut list": (self.cut_list(), "Every piece of signal wire once. Measure before cutting."),
            "Signal supplies": (self.supplies(), "Current of each 5 V supply and sensor ground against its limit."),
            "Bus trunk": (self.trunk(), "Nodes in the order of the trunk; terminators at both ends only."),
            "Bus messages": (self.messages(), "Worst-case response of each message, stuffing included."),
            "Parked with all boxes": (self.parked(), "What is drawn with everything off; self-discharge not counted."),
        }

    def as_plain(self) -> dict[str, object]:
        """Everything as plain values: outcome, boxes, and each table as a list of rows."""
        boxes = [{"box": box.label, "place": box.place} for box in self.boxes]
        tables = {name.lower().replace(" ", "_"): table for name, (table, _) in self.tables().items()}
        rows = {name: json.loads(table.to_json(orient="records")) for name, table in tables.items()}
        saving = None if self.saved_wires is None else self.saved_wires.saved
        load = None if self.bus is None else self.bus.load
        return {"outcome": self.outcome, "boxes": boxes, "bus_load": load, "wires_saved": saving, **rows}

    def summary(self) -> str:
        """Whether the boxes are enough, pins to spare, the bus and the wires it saves."""
        if self.allocation is None:
            return "Signals are not judged: the catalogue has no control unit (tables control_units and signal_pins)."
        names = ", ".join(box.label for box in self.boxes) or "no box"
        if not self.allocation:
            return f"{names}: {self.outcome} for the signals. {self.short}".strip()
        free = ", ".join(f"{counted(n, 'pin')} of {label}" for label, n in self.allocation.free_pins.items())
        lines = [f"Signals on {names}: {self.outcome}, spare: {free or 'none'}."]
        return " ".join([*lines, *self._bus_words(), *self._saving()])

    def _bus_words(self) -> list[str]:
        if self.bus is None:
            return []
        ends = " and ".join(self.bus.trunk.terminators)
        words = [f"Bus at {self.kbit} kbit/s: trunk {self.bus.trunk.length_m:.1f} m, terminators at {ends}"]
        if self.bus.load is not None:
            late = sum(not time.is_in_time for time in self.bus.times)
            words.append(f"load {100 * self.bus.load:.1f} %")
            words.append(f"{counted(late, 'message')} may be late" if late else "every message in time")
        return [", ".join(words) + "."]

    def _saving(self) -> list[str]:
        saving = self.saved_wires
        if saving is None or saving.saved <= 0:
            return []
        pads = ", ".join(pad.name for _, _, pad in self._pads())
        one = f"{counted(saving.saved, 'wire')} saved: {counted(saving.with_bus, 'wire')} to {pads}"
        return [f"{one} instead of one per key, {saving.one_per_switch}."]

    def __repr__(self) -> str:
        """As `summary`."""
        return self.summary()


def _up(length_m: float | None) -> float | None:
    """Whole centimetres, never too short; what floating point adds is no centimetre."""
    return None if length_m is None else math.ceil(length_m * 100 - 1e-6) / 100


def _first_of_each(rows):
    """The first pin of every item: the second of a pair shares its supply and ground."""
    return list({(row["signal"], row["item"]): row for row in reversed(rows)}.values())[::-1]


def _bench_row(key, pin, row):
    if row is None:
        shared = sorted(pin.functions & set(SUPPLIES))
        return (*key, f"{shared[0]}, see supplies" if shared else "stays empty", "", "", None, None, "")
    to = row["signal"] + (f" #{row['item']}" if row["item"] > 1 else "")
    return (*key, to, row["place"], row["wire"], row["size_mm2"], row["length_m"], "")


def signals(
    vehicle: Vehicle,
    boxes: Box | Sequence[Box],
    *,
    places: Mapping[str, str] | None = None,
    units: Sequence[Unit] = (),
    keypads: Sequence[Keypad] = (),
    kbit: int = _BUS,
    time_limit_s: float | None = None,
) -> SignalSide:
    """Assign the signals of a vehicle to pins of the boxes fitted, and lay the bus between all nodes.

    Parameters
    ----------
    vehicle : Vehicle
        With signals, or inputs that state what reads them.
    boxes : Box or sequence of Box
        Control units, expanders, modules with signal pins: ``catalogue.boxes``.
    places : mapping of str to str, optional
        Place of each box by label; a box that comes twice has the labels ``name #1`` and ``name #2``.
    units : sequence of Unit
        Modules of the power side with their places: nodes of the bus, and drawn from when parked.
    keypads : sequence of Keypad
        To choose from for the keys.
    kbit : int
        Bit rate of the bus, kbit/s.
    time_limit_s : float, optional
        For everything, s; default: the vehicle's setting.

    Returns
    -------
    SignalSide
        True where every signal has its pins; each assignment is verified. Where it is not enough `short` says why.
    """
    limit_s = vehicle.settings.time_limit_s if time_limit_s is None else time_limit_s
    at = fitted([boxes] if isinstance(boxes, Box) else boxes, places)
    wanted = signals_for(signals_of_vehicle(vehicle), [box.box for box in at])
    length_m = lengths_of(vehicle).wire_m if any(box.place for box in at) else None
    allocation = allocate_signals(wanted, at, length_m, limit_s)
    short = signal_shortfall(wanted, at, limit_s).sentence if at and allocation.outcome == NOT_ENOUGH else ""
    pads = _keypads(vehicle, keypads)
    bare = SignalSide(vehicle, tuple(units), allocation, pads, None, kbit, short)
    nodes = {**{u.label: u.place for u in units}, **{b.label: b.place for b in at if b.box.role != "module"}}
    nodes |= {label: place for label, place, _ in bare._pads()}
    return SignalSide(vehicle, tuple(units), allocation, pads, _bus(vehicle, nodes, kbit), kbit, short)


def _keypads(vehicle, keypads) -> dict[str | None, tuple[Keypad, ...]]:
    by = "price" if all(pad.price is not None for pad in keypads) else "mass"
    chosen = {place: cheapest_keypads(count, keypads, by) for place, count in key_counts(vehicle).items()}
    return {place: pads for place, pads in chosen.items() if pads}


def _bus(vehicle: Vehicle, nodes: dict[str, str | None], kbit: int) -> BusPlan | None:
    known = {place.name for place in vehicle.places}
    return plan_bus(vehicle, nodes, kbit) if sum(place in known for place in nodes.values()) > 1 else None
