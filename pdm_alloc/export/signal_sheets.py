"""Sheets of the signal side: inputs and what reads them, what to read at each pin, the bus."""

from collections.abc import Hashable, Iterator, Mapping
from typing import Any

import pandas as pd

from pdm_alloc.domain.condition import condition_names
from pdm_alloc.domain.signals import Signal
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.bus import TERMINATOR_OHM, TERMINATORS_OHM, limit_at
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.studies.signals.signal_side import SignalSide
from pdm_alloc.studies.signals.signal_wiring import KEPT_FREE, first_of_each, item_name

__all__ = [
    *(
        "CONTROL_NOTE",
        "INPUTS",
        "SIGNAL_NOTES",
        "SIGNAL_READ",
        "SIGNAL_STEPS",
        "WITH_SIGNALS",
        "bus_limits",
        "bus_messages",
        "bus_nodes",
        "input_list",
        "readers_of",
    ),
    *("signal_side_of", "signal_steps", "signal_tables", "title_lines"),
]


# Only where a vehicle has a signal side; the first two are read at the bench.
SIGNAL_NOTES = {
    "Signal commissioning": "Before and at the first power-up of the control unit. Empty limits: as the maker states.",
    "Bus": "Nodes in the order of the trunk; terminators at both ends only. Stub: from the trunk to the node.",
    "Bus limits": "The bus against published limits.",
    "Bus messages": "Longest transmission and worst-case response of each message, bit stuffing included.",
    "Sensor supplies": "Current of each 5 V supply and sensor ground of a box against its limit.",
    "Signal pin map": "One row per pin in use. Length: to the sensor or actuator.",
}

# Notes of sheets that hold both sides, where there are two.
WITH_SIGNALS = {
    "Bench sheet": "One row per pin, as it leaves the module or control unit. Length: of the piece at the pin. "
    "Inrush time: as set.",
    "Input list": "What reads each input: the module, a control unit, or a key of a keypad; others arrive as messages.",
}

# On paper a box has pages of its own.
CONTROL_NOTE = "One row per pin, as it leaves the control unit. Length: of the piece at the pin."

SIGNAL_READ = ("Signal commissioning", "Bus")


def signal_side_of(allocation: Allocation) -> SignalSide | None:
    """The signal side beside an allocation; None: it has none, or its boxes are not enough."""
    return allocation.signals if isinstance(allocation.signals, SignalSide) and allocation.signals else None


INPUTS = ("input", "kind", "place", "module_input", "read_by", "used_by", "note")


def input_list(vehicle: Vehicle, readers: Mapping[str, str] | None = None) -> pd.DataFrame:
    """Every input of a vehicle.

    Parameters
    ----------
    vehicle : Vehicle
        Its table ``inputs``, and names only its conditions have, which count as switches.
    readers : mapping of str to str, optional
        Pin or key that reads an input, by its name.

    Returns
    -------
    DataFrame
        Columns `INPUTS`; ``module_input`` says whether it takes an input of a module.
    """
    read = readers or {}
    commands = {command.name: condition_names(command.condition) for command in vehicle.commands}
    listed = [(i.name, i.kind, i.place or "", i.read_by, i.note) for i in vehicle.inputs]
    known = {name for name, *_ in listed}
    others = sorted({name for names in commands.values() for name in names} - known)

    def used(name: str) -> str:
        return "; ".join(c for c, names in commands.items() if name in names)

    rows = [
        (name, kind, place, _on_module(kind, by), read.get(name, _SAID_OF.get(by or "", "")), used(name), note)
        for name, kind, place, by, note in [*listed, *((name, "switch", "", None, "") for name in others)]
    ]
    return pd.DataFrame(rows, columns=list(INPUTS))


_SAID_OF = {"module": "module", "control_unit": "control unit", "keypad": "keypad"}


def _on_module(kind: str, read_by: str | None) -> bool:
    return kind != "bus" and read_by not in ("control_unit", "keypad")


def readers_of(side: SignalSide | None) -> dict[str, str]:
    """Pin or key that reads each input, by its name."""
    if side is None:
        return {}
    inputs = {one.name for one in side.vehicle.inputs}
    pins = {row["signal"]: f"{row['box']} {row['connector']} {row['pin']}" for row in side.pin_map().to_dict("records")}
    return {name: " ".join(pin.split()) for name, pin in pins.items() if name in inputs} | side.keys()


SIGNAL_STEPS = ("box", "pin", "signal", "read", "least", "most", "unit", "measured", "done")

# What a 5 V supply of sensors may be off by, and what a wire and a contact may have, ohm: common practice, no source.
SUPPLY_V = (4.75, 5.25)
CONTACT_OHM = 1.0
OPEN_OHM = 100_000.0

