"""Rules of care on circuits, their wires and the battery cables."""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import product

import pandas as pd

from pdm_alloc.domain.kinds import KINDS
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Load, Vehicle
from pdm_alloc.electrics.current import running_at_voltage_ma
from pdm_alloc.electrics.wire import NOT_KNOWN, RETURNS, Refused, conductor_c
from pdm_alloc.harness.distribution import Laid, cold_of
from pdm_alloc.result.care_rules import CareWarning, gathered, listed
from pdm_alloc.result.link_tables import NO_CABLE, voltages
from pdm_alloc.result.placed import PlacedCircuit, WiredCircuit
from pdm_alloc.result.supply_tables import laid_links

__all__ = ["CIRCUIT_RULES", "WIRE_RULES", "through_pins"]

Circuits = Sequence[PlacedCircuit]

_LAMPS = ("filament", "led")

_MIRROR = {"left": "right", "right": "left", "lh": "rh", "rh": "lh"}


def _vital_shares(vehicle: Vehicle, units: Sequence[Unit], circuits: Circuits) -> Iterator[CareWarning]:
    shared = [c for c in circuits if len(c.loads) > 1 and any(_vital(vehicle, name) for name in c.loads)]
    cases = [(_where(c), f"{listed(c.loads)}; {_is_vital(vehicle, c)}") for c in shared]
    yield from gathered(
        "C02",
        "warning",
        cases,
        "Loads share channel {subject}, and a fault in one stops all: {detail}.",
        "On {count} channels a fault in one load stops a vital one: {names}.",
        "Set share to no for what is vital, if channels allow.",
    )


def _vital(vehicle: Vehicle, name: str) -> bool:
    return vehicle.load(name).importance == "vital"


def _is_vital(vehicle: Vehicle, circuit: PlacedCircuit) -> str:
    names = [name for name in circuit.loads if _vital(vehicle, name)]
    return f"{listed(names)} {'is' if len(names) == 1 else 'are'} vital"


def _lamp_pair(vehicle: Vehicle, units: Sequence[Unit], circuits: Circuits) -> Iterator[CareWarning]:
    pairs = [(c, sorted(_pair(vehicle, c))) for c in circuits]
    yield from gathered(
        "C03",
        "warning",
        [(_where(circuit), listed(names)) for circuit, names in pairs if names],
        "{detail}: both lamps are on one channel, {subject}, and one fault makes both sides dark.",
        "On {count} channels one fault makes the lamps of both sides dark: {names}.",
        "Give the two sides one label in the column separate, or set share to no.",
    )


def _pair(vehicle: Vehicle, circuit: PlacedCircuit) -> set[str]:
    """Lamps of a circuit that are both items of one load, or loads whose names differ by the side only."""
    loads = [vehicle.load(name) for name, _ in circuit.items]
    counts = Counter(load.name for load in loads if load.kind in _LAMPS and load.importance != "comfort")
    twins = {name for name, number in counts.items() if number == vehicle.load(name).count == 2}
    return twins | {name for name in counts if _mirrored(name) in counts}


def _mirrored(name: str) -> str | None:
    other = [_MIRROR.get(word, word) for word in name.split()]
    return " ".join(other) if other != name.split() else None


def _apart_given_up(vehicle: Vehicle, units: Sequence[Unit], circuits: Circuits) -> Iterator[CareWarning]:
    cases = []
    for circuit in circuits:
        labels = Counter(label for name in circuit.loads if (label := vehicle.load(name).separate))
        for label in (label for label, number in labels.items() if number > 1):
            names = [name for name in circuit.loads if vehicle.load(name).separate == label]
            cases.append((_where(circuit), f"{listed(names)}, label {label}"))
    yield from gathered(
        "C04",
        "warning",
        cases,
        "Loads that are to be kept apart share channel {subject}: {detail}.",
        "On {count} channels loads share that are to be kept apart: {names}.",
        "Take a module with a channel more, or accept that one fault stops both.",
    )


def _no_spare(vehicle: Vehicle, units: Sequence[Unit], circuits: Circuits) -> Iterator[CareWarning]:
    used = {(circuit.unit, name) for circuit in circuits for name in circuit.channels}
    if sum(len(unit.module.channels) for unit in units) == len(used):
        yield CareWarning(
            "C05",
            "warning",
            listed([unit.label for unit in units]),
            "No channel is spare: the first load that was forgotten has no place to go.",
            "Ask for spare_channels, and see what the next larger module costs.",
        )


def _paralleled(vehicle: Vehicle, units: Sequence[Unit], circuits: Circuits) -> Iterator[CareWarning]:
    yield from gathered(
        "C14",
        "note",
        [(_where(c), listed(c.loads)) for c in circuits if c.use == "pair"],
        "Paralleled channels {subject} feed {detail} and share evenly only through equal wires.",
        "{count} loads are fed by paralleled channels, which share evenly only through equal wires: {names}.",
        "Make both wires of one size and length, and join them at the load.",
    )


