"""Rules of care: what a person should look at before a wire is cut, as warnings with a code of our own."""

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from pdm_alloc.domain.kinds import KINDS
from pdm_alloc.domain.module import Unit, natural_key
from pdm_alloc.domain.vehicle import Place, Vehicle
from pdm_alloc.electrics.thermal import derating_factor
from pdm_alloc.electrics.trip import TRIP_MARGIN
from pdm_alloc.electrics.voltage import running_at_voltage_ma
from pdm_alloc.harness.paths import lengths_of
from pdm_alloc.harness.supply import supply
from pdm_alloc.result.placed import PlacedCircuit

__all__ = [
    "CAUTION",
    "CIRCUIT_RULES",
    "SEVERITIES",
    "UNIT_RULES",
    "VEHICLE_RULES",
    "CareWarning",
    "ambient_c",
    "listed",
]

CAUTION = (
    "Values are for design. Check them by measurement, and have them checked by a qualified person.",
    "Local codes, event regulations and the makers' data come first.",
    "Fit a main fuse at the battery and an isolator within reach, as the rules require.",
    "Trip settings protect the wire, not the load.",
)

SEVERITIES = ("danger", "warning", "note")


@dataclass(frozen=True, slots=True)
class CareWarning:
    """One thing to look at.

    Parameters
    ----------
    code : str
        ``C01`` and so on, one a rule.
    severity : str
        A word of `SEVERITIES`.
    subject : str
        Load, circuit, place, state or module.
    sentence : str
        What is the matter.
    remedy : str
        What to do about it.
    """

    code: str
    severity: str
    subject: str
    sentence: str
    remedy: str


def listed(names: Iterable[str], most: int = 6) -> str:
    """Names as a sentence has them: ``a, b and c``; beyond `most` the rest is only counted."""
    words = list(names)
    if len(words) > most:
        words = [*words[: most - 1], f"{len(words) - most + 1} more"]
    return " and ".join(([", ".join(words[:-1])] if words[1:] else []) + words[-1:])


_GUESSED_PCT = 15  # tolerance from which a current counts as guessed; ours

_GUESS = re.compile(r"\b(guess\w*|estimat\w*|assum\w*)\b", re.IGNORECASE)


def ambient_c(vehicle: Vehicle, unit: Unit) -> float:
    """Ambient around a unit: that of its place, or the setting, deg C."""
    place = vehicle.place(unit.place) if unit.place else None
    return vehicle.settings.module_ambient_c if place is None or place.ambient_c is None else place.ambient_c


def _fuel_and_battery(vehicle: Vehicle) -> Iterator[CareWarning]:
    batteries, tanks = _compartments(vehicle, "battery"), _compartments(vehicle, "fuel")
    for compartment in sorted(batteries & tanks, key=natural_key):
        yield CareWarning(
            "C01",
            "danger",
            compartment,
            f"Battery and fuel tank are in one compartment, {compartment}.",
            "Move one of them, or part them by a sealed bulkhead and vent the battery outside.",
        )


def _compartments(vehicle: Vehicle, what: str) -> set[str]:
    places = [p for p in vehicle.places if what in p.contains or _holds_battery(vehicle, p, what)]
    return {place.compartment for place in places if place.compartment}


def _holds_battery(vehicle: Vehicle, place: Place, what: str) -> bool:
    return what == "battery" and place.name == vehicle.settings.battery_place


def _hot_places(vehicle: Vehicle) -> Iterator[CareWarning]:
    limit = vehicle.settings.insulation_c
    for place in vehicle.places:
        if place.ambient_c is not None and place.ambient_c >= limit:
            yield CareWarning(
                "C06",
                "danger",
                place.name,
                f"{place.name} is at {place.ambient_c:g} deg C, and the wire's insulation is made for {limit:g} deg C.",
                "Use wire of a higher class there, shield the run from the heat, or lead it another way.",
            )