# A sensor of 0 to 5 V that is whole reads neither end; as above.
SENSOR_V = (0.25, 4.75)

COIL_PCT = 20  # a coil of a stated current, cold to warm and tolerance; common practice, no source


def signal_steps(side: SignalSide) -> pd.DataFrame:
    """What is to be read at every pin of the boxes, unplugged first and then with power.

    Parameters
    ----------
    side : SignalSide
        Whose boxes are enough.

    Returns
    -------
    DataFrame
        Columns `SIGNAL_STEPS`: limits in the unit of the row, empty where the sensor's maker states them; ``measured``
        and ``done`` are for the person who checks.
    """
    rows = [*_bus_steps(side), *_unplugged(side), *_supplied(side), *_powered(side)]
    return pd.DataFrame([(*row, None, "") for row in rows], columns=list(SIGNAL_STEPS))


Step = tuple[str, str, str, str, float | None, float | None, str]


def _bus_steps(side: SignalSide) -> Iterator[Step]:
    """Two terminators side by side are half of one."""
    if side.bus is not None and len(side.bus.trunk.terminators) == 2:
        low, high = (ohm / 2 for ohm in TERMINATORS_OHM)
        at = side.bus.trunk.terminators[0]
        yield (at, "bus", "bus", "everything off: resistance between the two wires of the bus", low, high, "ohm")


def _items(side: SignalSide) -> Iterator[tuple[Signal, str, str, str, Mapping[Hashable, Any]]]:
    """Signal, name, box, pin or pins, and row of everything wired."""
    rows = [row for row in side.pin_map().to_dict("records") if row["wire"] != KEPT_FREE]
    for row in first_of_each(rows):
        signal = next(s for s in side.signals_placed if s.name == row["signal"])
        pins = [r for r in rows if (r["box"], r["signal"], r["item"]) == (row["box"], row["signal"], row["item"])]
        text = ", ".join(f"{r['connector']} {r['pin']}".strip() for r in pins)
        yield signal, item_name(signal, row["item"]), str(row["box"]), text, row


def _to_ground(side: SignalSide, row: Mapping[Hashable, Any]) -> str:
    return f"to {side.wires.shared_pin(row['box'], row['ground'])[0]}" if row["ground"] else "to ground"


def _unplugged(side: SignalSide) -> Iterator[Step]:
    """With the connector off its box."""
    for signal, name, box, pins, row in _items(side):
        to = _to_ground(side, row)
        made = _RESISTANCE.get(signal.kind)
        if made is not None:
            yield (box, pins, name, f"unplugged: {made[0].format(to=to)}", *made[1:], "ohm")
        elif signal.kind in ("low_side", "high_side", "injector") and signal.current_ma:
            ohm = side.vehicle.settings.reference_v / signal.current_ma * 1000
            low, high = (round(ohm * (1 + sign * COIL_PCT / 100), 1) for sign in (-1, 1))
            end = "its supply" if signal.kind != "high_side" else "ground"
            yield (box, pins, name, f"unplugged: resistance from pin to {end}", low, high, "ohm")


# What is read with the connector unplugged, by kind: what to do, least and most, ohm; empty: the sensor's maker says.
_RESISTANCE: dict[str, tuple[str, float | None, float | None]] = {
    "resistance": ("resistance from pin {to}, as its maker states at this temperature", None, None),
    "switch_to_ground": ("resistance from pin to ground, switch closed; open it: above 100 kohm", 0.0, CONTACT_OHM),
    "frequency_pair": ("resistance between the two pins, as its maker states; neither to ground", None, None),
    "full_bridge": ("resistance between the two pins; neither to ground", CONTACT_OHM / 2, OPEN_OHM),
    "half_bridge": ("resistance from pin to ground", CONTACT_OHM / 2, OPEN_OHM),
}


def _supplied(side: SignalSide) -> Iterator[Step]:
    for row in side.supplies().to_dict("records"):
        where = (str(row["box"]), side.wires.shared_pin(row["box"], row["pin"])[0])
        if row["function"] == "supply_5v" and row["sensors"]:
            name = f"5 V of {row['sensors']} sensors"
            yield (*where, name, "power on, sensors plugged: voltage from pin to sensor ground", *SUPPLY_V, "V")
        elif row["sensors"]:
            name = f"ground of {row['sensors']} sensors"
            yield (*where, name, "everything off: resistance from pin to battery negative", 0.0, CONTACT_OHM, "ohm")


