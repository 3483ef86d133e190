"""The signal side of one vehicle with its boxes fitted: pins, wires, bus, care, and what it all draws when parked."""

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import pandas as pd

from pdm_alloc.allocator import SignalAllocation, key_counts
from pdm_alloc.domain.module import FittedBox, Keypad, Signal, Unit, natural_key
from pdm_alloc.domain.showing import counted, handed_out
from pdm_alloc.domain.vehicle import Vehicle, part_for
from pdm_alloc.electrics.battery import parked_days
from pdm_alloc.electrics.signal_lines import TERMINATOR_OHM
from pdm_alloc.harness.distribution import battery_of
from pdm_alloc.harness.paths import Strand, lengths_of
from pdm_alloc.program.solver import NOT_ENOUGH
from pdm_alloc.result.bench_tables import BENCH_SHEET
from pdm_alloc.result.care_rules import CareWarning
from pdm_alloc.result.cut_list import Cut, cut_table
from pdm_alloc.result.link_tables import GROUND_PLAN, GROUND_POINTS, PARKED, ReturnWire, parked_draws
from pdm_alloc.studies.signal_sizing import BusPlan, WiresSaved, wires_saved
from pdm_alloc.studies.signal_wiring import (
    KEPT_FREE,
    LAID,
    SignalWires,
    actuator_returns,
    fed_by,
    ground_pin,
    item_name,
    sensor_returns,
    size_for,
    supply_load,
    switched_returns,
    up_cm,
)

__all__ = ["SIGNAL_PINS", "SignalSide"]

