"""Rules of care that only circuits on their channels show."""

from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction

from pdm_alloc.allocation.care.tables import ambient_c
from pdm_alloc.allocation.care.warning import CareWarning, listed
from pdm_alloc.allocation.circuit import PlacedCircuit
from pdm_alloc.electrics.derating import derating_factor
from pdm_alloc.electrics.trip import TRIP_MARGIN
from pdm_alloc.electrics.voltage import running_at_voltage_ma
from pdm_alloc.module import Unit
from pdm_alloc.vehicle import Vehicle

__all__ = ["CIRCUIT_RULES"]

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
