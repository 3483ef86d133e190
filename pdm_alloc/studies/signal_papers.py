"""What the papers take from a signal side beside its wires: returns, care, what to buy, what it draws when parked."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import pandas as pd

from pdm_alloc.domain.module import FittedBox, Signal, natural_key
from pdm_alloc.domain.vehicle import Load, Vehicle, part_for
from pdm_alloc.electrics.battery import parked_days
from pdm_alloc.electrics.signal_lines import TERMINATOR_OHM
from pdm_alloc.harness.supply import battery_of
from pdm_alloc.result.care_rules import CareWarning
from pdm_alloc.result.link_tables import PARKED, ReturnWire, parked_draws
from pdm_alloc.studies.signal_sizing import BusPlan
from pdm_alloc.studies.signal_wiring import (
    KEPT_FREE,
    Record,
    SignalWires,
    first_of_each,
    item_name,
    size_for,
    thinnest,
)

if TYPE_CHECKING:
    from pdm_alloc.studies.signal_side import SignalSide

__all__ = [
    "actuator_returns",
    "fed_by",
    "ground_pin",
    "parked_with_boxes",
    "sensor_returns",
    "signal_care",
    "supply_load",
    "switched_returns",
    "things_to_buy",
]


def sensor_returns(wires: SignalWires) -> list[dict[str, object]]:
    """Rows of the ground plan: each signal whose sensors return to a pin of their box, length one way, m."""
    rows: dict[tuple[str, str, str], list[Record]] = defaultdict(list)
    for row in first_of_each(wires.rows):
        if row["ground"]:
            rows[row["box"], row["ground"], row["signal"]].append(row)
    return [_returned(wires, key, here) for key, here in rows.items()]


DRIVEN_HIGH = ("high_side", "half_bridge")  # kinds whose other end goes to the vehicle's ground


def actuator_returns(wires: SignalWires) -> tuple[ReturnWire, ...]:
    """Returns of actuators that a box drives high, one for each, assumed on in every state."""
    return tuple(_driven(wires, row) for row in wires.rows if row["kind"] in DRIVEN_HIGH and row["wire"] != KEPT_FREE)


def _driven(wires: SignalWires, row: Record) -> ReturnWire:
    signal = wires.signals[row["signal"]]
    name, pin = item_name(signal, row["item"]), f"{row['connector']} {row['pin']}".strip()
    where = ("power", row["box"], pin, name, (1,), row["place"] or None)
    carried = (signal.current_ma,) * len(wires.vehicle.states)
    return ReturnWire(*where, carried, wires.size(row), running_a=signal.current_ma / 1000, origin="actuator")


def switched_returns(wires: SignalWires) -> list[dict[str, object]]:
    """Rows of the ground plan: each load whose way back is a pin of a box, length one way, m."""
    return [_switched(wires, row) for row in wires.rows if row["wire"] != KEPT_FREE and _load_of(wires, row)]


def _load_of(wires: SignalWires, row: Record) -> str | None:
    load = wires.signals[row["signal"]].load
    return load if any(other.name == load for other in wires.vehicle.loads) else None


def _switched(wires: SignalWires, row: Record) -> dict[str, object]:
    signal, pin = wires.signals[row["signal"]], f"{row['box']} {row['connector']} {row['pin']}".replace("  ", " ")
    cells = {"use": "power", "module": row["box"], "channel": pin, "load": signal.load, "items": 1}
    cells |= {"place": row["place"], "ground": pin, "ground_place": wires.place(row["box"]) or ""}
    ends = {"length_m": row["length_m"], "size": wires.size(row).name, "worst_a": signal.current_ma / 1000}
    return cells | ends | {"drop_pct": None, "note": "to its box, which switches it to ground"}


def fed_by(vehicle: Vehicle, signal: Signal) -> str:
    """What feeds an actuator that is switched to ground, in words; empty for other signals."""
    if signal.load is None:
        return ""
    return f"load {signal.load}" if any(load.name == signal.load for load in vehicle.loads) else "not known"


def supply_load(vehicle: Vehicle, label: str) -> Load | None:
    """The load that is the supply of a control unit; None: the tables have none."""
    names = {vehicle.settings.control_unit_load} if vehicle.settings.control_unit_load else {label}
    return next((load for load in vehicle.loads if load.name in names), None)


def _returned(wires: SignalWires, key: tuple[str, str, str], here: Sequence[Record]) -> dict[str, object]:
    box, label, signal = key
    pin, _ = wires.shared_pin(box, label)
    size, amps = thinnest(wires.vehicle.settings.wire_sizes), wires.signals[signal].current_ma / 1000
    metres = here[0]["length_m"]
    drop = None if metres is None else 100 * size.ohm_per_m * metres * amps / wires.vehicle.settings.system_v
    cells = {"use": "sensor", "module": box, "channel": pin, "load": signal, "items": len(here)}
    cells |= {"place": here[0]["place"], "ground": f"{box} {pin}", "ground_place": wires.place(box) or ""}
    ends = {"length_m": metres, "size": size.name, "worst_a": amps, "drop_pct": drop and round(drop, 3)}
    return cells | ends | {"note": "to its box, on no stud"}


def ground_pin(row: Record, wires: SignalWires) -> dict[str, object]:
    """Row of the ground points: a sensor ground of a box, as the table of supplies has it."""
    pin, _ = wires.shared_pin(row["box"], row["pin"])
    name = {"ground": f"{row['box']} {pin}", "place": wires.place(row["box"]) or "", "use": "sensor", "stud": "pin"}
    amps = {"current_a": row["current_a"], "max_a": row["limit_a"], "max_wires": None}
    return name | {"returns": row["sensors"], "state": "", **amps, "note": "clean ground of the box"}


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


def signal_care(side: "SignalSide") -> tuple[CareWarning, ...]:
    """Warnings of a signal side: what is short, currents that are assumed, sensor grounds, the bus."""
    parts = (*_short(side), *_sensors(side), *_of_bus(side), *_of_feeds(side))
    return tuple(CareWarning(*line) for line in parts)


def _of_feeds(side: "SignalSide") -> Iterator[tuple[str, str, str, str, str]]:
    """Supplies that no table has, and loads that sit elsewhere than what they are on the signal side."""
    vehicle = side.vehicle
    unfed = [s.name for s in side.signals_placed if fed_by(vehicle, s) == "not known"]
    if unfed:
        text = "No load feeds what the control unit switches to ground: its supply wire and its fuse are in no list."
        remedy = "List it as a load too, and name that in fed_by of the table signals; or wire and fuse it by hand."
        yield ("S08", "note", ", ".join(unfed), text, remedy)
    boxes = [box for box in side.boxes if box.box.role != "module"]
    bare = [box.label for box in boxes if supply_load(vehicle, box.label) is None]
    if bare:
        text = "No load is its supply: supply wire, fuse and ground return are in no list."
        yield ("S09", "note", ", ".join(bare), text, "List it as a load, and name that in control_unit_load.")
    places = {load.name: load.place for load in vehicle.loads}
    apart = [(s.name, s.load, s.place) for s in side.signals_placed if s.load in places and places[s.load] != s.place]
    apart += [(b.label, load.name, b.place) for b in boxes if (load := supply_load(vehicle, b.label)) is not None
              and load.place != b.place]  # fmt: skip
    for name, other, place in apart:
        text = f"It is at {place or 'no place'}, and the load {other} that feeds it at {places[other] or 'no place'}."
        yield ("S10", "warning", name, text, "Give both one place: the supply wire goes where the load is.")


def _short(side: "SignalSide") -> Iterator[tuple[str, str, str, str, str]]:
    if side.allocation is not None and not side:
        names = ", ".join(box.label for box in side.boxes)
        text = f"{names}: {side.outcome} for the signals. {side.short}".strip()
        yield ("S01", "danger", names, text, "Take another control unit, or a remedy that size --why lists.")
    wide = [s.name for s in side.signals_placed if s.rule.is_output and size_for(side.vehicle, s.current_ma) is None]
    if wide:
        text = "No wire size bears the current of an actuator of the control unit."
        yield ("S02", "danger", ", ".join(wide), text, "Drive it by a relay, or by a channel of the module.")


def _sensors(side: "SignalSide") -> Iterator[tuple[str, str, str, str, str]]:
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


def _of_bus(side: "SignalSide") -> Iterator[tuple[str, str, str, str, str]]:
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


def parked_with_boxes(side: "SignalSide") -> pd.DataFrame:
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