def _assumed_inrush(vehicle: Vehicle) -> Iterator[CareWarning]:
    for kind in KINDS.values():
        names = [load.name for load in vehicle.loads if load.kind == kind.name and load.inrush_assumed]
        if names and kind.inrush_multiple > 1:
            yield CareWarning(
                "C08",
                "note",
                kind.name,
                f"The inrush of {listed(names)} is taken from the kind {kind.name} "
                f"({kind.inrush_multiple:g} times running for {kind.inrush_ms:g} ms), not measured.",
                "Measure peak and length with a current clamp, the largest loads first, and enter them.",
            )


def _guessed_current(vehicle: Vehicle) -> Iterator[CareWarning]:
    for load in vehicle.loads:
        if load.tolerance_pct >= _GUESSED_PCT or _GUESS.search(load.note):
            yield CareWarning(
                "C09",
                "warning",
                load.name,
                f"The running current of {load.name}, {load.running_ma / 1000:g} A, is a guess by its own row.",
                "Measure it at the reference voltage before the module is ordered.",
            )


def _too_low(vehicle: Vehicle) -> Iterator[CareWarning]:
    for load in vehicle.loads:
        states = [s for s in vehicle.states if s.is_on(load.command)]
        low = [s.name for s in states if load.min_v is not None and s.supply_v < load.min_v]
        if low:
            yield CareWarning(
                "C12",
                "danger" if load.importance == "vital" else "warning",
                load.name,
                f"{load.name} needs {load.min_v:g} V and the supply is below that in {listed(low)}.",
                "Feed it otherwise in that state, fit a stronger battery, or take a load that works on less.",
            )


def _not_carried(vehicle: Vehicle) -> Iterator[CareWarning]:
    for row in supply(vehicle) if vehicle.states_given else ():
        drained = row.carried is None and row.charging_a
        if row.carried is False or drained:
            ends = (
                "" if drained else f": the battery is at its floor after {row.floor_minutes:.0f} of {row.minutes:g} min"
            )
            yield CareWarning(
                "C13",
                "warning",
                row.state,
                f"In {row.state} {-row.balance_a:.1f} A more are drawn than charged{ends}.",
                "Shorten the state, switch loads off in it, or fit a larger battery or alternator.",
            )


def _lowest_unknown(vehicle: Vehicle) -> Iterator[CareWarning]:
    low = min(vehicle.states, key=lambda s: s.supply_v)
    if low.supply_v >= vehicle.settings.reference_v:
        return
    names = [x.name for x in vehicle.loads if x.importance == "vital" and x.min_v is None and low.is_on(x.command)]
    if names:
        yield CareWarning(
            "C15",
            "note",
            low.name,
            f"Whether {listed(names)} still work at the {low.supply_v:g} V of {low.name} is not known.",
            "Enter min_v from the makers' data.",
        )


def _hot_units(vehicle: Vehicle, units: Sequence[Unit]) -> Iterator[CareWarning]:
    for unit in units:
        table, ambient = unit.module.derating, ambient_c(vehicle, unit)
        if table and ambient > table[-1][0]:
            yield CareWarning(
                "C07",
                "danger",
                unit.label,
                f"{unit.label} sits at {ambient:g} deg C, and its ratings are known up to {table[-1][0]:g} deg C.",
                "Mount it in a cooler place.",
            )


def _drop_not_judged(vehicle: Vehicle, units: Sequence[Unit]) -> Iterator[CareWarning]:
    known = lengths_of(vehicle)
    names = [x.name for x in vehicle.loads if any(known.wire_m(u.place, x.place, x.length_m) is None for u in units)]
    if names:
        yield CareWarning(
            "C11",
            "note",
            f"{len(names)} of {len(vehicle.loads)} loads",
            f"The voltage drop to {listed(names)} is not judged: the length of the wire is not known.",
            "Give places to loads and modules and the routes between them, or enter length_m.",
        )


VEHICLE_RULES = (
    _fuel_and_battery,
    _hot_places,
    _assumed_inrush,
    _guessed_current,
    _too_low,
    _not_carried,
    _lowest_unknown,
)

UNIT_RULES = (_hot_units, _drop_not_judged)


Circuits = Sequence[PlacedCircuit]