def _volts(vehicle: Vehicle, circuit: PlacedCircuit) -> list[float]:
    spans = [state.span_v for state in vehicle.states if state.is_on(circuit.command)]
    return [volts for span in spans for volts in span] or [vehicle.settings.reference_v]


def _where(circuit: PlacedCircuit) -> str:
    return f"{circuit.unit} {circuit.channel}"


_INDUCTIVE = ("solenoid", "coil")


def _turn_off(vehicle: Vehicle, units: Sequence[Unit], circuits: Circuits) -> Iterator[CareWarning]:
    """C21: half of current squared times inductance comes back, the inductance estimated from the rise of the kind.

    Time constant of a kind: a third of the time its current takes to rise; common practice, no source. Inductance does
    not mind the cold, copper does: at the lowest ambient the same coil carries more current.
    """
    by_label = {unit.label: unit.module for unit in units}
    judged, unknown = [], []
    for circuit in circuits:
        loads = [x for name, _ in circuit.items if (x := vehicle.load(name)).kind in _INDUCTIVE]
        borne = [by_label[circuit.unit].channel(name).turn_off_mj for name in circuit.channels]
        given = max(sum(_stored_mj(vehicle, load, volts) for load in loads) for volts in _volts(vehicle, circuit))
        if loads and None in borne:
            unknown += [(name, "") for name in dict.fromkeys(load.name for load in loads)]
        elif given > min((mj for mj in borne if mj is not None), default=math.inf):
            judged.append((_where(circuit), f"{listed(circuit.loads)}: about {given:.0f} mJ"))
    yield from gathered(
        "C21",
        "warning",
        judged,
        "Switching off {subject} ({detail}) gives back more energy than the catalogue says the channel bears.",
        "{count} channels get back more energy at turn-off than the catalogue says they bear: {names}.",
        "Fit a free-wheeling diode or a suppressor at the load, and measure: inductance is estimated from the kind.",
    )
    yield from gathered(
        "C21",
        "note",
        unknown,
        "Whether the channel bears what {subject} gives back when it is switched off is not judged: no turn_off_mj.",
        "Whether channels bear what {count} coils give back when switched off is not judged, as the catalogue states "
        "no turn_off_mj: {names}.",
        "Ask the module's maker, and fit free-wheeling diodes or suppressors at the loads if in doubt.",
    )


def _stored_mj(vehicle: Vehicle, load: Load, volts: float) -> float:
    amps = running_at_voltage_ma(load.running_ma, load.volt_exponent, volts, vehicle.settings.reference_v) / 1000
    return volts * amps * KINDS[load.kind].pulse_ms / 3 / 2 * float(cold_of(load, vehicle.settings)[0]) ** 2


def _retried(vehicle: Vehicle, units: Sequence[Unit], circuits: Circuits) -> Iterator[CareWarning]:
    """C23: what a channel does after it has tripped is set before it is delivered (common practice, no source)."""
    vital = [(name, "") for c in circuits for name in c.loads if _vital(vehicle, name)]
    yield from gathered(
        "C23",
        "warning",
        list(dict.fromkeys(vital)),
        "{subject} is vital, and what its channel does after a trip is the module's default until it is set.",
        "{count} loads are vital, and what their channels do after a trip is the module's default until it is set: "
        "{names}.",
        "Set retries and their pause for these channels by hand, and try them; common practice, no source.",
    )


CIRCUIT_RULES = (
    _vital_shares,
    _lamp_pair,
    _apart_given_up,
    _no_spare,
    _paralleled,
    _turn_off,
    _retried,
)

Wired = Sequence[WiredCircuit]


def _full_bundles(vehicle: Vehicle, units: Sequence[Unit], wired: Wired) -> Iterator[CareWarning]:
    full = [w for w in wired if not isinstance(w.made, Refused) and w.most_together > w.bundle_wires]
    yield from gathered(
        "C16",
        "warning",
        [(_where(w.circuit), f"{w.most_together} loaded wires, at most {w.bundle_wires}") for w in full],
        "The bundle of {subject} is fuller than the wire that fits its terminal may lie in: {detail}.",
        "{count} circuits lie in fuller bundles than the wires that fit their terminals may: {names}.",
        "Split the bundle, or reroute these wires.",
    )


def _no_wire(vehicle: Vehicle, units: Sequence[Unit], wired: Wired) -> Iterator[CareWarning]:
    yield from gathered(
        "C17",
        "danger",
        [(_where(w.circuit), "") for w in wired if isinstance(w.made, Refused)],
        "No wire and trip setting go together on {subject}.",
        "No wire and trip setting go together on {count} channels: {names}.",
        "Move their loads, or take other channels: see the table of wires.",
    )


def _starved(vehicle: Vehicle, units: Sequence[Unit], wired: Wired) -> Iterator[CareWarning]:
    """C18: loads that the supply would satisfy in a state and what feed and wire leave of it does not."""
    rows = [row for row in voltages(vehicle, units, wired) if row.enough is False]
    rows = [row for row in rows if row.min_v is not None and row.supply_v >= row.min_v]
    for vital, before in product((True, False), repeat=2):
        yield from gathered(
            "C18",
            "danger" if vital else "warning",
            [
                (row.load, f"{row.min_v:g} V, has {row.load_v:.2f} V in {row.state}")
                for row in rows
                if (row.importance == "vital") == vital and (row.module_v < (row.min_v or 0.0)) == before
            ],
            "{subject} needs {detail}.",
            "{count} times a load has less voltage than it needs: {names}.",
            _LOST_BEFORE if before else _LOST_BEHIND,
        )