def _powered(side: SignalSide) -> Iterator[Step]:
    volts = side.vehicle.settings.system_v
    for signal, name, box, pins, row in _items(side):
        to = _to_ground(side, row)
        if signal.kind == "voltage":
            text = f"power on: voltage from pin {to}; it follows what is measured"
            yield (box, pins, name, text, *SENSOR_V, "V")
        elif signal.kind == "switch_to_battery":
            yield (box, pins, name, "power on, switch closed: voltage to ground; open: 0", 0.9 * volts, None, "V")
        elif signal.kind == "frequency":
            yield (box, pins, name, "power on, turned by hand: voltage steps between low and high", None, None, "V")
    for signal in (s for s in side.signals_placed if s.rule.is_output):
        rows = [row for row in side.pin_map().to_dict("records") if row["signal"] == signal.name]
        pins = ", ".join(f"{row['connector']} {row['pin']}".strip() for row in rows)
        boxes = ", ".join(dict.fromkeys(row["box"] for row in rows))
        each = " in turn, and no other" if signal.count > 1 else ", and no other"
        yield (boxes, pins, signal.name, f"output test of the box: it works{each}", None, None, "")


def bus_nodes(side: SignalSide) -> pd.DataFrame:
    """The trunk, a row per node: node, place, section to the next (m), stub (m), terminator (ohm)."""
    table = side.trunk()
    placed = table.assign(place=[side.nodes[node] or "" for node in table["node"]])
    return placed[["node", "place", "section_m", "stub_m", "terminator_ohm"]]


def bus_limits(side: SignalSide) -> pd.DataFrame:
    """The bus against published limits: what, is, at most, source."""
    assert side.bus is not None
    trunk, limit = side.bus.trunk, limit_at(side.kbit)
    rows = [
        ("bit rate", f"{side.kbit} kbit/s", "", "settings, bus_kbit"),
        ("trunk", f"{trunk.length_m:.2f} m", f"{limit.trunk_m:g} m", limit.trunk_source),
        ("longest stub", f"{max(trunk.stubs_m):.2f} m", f"{limit.stub_m:g} m", limit.stub_source),
        ("all stubs", f"{sum(trunk.stubs_m):.2f} m", f"{limit.stubs_m:g} m", limit.stubs_source),
        ("terminators", f"{len(trunk.terminators)} of {TERMINATOR_OHM:g} ohm", "2, 108 to 132 ohm", "ISO 11898-2"),
    ]
    if side.bus.load is not None:
        rows.append(("load", f"{100 * side.bus.load:.1f} %", "100 %", "frames at their longest, with bit stuffing"))
    return pd.DataFrame(rows, columns=["subject", "is", "at_most", "source"])


def bus_messages(side: SignalSide) -> pd.DataFrame:
    """Messages by priority: bytes, period (ms), priority, longest transmission, worst response (us), deadline (ms)."""
    known = {message.name: message for message in side.vehicle.messages}
    times = () if side.bus is None else side.bus.times
    told = [(known[t.message].size, known[t.message].period_us / 1000, known[t.message].priority) for t in times]
    timed = [(t.transmission_us, t.response_us, t.deadline_us / 1000, t.is_in_time) for t in times]
    rows = [(t.message, *a, *b) for t, a, b in zip(times, told, timed, strict=True)]
    columns = ["message", "bytes", "period_ms", "priority", "transmission_us", "response_us", "deadline_ms", "in_time"]
    return pd.DataFrame(rows, columns=columns)


def _supplies(side: SignalSide) -> pd.DataFrame:
    """Currents in whole mA: of a pin that bears 100 mA two decimals of an ampere would hide a sensor."""
    table = side.supplies()
    pins = [side.wires.shared_pin(box, pin)[0] for box, pin in zip(table["box"], table["pin"], strict=True)]
    amps = {f"{name}_ma": (1000 * table[f"{name}_a"]).round().astype(int) for name in ("current", "limit")}
    named = table.assign(pin=pins, function=table["function"].map(_SHARED), **amps)
    return named[["box", "pin", "function", "sensors", "current_ma", "limit_ma", "headroom_pct"]]


_SHARED = {"supply_5v": "5 V supply", "sensor_ground": "sensor ground"}


def signal_tables(side: SignalSide) -> dict[str, pd.DataFrame]:
    """Tables of the sheets of a signal side, by name."""
    tables = {"Signal commissioning": signal_steps(side), "Signal pin map": side.pin_map()}
    if side.bus is not None:
        sent = {"Bus messages": bus_messages(side)} if side.bus.times else {}
        tables |= {"Bus": bus_nodes(side), "Bus limits": bus_limits(side), **sent}
    return tables | {"Sensor supplies": _supplies(side)}


def title_lines(side: SignalSide) -> list[tuple[str, str]]:
    """Lines of the title block: boxes and keypads with their places, and what came of it."""
    boxes = [(box.label, box.place) for box in side.boxes if box.box.role != "module"]
    boxes += [(label, place) for label, place, _ in side.pads()]
    named = ", ".join(f"{name} at {place}" if place else name for name, place in boxes)
    return [("control units", named or "none"), ("signals", side.summary())]