SIGNAL_PINS = (
    *("box", "connector", "pin", "function", "signal", "item", "kind", "place", "wire", "size_mm2", "length_m"),
    *("supply", "ground", "fed_by"),
)


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
    offered : tuple of str
        Names of everything that could have been fitted; empty: not known.
    """

    vehicle: Vehicle
    units: tuple[Unit, ...]
    allocation: SignalAllocation | None
    keypads: dict[str | None, tuple[Keypad, ...]] = field(default_factory=dict)
    bus: BusPlan | None = None
    kbit: int = 500
    short: str = ""
    offered: tuple[str, ...] = field(default=(), compare=False)

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

    @handed_out
    def _pins(self) -> pd.DataFrame:
        rows = [] if not self.allocation else self.allocation.pin_map().to_dict("records")
        return pd.DataFrame([self._pin(row) for row in rows], columns=list(SIGNAL_PINS))

    def pin_map(self) -> pd.DataFrame:
        """One row per pin in use, by box and pin, in the columns `SIGNAL_PINS`; length to the signal, m."""
        return self._pins

    def _pin(self, row: dict[Any, Any]) -> dict[str, object]:
        signal = self._by_name[row["signal"]]
        row = {**row, "function": signal.rule.function, "wire": KEPT_FREE, "size_mm2": None, "length_m": None}
        row["fed_by"] = fed_by(self.vehicle, signal)
        if "spare" in signal.needs:
            return row
        size = size_for(self.vehicle, signal.current_ma if signal.rule.is_output else 0)
        length = up_cm(lengths_of(self.vehicle).wire_m(self._sites[row["box"]], signal.place))
        laid = {"wire": LAID.get(signal.kind, "single"), "size_mm2": size and size.area_mm2, "length_m": length}
        return {**row, **laid}

    @property
    def signals_placed(self) -> tuple[Signal, ...]:
        """Signals that take pins, without pins kept free."""
        every = () if self.allocation is None else self.allocation.signals
        return tuple(signal for signal in every if "spare" not in signal.needs)

    @cached_property
    def _by_name(self) -> dict[str, Signal]:
        return {} if self.allocation is None else {signal.name: signal for signal in self.allocation.signals}

    @property
    def _sites(self) -> dict[str, str | None]:
        return {box.label: box.place for box in self.boxes}

    @cached_property
    def wires(self) -> SignalWires:
        """Everything that is wired."""
        rows = self._pins.to_dict("records")
        return SignalWires(self.vehicle, self.boxes, self._by_name, rows, self.bus, self.nodes)

    @property
    def nodes(self) -> dict[str, str | None]:
        """Place of every node of the bus by label: modules, control units and expanders, keypads."""
        nodes = {unit.label: unit.place for unit in self.units}
        nodes |= {box.label: box.place for box in self.boxes if box.box.role != "module"}
        return nodes | {label: place for label, place, _ in self.pads()}

    @cached_property
    def cuts(self) -> tuple[Cut, ...]:
        """Every piece of wire once: signals, supplies and grounds over their splices, the pair of the bus."""
        return self.wires.cuts()

    @property
    def strands(self) -> tuple[Strand, ...]:
        """The same wires as they lie along the routes."""
        return self.wires.strands()

    def cut_list(self) -> pd.DataFrame:
        """One row per piece of wire, in the columns of the cut list of an allocation."""
        return cut_table(self.vehicle, self.cuts)

    def bench_sheet(self) -> pd.DataFrame:
        """One row per pin of every box, those that stay empty too, in the columns of the bench sheet."""
        return pd.DataFrame(self.wires.bench_rows(), columns=list(BENCH_SHEET))

    @property
    def to_ground(self) -> tuple[tuple[str, str | None], ...]:
        """Name and place of each switch that closes to ground and has no sensor ground of its box."""
        read = {item.name for item in self.vehicle.inputs}
        plain = [s for s in self.signals_placed if s.kind == "switch_to_ground" and s.name not in read]
        named = [(s, n) for s in plain if not s.supplies for n in range(1, s.count + 1)]
        return tuple((item_name(s, n), s.place) for s, n in named)

    @property
    def driven_high(self) -> tuple[ReturnWire, ...]:
        """Return of each actuator that a box drives high, with the size of its wire out and no ground point yet."""
        return actuator_returns(self.wires)

    @property
    def switched(self) -> frozenset[str]:
        """Names of loads that a box switches to ground: their pin is their return."""
        loads = {load.name for load in self.vehicle.loads}
        return frozenset(signal.load for signal in self.signals_placed if signal.load in loads) if self else frozenset()

    def ground_plan(self) -> pd.DataFrame:
        """One row per sensor or load that returns to a box, in the columns of the ground plan: they are on no stud."""
        rows = [*sensor_returns(self.wires), *switched_returns(self.wires)]
        return pd.DataFrame(rows, columns=list(GROUND_PLAN))

    def ground_pins(self) -> pd.DataFrame:
        """One row per sensor ground of a box, in the columns of the ground points."""
        rows = [row for row in self.supplies().to_dict("records") if row["function"] == "sensor_ground"]
        return pd.DataFrame([ground_pin(row, self.wires) for row in rows], columns=list(GROUND_POINTS))

    def to_buy(self) -> list[tuple[object, ...]]:
        """Rows of the shopping list: boxes and keypads, connectors of the boxes, terminators."""
        pads = [(pad.name, place) for _, place, pad in self.pads()]
        return things_to_buy(self.vehicle, self.boxes, pads, self.bus)

    @property
    def masses(self) -> list[tuple[str, float | None, str]]:
        """Name, mass (g; None: not known) and kind of each box and keypad that is no module."""
        boxes = [(box.label, box.box.mass_g, box.box.role.replace("_", " ")) for box in self.boxes]
        return [b for b in boxes if b[2] != "module"] + [(n, pad.mass_g, "keypad") for n, _, pad in self.pads()]

    @property
    def prices(self) -> list[float | None]:
        """Price (None: not known) of each box and keypad that is no module."""
        return [b.box.price for b in self.boxes if b.box.role != "module"] + [pad.price for _, _, pad in self.pads()]

    def keys(self) -> dict[str, str]:
        """Keypad and key of each input that a keypad reads, by input, in natural order at each place."""
        free = [(place, f"{label}, key {n}") for label, place, pad in self.pads() for n in range(1, pad.keys + 1)]
        read = sorted((i for i in self.vehicle.inputs if i.read_by == "keypad"), key=lambda i: natural_key(i.name))
        named: dict[str, str] = {}
        for one in read:
            at = next((key for key in free if key[0] == one.place), None)
            if at is not None:
                free.remove(at)
                named[one.name] = at[1]
        return named

    def supplies(self) -> pd.DataFrame:
        """Current of each 5 V supply and sensor ground against what it bears."""
        return SignalAllocation(NOT_ENOUGH, (), ()).shared() if self.allocation is None else self.allocation.shared()

    def warnings(self) -> pd.DataFrame:
        """Care to be taken: severity, subject, sentence."""
        rows = [(one.severity, one.subject, one.sentence) for one in self.care()]
        return pd.DataFrame(rows, columns=["severity", "subject", "sentence"])

    def care(self) -> tuple[CareWarning, ...]:
        """What is to be looked at, with codes of its own."""
        return signal_care(self)

    def parked(self) -> pd.DataFrame:
        """What every box and every load that is always on draws from the parked vehicle, mA; and days to the floor."""
        return parked_with_boxes(self)

    def pads(self) -> list[tuple[str, str | None, Keypad]]:
        """Label, place and keypad of each."""
        pads = [(place, pad) for place, some in self.keypads.items() for pad in some]
        return [(f"{pad.name} K{n}", place, pad) for n, (place, pad) in enumerate(pads, 1)]

    @property
    def saved_wires(self) -> WiresSaved | None:
        """Wires the bus saves against one per key; None: no keypad reads a key."""
        return wires_saved(key_counts(self.vehicle), self.keypads) if self.keypads else None

    def wires_by_place(self) -> pd.DataFrame:
        """Wires from the keys of each place: place, keypads, one_per_switch, with_bus; the sum in the last row."""
        keys = key_counts(self.vehicle)
        rows = [
            (place or "", ", ".join(pad.name for pad in pads), keys[place], sum(pad.wires for pad in pads))
            for place, pads in self.keypads.items()
        ]
        total = [("together", "", sum(row[2] for row in rows), sum(row[3] for row in rows))] if rows else []
        return pd.DataFrame([*rows, *total], columns=["place", "keypads", "one_per_switch", "with_bus"])

    def trunk(self) -> pd.DataFrame:
        """Nodes in the order of the trunk: node, section_m to the next, stub_m, terminator_ohm at both ends."""
        columns = ["node", "section_m", "stub_m", "terminator_ohm"]
        if self.bus is None:
            return pd.DataFrame([], columns=columns)
        trunk = self.bus.trunk
        sections = (*map(up_cm, trunk.sections_m), None)
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

    def tables(self) -> dict[str, pd.DataFrame]:
        """Every table by name."""
        return {
            "signal_care": self.warnings(),
            "signal_pin_map": self.pin_map(),
            "signal_bench_sheet": self.bench_sheet(),
            "signal_cut_list": self.cut_list(),
            "sensor_supplies": self.supplies(),
            "bus_trunk": self.trunk(),
            "bus_messages": self.messages(),
            "parked": self.parked(),
        }

    def as_plain(self) -> dict[str, object]:
        """Everything as plain values: outcome, boxes, and each table as a list of rows."""
        boxes = [{"box": box.label, "place": box.place} for box in self.boxes]
        rows = {name: json.loads(table.to_json(orient="records")) for name, table in self.tables().items()}
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
        pads = ", ".join(pad.name for _, _, pad in self.pads())
        one = f"{counted(saving.saved, 'wire')} saved: {counted(saving.with_bus, 'wire')} to {pads}"
        return [f"{one} instead of one per key, {saving.one_per_switch}."]

    def __repr__(self) -> str:
        """As `summary`."""
        return self.summary()


def things_to_buy(
    vehicle: Vehicle,
    boxes: Sequence[FittedBox],
    pads: Sequence[tuple[str, str | None]],
    bus: BusPlan | None,
) -> list[tuple[object, ...]]:
    """Rows of the shopping list: boxes and keypads, connectors of the boxes, terminators of the bus."""
    bought = [(box.box.role.replace("_", " "), box.label) for box in boxes if box.box.role != "module"]
    rows: list[tuple[object, ...]] = [(what, name, "", 1, None, "") for what, name in bought]
    rows += [("keypad", name, "", n, None, "") for name, n in Counter(name for name, _ in pads).items()]
    for box in boxes:
        pins = Counter(pin.connector for pin in box.box.pins)
        for name in sorted(pins, key=natural_key):
            part = part_for(vehicle.parts, "connector", name, None)
            rows.append(("connector", f"{box.label} {name}".strip(), part, 1, None, f"{pins[name]} pins"))
    ends = len(bus.trunk.terminators) if bus else 0
    return rows + ([("terminator", f"{TERMINATOR_OHM:g} ohm", "", ends, None, "one at each end")] if ends else [])


def signal_care(side: SignalSide) -> tuple[CareWarning, ...]:
    """Warnings of a signal side: what is short, currents that are assumed, sensor grounds, the bus."""
    parts = (*_short(side), *_sensors(side), *_together(side), *_of_bus(side), *_of_feeds(side))
    return tuple(CareWarning(code, grave, name, _told(name, text), remedy) for code, grave, name, text, remedy in parts)


def _told(subject: str, text: str) -> str:
    """The sentence with what it is about, for sheets that have no column of subjects."""
    has_subject = subject.casefold() in text.casefold() or subject.startswith("bus, ")
    return text if has_subject else f"{subject}: {text[:1].lower()}{text[1:]}"


_OF_BUS = 2  # wires


def _of_feeds(side: SignalSide) -> Iterator[tuple[str, str, str, str, str]]:
    """Supplies that no table has, and loads that sit elsewhere than what they are on the signal side."""
    vehicle = side.vehicle
    unfed = [s.name for s in side.signals_placed if fed_by(vehicle, s) == "not known"]
    if unfed:
        text = "No load feeds what the control unit switches to ground: its supply wire and its fuse are in no list."
        remedy = "List it as a load too, and name that in fed_by of the table signals; or wire and fuse it by hand."
        yield ("S08", "note", ", ".join(unfed), text, remedy)
    fed = {b.label: supply_load(vehicle, b.label, b.box.role) for b in side.boxes if b.box.role != "module"}
    bare = [label for label, load in fed.items() if load is None]
    if bare:
        text = "No load is its supply: supply wire, fuse and ground return are in no list."
        yield (
            "S09",
            "note",
            ", ".join(bare),
            text,
            "List it as a load of that name, or name one in control_unit_load.",
        )
    places = {load.name: load.place for load in vehicle.loads}
    yield from _strangers(side, places)
    bare = [label for label, _, pad in side.pads() if pad.wires > _OF_BUS and not {label, pad.name} & set(places)]
    if bare:
        text = "No load is its supply: of its wires only the two of the bus are in a list."
        yield ("S11", "note", ", ".join(bare), text, "List it as a load of that name; or wire and fuse it by hand.")
    apart = [(s.name, s.load, s.place) for s in side.signals_placed if s.load in places and places[s.load] != s.place]
    sites = side._sites
    apart += [(label, load.name, sites[label]) for label, load in fed.items() if load and load.place != sites[label]]
    for name, other, place in apart:
        text = (
            f"{name} is at {place or 'no place'}, and the load {other} that feeds it at {places[other] or 'no place'}."
        )
        yield ("S10", "warning", name, text, "Give both one place: the supply wire goes where the load is.")


def _strangers(side: SignalSide, loads: Iterable[str]) -> Iterator[tuple[str, str, str, str, str]]:
    """Loads named like a box or keypad of the catalogue that is not fitted."""
    fit = {unit.module.name for unit in side.units} | {box.box.name for box in side.boxes}
    fit |= {pad.name for _, _, pad in side.pads()}
    for name in sorted(set(loads) & set(side.offered) - fit, key=natural_key):
        fed = [s.name for s in side.signals_placed if s.load == name]
        text = f"A load has the name of a box that is not fitted; fitted: {', '.join(sorted(fit, key=natural_key))}."
        text += f" It is said to feed {', '.join(fed)}." if fed else ""
        yield ("S13", "warning", name, text, "Fit that box, or give the load the name of the one it supplies.")


def _short(side: SignalSide) -> Iterator[tuple[str, str, str, str, str]]:
    if side.allocation is not None and not side:
        names = ", ".join(box.label for box in side.boxes)
        text = f"{names}: {side.outcome} for the signals. {side.short}".strip()
        yield ("S01", "danger", names, text, "Take another control unit, or a remedy that size --why lists.")
    wide = [s.name for s in side.signals_placed if s.rule.is_output and size_for(side.vehicle, s.current_ma) is None]
    if wide:
        text = "No wire size bears the current of an actuator of the control unit."
        yield ("S02", "danger", ", ".join(wide), text, "Drive it by a relay, or by a channel of the module.")


def _sensors(side: SignalSide) -> Iterator[tuple[str, str, str, str, str]]:
    guessed = [s.name for s in side.signals_placed if s.current_assumed and s.current_ma]
    if guessed:
        text = "The current is that usual for the kind of signal."
        yield ("S03", "note", ", ".join(guessed), text, "Measure it, or give current_a in the table signals.")
    if any("sensor_ground" in s.needs for s in side.signals_placed):
        text = "Sensor grounds go back to the box that reads the sensor, on no stud that carries a load's return."
        yield (
            "S04",
            "warning",
            "sensor grounds",
            text,
            "Wire them as the ground plan says; screens to sensor ground at the box end only.",
        )


def _together(side: SignalSide) -> Iterator[tuple[str, str, str, str, str]]:
    """Identical vital sensors that all hang on one supply or ground pin: tracks of a pedal fail together then."""
    uses = () if side.allocation is None else side.allocation.uses
    for signal in (s for s in side.signals_placed if side and s.importance == "vital" and s.count > 1):
        fed = [use for use in uses if use.signal == signal.name]
        for what, pins in (
            ("5 V supply", {(u.box, u.supply) for u in fed}),
            ("ground", {(u.box, u.ground) for u in fed}),
        ):
            [(box, pin), *others] = pins
            if pin is not None and not others:
                whole = "Both" if signal.count == 2 else f"All {signal.count}"
                text = f"{whole} hang on one sensor {what}, pin {pin} of {box}: one fault there takes all of them."
                remedy = f"Take a box with a second sensor {what} that has the current, or feed one of them otherwise."
                yield ("S12", "warning", signal.name, text, remedy)


def _of_bus(side: SignalSide) -> Iterator[tuple[str, str, str, str, str]]:
    if side.bus is None:
        return
    for warning in side.bus.warnings:
        text = f"{warning.message[:1].upper()}{warning.message[1:]}."
        yield ("S05", "warning", f"bus, {warning.rule}", text, "Change the wiring, or lower the bit rate (bus_kbit).")
    late = [time.message for time in side.bus.times if not time.is_in_time]
    if late:
        text = f"May arrive after the deadline at {side.kbit} kbit/s."
        yield ("S06", "warning", ", ".join(late), text, "Send less, or raise the bit rate (bus_kbit).")
    if side.bus.unplaced:
        text = "Left out of the trunk, as the place is not known or no route leads to it."
        yield ("S07", "note", ", ".join(side.bus.unplaced), text, "Give its place.")


def parked_with_boxes(side: SignalSide) -> pd.DataFrame:
    """What everything draws from the parked vehicle, in the columns of `parked_table`, all boxes and keypads too."""
    rows = [(one.name, one.draw_ma, None, one.note) for one in parked_draws(side.vehicle, side.units)]
    rows += [(b.label, b.box.quiescent_ma, None, "") for b in side.boxes if b.box.role != "module"]
    rows += [(label, pad.quiescent_ma, None, "") for label, _, pad in side.pads()]
    known = [draw for _, draw, *_ in rows if draw is not None]
    unknown = [name for name, draw, *_ in rows if draw is None]
    battery = battery_of(side.vehicle.settings)
    days = None if battery is None or unknown else round(parked_days(battery, sum(known)), 1)
    note = f"quiescent current of {', '.join(unknown)} not known" if unknown else "self-discharge and cold not counted"
    table = pd.DataFrame([*rows, ("all together", sum(known), days, note)], columns=list(PARKED))
    return table.astype({"draw_ma": float, "days": float})