_LOST_BEHIND = "Give it a lower max_drop_pct, so that its wire is thicker, or bring the module nearer to the battery."
_LOST_BEFORE = "No wire behind the module cures that: shorten the cables up to it, or keep the load off in that state."


def _hot_contacts(vehicle: Vehicle, units: Sequence[Unit], wired: Wired) -> Iterator[CareWarning]:
    """C22: a contact takes the temperature of the wire in it (common practice, no source); no size, nothing said."""
    cases = []
    for w in wired:
        limits = [channel.contact_c for channel in w.place.channels if channel.contact_c is not None]
        if limits and not isinstance(w.made, Refused) and w.made.wire.size.name != NOT_KNOWN:
            hot = conductor_c(w.ambient_c, vehicle.settings.insulation_c, w.running_ma / 1000, w.made.wire.ampacity_a)
            cases += [(_where(w.circuit), f"wire at {math.ceil(hot)} deg C, contact to {min(limits):g}")] * (
                hot > min(limits)
            )
    yield from gathered(
        "C22",
        "warning",
        cases,
        "At its running current the wire of {subject} is hotter than its contact may be: {detail}.",
        "At their running currents {count} wires are hotter than their contacts may be: {names}.",
        "Take thicker wire there, or keep it out of the hot place.",
    )


# A short at the far end is to be off within 5 s (IEC 60364-4-41, 411.3.2.3, distribution circuits, from memory).
_OPENS_S = 5.0


def _weak_faults(vehicle: Vehicle, units: Sequence[Unit], wired: Wired) -> Iterator[CareWarning]:
    laid = laid_links(vehicle, units, wired)
    slow = [
        one for one in laid if one.link is not None and one.link.opens_s is not None and one.link.opens_s > _OPENS_S
    ]
    yield from gathered(
        "C24",
        "danger",
        [(_cable(one), f"{_fault_a(one):.0f} A for a fuse of {_fuse_a(one):g} A") for one in slow],
        "A short at the end of the cable to {subject} may not open its fuse within 5 s: {detail}.",
        "Shorts at the ends of {count} cables may not open their fuses within 5 s: {names}.",
        "Take a thicker or shorter cable, or a smaller fuse.",
    )
    missing = [one for one in laid if one.link is not None and isinstance(one.link.wire, Refused)]
    yield from gathered(
        "C26",
        "danger",
        [(_cable(one), _why_no_cable(one)) for one in missing],
        "The battery cable to {subject} cannot be sized: {detail}.",
        "{count} battery cables cannot be sized: {names}.",
        "Shorten the way, split the loads over two feeds, or have it designed by a qualified person.",
    )


def _cable(one: Laid) -> str:
    return one.module or one.demand.name


def _why_no_cable(one: Laid) -> str:
    reason = one.link.wire.reason if one.link is not None and isinstance(one.link.wire, Refused) else ""
    return f"{one.demand.running_a:g} A, {NO_CABLE.get(reason, reason)}"


def _fuse_a(one: Laid) -> float:
    return 0.0 if one.link is None else one.link.fuse_a or 0.0


def _fault_a(one: Laid) -> float:
    return 0.0 if one.link is None else one.link.end_fault_a or 0.0


WIRE_RULES = (_full_bundles, _no_wire, _starved, _hot_contacts, _weak_faults)


def through_pins(vehicle: Vehicle, drops: pd.DataFrame, returns: pd.DataFrame) -> Iterator[CareWarning]:
    """C27: loads that a box switches to ground, by what their wire out and the wire back to the pin lose together.

    Circuits are judged before it is known which box is fitted and where, so the way back is not among their limits.
    """
    out = drops.dropna(subset=["drop_pct", "limit_pct"]).groupby("load")[["drop_pct", "limit_pct"]].max()
    ways = RETURNS[vehicle.settings.return_path]
    cases = []
    for row in returns[returns["use"] == "power"].dropna(subset=["drop_pct"]).to_dict("records"):
        if row["load"] in out.index:
            lost, limit = out.loc[row["load"], "drop_pct"] / ways, out.loc[row["load"], "limit_pct"]
            told = f"{lost:.1f} % out, {row['drop_pct']:.1f} % back, {limit:g} % allowed"
            cases += [(row["load"], told)] * bool(lost + row["drop_pct"] > limit + 1e-9)
    yield from gathered(
        "C27",
        "warning",
        list(dict.fromkeys(cases)),
        "With the wire back to the pin that switches it, {subject} loses more voltage than it may: {detail}.",
        "With the wires back to the pins that switch them, {count} loads lose more voltage than they may: {names}.",
        "Take thicker wire to the pin than the cut list has, or mount the box that switches it nearer.",
    )