_LAMPS = ("filament", "led")

_MIRROR = {"left": "right", "right": "left", "lh": "rh", "rh": "lh"}


def _vital_shares(vehicle: Vehicle, units: Sequence[Unit], circuits: Circuits) -> Iterator[CareWarning]:
    for circuit in circuits:
        vital = [name for name in circuit.loads if vehicle.load(name).importance == "vital"]
        if vital and len(circuit.loads) > 1:
            yield CareWarning(
                "C02",
                "warning",
                _where(circuit),
                f"{listed(circuit.loads)} share a channel: a fault in one stops all, "
                f"and {listed(vital)} {'is' if len(vital) == 1 else 'are'} vital.",
                "Set share to no for what is vital, if channels allow.",
            )


def _lamp_pair(vehicle: Vehicle, units: Sequence[Unit], circuits: Circuits) -> Iterator[CareWarning]:
    for circuit in circuits:
        pair = sorted(_pair(vehicle, circuit))
        if pair:
            yield CareWarning(
                "C03",
                "warning",
                _where(circuit),
                f"{listed(pair)}: the pair is on one channel, and one fault makes both sides dark.",
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
    for circuit in circuits:
        labels = Counter(label for name in circuit.loads if (label := vehicle.load(name).separate))
        for label in (label for label, number in labels.items() if number > 1):
            names = [name for name in circuit.loads if vehicle.load(name).separate == label]
            yield CareWarning(
                "C04",
                "warning",
                _where(circuit),
                f"{listed(names)} are to be kept apart ({label}) and share a channel.",
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


def _little_margin(vehicle: Vehicle, units: Sequence[Unit], circuits: Circuits) -> Iterator[CareWarning]:
    by_label = {unit.label: unit for unit in units}
    for circuit in circuits:
        running, rated = _running_ma(vehicle, circuit), _rated_ma(vehicle, by_label[circuit.unit], circuit)
        if rated < TRIP_MARGIN * running:
            yield CareWarning(
                "C10",
                "warning",
                _where(circuit),
                f"The trip setting can be no more than {float(rated / running):.2f} times the running current; "
                "1.25 is usual, and headroom_pct below 20 takes it away.",
                "Ask for 20 per cent of headroom, or expect it to trip on a warm day.",
            )


def _paralleled(vehicle: Vehicle, units: Sequence[Unit], circuits: Circuits) -> Iterator[CareWarning]:
    for circuit in (circuit for circuit in circuits if circuit.use == "pair"):
        yield CareWarning(
            "C14",
            "note",
            _where(circuit),
            f"Two channels feed {listed(circuit.loads)} in parallel and share evenly only through equal wires.",
            "Make both wires of one size and length, and join them at the load.",
        )


def _running_ma(vehicle: Vehicle, circuit: PlacedCircuit) -> int:
    """At the highest voltage it is on at, the worst loads at the top of their tolerance, mA."""
    reference = vehicle.settings.reference_v
    volts = max((s.supply_v for s in vehicle.states if s.is_on(circuit.command)), default=reference)
    rises: Counter[str] = Counter()
    running = 0
    for load in (vehicle.load(name) for name, _ in circuit.items):
        one = running_at_voltage_ma(load.running_ma, load.volt_exponent, volts, reference)
        running += one
        rises[load.name] += -(-one * load.tolerance_pct // 100)
    return running + sum(sorted(rises.values(), reverse=True)[: vehicle.settings.tolerance_loads])


def _rated_ma(vehicle: Vehicle, unit: Unit, circuit: PlacedCircuit) -> Fraction:
    least = min(unit.module.channel(name).continuous_ma for name in circuit.channels)
    factor = derating_factor(unit.module.derating, ambient_c(vehicle, unit))
    return (2 if circuit.use == "pair" else 1) * least * factor


def _where(circuit: PlacedCircuit) -> str:
    return f"{circuit.unit} {circuit.channel}"


CIRCUIT_RULES = (_vital_shares, _lamp_pair, _apart_given_up, _no_spare, _little_margin, _paralleled)
